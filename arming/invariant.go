package arming

import (
	"errors"
	"fmt"
	"reflect"
	"time"

	"holdline/checklist"
)

// Check judges the edge from a to b, made by ev with the effects fx, by
// every invariant of the package comment that shows on one edge. The error
// joins each that is broken, by number. A shell that sees one has a program
// fault before it: it opens the permit and ends.
func Check(p *Plan, a State, ev Event, b State, fx []Effect) error {
	var broken []error
	c := check{p: p, a: &a, b: &b, ev: ev, fx: fx, asked: ev, broken: &broken}
	if _, ok := ev.(Written); ok && a.Pending.Event != nil {
		c.asked = a.Pending.Event
	}
	c.permit()
	c.phases()
	c.line()
	c.arming()
	c.waiting()
	c.doubts()
	return errors.Join(broken...)
}

type check struct {
	p      *Plan
	a, b   *State
	ev     Event
	asked  Event // the event that waited for its entry, when ev is Written
	fx     []Effect
	broken *[]error // a pointer, so that a and b need no place on the heap
}

// must notes a broken invariant unless ok.
func (c *check) must(ok bool, number int, text string) {
	if !ok {
		*c.broken = append(*c.broken, fmt.Errorf("arming: internal error: I-%02d: %s (%v to %v by %v)", number, text,
			c.a.Phase, c.b.Phase, reflect.TypeOf(c.ev)))
	}
}

// permit checks I-01, I-03, I-04, I-10, I-18, I-27.
func (c *check) permit() {
	b := c.b
	inWindow := b.Phase == Window || b.Phase == Run
	if b.PermitWanted {
		c.must(inWindow || b.Phase == Proof && b.Proof == ProofPermit && !b.Hooked, 1, "permit wanted")
		c.must(b.Line == LineClosed, 3, "permit wanted with the line "+b.Line.String())
		c.must(b.Now.Since(b.PermitAt) <= c.p.Times.Permit, 18, "permit too long")
		c.must(!b.LeaseWanted, 10, "lease and permit wanted")
	}
	if b.Phase == Window {
		c.must(len(b.Blockers(c.p)) == 0, 3, "a gate does not stand in WINDOW")
	}
	c.must(!b.LeaseWanted || b.Line == LineClosed, 10, "lease with the line "+b.Line.String())
	ons := 0
	for _, f := range c.fx {
		if on, ok := f.(PermitOn); ok {
			ons++
			c.must(on.Ticket != 0 && on.Ticket <= b.OnDisk, 27, "permit on without its line on disk")
			c.must(b.PermitSpent, 4, "a permit that is not counted")
			c.must(!c.a.PermitSpent || b.Box.Key == ContactOpen, 4, "a second permit on one insertion of the key")
		}
	}
	c.must(ons <= 1, 4, "two permits in one step")
}

// phases checks I-02, I-05, I-06, I-12, I-22 and I-11.
func (c *check) phases() {
	a, b := c.a, c.b
	if a.Phase != Window && b.Phase == Window {
		ok := a.Phase == Count && !a.Paused && b.Now.Mono >= b.ZeroAt.Mono
		if c.p.Mode == ModeBox {
			ok = ok && b.Box.Key == ContactClosed && b.Box.Pole1 == ContactOpen && b.Box.Pole2 == ContactOpen &&
				b.Box.Seen.Mono >= b.ZeroAt.Mono-300*time.Millisecond
		}
		c.must(ok, 2, "WINDOW entered")
	}
	if a.Phase != b.Phase {
		switch a.Phase {
		case Run:
			c.must(b.Phase == Wait, 5, "RUN left")
		case Window:
			c.must(b.Phase == Run || b.Phase == Wait, 5, "WINDOW left")
		case Wait:
			toHold := b.Phase == Hold && a.NoPulse == NoPulseOpened && b.Box.Permit == ContactOpen &&
				b.Box.Pulses == a.PulsesBefore && b.Box.Presses == a.PressesBefore
			c.must(toHold || b.Phase == MakeSafe, 5, "WAIT left")
		case Hold:
			c.must(b.Phase == Setup || b.Phase == Ready || b.Phase == MakeSafe || b.Phase == Wait, 12, "HOLD left")
		case Closed:
			c.must(false, 6, "CLOSED left")
		}
		c.entered()
	}
	if a.Phase == Count && a.Paused && b.Phase == Count {
		c.pause()
	}
	if _, held := c.ev.(HoldCall); held && a.Phase >= Ready && a.Phase <= Run {
		_, first := firstEffect(c.fx).(PermitOff)
		c.must((b.Phase == Hold || b.Phase == Wait) && first, 11, "HOLD did not act at once")
	}
	c.must(!b.PermitEver || b.Phase >= Window && b.Phase <= Closed, 6, "a possible pulse is forgotten")
}

