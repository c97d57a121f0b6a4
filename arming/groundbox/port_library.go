//go:build !linux

package groundbox

import (
	"os"
	"sync"
	"time"

	"go.bug.st/serial"
)

// readTimeout is how long one read of a serial port waits.
const readTimeout = 50 * time.Millisecond

// port closes in an order that the library does not keep by itself: it closes
// the handle first, and a read or write that starts just then would go to
// whatever file gets the same number.
type port struct {
	serial serial.Port

	reading, writing, flushing sync.Mutex
	mu                         sync.Mutex
	closed                     bool
}

// openPort opens the port name and sets it up.
func openPort(name string, mode *serial.Mode) (*port, error) {
	p, err := serial.Open(name, mode)
	if err != nil {
		return nil, err
	}
	if err := p.SetReadTimeout(readTimeout); err != nil {
		_ = p.Close() // the first error tells more
		return nil, err
	}
	return &port{serial: p}, nil
}

func (p *port) over() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.closed
}

// Read returns 0 and nil when nothing came in time.
func (p *port) Read(b []byte) (int, error) {
	p.reading.Lock()
	defer p.reading.Unlock()
	if p.over() {
		return 0, os.ErrClosed
	}
	return p.serial.Read(b)
}

func (p *port) Write(b []byte) (int, error) {
	p.writing.Lock()
	defer p.writing.Unlock()
	if p.over() {
		return 0, os.ErrClosed
	}
	return p.serial.Write(b)
}

// ResetInputBuffer throws away what has come and was not read.
func (p *port) ResetInputBuffer() error { return p.serial.ResetInputBuffer() }

// ResetOutputBuffer throws away what the system has not sent yet.
func (p *port) ResetOutputBuffer() error {
	p.flushing.Lock()
	defer p.flushing.Unlock()
	if p.over() {
		return os.ErrClosed
	}
	return p.serial.ResetOutputBuffer()
}

// Close waits for a running read, which ends by its timeout, and a short while
// for a running write, which may not end at all. One that is left behind has
// begun long ago and keeps the handle that it was given.
func (p *port) Close() error {
	p.mu.Lock()
	p.closed = true
	p.mu.Unlock()
	p.reading.Lock()
	defer p.reading.Unlock()
	for _, m := range []*sync.Mutex{&p.writing, &p.flushing} {
		if lockWithin(m, closeDrain) {
			defer m.Unlock()
		}
	}
	return p.serial.Close()
}

func lockWithin(m *sync.Mutex, most time.Duration) bool {
	for end := time.Now().Add(most); !m.TryLock(); time.Sleep(time.Millisecond) {
		if time.Now().After(end) {
			return false
		}
	}
	return true
}
