package main

import (
	"bytes"
	"testing"

	"holdline/arming/groundbox"
)

func TestPortsAreATableThatNoDeviceNameCanBreak(t *testing.T) {
	var out, errOut bytes.Buffer
	p := &program{out: &out, errOut: &errOut}
	err := p.writePorts([]groundbox.PortInfo{
		{Name: "/dev/ttyS0"},
		{Name: "/dev/ttyACM0", USB: true, Product: "ground box\x1b[2J\n", VendorID: "1209", ProductID: "0001", SerialNumber: "7"},
		{Name: "/dev/ttyUSB0", USB: true, VendorID: "1209", ProductID: "0002"},
	})
	if err != nil {
		t.Fatal(err)
	}
	const want = "/dev/ttyS0\n" +
		"/dev/ttyACM0  ground box [2J   1209:0001  serial 7\n" +
		"/dev/ttyUSB0  USB device       1209:0002\n"
	if out.String() != want {
		t.Errorf("got\n%s\nwant\n%s", out.String(), want)
	}
	out.Reset()
	if err := p.writePorts(nil); err != nil || out.Len() != 0 || errOut.Len() == 0 {
		t.Errorf("no ports: got %q on standard output, %q on standard error, %v", out.String(), errOut.String(), err)
	}
}
