package groundbox

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"
)

// Times of the driver.
const (
	answerTime    = 150 * time.Millisecond // the box has 100 ms; the rest is the line's
	openingTime   = 3500 * time.Millisecond
	openingAsk    = 400 * time.Millisecond
	openingPause  = 20 * time.Millisecond // between two wrong answers
	leaseEvery    = 2 * time.Second
	openingPoll   = 10 * time.Millisecond
	grantWake     = 20 * time.Millisecond
	stuckFlush    = 20 * time.Millisecond
	stuckLost     = 400 * time.Millisecond
	firstBackoff  = 250 * time.Millisecond
	mostBackoff   = time.Second
	closeDrain    = 200 * time.Millisecond
	snapshotOfUse = 250 * time.Millisecond // of the 0.3 s that the box allows
)

var (
	errClosing = errors.New("closing")
	errRestart = errors.New("the box has restarted")
)

// driver is the one goroutine that owns the port. Everything in it is its own.
type driver struct {
	l       *Link
	out     pending
	permit  permit
	lastRun time.Time // of the loop: its own delays are watched
	stalled time.Duration

	told      string // the reason of the last Lost, to say it once
	connected bool
	known     proved // of the last connection, zero before the first

	s *session // nil without a port
}

// proved is who answered: by its own word, and by the USB device that it hangs
// on, which another box of the same word does not have.
type proved struct {
	Identity
	vendorID, productID, serialNumber string
}

func newDriver(l *Link) *driver {
	return &driver{l: l, lastRun: time.Now()}
}

func (d *driver) report(r Report) { d.out.add(r) }

// run is the life of the link: open, talk, lose, wait, again.
func (d *driver) run() {
	defer close(d.l.done)
	defer close(d.l.reports)
	backoff := firstBackoff
	for {
		err := d.oneConnection()
		if errors.Is(err, errClosing) {
			return
		}
		if d.connected {
			backoff = firstBackoff
		}
		d.lost(err)
		if d.sleep(backoff) != nil {
			return
		}
		backoff = min(2*backoff, mostBackoff)
	}
}

// lost reports the end of a connection, or that there is still none. People are
// told first why the permit falls, not that it does.
func (d *driver) lost(err error) {
	reason := err.Error()
	if d.connected || reason != d.told {
		d.report(Lost{Reason: reason})
	}
	if d.permit.mayBeClosed() {
		d.dropGrant("the link to the box is lost: " + reason)
	}
	d.connected, d.told = false, reason
}

// oneConnection opens the port and talks until something ends it.
func (d *driver) oneConnection() error {
	rw, err := d.dial()
	if err != nil {
		return err
	}
	c := newConn(rw)
	d.s = newSession(d, c)
	d.l.mu.Lock()
	d.l.writer = c.w
	d.l.mu.Unlock()
	err = d.s.run()
	if errors.Is(err, errClosing) {
		d.s.sayGoodbye()
	} else {
		d.s.sayOff()
	}
	d.l.mu.Lock()
	d.l.writer = nil
	d.l.mu.Unlock()
	d.s = nil
	c.close()
	return err
}

// dial opens the port beside the driver, which goes on watching the permit.
func (d *driver) dial() (io.ReadWriteCloser, error) {
	type result struct {
		rw  io.ReadWriteCloser
		err error
	}
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	got := make(chan result, 1)
	go func() {
		rw, err := d.l.cfg.Dial(ctx)
		got <- result{rw, err}
	}()
	for {
		select {
		case r := <-got:
			if r.err != nil {
				return nil, fmt.Errorf("can not open %s: %w", d.l.cfg.Port, r.err)
			}
			return r.rw, nil
		default:
		}
		if err := d.pump(time.Now().Add(5 * time.Millisecond)); err != nil {
			cancel()
			go func() {
				if r := <-got; r.err == nil {
					_ = r.rw.Close() // opened too late for anyone
				}
			}()
			return nil, err
		}
	}
}

// sleep waits without a port, and longer while nobody takes the reports.
func (d *driver) sleep(pause time.Duration) error {
	until := time.Now().Add(pause)
	for time.Now().Before(until) || d.out.full() {
		next := until
		if d.out.full() {
			next = time.Now().Add(grantWake)
		}
		if err := d.pump(next); err != nil {
			return err
		}
	}
	return nil
}

// pump waits for one thing to happen, at most until the given time: bytes,
// a wish, a reader of reports, or time. It returns an error when the link is
// closing or the port is gone.
func (d *driver) pump(until time.Time) error {
	now := time.Now()
	if next := now.Add(d.longestWait()); until.After(next) {
		until = next
	}
	timer := time.NewTimer(max(until.Sub(now), 0))
	defer timer.Stop()
	var out chan Report
	var head Report
	if len(d.out.list) > 0 {
		out, head = d.l.reports, d.out.list[0]
	}
	var chunks chan chunk
	if d.s != nil {
		chunks = d.s.c.chunks
	}
	var err error
	select {
	case <-d.l.quit:
		return errClosing
	case ch := <-chunks:
		err = d.s.received(ch)
	case out <- head:
		d.out.pop()
	case <-d.l.wake:
	case <-timer.C:
	}
	d.watch()
	return err
}

// longestWait keeps the loop turning while the permit or its opening needs it.
func (d *driver) longestWait() time.Duration {
	if d.permit.mayBeClosed() || d.permit.opening() {
		return grantWake
	}
	return PollSlow
}

// watch looks at what time alone does: the driver's own delay, a grant that ran
// out, an opening that did not come, a port that takes nothing.
func (d *driver) watch() {
	now := time.Now()
	if gap := now.Sub(d.lastRun); gap > MostStall {
		d.stalled = gap
	}
	d.lastRun = now
	d.takeOff()
	d.watchGrant(now)
	d.alarm(now)
	if d.s != nil {
		if stuck := d.s.c.w.blocked(now); stuck > stuckFlush {
			if _, clear := d.s.c.w.offWritten(); !clear {
				d.s.c.w.clearOutput()
			}
			if stuck > stuckLost {
				d.s.stuck = true
			}
		}
	}
}
