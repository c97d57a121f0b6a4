package groundbox

import (
	"fmt"
	"os"

	"go.bug.st/serial"
	"golang.org/x/sys/unix"
)

// port is read and written through the poller of Go itself. The library waits in a
// system call, and a thread that stands in one keeps the scheduler looking
// after it, a thousand times a second: more than all else that the cockpit does
// at rest. So the library sets the port up, and its handle is given back.
//
// Close ends a read or a write that waits.
type port struct{ file *os.File }

// openPort opens the port name and sets it up.
func openPort(name string, mode *serial.Mode) (*port, error) {
	f, err := os.OpenFile(name, os.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK, 0)
	if err != nil {
		return nil, err
	}
	p := &port{file: f}
	library, err := serial.Open(name, mode) // the port keeps its settings while f is open
	if err == nil {
		err = library.Close()
	}
	if err == nil {
		err = p.control(unix.TIOCEXCL, 0) // nobody else opens it
	}
	if err != nil {
		_ = f.Close() // the first error tells more
		return nil, err
	}
	return p, nil
}

func (p *port) Read(b []byte) (int, error)  { return p.file.Read(b) }
func (p *port) Write(b []byte) (int, error) { return p.file.Write(b) }
func (p *port) Close() error                { return p.file.Close() }

// ResetInputBuffer throws away what has come and was not read.
func (p *port) ResetInputBuffer() error { return p.control(unix.TCFLSH, unix.TCIFLUSH) }

// ResetOutputBuffer throws away what the system has not sent yet.
func (p *port) ResetOutputBuffer() error { return p.control(unix.TCFLSH, unix.TCOFLUSH) }

// control asks the port's driver for something.
func (p *port) control(request uint, value int) error {
	raw, err := p.file.SyscallConn()
	if err != nil {
		return err
	}
	var failed error
	if err := raw.Control(func(fd uintptr) { failed = unix.IoctlSetInt(int(fd), request, value) }); err != nil {
		return err
	}
	if failed != nil {
		return fmt.Errorf("port %s: %w", p.file.Name(), failed)
	}
	return nil
}
