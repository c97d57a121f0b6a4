package main

import (
	"fmt"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"holdline/arming"
	"holdline/arming/groundbox"
)

// portAnswer is a serial port in the JSON answer.
type portAnswer struct {
	Name         string `json:"name"`
	USB          bool   `json:"usb"`
	Product      string `json:"product"`
	VendorID     string `json:"vendor_id"`
	ProductID    string `json:"product_id"`
	SerialNumber string `json:"serial_number"`
}

func (p *program) portsCommand() *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "ports",
		Short: "serial ports with USB names",
		Long: `Lists the serial ports of this computer, with what the USB device behind each
calls itself. It opens none of them.

Exit status: 0, also when there is no port; 1 the system cannot list them.`,
		Example: "  holdline ports\n  holdline ports --json",
		Args:    exactArgs(),
		RunE: func(*cobra.Command, []string) error {
			ports, err := groundbox.Ports()
			if err != nil {
				return err
			}
			if asJSON {
				list := []portAnswer{}
				for _, port := range ports {
					list = append(list, portAnswer{port.Name, port.USB, port.Product, port.VendorID, port.ProductID, port.SerialNumber})
				}
				return writeJSON(p.out, list)
			}
			return p.writePorts(ports)
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "as one JSON array")
	return cmd
}

func (p *program) writePorts(ports []groundbox.PortInfo) error {
	if len(ports) == 0 {
		fmt.Fprintln(p.errOut, "no serial port found; is the box plugged in?")
		return nil
	}
	table := tabwriter.NewWriter(p.out, 0, 0, 2, ' ', 0)
	for _, port := range ports {
		row := port.Name
		if port.USB {
			name := port.Product
			if name == "" {
				name = "USB device"
			}
			row += fmt.Sprintf("\t%s\t%s:%s", arming.Plain(name), arming.Plain(port.VendorID), arming.Plain(port.ProductID))
			if port.SerialNumber != "" {
				row += "\tserial " + arming.Plain(port.SerialNumber)
			}
		}
		fmt.Fprintln(table, row)
	}
	return table.Flush()
}
