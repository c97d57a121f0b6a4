package session

import (
	"fmt"
	"runtime/debug"
	"sync/atomic"
	"time"

	"holdline/arming"
	"holdline/arming/groundbox"
	"holdline/arming/groundbox/wire"
	"holdline/arming/record"
	"holdline/arming/record/journal"
	"holdline/tui"
)

// Times of the shell.
const (
	tickIdle     = 100 * time.Millisecond // 10 Hz
	tickArmed    = 50 * time.Millisecond  // 20 Hz from ARMED on
	permitLife   = 250 * time.Millisecond // how long one step lets the link renew the permit
	screenLate   = 300 * time.Millisecond // longest time between two frames asked for
	diskLate     = 500 * time.Millisecond // longest time for an entry to reach the disk
	beatsEvery   = time.Second            // how often quiet beats are written
	beatsPermit  = 250 * time.Millisecond // and while the permit is wanted: they show that the disk answers
	requestQueue = 32                     // requests of the cockpit that wait
	logKept      = 200                    // lines of the log on the screen
)

// driver owns the state of the arming machine.
type driver struct {
	plan   *arming.Plan
	state  arming.State
	before arming.State // the state before the last step; reused, so that a step allocates no State
	clock  clock
	box    port
	record *recorder
	hooks  hooks

	hold     chan struct{} // capacity 1: HOLD goes ahead of everything
	end      chan string   // capacity 1: why the program ends; only the first reason counts
	requests chan func()   // what the cockpit asks, run by the driver
	done     chan struct{} // closed when the driver has ended
	busy     atomic.Bool   // a request found the queue full
	asked    atomic.Int64  // when the screen last asked for a frame, clock.mono
	wanted   atomic.Bool   // the permit is wanted
	latest   atomic.Pointer[tui.Frame]
	fresh    chan struct{} // capacity 1: there is something new to look at
	failure  error         // why the driver ended, read after done

	frame    tui.Frame
	beat     uint64
	flushed  time.Duration // when beats were last written
	stalled  bool          // a stall has been told, until it is over
	diskTold bool
	loudIn   arming.Phase // phase in which the loud sentence was said
}

// hooks are what the driver calls for the parts around it. Each may be nil
// and returns at once.
type hooks struct {
	frame   func(*tui.Frame)                                 // fills in what the driver does not know
	stepped func(before, after *arming.State) []arming.Event // after each step; returns what failed
	tick    func()                                           // after each tick
	stuck   func() bool                                      // the terminal takes nothing
}

// port is what the driver needs of a ground box. A firing without one has the
// zero port.
type port struct {
	off     func()                // opens the permit; waits for nothing
	on      func(time.Time) error // closes it, once, renewed until then at most
	grant   func(time.Time)       // renews it until then at most
	lapse   func()                // renews it no longer and sends nothing: the contact proof's watchdog
	fire    func()                // asks for the length of the last pulse
	lease   func(bool)
	clear   func(wire.Event)
	rate    func(time.Duration) // how often snapshots are asked for
	reports <-chan groundbox.Told
}

func newDriver(plan *arming.Plan, box port, rec *recorder, c clock, h hooks) *driver {
	d := &driver{
		plan: plan, box: box, record: rec, clock: c, hooks: h,
		hold:     make(chan struct{}, 1),
		end:      make(chan string, 1),
		requests: make(chan func(), requestQueue),
		done:     make(chan struct{}),
		fresh:    make(chan struct{}, 1),
	}
	d.frame = tui.Frame{Plan: plan}
	return d
}

// clock is the time since the record was opened, on both clocks.
type clock struct {
	opened time.Time
	jumped time.Duration // by which the wall clock was set, in tests: simulated time has one clock only
}

// now returns the instant in whole microseconds, and the wall clock.
func (c *clock) now() (arming.Instant, time.Time) {
	t := time.Now()
	return arming.Instant{
		Mono: t.Sub(c.opened).Truncate(time.Microsecond),
		Wall: (t.Round(0).Sub(c.opened.Round(0)) + c.jumped).Truncate(time.Microsecond),
	}, t
}

func (c *clock) mono() time.Duration { return time.Since(c.opened) }

