package practice

import (
	"context"
	"errors"
	"io"
	"net"
	"sync"
	"time"
)

// transport is one connection that the box serves.
type transport struct {
	rw      io.ReadWriteCloser
	once    sync.Once
	closed  chan struct{}
	answers chan []byte
	slow    chan struct{} // capacity 1: a slow answer is under way
	flushMu sync.Mutex    // keeps answers in order
}

func (t *transport) close() {
	t.once.Do(func() {
		close(t.closed)
		_ = t.rw.Close() // the other side is gone either way
	})
}

// The box is brought to the present whenever somebody looks at it, so nothing
// depends on these: jobTick sees to it that an answer that takes time is not
// kept waiting, idleTick that little is left to catch up with.
const (
	jobTick  = 5 * time.Millisecond
	idleTick = time.Second
)

// ErrUnplugged is returned while the cable is pulled.
var ErrUnplugged = errors.New("practice: the cable is pulled")

// Serve answers on rw in real time until rw is closed or the cable is pulled,
// and closes rw. The box serves one connection at a time.
func (b *Box) Serve(rw io.ReadWriteCloser) error {
	t := &transport{rw: rw, closed: make(chan struct{}), answers: make(chan []byte, 64), slow: make(chan struct{}, 1)}
	if err := b.attach(t); err != nil {
		_ = rw.Close() // it was never used
		return err
	}
	defer b.detach(t)
	var done sync.WaitGroup
	done.Go(t.writeAnswers)
	done.Go(func() { t.readCommands(b) })
	tick := time.NewTimer(idleTick)
	defer tick.Stop()
	for {
		select {
		case <-t.closed:
			done.Wait()
			return nil
		case <-t.slow: // an answer that takes time has been asked for
			tick.Reset(jobTick)
		case <-tick.C:
			next := idleTick
			if t.flush(b) {
				next = jobTick
			}
			tick.Reset(next)
		}
	}
}

func (b *Box) attach(t *transport) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.faults.has(Unplug) {
		return ErrUnplugged
	}
	b.links[t] = struct{}{}
	b.framer.Reset()
	b.out = nil
	return nil
}

func (b *Box) detach(t *transport) {
	b.mu.Lock()
	defer b.mu.Unlock()
	delete(b.links, t)
}

// flush hands over what the box has to say. What a side that does not read
// leaves no room for is lost, as on a real line. It reports whether a slow
// answer is under way.
func (t *transport) flush(b *Box) (slow bool) {
	t.flushMu.Lock()
	defer t.flushMu.Unlock()
	out, slow := b.output()
	if len(out) > 0 {
		select {
		case t.answers <- out:
		default:
		}
	}
	return slow
}

func (t *transport) writeAnswers() {
	for {
		select {
		case <-t.closed:
			return
		case p := <-t.answers:
			if _, err := t.rw.Write(p); err != nil {
				t.close()
				return
			}
		}
	}
}

func (t *transport) readCommands(b *Box) {
	buf := make([]byte, 1024)
	for {
		n, err := t.rw.Read(buf)
		if n > 0 {
			b.Input(buf[:n])
			if t.flush(b) {
				select {
				case t.slow <- struct{}{}:
				default:
				}
			}
		}
		if err != nil {
			t.close()
			return
		}
	}
}

// unplug cuts every connection and the controller's power. mu must be held.
func (b *Box) unplug() {
	b.hw.openPermit(b.ms)
	b.hw.drive = false
	b.out = nil
	for t := range b.links {
		go t.close()
	}
}

func (b *Box) plugIn() { b.restart() }

// Dial connects to the box inside this program, where there is no pseudo-
// terminal. Closing the result ends the connection.
func (b *Box) Dial(ctx context.Context) (io.ReadWriteCloser, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if b.unplugged() {
		return nil, ErrUnplugged
	}
	mine, theirs := net.Pipe()
	go func() {
		_ = b.Serve(theirs) // ends with the connection
	}()
	return mine, nil
}

func (b *Box) unplugged() bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.faults.has(Unplug)
}
