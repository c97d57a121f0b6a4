//go:build !linux && !windows && !(darwin && cgo)

package groundbox

import (
	"fmt"

	"go.bug.st/serial"
)

// Ports lists the serial ports by name only: without cgo this system does not
// tell more.
func Ports() ([]PortInfo, error) {
	names, err := serial.GetPortsList()
	if err != nil {
		return nil, fmt.Errorf("groundbox: list ports: %w", err)
	}
	ports := make([]PortInfo, len(names))
	for i, name := range names {
		ports[i] = PortInfo{Name: name}
	}
	return ports, nil
}