// run takes events until the program ends. first is the firing's first event.
func (d *driver) run(first arming.Start) {
	defer close(d.done)
	defer func() {
		if r := recover(); r != nil {
			d.permitOff() // before anything else
			d.failure = fmt.Errorf("session: internal error: %v\n%s", r, debug.Stack())
			d.record.release()
		}
	}()
	d.asked.Store(int64(d.clock.mono()))
	d.step(first)
	rate := tickIdle
	tick := time.NewTicker(rate)
	defer tick.Stop()
	for {
		if want := d.rate(); want != rate {
			rate = want
			tick.Reset(rate)
			if d.box.rate != nil {
				d.box.rate(rate)
			}
		}
		select { // HOLD and the end go ahead of everything
		case <-d.hold:
			d.step(arming.HoldCall{})
			continue
		case why := <-d.end:
			d.finish(why)
			return
		default:
		}
		select {
		case <-d.hold:
			d.step(arming.HoldCall{})
		case why := <-d.end:
			d.finish(why)
			return
		case r := <-d.box.reports:
			d.report(r)
		case f := <-d.requests:
			f()
		case ack, ok := <-d.record.acks():
			d.ack(ack, ok)
		case c := <-d.record.closing:
			d.record.settle(c)
			d.publish()
		case <-tick.C:
			d.tick()
		}
	}
}

func (d *driver) rate() time.Duration {
	if permitNear(d.state.Phase) {
		return tickArmed
	}
	return tickIdle
}

// permitNear reports a phase in which the permit is wanted or soon may be.
func permitNear(p arming.Phase) bool {
	switch p {
	case arming.Armed, arming.Count, arming.Window, arming.Run, arming.Proof:
		return true
	}
	return false
}

// ask queues a request and reports whether there was room.
func (d *driver) ask(f func()) bool {
	select {
	case d.requests <- f:
		return true
	default:
		return false
	}
}

// stop ends the driver: permit off at once, then the machine is told why, the
// record is ended, and done is closed. It waits for that at most so long.
func (d *driver) stop(why string, most time.Duration) {
	d.permitOff()
	select {
	case d.end <- why:
	default: // it ends already
	}
	select {
	case <-d.done:
	case <-time.After(most):
	}
}

// step lets the machine take one event, and carries out what follows.
func (d *driver) step(ev arming.Event) {
	for queue := []arming.Event{ev}; len(queue) > 0; queue = queue[1:] {
		queue = append(queue, d.one(queue[0])...)
		if len(queue) > 16 {
			panic("session: internal error: effects fail without end")
		}
	}
	d.publish()
}

// one is a single step. It returns the events that failed effects give.
func (d *driver) one(ev arming.Event) []arming.Event {
	at, wall := d.clock.now()
	if r, ok := ev.(arming.BoxReading); ok {
		r.Box.Seen = at
		if r.Box.Scan != d.state.Box.Scan || d.state.Box.ScanSeen == (arming.Instant{}) {
			r.Box.ScanSeen = at
		} else {
			r.Box.ScanSeen = d.state.Box.ScanSeen
		}
		ev = r
	}
	if err := writable(ev); err != nil {
		d.refused(at, &arming.RefusedError{Phase: d.state.Phase, Why: "this cannot be written down: " + err.Error()})
		return nil
	}
	d.before = d.state
	next, effects, refused := arming.Step(d.plan, d.before, at, ev)
	if broken := arming.Check(d.plan, d.before, ev, next, effects); broken != nil {
		panic(broken) // a fault of the program: run opens the permit and ends
	}
	d.state = next
	before, after := &d.before, &d.state
	d.wanted.Store(after.PermitWanted)
	d.openPermit(before, after, effects)
	var failed []arming.Event
	if err := d.record.step(at, wall, ev, before, after, effects, refused); err != nil {
		if _, already := ev.(arming.RecordFailed); !already {
			failed = append(failed, arming.RecordFailed{Why: err.Error()})
		}
	}
	if refused != nil {
		d.refused(at, refused)
	} else if forPeople(ev) {
		d.frame.Refusal, d.frame.Loud = tui.Refusal{}, ""
	}
	failed = append(failed, d.carryOut(effects, wall)...)
	if d.hooks.stepped != nil {
		failed = append(failed, d.hooks.stepped(before, after)...)
	}
	if after.Phase == arming.Wait && (before.Phase == arming.Window || before.Phase == arming.Run) && d.box.fire != nil {
		d.box.fire()
	}
	return append(failed, d.renew()...)
}

// writable reports why an event cannot be written down. Of ticks and readings,
// which are many and carry nothing that a person typed, the record itself says
// so.
func writable(ev arming.Event) error {
	switch ev.(type) {
	case arming.Tick, arming.BoxReading:
		return nil
	}
	_, _, err := journal.EncodeEvent(ev)
	return err
}

