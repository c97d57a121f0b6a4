package groundbox

import (
	"fmt"
	"time"

	"holdline/arming/groundbox/wire"
)

// permit is what the driver knows of the permit. The zero value is open, with
// nothing asked.
type permit struct {
	state  permitState
	number uint64 // of the grant that ON was sent for
	onAt   time.Time
	keptAt time.Time

	wasOn bool // ON was sent since the permit was last seen open

	offAt   time.Time // when the opening was asked
	alarmed bool

	lapseAt time.Time // when it was let lapse
}

type permitState int

const (
	permitIdle    permitState = iota
	permitClosing             // ON was sent
	permitClosed              // read closed
	permitOpening             // OFF was asked, not yet seen open
	permitLapsing             // no longer kept: the box's watchdog has to open it
)

// closeWithin is how soon after ON the relay must read closed: the box has
// 50 ms, the rest is polling.
const closeWithin = 250 * time.Millisecond

// lapseWithin is how long after Lapse the box may keep the permit closed: its
// longest watchdog time, the way to trip, and polling.
const lapseWithin = 800 * time.Millisecond

func (p *permit) mayBeClosed() bool {
	return p.state == permitClosing || p.state == permitClosed || p.state == permitLapsing
}

func (p *permit) opening() bool { return p.state == permitOpening }

// takeOff takes over a PermitOff of somebody else.
func (d *driver) takeOff() {
	d.l.mu.Lock()
	asked := d.l.offAsked
	d.l.offAsked = time.Time{}
	d.l.mu.Unlock()
	if !asked.IsZero() {
		d.watchOpening(asked)
	}
}

// watchOpening starts to watch the permit open. One that is watched already is
// not given more time.
func (d *driver) watchOpening(asked time.Time) {
	p := &d.permit
	if p.opening() && !p.alarmed {
		return
	}
	if !p.wasOn && (d.s == nil || !d.connected) {
		return // no permit was ever given here, and nobody can say more
	}
	p.state, p.offAt, p.alarmed = permitOpening, asked, false
	if d.s != nil {
		d.s.pollSoon = true
	}
}

// dropGrant is the driver's own decision to open the permit.
func (d *driver) dropGrant(reason string) {
	d.l.mu.Lock()
	d.l.endGrants()
	w := d.l.writer
	d.l.mu.Unlock()
	if w != nil {
		w.off()
	}
	if d.permit.mayBeClosed() {
		d.report(PermitDropped{Reason: reason})
	}
	d.watchOpening(time.Now())
}

// watchGrant lets go when the grant has run out or the driver was late.
func (d *driver) watchGrant(now time.Time) {
	stalled := d.stalled
	d.stalled = 0
	if !d.permit.mayBeClosed() {
		return
	}
	if stalled > 0 {
		d.dropGrant(fmt.Sprintf("the program stood still for %.2f s", stalled.Seconds()))
		return
	}
	if d.permit.state == permitLapsing {
		if now.Sub(d.permit.lapseAt) > lapseWithin {
			d.dropGrant("the box's watchdog did not open the permit")
		}
		return
	}
	if d.takeLapse() {
		d.permit.state, d.permit.lapseAt = permitLapsing, now
		return
	}
	if g, stands := d.l.granted(now); !stands || g.Number != d.permit.number {
		d.dropGrant("the permit was not asked for again in time")
	}
}

// takeLapse takes over a Lapse of somebody else.
func (d *driver) takeLapse() bool {
	d.l.mu.Lock()
	defer d.l.mu.Unlock()
	asked := d.l.lapse
	d.l.lapse = false
	return asked
}

// alarm says so when the permit was not read open in time.
func (d *driver) alarm(now time.Time) {
	p := &d.permit
	if !p.opening() || p.alarmed || now.Sub(p.offAt) < OpenWithin {
		return
	}
	p.alarmed = true
	reason := "no good answer came from the box"
	if s := d.s; s != nil && s.haveLast && s.lastAt.After(p.offAt) {
		switch {
		case s.last.PermitClosed:
			reason = "the permit's contact reads closed"
		case !s.last.BehindPermitV.Dead():
			reason = "there is voltage behind the permit: " + s.last.BehindPermitV.String() + " V"
		}
	}
	d.report(PermitDidNotOpen{Reason: reason})
}

