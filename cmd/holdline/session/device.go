package session

import (
	"context"
	"fmt"
	"math"
	"sync/atomic"
	"time"

	"holdline/arming/groundbox"
	"holdline/checklist/sheet"
)

// connectWithin is how long a box may take to answer: it may be dumb for 3 s
// after its port was opened, and its self-test takes 2 s.
const connectWithin = 12 * time.Second

// boxLink joins a link of package groundbox to the driver.
type boxLink struct {
	link   *groundbox.Link
	out    chan groundbox.Told
	quit   chan struct{}
	done   chan struct{}
	first  groundbox.Connected
	number uint64 // of the last decision to close the permit; the driver's alone
	sheet  *sheet.Sheet
	testA  atomic.Uint64 // bits of the highest test current that a box here has owned to, in amperes
}

// testCurrentA is the highest current that the box says it can put through a
// bridge, one failed part included.
func (b *boxLink) testCurrentA() float64 { return math.Float64frombits(b.testA.Load()) }

// openBox opens the box and waits until it has proved what it is.
func openBox(ctx context.Context, cfg groundbox.Config, sh *sheet.Sheet, say func(string)) (*boxLink, error) {
	b := &boxLink{
		link: groundbox.Open(cfg),
		out:  make(chan groundbox.Told),
		quit: make(chan struct{}),
		done: make(chan struct{}),

		sheet: sh,
	}
	timeout := time.NewTimer(connectWithin)
	defer timeout.Stop()
	why := "nothing answered"
	for {
		select {
		case r, ok := <-b.link.Reports():
			if !ok {
				return nil, fmt.Errorf("session: box on %s: %s", cfg.Port, why)
			}
			switch r := r.(type) {
			case groundbox.Connected:
				b.first = r
				b.testA.Store(math.Float64bits(r.TestCurrentA))
				go b.pump()
				return b, nil
			case groundbox.Lost:
				if why != r.Reason && say != nil {
					say(r.Reason)
				}
				why = r.Reason
			}
		case <-timeout.C:
			b.link.Close()
			return nil, fmt.Errorf("session: box on %s: %s", cfg.Port, why)
		case <-ctx.Done():
			b.link.Close()
			return nil, fmt.Errorf("session: box on %s: %w", cfg.Port, ctx.Err())
		}
	}
}

// port is what the driver sees of the link.
func (b *boxLink) port() port {
	return port{
		off: b.link.PermitOff,
		on: func(until time.Time) error {
			b.number++
			b.link.Permit(groundbox.Grant{Number: b.number, Until: until})
			return nil
		},
		grant: func(until time.Time) {
			b.link.Permit(groundbox.Grant{Number: b.number, Until: until})
		},
		lapse:   b.link.Lapse,
		fire:    b.link.AskFire,
		lease:   b.link.Lease,
		clear:   b.link.ClearEvents,
		rate:    func(every time.Duration) { b.link.Fast(every < groundbox.PollSlow) },
		reports: b.out,
	}
}

// pump turns the link's reports into events until the link is closed.
func (b *boxLink) pump() {
	defer close(b.done)
	tr := groundbox.Translator{PulseS: b.sheet.Firing.PulseS, Channels: b.sheet.Channels()}
	send := func(list []groundbox.Told) bool {
		for _, told := range list {
			select {
			case b.out <- told:
			case <-b.quit:
				return false
			}
		}
		return true
	}
	if !send(tr.Translate(b.first)) {
		return
	}
	for r := range b.link.Reports() {
		if c, is := r.(groundbox.Connected); is && c.TestCurrentA > b.testCurrentA() {
			b.testA.Store(math.Float64bits(c.TestCurrentA))
		}
		if !send(tr.Translate(r)) {
			break
		}
	}
	for range b.link.Reports() { // until it is closed
	}
}

// close opens the permit and gives the port back.
func (b *boxLink) close() {
	close(b.quit)
	b.link.Close()
	<-b.done
}
