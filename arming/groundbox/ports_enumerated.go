//go:build windows || (darwin && cgo)

package groundbox

import (
	"fmt"

	"go.bug.st/serial/enumerator"
)

// Ports lists the serial ports. It opens none of them.
func Ports() ([]PortInfo, error) {
	list, err := enumerator.GetDetailedPortsList()
	if err != nil {
		return nil, fmt.Errorf("groundbox: list ports: %w", err)
	}
	ports := make([]PortInfo, len(list))
	for i, p := range list {
		ports[i] = PortInfo{
			Name: p.Name, USB: p.IsUSB, VendorID: p.VID, ProductID: p.PID, SerialNumber: p.SerialNumber, Product: p.Product,
		}
	}
	return ports, nil
}
