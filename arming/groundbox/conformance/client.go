package conformance

import (
	"context"
	"errors"
	"fmt"
	"io"
	"sync"
	"time"

	"holdline/arming/groundbox/wire"
)

var (
	errGone     = errors.New("the port is gone")
	errNoAnswer = errors.New("no answer")
)

// client is a plain questioner: one message out, one answer in.
type client struct {
	ctx     context.Context
	rw      io.ReadWriteCloser
	answers chan wire.Message
	arrives time.Time // when the last byte sent so far has gone over the line
	stop    chan struct{}
	done    sync.WaitGroup
}

func newClient(ctx context.Context, rw io.ReadWriteCloser) *client {
	c := &client{ctx: ctx, rw: rw, answers: make(chan wire.Message, 64), stop: make(chan struct{})}
	c.done.Go(c.read)
	return c
}

func (c *client) read() {
	defer close(c.answers)
	framer := wire.NewFramer(wire.MaxAnswerBytes)
	buf := make([]byte, 1024)
	for {
		n, err := c.rw.Read(buf)
		for _, line := range framer.Push(buf[:max(n, 0)]) {
			select {
			case c.answers <- line:
			case <-c.stop:
				return
			}
		}
		select {
		case <-c.stop:
			return
		default:
		}
		if err != nil {
			return
		}
	}
}

func (c *client) close() {
	close(c.stop)
	_ = c.rw.Close() // there is nothing left to save
	c.done.Wait()
}

// byteTime is 10 bits at the rate of a ground box.
const byteTime = 10 * time.Second / 115200

// send returns when the system has taken the line, which may be long before its
// last byte has gone out: arrives is that moment.
func (c *client) send(line string) error {
	if now := time.Now(); c.arrives.Before(now) {
		c.arrives = now
	}
	c.arrives = c.arrives.Add(time.Duration(len(line)+1) * byteTime)
	if _, err := io.WriteString(c.rw, line+"\n"); err != nil {
		return fmt.Errorf("%w: %v", errGone, err)
	}
	return nil
}

// next returns the next answer within a time.
func (c *client) next(within time.Duration) (string, error) {
	timer := time.NewTimer(within)
	defer timer.Stop()
	select {
	case line, open := <-c.answers:
		switch {
		case !open:
			return "", errGone
		case line.Bad != wire.FaultNone:
			return "", fmt.Errorf("a line that is %s: %q", line.Bad, line.Text)
		}
		return line.Text, nil
	case <-timer.C:
		return "", errNoAnswer
	case <-c.ctx.Done():
		return "", fmt.Errorf("%w: %v", errGone, c.ctx.Err())
	}
}

// quiet throws away what was sent before.
func (c *client) quiet() {
	for {
		if _, err := c.next(5 * time.Millisecond); err != nil {
			return
		}
	}
}

// wait lets time pass, less when the check is called off.
func (c *client) wait(d time.Duration) {
	select {
	case <-time.After(d):
	case <-c.ctx.Done():
	}
}
