package groundbox

import (
	"errors"
	"io"
	"runtime"
	"slices"
	"sync"
	"time"
)

// chunk is what one read gave.
type chunk struct {
	data []byte
	at   time.Time
	err  error
}

// conn is one opening of the port with its two goroutines.
type conn struct {
	rw     io.ReadWriteCloser
	chunks chan chunk
	stop   chan struct{}
	w      *writer
	read   sync.WaitGroup
}

func newConn(rw io.ReadWriteCloser) *conn {
	c := &conn{rw: rw, chunks: make(chan chunk, 64), stop: make(chan struct{})}
	c.w = newWriter(rw)
	c.read.Go(func() { c.readAll() })
	go c.w.run()
	return c
}

// device is the USB device behind the port, zero where there is none.
func (c *conn) device() PortInfo {
	if port, ok := c.rw.(interface{ Device() PortInfo }); ok {
		return port.Device()
	}
	return PortInfo{}
}

// readAll reads until the port is gone. Serial ports return 0 bytes and no
// error when a read has timed out.
func (c *conn) readAll() {
	buf := make([]byte, 2048)
	for {
		began := time.Now()
		n, err := c.rw.Read(buf)
		if n == 0 && err == nil && time.Since(began) < time.Millisecond {
			time.Sleep(time.Millisecond) // a port that does not wait
		}
		if n == 0 && err == nil {
			select {
			case <-c.stop:
				return
			default:
				continue
			}
		}
		ch := chunk{data: append([]byte(nil), buf[:max(n, 0)]...), at: time.Now(), err: err}
		select {
		case c.chunks <- ch:
			// The driver and then the writer can run at once on the thread that
			// is awake already: no other has to be woken on a busy machine.
			runtime.Gosched()
		case <-c.stop:
			return
		}
		if err != nil {
			return
		}
	}
}

// close ends both goroutines. A write that the system does not let go of is
// left behind after a short while; it ends with the device.
func (c *conn) close() {
	close(c.stop)
	c.w.shut()
	_ = c.rw.Close() // there is nothing left to save
	c.read.Wait()
	select {
	case <-c.w.done:
	case <-time.After(100 * time.Millisecond):
	}
}

// outMessage is a message to be written. One that closes or keeps the permit is
// dropped instead of being late.
type outMessage struct {
	text   string
	permit bool
	before time.Time // for a permit
}

// offText begins with a line ending: whatever half a message went before it, the
// box reads OFF alone. Empty messages mean nothing.
const offText = "\nOUTP:PERM OFF\n"

// mostQueued bounds the messages that wait for the port.
const mostQueued = 32

// writer writes messages in order, and OFF before any of them.
type writer struct {
	rw   io.Writer
	kick chan struct{}
	done chan struct{}

	mu       sync.Mutex
	offs     bool
	queue    []outMessage
	began    time.Time // of the write that runs
	offAt    time.Time // when the last OFF had been written
	err      error
	closed   bool
	flushing bool
}

func newWriter(rw io.Writer) *writer {
	return &writer{rw: rw, kick: make(chan struct{}, 1), done: make(chan struct{})}
}

var errPortStuck = errors.New("the port takes no data")

// send queues a message.
func (w *writer) send(m outMessage) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	switch {
	case w.err != nil:
		return w.err
	case len(w.queue) >= mostQueued:
		return errPortStuck
	}
	w.queue = append(w.queue, m)
	w.signal()
	return nil
}

// off makes OFF the next message and voids each that closes or keeps the permit.
func (w *writer) off() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.offs = true
	w.queue = slices.DeleteFunc(w.queue, func(m outMessage) bool { return m.permit })
	w.signal()
}

func (w *writer) signal() {
	select {
	case w.kick <- struct{}{}:
	default:
	}
}

func (w *writer) shut() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.closed = true
	w.signal()
}

// idle reports that everything has been written, or never will be.
func (w *writer) idle() bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.err != nil || !w.offs && len(w.queue) == 0 && w.began.IsZero()
}

// blocked returns for how long the running write has not come back.
func (w *writer) blocked(now time.Time) time.Duration {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.began.IsZero() {
		return 0
	}
	return now.Sub(w.began)
}

// offWritten returns when the last OFF had been written, and whether none
// waits.
func (w *writer) offWritten() (at time.Time, clear bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.offAt, !w.offs
}

func (w *writer) run() {
	defer close(w.done)
	for range w.kick {
		for {
			text, isOff, some := w.next()
			if !some {
				break
			}
			err := writeWhole(w.rw, text)
			w.wrote(isOff, err)
		}
		w.mu.Lock()
		over := w.closed || w.err != nil
		w.mu.Unlock()
		if over {
			return
		}
	}
}

// next takes the message to write now.
func (w *writer) next() (text string, isOff, some bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.closed || w.err != nil {
		return "", false, false
	}
	now := time.Now()
	if w.offs {
		w.offs, w.began = false, now
		return offText, true, true
	}
	for len(w.queue) > 0 {
		m := w.queue[0]
		w.queue = w.queue[1:]
		if m.permit && !now.Before(m.before) {
			continue
		}
		w.began = now
		return m.text + "\n", false, true
	}
	return "", false, false
}

func (w *writer) wrote(isOff bool, err error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.began = time.Time{}
	if isOff && err == nil {
		w.offAt = time.Now()
	}
	if err != nil {
		w.err = err
	}
}

// writeWhole writes all of text: a serial port may take part of it.
func writeWhole(rw io.Writer, text string) error {
	p := []byte(text)
	for len(p) > 0 {
		n, err := rw.Write(p)
		if err != nil {
			return err
		}
		if n <= 0 {
			return io.ErrShortWrite
		}
		p = p[min(n, len(p)):]
	}
	return nil
}

// clearOutput throws away what the system holds back of a clogged port, so
// that OFF does not wait behind it. It may block, so it runs by itself, once
// at a time.
func (w *writer) clearOutput() {
	port, can := w.rw.(interface{ ResetOutputBuffer() error })
	w.mu.Lock()
	start := can && !w.flushing
	w.flushing = w.flushing || start
	w.mu.Unlock()
	if !start {
		return
	}
	go func() {
		_ = port.ResetOutputBuffer() // OFF is tried either way
		w.mu.Lock()
		w.flushing = false
		w.mu.Unlock()
	}()
}