// permitSeen follows a good snapshot that was asked for at asked.
func (d *driver) permitSeen(s Snapshot, asked, at time.Time) error {
	p := &d.permit
	switch p.state {
	case permitOpening: // only a snapshot that was asked for after OFF had gone out counts
		off, clear := d.s.c.w.offWritten()
		if clear && !off.IsZero() && !asked.Before(off) && !s.PermitClosed && s.BehindPermitV.Dead() {
			*p = permit{}
		}
		return nil
	case permitLapsing:
		if !s.PermitClosed {
			*p = permit{} // opened by its watchdog, as it should
		}
		return nil
	case permitClosing, permitClosed:
		if reason := d.dropReason(s, at); reason != "" {
			d.dropGrant(reason)
			return nil
		}
		if p.state == permitClosing && s.PermitClosed {
			p.state = permitClosed
		}
		return d.keep(s, at)
	}
	return d.close(s, at)
}

// tripping events end a grant, and forbid one. That the key was out is the
// machine's to judge, which knows when it has to be in; the box opens the permit
// by itself then.
const tripping = wire.EventsKnown &^ (wire.EventButtonEarly | wire.EventKeyOut)

// dropReason says why a snapshot ends the grant, or nothing.
func (d *driver) dropReason(s Snapshot, at time.Time) string {
	switch {
	case !s.KeyIn:
		return "the key is out"
	case s.Events&tripping&^wire.EventErrors != 0:
		return "the box reports: " + (s.Events & tripping).String()
	case d.permit.state == permitClosed && !s.PermitClosed:
		return "the box has opened the permit"
	case s.Events&wire.EventErrors != 0:
		return "the box reports: " + wire.EventErrors.String()
	case d.permit.state == permitClosing && !s.PermitClosed && at.Sub(d.permit.onAt) > closeWithin:
		return "the permit did not close"
	}
	return ""
}

// keep sends KEEP when it is time.
func (d *driver) keep(s Snapshot, at time.Time) error {
	if at.Sub(d.permit.keptAt) < KeepEvery-5*time.Millisecond || !s.PermitClosed {
		return nil
	}
	sent, err := d.sendPermit("OUTP:PERM:KEEP "+d.l.token, s, at)
	if sent {
		d.permit.keptAt = at
	}
	return err
}

// close sends ON once for a new grant.
func (d *driver) close(s Snapshot, at time.Time) error {
	g, stands := d.l.granted(at)
	if !stands {
		return nil
	}
	if reason := closeRefusal(s); reason != "" {
		d.l.mu.Lock()
		d.l.ended = max(d.l.ended, g.Number)
		d.l.mu.Unlock()
		d.report(Refused{Command: "OUTP:PERM ON", Reason: reason})
		return nil
	}
	d.permit.number = g.Number
	sent, err := d.sendPermit("OUTP:PERM ON,"+d.l.token, s, at)
	if !sent {
		return err
	}
	p := &d.permit
	p.state, p.onAt, p.keptAt, p.wasOn = permitClosing, at, at, true
	return nil
}

// closeRefusal says why ON is not sent after this snapshot. The box would
// refuse most of it as well.
func closeRefusal(s Snapshot) string {
	switch {
	case s.Events&tripping != 0:
		return "the box reports: " + (s.Events & tripping).String()
	case !s.KeyIn:
		return "the key is out"
	case s.Pole1Closed || s.Pole2Closed:
		return "the button does not read open"
	case s.PermitClosed:
		return "the permit reads closed already"
	case !s.BehindPermitV.Dead() || !s.BusV.Dead():
		return "there is voltage behind the permit"
	}
	return ""
}

// sendPermit queues ON or KEEP, if the grant still stands at that very moment.
func (d *driver) sendPermit(head string, s Snapshot, at time.Time) (sent bool, err error) {
	text := fmt.Sprintf("%s,%d", head, s.Sequence)
	now := time.Now()
	before := at.Add(snapshotOfUse)
	d.l.mu.Lock()
	defer d.l.mu.Unlock()
	g := d.l.grant
	if g.Number != d.permit.number || g.Number <= d.l.ended || !now.Before(g.Until) || !now.Before(before) {
		return false, nil
	}
	if g.Until.Before(before) {
		before = g.Until
	}
	if err := d.s.c.w.send(outMessage{text: text, permit: true, before: before}); err != nil {
		return false, err
	}
	d.s.noteSent(text)
	return true, nil
}
