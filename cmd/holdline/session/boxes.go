package session

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"holdline/arming/groundbox"
	"holdline/arming/record"
)

// knownName is the file of the real boxes that this computer has worked with,
// in the folder of the settings.
const knownName = "boxes.json"

// knownBox is a real box by the USB device it hangs on.
type knownBox struct {
	Identity     string `json:"identity"`
	VendorID     string `json:"vendor_id"`
	ProductID    string `json:"product_id"`
	SerialNumber string `json:"serial_number"`
}

func (k knownBox) device() groundbox.PortInfo {
	return groundbox.PortInfo{VendorID: k.VendorID, ProductID: k.ProductID, SerialNumber: k.SerialNumber}
}

func knownBoxes(settings string) ([]knownBox, error) {
	path := filepath.Join(settings, knownName)
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("session: known boxes: %w", err)
	}
	var list []knownBox
	if err := json.Unmarshal(data, &list); err != nil {
		return nil, fmt.Errorf("session: known boxes: %s: %w: take the file away when no real box is plugged in", path, err)
	}
	return list, nil
}

// rememberBox notes a real box, so that practice can tell it by its USB device.
// One without a serial number of its own cannot be told from others.
func rememberBox(settings string, box groundbox.Connected) error {
	if box.Identity.Practice() || box.Device.SerialNumber == "" {
		return nil
	}
	list, err := knownBoxes(settings)
	if err != nil {
		return err
	}
	now := knownBox{clean(box.Identity.String()), box.Device.VendorID, box.Device.ProductID, box.Device.SerialNumber}
	kept := []knownBox{now}
	for _, k := range list {
		if k == now {
			return nil
		}
		if !k.device().SameDevice(box.Device) {
			kept = append(kept, k)
		}
	}
	data, err := json.MarshalIndent(kept, "", "  ")
	if err == nil {
		err = os.MkdirAll(settings, 0o700)
	}
	if err == nil {
		err = record.ReplaceFile(filepath.Join(settings, knownName), append(data, '\n'), 0o600)
	}
	if err != nil {
		return fmt.Errorf("session: known boxes: %w", err)
	}
	return nil
}

// noRealBox refuses practice while a real box that is known is plugged in
// its leads may hang on live motors while the screen speaks of a
// practice box. It asks the system's list alone and opens no port: whatever else
// is there may start to do something when it is opened, and nobody knows what a
// stranger makes of *IDN?.
func noRealBox(settings string, ports func() ([]groundbox.PortInfo, error)) error {
	known, err := knownBoxes(settings)
	if err != nil || len(known) == 0 {
		return err
	}
	list, err := ports()
	if err != nil {
		return fmt.Errorf("session: no practice now: it cannot be told whether a real box is plugged in: %w", err)
	}
	for _, p := range list {
		for _, k := range known {
			if p.SameDevice(k.device()) {
				return fmt.Errorf("session: no practice now: the real box %s is plugged in on %s: unplug it first", clean(k.Identity), clean(p.Name))
			}
		}
	}
	return nil
}
