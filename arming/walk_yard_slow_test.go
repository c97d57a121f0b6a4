//go:build slow

package arming

import "holdline/arming/groundbox/wire"

// yard is the world around the machine as the walk has it: the box with its
// contacts and rules, the cable, the hands, the people, the program. It is a
// small comparable value. What is true stands here; what the machine believes
// stands in compact.
type yard struct {
	alive   bool
	record  uint8 // what the record on disk says of a program that died
	stalled bool  // the cable: no answer comes, and what is sent comes late or never
	joined  bool  // the driver has told the machine that the box answers
	key     bool  // in
	battery bool  // joined
	hand    bool  // on the button
	fault   fault
	relay   bool // commanded closed, and not opened since
	spent   bool // closed once on this insertion of the key
	dog     uint8
	igniter uint8      // igniterNone, igniterGood, igniterBurned
	forward bool       // a person is really forward
	pulses  bool       // more pulses than the machine has read
	presses bool       // more presses than the machine has read
	events  wire.Event // event bits not told yet
	weld    bool       // the bit for a weld has been told and still stands
	lease   bool       // test current may flow
	lateOn  uint8      // an ON in the cable: 0 none, else 1 + age of its snapshot in quanta
	lateFor uint8      // a KEEP in the cable, likewise
	moved   bool       // the battery was joined and not read since
	slips   uint8      // moves of hands since a reading that still counts

	// The ghosts: a pulse after which no full wait has passed, and a pulse
	// since the wait was last at its full length.
	unwaited bool
	dirty    bool
}

const (
	recordNothing uint8 = iota // nothing connected
	recordHooked               // igniters may be connected, below ARMED
	recordGrave                // ARMED or later
)

const (
	igniterNone uint8 = iota
	igniterGood
	igniterBurned
)

// fault is the one hardware fault of a walk.
type fault uint8

const (
	faultNone          fault = iota
	faultPermitWelded        // the relay stays closed, and its linked contact says so
	faultPermitBridged       // a wire over the relay: its linked contact reads open
	faultPole                // the button's firing pole stays closed
	faultKeyBridged          // a wire over the key: the switch reads out
)

var faultNames = [...]string{"none", "permit welded", "permit bridged", "firing pole closed", "key bridged"}

// rule is a requirement that a walk goes without.
type rule uint8

const (
	allRules rule = iota
	without01
	without03
	without06
	without08
	without12
	without17
	without18
	without21

	// Rules of a pause, whose loss is a broken invariant.
	pauseByAnyone
	pauseByTime
	pauseRuns
	pauseForEver
	pauseOnOldAnswers
	pauseWithoutHold
	pauseWithoutButton
	rules
)

var ruleNames = [...]string{"", "R-01", "R-03", "R-06", "R-08", "R-12", "R-17", "R-18", "R-21", "anyone goes on", "time goes on",
	"the clock runs in a pause", "a pause has no end", "going on asks for no answer that lasts", "no HOLD in a pause", "no button in a pause"}

func (y *yard) permitClosed() bool {
	return y.relay || y.fault == faultPermitWelded || y.fault == faultPermitBridged
}
func (y *yard) keyClosed() bool  { return y.key || y.fault == faultKeyBridged }
func (y *yard) poleClosed() bool { return y.hand || y.fault == faultPole }

// live is current in the firing line, or the bus live with nothing on it.
func (y *yard) live() bool {
	return y.battery && y.keyClosed() && y.permitClosed() && y.poleClosed()
}

// settle takes in what a move of the yard has done to the current; was is
// whether it flowed before. It returns the loss that is reached, or "".
func (y *yard) settle(was bool) string {
	if !y.live() {
		return ""
	}
	if y.igniter != igniterNone {
		y.unwaited, y.dirty = true, true
	}
	if was {
		if y.forward {
			return "current with a person forward"
		}
		return ""
	}
	y.pulses = true
	switch {
	case y.forward:
		return "current with a person forward"
	case !y.hand && y.igniter != igniterNone:
		return "current began with no hand on the button"
	}
	return ""
}

