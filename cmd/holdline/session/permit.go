package session

import (
	"errors"
	"fmt"
	"time"

	"holdline/arming"
)

// permitOff opens the permit. It may be called from any goroutine.
func (d *driver) permitOff() {
	d.wanted.Store(false)
	if d.box.off != nil {
		d.box.off()
	}
}

// callHold is HOLD. It may be called from any goroutine and never blocks; a
// HOLD that has not been looked at yet stands for this one too. A permit that
// may be closed is opened here already, so that nothing in the driver's way
// can delay it.
func (d *driver) callHold() {
	if d.wanted.Load() {
		d.permitOff()
	}
	select {
	case d.hold <- struct{}{}:
	default:
	}
}

// openPermit opens the permit if the step says so, before anything else is
// done. A permit that is no longer wanted although no OFF is asked for is the
// contact proof's: nothing is sent, the box's watchdog has to open it.
func (d *driver) openPermit(before, after *arming.State, effects []arming.Effect) {
	for _, e := range effects {
		if _, off := e.(arming.PermitOff); off {
			d.permitOff()
			return
		}
	}
	if before.PermitWanted && !after.PermitWanted {
		if after.Proof == arming.ProofWatchdog && d.box.lapse != nil {
			d.box.lapse()
			return
		}
		d.permitOff()
	}
}

// permitOn closes the permit, if the entry that allows it is on disk (I-27) and
// everything that has to be alive is.
func (d *driver) permitOn(e arming.PermitOn) error {
	switch {
	case d.box.on == nil:
		return errors.New("there is no permit contact")
	case !d.record.onDisk(e.Ticket):
		return fmt.Errorf("entry %d that allows it is not on disk", e.Ticket)
	case d.late() != "":
		return fmt.Errorf("the %s is late", d.late())
	}
	return d.box.on(time.Now().Add(permitLife))
}

// late names the part of the program that is late, "" for none.
func (d *driver) late() string {
	now := d.clock.mono()
	switch {
	case now-time.Duration(d.asked.Load()) > screenLate, d.hooks.stuck != nil && d.hooks.stuck():
		return "screen"
	case d.record.waiting() > diskLate:
		return "record"
	}
	return ""
}

// renew grants the link another short life of the permit, or opens it and
// returns which part stands still.
func (d *driver) renew() []arming.Event {
	part := d.late()
	switch {
	case !d.state.PermitWanted:
		d.stalled = false
	case part == "":
		if d.box.grant != nil {
			d.box.grant(time.Now().Add(permitLife))
		}
	case !d.stalled:
		d.stalled = true
		d.permitOff()
		return []arming.Event{arming.Stalled{Part: part}}
	}
	return nil
}
