package groundbox

import (
	"fmt"
	"os"
	"path/filepath"
	"sort"
	"strings"
)

// Ports lists the serial ports. It opens none of them: it reads what the
// system has written down about them.
func Ports() ([]PortInfo, error) { return portsIn("/sys/class/tty") }

// portsIn reads a folder laid out as sysfs lays out its terminals.
func portsIn(class string) ([]PortInfo, error) {
	entries, err := os.ReadDir(class)
	if err != nil {
		return nil, fmt.Errorf("groundbox: list ports: %w", err)
	}
	var ports []PortInfo
	for _, e := range entries {
		device, err := filepath.EvalSymlinks(filepath.Join(class, e.Name(), "device"))
		if err != nil {
			continue // a terminal that is no device
		}
		if t := readTrimmed(filepath.Join(class, e.Name(), "type")); t == "0" {
			continue // a serial port of the board that is not fitted
		}
		if _, err := os.Stat(filepath.Join(class, e.Name(), "dev")); err != nil {
			continue
		}
		p := PortInfo{Name: "/dev/" + e.Name()}
		p.readUSB(device)
		ports = append(ports, p)
	}
	sort.Slice(ports, func(i, j int) bool { return ports[i].Name < ports[j].Name })
	return ports, nil
}

// readUSB looks for the USB device above an interface or a port of it.
func (p *PortInfo) readUSB(device string) {
	for range 4 {
		if vendor := readTrimmed(filepath.Join(device, "idVendor")); vendor != "" {
			p.USB, p.VendorID = true, vendor
			p.ProductID = readTrimmed(filepath.Join(device, "idProduct"))
			p.SerialNumber = readTrimmed(filepath.Join(device, "serial"))
			p.Product = readTrimmed(filepath.Join(device, "product"))
			return
		}
		device = filepath.Dir(device)
	}
}

func readTrimmed(name string) string {
	b, err := os.ReadFile(name)
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(b))
}