// press and release are the hand on the button. The box latches a press, and a
// press with the permit open is an event; the release after a pulse opens the
// permit.
func (y *yard) press() {
	if !y.poleClosed() {
		y.presses = true
		if !y.permitClosed() {
			y.events |= wire.EventButtonEarly
		}
	}
	y.hand = true
}

func (y *yard) release() {
	if y.live() {
		y.relay = false
	}
	y.hand = false
}

func (y *yard) keyOut() {
	if y.relay {
		y.events |= wire.EventKeyPulled
	}
	y.key, y.relay, y.spent = false, false, false
}

// on is `OUTP:PERM ON` as it arrives: once per insertion, key in, both poles
// open, a snapshot at most 0.3 s old.
func (y *yard) on(r rule, age uint8) {
	pole := y.poleClosed()
	if r == without17 {
		pole = y.hand // one pole only, behind the one that fires
	}
	if !y.key || pole || age > 1 || y.relay || y.spent && r != without18 {
		return
	}
	y.close()
}

func (y *yard) close() { y.relay, y.spent, y.dog, y.lease = true, true, 0, false }

// keep is `OUTP:PERM:KEEP` as it arrives: it never closes. Without R-18 it is
// the same command as ON, which has to come through while the button is kept
// pressed.
func (y *yard) keep(r rule, age uint8) {
	switch {
	case !y.key || age > 1:
	case y.relay:
		y.dog = 0
	case r == without18:
		y.close()
	}
}

// quantum lets the time of one quantum pass in the box and in the cable.
func (y *yard) quantum() {
	if y.relay {
		if y.dog++; y.dog >= 3 { // 0.5 s lie between the second and the third
			y.relay, y.events = false, y.events|wire.EventWatchdog
		}
	}
	if !y.relay {
		y.dog = 0
	}
	for _, late := range []*uint8{&y.lateOn, &y.lateFor} {
		if *late != 0 {
			if *late++; *late > 2 {
				*late = 0 // its snapshot is older than 0.3 s: refused whenever it comes
			}
		}
	}
}

// reading is the snapshot that the box would send now, with counts around the
// machine's own, and the event bits that the driver would tell.
func (y *yard) reading(r rule, old *Box, newScan bool) (BoxReading, wire.Event) {
	b := Box{Key: contact(y.key), Pole2: contact(y.hand), Permit: contact(y.relay || y.fault == faultPermitWelded)}
	b.Pole1 = ContactClosed // what it says where it cannot tell
	if y.key || y.lease {
		b.Pole1 = contact(y.poleClosed())
	}
	if r == without17 {
		b.Pole1 = contact(y.hand)
	}
	node := y.battery
	b.Battery = voltOf(node)
	node = node && y.keyClosed()
	b.BehindKey = voltOf(node)
	node = node && y.permitClosed()
	b.BehindPermit = voltOf(node)
	node = node && y.poleClosed()
	b.Bus = voltOf(node)
	b.Scan = old.Scan
	if y.lease && !node {
		b.Channel[0] = Ohm{Kind: OhmOpen}
		if y.igniter == igniterGood {
			b.Channel[0] = Ohm{OhmValue, 1500}
		}
		if newScan {
			b.Scan++
		}
	}
	b.Pulses, b.Presses = max(0, old.Pulses), max(0, old.Presses)
	if r != without21 {
		if y.pulses {
			b.Pulses++
		}
		if y.presses {
			b.Presses++
		}
	}
	bits := y.events
	welded := y.battery && (y.fault == faultKeyBridged && !y.key || y.keyClosed() && !y.relay && y.permitClosed())
	if welded && !y.weld {
		bits |= wire.EventWelded
	}
	y.weld = welded
	y.pulses, y.presses, y.events, y.moved, y.slips = false, false, 0, false, 0
	return BoxReading{b}, bits
}

func contact(closed bool) Contact {
	if closed {
		return ContactClosed
	}
	return ContactOpen
}

func voltOf(live bool) Volt {
	if live {
		return Volt{LevelLive, 12400}
	}
	return Volt{LevelDead, 0}
}
