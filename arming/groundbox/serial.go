package groundbox

import (
	"context"
	"errors"
	"fmt"
	"hash/fnv"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"

	"github.com/gofrs/flock"
	"go.bug.st/serial"
)

// SerialDial returns a Dial for the serial port name at baud bits a second,
// 8N1, no flow control. It locks the port against another holdline, and after a
// loss finds the same USB device under another name by its serial number.
func SerialDial(name string, baud int) func(context.Context) (io.ReadWriteCloser, error) {
	f := &finder{name: name, list: Ports}
	return func(ctx context.Context) (io.ReadWriteCloser, error) {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		where := f.where()
		port, err := openSerial(where, baud)
		if err == nil && !isPseudoTerminal(where) {
			port.device = f.opened(where)
		}
		return port, err
	}
}

// isPseudoTerminal tells a port that no USB device is behind, so that the
// search through all devices of the system is spared.
func isPseudoTerminal(name string) bool { return strings.HasPrefix(resolve(name), "/dev/pts/") }

// finder remembers which USB device was opened.
type finder struct {
	name string
	list func() ([]PortInfo, error)

	mu     sync.Mutex
	device PortInfo // with a serial number once one was opened
}

// where returns the name to open now: that of the device opened before, if it
// is there under another name and the old name is not.
func (f *finder) where() string {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.device.SerialNumber == "" {
		return f.name
	}
	ports, err := f.list()
	if err != nil {
		return f.name
	}
	elsewhere := ""
	for _, p := range ports {
		if p.SameDevice(f.device) {
			if p.Name == f.device.Name {
				return f.name
			}
			elsewhere = p.Name
		}
	}
	if elsewhere != "" {
		return elsewhere
	}
	return f.name
}

// opened notes the USB device behind a name, and returns it: the zero PortInfo
// where the system tells none.
func (f *finder) opened(where string) PortInfo {
	ports, err := f.list()
	if err != nil {
		return PortInfo{}
	}
	real := resolve(where)
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, p := range ports {
		if p.Name == real && p.SerialNumber != "" {
			f.device = p
			return p
		}
	}
	return PortInfo{}
}

// resolve follows links such as those by device id.
func resolve(name string) string {
	if real, err := filepath.EvalSymlinks(name); err == nil {
		return real
	}
	return name
}

// openSerial locks and opens a port.
func openSerial(name string, baud int) (*serialPort, error) {
	lock, err := lockPort(name)
	if err != nil {
		return nil, err
	}
	p, err := openPort(name, &serial.Mode{BaudRate: baud, DataBits: 8, Parity: serial.NoParity, StopBits: serial.OneStopBit})
	if err != nil {
		_ = lock.Unlock() // the first error tells more
		return nil, err
	}
	_ = p.ResetInputBuffer() // what an earlier program left; the opening copes without
	return &serialPort{port: p, lock: lock}, nil
}

// lockPort keeps two holdlines from one port.
func lockPort(name string) (*flock.Flock, error) {
	dir := os.Getenv("XDG_RUNTIME_DIR")
	if dir == "" {
		dir = os.TempDir()
	}
	sum := fnv.New64a()
	_, _ = sum.Write([]byte(resolve(name))) // a hash never fails
	lock := flock.New(filepath.Join(dir, fmt.Sprintf("holdline-port-%016x.lock", sum.Sum64())))
	got, err := lock.TryLock()
	if err != nil {
		return nil, fmt.Errorf("lock: %w", err)
	}
	if !got {
		return nil, errors.New("another holdline uses it")
	}
	return lock, nil
}

// serialPort is a port of the system, locked.
type serialPort struct {
	*port
	lock   *flock.Flock
	device PortInfo // set before anybody reads it
	once   sync.Once
	closed error // what closing came to
}

// Device is the USB device behind the port, zero where there is none.
func (p *serialPort) Device() PortInfo { return p.device }

// Close may be called again.
func (p *serialPort) Close() error {
	p.once.Do(func() { p.closed = errors.Join(p.port.Close(), p.lock.Unlock()) })
	return p.closed
}
