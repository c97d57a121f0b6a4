package session

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"holdline/arming/groundbox"
)

func TestNoPracticeWhileAKnownRealBoxIsPluggedIn(t *testing.T) {
	settings := filepath.Join(t.TempDir(), "not yet there")
	device := groundbox.PortInfo{Name: "/dev/ttyACM3", USB: true, VendorID: "1209", ProductID: "0001", SerialNumber: "A7"}
	other := device
	other.SerialNumber = "B9"
	nameless := device
	nameless.SerialNumber = ""
	plugged := func(list ...groundbox.PortInfo) func() ([]groundbox.PortInfo, error) {
		return func() ([]groundbox.PortInfo, error) { return list, nil }
	}
	box := groundbox.Connected{Identity: groundbox.Identity{Maker: "own", Model: "GB-4", Serial: "0007", Version: "2"}, Device: device}
	if err := noRealBox(settings, plugged(device)); err != nil {
		t.Errorf("no box is known: %v", err)
	}
	practice := box
	practice.Identity.Model = "PRACTICE"
	withoutNumber := box
	withoutNumber.Device = nameless
	for _, c := range []groundbox.Connected{practice, withoutNumber} {
		if err := rememberBox(settings, c); err != nil {
			t.Fatal(err)
		}
	}
	if list, err := knownBoxes(settings); err != nil || len(list) != 0 {
		t.Errorf("remembered %+v, %v", list, err)
	}
	newer := box
	newer.Identity.Version = "3"
	for _, c := range []groundbox.Connected{box, box, newer} {
		if err := rememberBox(settings, c); err != nil {
			t.Fatal(err)
		}
	}
	if list, err := knownBoxes(settings); err != nil || len(list) != 1 || !strings.HasSuffix(list[0].Identity, ",3") {
		t.Errorf("remembered %+v, %v", list, err)
	}
	err := noRealBox(settings, plugged(other, device))
	if err == nil || !strings.Contains(err.Error(), "own,GB-4,0007,3 is plugged in on /dev/ttyACM3: unplug it") {
		t.Errorf("beside the box: %v", err)
	}
	for name, list := range map[string]func() ([]groundbox.PortInfo, error){
		"another device": plugged(other), "one without a number": plugged(nameless), "nothing": plugged(),
	} {
		if err := noRealBox(settings, list); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	if err := noRealBox(settings, func() ([]groundbox.PortInfo, error) { return nil, errors.New("no list") }); err == nil {
		t.Error("practice although nobody knows what is plugged in")
	}
	if err := os.WriteFile(filepath.Join(settings, knownName), []byte("{"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := noRealBox(settings, plugged()); err == nil || !strings.Contains(err.Error(), knownName) {
		t.Errorf("a file that cannot be read: %v", err)
	}
}
