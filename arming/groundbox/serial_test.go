package groundbox

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"holdline/arming/groundbox/practice"
)

func TestAnotherBoxUnderTheSameNameIsSaidToBeAnother(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		box := func(serial string) *practice.Box {
			b, err := practice.New(practice.Config{Problem: alike(4), Serial: serial})
			if err != nil {
				t.Fatal(err)
			}
			return b
		}
		one, two := box("0001"), box("0002")
		var plugged atomic.Pointer[practice.Box]
		plugged.Store(one)
		b := linkTo(t, one, func(c *Config) {
			c.Dial = func(ctx context.Context) (io.ReadWriteCloser, error) { return plugged.Load().Dial(ctx) }
		})
		if c := await[Connected](b, 3*time.Second); c.Changed {
			t.Errorf("the first box: %+v", c)
		}
		plugged.Store(two)
		b.fault("unplug")
		await[Lost](b, time.Second)
		if c := await[Connected](b, 3*time.Second); !c.Changed || c.Identity.Serial != "0002" {
			t.Errorf("the second box: %+v, want it called another", c)
		}
	})
}

// onDevice is a port with a USB device behind it.
type onDevice struct {
	io.ReadWriteCloser
	device PortInfo
}

func (p onDevice) Device() PortInfo { return p.device }

// Two boxes can say the same of themselves; the USB device tells them apart.
func TestAnotherUSBDeviceUnderTheSameNameIsAnotherBox(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		box := newBox(t, 4)
		var serial atomic.Pointer[string]
		plug := func(name string) { serial.Store(&name) }
		plug("A7")
		b := linkTo(t, box, func(c *Config) {
			c.Dial = func(ctx context.Context) (io.ReadWriteCloser, error) {
				rw, err := box.Dial(ctx)
				return onDevice{rw, PortInfo{Name: "/dev/ttyACM0", USB: true, VendorID: "1209", ProductID: "0001", SerialNumber: *serial.Load()}}, err
			}
		})
		again := func() Connected {
			f := b.fault("unplug")
			await[Lost](b, time.Second)
			box.ClearFault(f)
			return await[Connected](b, 3*time.Second)
		}
		if c := await[Connected](b, 3*time.Second); c.Changed || c.Device.SerialNumber != "A7" {
			t.Errorf("the first: %+v", c)
		}
		if c := again(); c.Changed {
			t.Errorf("the same again: %+v", c)
		}
		plug("B9")
		if c := again(); !c.Changed {
			t.Errorf("another device: %+v, want it called another box", c)
		}
	})
}

func TestPortsThatCanNotBeOpened(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := Open(Config{Dial: SerialDial(t.TempDir()+"/none", 115200), Port: "/dev/none"})
		defer l.Close()
		r, ok := (<-l.Reports()).(Lost)
		if !ok || !strings.Contains(r.Reason, "can not open /dev/none: ") {
			t.Errorf("report: %+v", r)
		}
		select {
		case r := <-l.Reports():
			t.Errorf("the same again: %+v", r)
		case <-time.After(700 * time.Millisecond):
		}
	})
}

func TestTheSamePortIsNotOpenedTwice(t *testing.T) {
	t.Parallel()
	box := newBox(t, 4)
	path := onTerminal(t, box)
	dial := SerialDial(path, 115200)
	one, err := dial(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	if two, err := SerialDial(path, 115200)(context.Background()); err == nil {
		_ = two.Close()
		t.Error("a second holdline opened the port")
	} else if !strings.Contains(err.Error(), "another holdline") {
		t.Errorf("error: %v", err)
	}
	if err := one.Close(); err != nil {
		t.Error(err)
	}
	again, err := dial(context.Background())
	if err != nil {
		t.Fatalf("after it was closed: %v", err)
	}
	if err := again.Close(); err != nil {
		t.Error(err)
	}
}

func TestADeviceIsFoundUnderAnotherName(t *testing.T) {
	ports := []PortInfo{{Name: "/dev/ttyACM0", USB: true, VendorID: "1209", ProductID: "0001", SerialNumber: "A7"}}
	var fail error
	f := &finder{name: "/dev/ttyACM0", list: func() ([]PortInfo, error) { return ports, fail }}
	if got := f.where(); got != "/dev/ttyACM0" {
		t.Errorf("before anything was opened: %s", got)
	}
	f.opened("/dev/ttyACM0")
	other := PortInfo{Name: "/dev/ttyACM0", USB: true, VendorID: "1209", ProductID: "0001", SerialNumber: "B9"}
	moved := ports[0]
	moved.Name = "/dev/ttyACM1"
	ports = []PortInfo{other, moved}
	if got := f.where(); got != "/dev/ttyACM1" {
		t.Errorf("moved, with another in its place: %s", got)
	}
	ports = []PortInfo{other}
	if got := f.where(); got != "/dev/ttyACM0" {
		t.Errorf("gone: %s", got)
	}
	fail = errors.New("no list")
	if got := f.where(); got != "/dev/ttyACM0" {
		t.Errorf("without a list: %s", got)
	}
}

func TestAPortThatComesBackUnderAnotherNameOnRealTerminals(t *testing.T) {
	t.Parallel()
	box := newBox(t, 4)
	path := onTerminal(t, box)
	first := resolve(path)
	serials := func() ([]PortInfo, error) {
		return []PortInfo{{Name: resolve(path), USB: true, VendorID: "1209", ProductID: "0001", SerialNumber: "A7"}}, nil
	}
	f := &finder{name: first, list: serials}
	b := linkTo(t, box, func(c *Config) {
		c.Dial = func(context.Context) (io.ReadWriteCloser, error) {
			where := f.where()
			port, err := openSerial(where, 115200)
			if err == nil {
				f.opened(where)
			}
			return port, err
		}
	})
	await[Connected](b, 3*time.Second)
	hold, err := os.OpenFile(first, os.O_RDWR, 0) // keeps the old name taken
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = hold.Close() }()
	unplug := b.fault("unplug")
	await[Lost](b, time.Second)
	box.ClearFault(unplug)
	await[Connected](b, 4*time.Second)
	if now := resolve(path); now == first {
		t.Errorf("the terminal kept its name %s: nothing was tried", fmt.Sprint(now))
	}
}