// forPeople reports an event that a person caused.
func forPeople(ev arming.Event) bool {
	switch ev.(type) {
	case arming.Tick, arming.BoxReading, arming.BoxUp, arming.BoxEvents, arming.BoxLost, arming.Written,
		arming.RecordFailed, arming.PermitStuck, arming.Stalled, arming.BasisLeft:
		return false
	}
	return true
}

// carryOut does what a step asks for, in order, and stops at the first
// failure (I-28).
func (d *driver) carryOut(effects []arming.Effect, wall time.Time) []arming.Event {
	for _, e := range effects {
		switch e := e.(type) {
		case arming.PermitOff: // done before the record was written
		case arming.PermitOn:
			if err := d.permitOn(e); err != nil {
				d.permitOff()
				d.log(wall, "permit: "+err.Error(), true)
				return []arming.Event{arming.BoxLost{Why: "the permit could not be closed: " + err.Error()}}
			}
		case arming.Write: // the record answers by itself, see ack
		case arming.Lease:
			if d.box.lease != nil {
				d.box.lease(e.On)
			}
		case arming.ClearBits:
			if d.box.clear != nil {
				d.box.clear(e.Bits)
			}
		case arming.Notice:
			d.log(wall, e.Text, e.Loud)
			if e.Loud {
				d.frame.Rings++
				d.frame.Loud, d.loudIn = e.Text, d.state.Phase
			}
		case arming.Callout:
			d.frame.Rings++
			d.log(wall, e.Text, false)
		case arming.CloseRecord:
			if err := d.record.closeNormal(d.clock); err != nil {
				return []arming.Event{arming.RecordFailed{Why: err.Error()}}
			}
		default:
			panic(fmt.Sprintf("session: internal error: effect %T", e))
		}
	}
	return nil
}

func (d *driver) report(r groundbox.Told) {
	if r.Good {
		d.frame.BoxBeat++
	}
	if r.Text != "" {
		d.frame.LinkText = r.Text
	}
	if r.Note != "" {
		d.note(r.Note, r.Pulse)
	}
	switch ev := r.Event.(type) {
	case nil:
	case arming.Stalled:
		// The link let the permit go by itself. In the contact proof that is
		// what was asked for.
		if d.state.PermitWanted {
			d.step(ev)
		}
	default:
		d.step(ev)
	}
}

// note puts a sentence into the log and the record that has no part in the
// machine's steps, with its numbers where there are any.
func (d *driver) note(text string, facts *groundbox.PulseFacts) {
	at, wall := d.clock.now()
	d.log(wall, text, false)
	body := map[string]any{"text": text}
	if facts != nil {
		body["facts"] = facts
	}
	if err := d.record.note(at, wall, journal.KindNote, body); err != nil {
		d.step(arming.RecordFailed{Why: err.Error()})
	}
	d.publish()
}

func (d *driver) tick() {
	d.beat++
	if d.box.lease != nil && d.state.LeaseWanted {
		d.box.lease(true) // it lapses unless it is asked for again
	}
	d.step(arming.Tick{})
	if d.hooks.tick != nil {
		d.hooks.tick()
	}
	now, every := d.clock.mono(), beatsEvery
	if d.state.PermitWanted {
		every = beatsPermit
	}
	if now-d.flushed >= every {
		d.flushed = now
		if err := d.record.flush(); err != nil {
			d.step(arming.RecordFailed{Why: err.Error()})
		}
	}
	switch late := d.record.waiting() > diskLate; {
	case late && !d.diskTold:
		d.diskTold = true
		d.step(arming.RecordFailed{Why: "the disk has not answered for 0.5 s"})
	case !late:
		d.diskTold = false
	}
}

// ack takes the news of an entry that is on disk, or is not.
func (d *driver) ack(a record.Ack, ok bool) {
	if !ok {
		return
	}
	ticket, err := d.record.acked(a)
	switch {
	case err != nil:
		d.step(arming.RecordFailed{Why: err.Error()})
	case ticket > 0:
		d.step(arming.Written{Ticket: ticket})
	}
}

// finish tells the machine that the program ends and ends the record.
func (d *driver) finish(why string) {
	d.permitOff()
	d.step(arming.Quit{Why: why})
	d.permitOff()
	d.failure = d.record.end(&d.state, why)
	d.publish()
}
