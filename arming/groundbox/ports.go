package groundbox

// PortInfo is one serial port of this computer.
type PortInfo struct {
	Name         string
	USB          bool
	VendorID     string // four hex digits
	ProductID    string
	SerialNumber string // of the USB device
	Product      string // the device's own name, where the system tells it
}

// SameDevice compares by what a USB device says of itself: never true for one
// that has no serial number.
func (p PortInfo) SameDevice(q PortInfo) bool {
	return p.SerialNumber != "" && p.SerialNumber == q.SerialNumber && p.VendorID == q.VendorID && p.ProductID == q.ProductID
}