// pause checks I-02 and I-17 where a pause of the count goes on or ends.
func (c *check) pause() {
	a, b := c.a, c.b
	c.must(b.ToZero() == a.PauseLeft, 2, "the clock ran in a pause of the count")
	if b.Paused {
		return
	}
	order, asked := c.asked.(StartCount)
	c.must(asked && c.ev != c.asked, 2, "a pause of the count ended by itself")
	c.must(!asked || sameName(order.By, a.Crew.Firing), 2, "a pause of the count ended by another's word")
	ok, _ := b.lasting(c.p, a.PauseLeft+c.p.Times.Window)
	c.must(ok, 17, "COUNT goes on with answers that will not last")
}

// entered checks what must be so on entering a phase.
func (c *check) entered() {
	a, b := c.a, c.b
	switch b.Phase {
	case MakeSafe:
		_, order := c.asked.(GoForward)
		fromWait := a.Phase == Wait && a.WaitLeft == 0 && order
		c.must(fromWait || a.Phase != Wait && !a.PermitEver, 22, "MAKESAFE entered")
	case Closed:
		c.must(a.Phase == MakeSafe && len(b.AllClearMissing(c.p)) == 0, 6, "CLOSED entered")
	case Count:
		ok, _ := b.lasting(c.p, c.p.Times.Count+c.p.Times.Window)
		c.must(ok, 17, "COUNT begun on answers that will not last")
	case Wait:
		c.must(b.WaitLeft == c.p.Times.Wait, 21, "WAIT begun short")
	case Armed:
		c.must(a.Phase == Ready && a.ArmEntry && b.Now.Since(a.ArmEntryAt) <= armPair, 13, "ARMED entered")
	}
}

func firstEffect(fx []Effect) Effect {
	if len(fx) == 0 {
		return nil
	}
	return fx[0]
}

// line checks I-07, I-08, I-09 and I-34.
func (c *check) line() {
	a, b := c.a, c.b
	if b.Line == LineOpen {
		c.must(b.Phase == Setup || b.Phase == MakeSafe || b.Phase == Closed, 7, "line OPEN")
		c.must(!b.PermitWanted && !b.LeaseWanted, 7, "line OPEN with permit or test current wanted")
	}
	if a.Line != LineOpen && b.Line == LineOpen {
		_, open := c.asked.(OpenLine)
		_, forward := c.asked.(GoForward)
		c.must(open || forward, 8, "the line opened by itself")
		c.must(b.keyOut(c.p) && b.batteryOff(c.p) && (b.permitOpen(c.p) || forward && !b.PermitWanted) && b.busDead(c.p), 7,
			"the line opened on a circuit not known dead")
	}
	if a.Line != LineClosed && b.Line == LineClosed {
		_, counted := c.ev.(CloseLine)
		c.must(counted, 8, "the line closed by itself")
	}
	switch b.Phase {
	case Ready, Armed, Count, Window, Run:
		c.must(b.Line == LineClosed, 9, "line "+b.Line.String())
	case Wait:
		c.must(b.Line != LineOpen, 9, "line OPEN in WAIT")
	}
	c.must(b.Line != LineOpen || !b.BoxFault || !b.Hooked || b.Phase == MakeSafe, 34, "people at the vehicle on a box that is not whole")
	if _, start := c.ev.(Start); !a.Hooked && b.Hooked && !start {
		i := c.p.index(StepProof)
		ok, _ := a.Stands(c.p, i)
		c.must(ok, 34, "hooked up without a contact proof")
	}
}

// arming checks I-13, I-14, I-16, I-18 (a pause too) and the key and button part of I-29.
func (c *check) arming() {
	a, b := c.a, c.b
	if b.Phase >= Armed && b.Phase <= Window {
		c.must(b.ArmEntry && b.CodeOK && !sameName(b.Crew.Firing, b.Crew.Range) && b.Crew.Range != "", 13, "armed by one")
		c.must(a.Phase >= Ready && a.Phase <= Window, 12, "armed without both acts")
	}
	if b.Phase == Count || b.Phase == Window {
		c.must(b.KeyInArmed, 13, "counting without the key")
	}
	c.must(b.Phase != Armed || b.Now.Since(b.Entered) <= c.p.Times.Armed, 18, "ARMED too long")
	c.must(b.Phase != Window || b.Now.Mono < b.WindowEnds, 18, "WINDOW too long")
	c.must(b.Phase != Count || !b.Paused || b.Now.Since(b.PausedAt) <= checklist.PauseMost, 18, "a pause of the count too long")
	if _, left := c.ev.(BasisLeft); left {
		i := c.p.index(StepPrediction)
		c.must(!b.Evidence[i].Present, 16, "the prediction outlived its basis")
	}
	r, reading := c.ev.(BoxReading)
	if !reading || c.p.Mode != ModeBox || a.BoxRefused {
		return // of no box of this firing, which is refused
	}
	button := r.Box.Pole1 == ContactClosed && r.Box.sensed(c.p) || r.Box.Pole2 == ContactClosed
	keyIn := r.Box.Key == ContactClosed
	if a.Box.Presses >= 0 && r.Box.Presses > a.Box.Presses { // counted is pressed, read closed or not
		button = true
	}
	switch a.Phase {
	case Ready:
		c.must(!(button || keyIn) || b.Phase == Hold || b.Phase == Wait, 29, "key or button in READY")
	case Armed, Count:
		c.must(!button || b.Phase == Hold || b.Phase == Wait, 29, "button before zero")
	case MakeSafe:
		c.must(!(button || keyIn) || b.Phase == Wait, 29, "key or button in MAKESAFE")
		c.must(r.Box.Bus.Level != LevelLive || b.Phase == Wait, 22, "a live bus in MAKESAFE")
	case Wait:
		c.must(!(button || keyIn) || b.WaitLeft == c.p.Times.Wait || b.Phase == Hold, 29, "key or button in WAIT")
	case Setup, Hold, Closed:
		c.must(!(button || keyIn) && r.Box.Bus.Level != LevelLive || b.Line != LineOpen, 29, "key, button or a live bus with the line OPEN")
	}
}

// waiting checks I-19, I-20, I-23 and I-24.
func (c *check) waiting() {
	a, b := c.a, c.b
	if a.Phase == Wait && b.Phase == Wait && b.WaitLeft < a.WaitLeft {
		step := min(b.Now.Mono-a.Now.Mono, b.Now.Wall-a.Now.Wall, time.Second)
		c.must(a.WaitLeft-b.WaitLeft <= step*time.Duration(c.p.WaitSpeed) && a.AtRest, 19, "the wait ran too fast")
	}
	switch c.ev.(type) {
	case BoxLost, BoxUp:
		c.must(c.p.Mode != ModeBox || b.Phase != Wait || b.WaitLeft == c.p.Times.Wait, 20, "the wait was not set to full")
	case HoldCall, Stalled:
		c.must(b.Phase != Wait || b.WaitLeft == c.p.Times.Wait, 20, "the wait was not set to full")
	}
	if a.Hooked && b.Live(c.p) < a.Live(c.p) {
		_, inspected := c.asked.(Inspect)
		c.must(inspected && a.Phase == MakeSafe, 23, "a live motor was forgotten")
		_, reading := c.ev.(BoxReading)
		c.must(!reading, 24, "a reading made a motor less than live")
	}
}

// doubts checks I-25 and I-28.
func (c *check) doubts() {
	b := c.b
	safe := b.Phase == c.a.Phase || b.Phase == Hold || b.Phase == Wait || b.Phase == Setup
	switch c.ev.(type) {
	case BoxLost, PermitStuck, Stalled, Quit, FocusLost, RecordFailed:
		c.must(safe, 25, "a doubt moved the machine on")
	}
	if _, failed := c.ev.(RecordFailed); failed && c.a.Phase >= Ready && c.a.Phase <= Run {
		c.must(b.Phase == Hold || b.Phase == Wait, 28, "no record, and still going")
	}
}
