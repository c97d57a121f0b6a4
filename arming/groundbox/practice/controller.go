package practice

import (
	"math"

	"holdline/arming/groundbox/wire"
)

const (
	leaseMs        = 5000
	snapshotFresh  = 300 // ms: ON and KEEP want a younger snapshot
	mostErrors     = 20
	mostWaiting    = 8
	referenceV     = 2.5
	serviceMs      = 10000 // the button kept pressed from power-up, at the box
	channelTestMs  = 20    // one resistance measurement
	rememberedSeqs = 64
)

// controller is the box's program: what it has read and what it remembers. All
// of it but the counts is lost at a restart.
type controller struct {
	started  bool
	service  int64 // since when the hand that services the box has been on it, -1 for never
	owner    string
	events   wire.Event
	errors   []wire.Error
	sequence uint16
	formed   [rememberedSeqs]formedSeq // the newest snapshots

	key          debounced
	pole1, pole2 debounced
	pole1Sensed  bool
	pole1Opened  bool // read open since the sense current came on
	keySeenOut   bool
	insertion    bool // one ON is left for this insertion of the key
	pressed      bool
	pulseArmed   bool // the bus has been dead since the last pulse

	leaseUntil int64
	scan       uint16
	readings   []wire.Reading // of the scan that the lease keeps going
	partial    []wire.Reading
	scanMs     int64

	job     *job
	waiting []wire.Command
}

type formedSeq struct {
	valid bool
	used  bool
	seq   uint16
	ms    int64
}

// debounced is a contact as it is read.
type debounced struct {
	raw, read bool
	sinceMs   int64
}

func (d *debounced) update(raw bool, ms int64) {
	if raw != d.raw {
		d.raw, d.sinceMs = raw, ms
	}
}

func (c *controller) powerUp(channels int) {
	*c = controller{events: wire.EventRestarted}
	c.readings = make([]wire.Reading, channels)
	c.pole1.read, c.pole1.raw = true, true
	c.leaseUntil = -1
}

func (c *controller) leaseOn(ms int64) bool { return ms < c.leaseUntil }

// sample reads the inputs once a millisecond and does what the box does by
// itself.
func (c *controller) sample(h *hardware, ms int64) {
	if !c.started {
		c.started, c.service = true, ms
		c.key.sinceMs, c.pole1.sinceMs, c.pole2.sinceMs = ms, ms, ms
		c.pulseArmed = math0(h.busV)
	}
	c.sampleKey(h, ms)
	c.samplePoles(h, ms)
	c.watchdog(h, ms)
	c.samplePulse(h, ms)
	c.serviced(h, ms)
	if h.commanded && ms-h.closedMs >= permitLimitMs {
		h.openPermit(ms)
		c.events |= wire.EventPermitLimit
	}
	if c.welded(h, ms) {
		c.events |= wire.EventWelded
	}
	c.scanStep(h, ms)
}

func math0(v float64) bool { return v < wire.DeadBelowV && v > -wire.DeadBelowV }

// watchdog is the program's, exact: it opens the relay when nobody has restarted
// it in time. The other one is in the hardware.
func (c *controller) watchdog(h *hardware, ms int64) {
	if !h.noWatchdog && (h.commanded || h.drive && !h.testsSecond) && ms >= h.watchdogFromMs+h.watchdogMs+watchdogLagMs {
		if h.commanded {
			c.events |= wire.EventWatchdog
		}
		h.openPermit(ms)
		h.drive = false
	}
}

// serviced sets counts that are unknown to 0 by what only a person at the box
// can do: key out, battery off, button kept pressed for 10 s from power-up.
func (c *controller) serviced(h *hardware, ms int64) {
	if c.key.raw || !c.pole2.raw || math.Abs(h.batteryV) >= wire.DeadBelowV {
		c.service = -1
	}
	if c.service < 0 || ms-c.service < serviceMs {
		return
	}
	c.service = -1
	if h.pulses == wire.Unknown || h.presses == wire.Unknown {
		h.pulses, h.presses = 0, 0
		c.events |= wire.EventRestarted
	}
}

// sampleKey: out counts at once, in after 20 ms on end.
func (c *controller) sampleKey(h *hardware, ms int64) {
	c.key.update(h.keyHand, ms)
	if !c.key.raw {
		c.events |= wire.EventKeyOut
		if c.key.read && (h.commanded || h.permitContact) {
			c.events |= wire.EventKeyPulled
		}
		if h.commanded {
			h.openPermit(ms)
		}
		c.key.read, c.keySeenOut, c.insertion = false, true, false
		return
	}
	if !c.key.read && ms-c.key.sinceMs >= debounceMs {
		c.key.read = true
		c.insertion = c.keySeenOut
		c.breakOff(h, ms)
	}
}

// samplePoles: closing counts at once, opening after 20 ms on end. Pole 1 is
// told only by its sense current, and reads closed otherwise.
func (c *controller) samplePoles(h *hardware, ms int64) {
	sensed := c.key.read || c.leaseOn(ms)
	if sensed != c.pole1Sensed {
		c.pole1Sensed, c.pole1Opened = sensed, false
		c.pole1 = debounced{raw: true, read: true, sinceMs: ms}
	}
	wasPole1, wasPole2 := c.pole1.read, c.pole2.read
	if sensed {
		c.pole1.update(h.pole1, ms)
		c.pole1.read = c.pole1.raw || c.pole1.read && ms-c.pole1.sinceMs < debounceMs
		c.pole1Opened = c.pole1Opened || !c.pole1.read
	}
	c.pole2.update(h.pole2, ms)
	c.pole2.read = c.pole2.raw || c.pole2.read && ms-c.pole2.sinceMs < debounceMs

	pressed := c.pole2.read || c.pole1Sensed && c.pole1Opened && c.pole1.read
	if pressed && !c.pressed {
		if h.presses != wire.Unknown {
			h.presses++
		}
		if !h.permitContact {
			c.events |= wire.EventButtonEarly
		}
	}
	c.pressed = pressed
	released := wasPole1 && !c.pole1.read || wasPole2 && !c.pole2.read
	if released && h.fire.running {
		h.endPulse(ms)
	}
	if released && h.commanded && h.fire.byPermit {
		h.openPermit(ms)
	}
}

// samplePulse latches the bus going live and dead.
func (c *controller) samplePulse(h *hardware, ms int64) {
	if h.busDead(ms) {
		c.pulseArmed = true
		if h.fire.running {
			h.endPulse(ms)
		}
	}
	if c.pulseArmed && h.busV > wire.LiveAboveV {
		c.pulseArmed = false
		if h.pulses != wire.Unknown {
			h.pulses++
		}
		h.fire = pulseRecord{known: true, running: true, beganMs: ms, lowestV: h.batteryLowV, byPermit: h.commanded}
	}
	if h.fire.running {
		h.fire.lowestV = min(h.fire.lowestV, h.batteryLowV)
	}
}

func (h *hardware) endPulse(ms int64) {
	h.fire.running = false
	h.fire.endedMs = ms
}

// welded tells a voltage behind an open contact. Each contact gets its
// debounce time to let the node follow.
func (c *controller) welded(h *hardware, ms int64) bool {
	keyOpen := !c.key.raw && ms-c.key.sinceMs >= debounceMs
	permitOpen := !h.permitContact && ms-h.contactSinceMs >= debounceMs || !h.coil && ms-h.coilSinceMs >= commandedOpenMs
	pole2Open := !c.pole2.raw && ms-c.pole2.sinceMs >= debounceMs
	pole1Open := c.pole1Sensed && !c.pole1.raw && ms-c.pole1.sinceMs >= debounceMs
	return keyOpen && h.behindKeyV > wire.LiveAboveV ||
		permitOpen && h.behindPermitV > wire.LiveAboveV ||
		(pole1Open || pole2Open) && h.busV > wire.LiveAboveV
}

// eventBits adds the events that are states to those that are latched.
func (c *controller) eventBits() wire.Event {
	e := c.events
	if len(c.errors) > 0 {
		e |= wire.EventErrors
	}
	return e
}

func (c *controller) fail(e wire.Error) {
	switch {
	case len(c.errors) < mostErrors:
		c.errors = append(c.errors, e)
	default:
		c.errors[mostErrors-1] = wire.ErrQueueFull
	}
}

// scanStep measures one channel after the other under the lease. A scan that
// was interrupted is void.
func (c *controller) scanStep(h *hardware, ms int64) {
	if !c.leaseOn(ms) || h.permitContact || h.coil || !h.busDead(ms) {
		c.voidScan()
		return
	}
	if c.job != nil {
		c.partial = c.partial[:0]
		c.scanMs = 0
		return
	}
	if c.scanMs++; c.scanMs < channelTestMs {
		return
	}
	c.scanMs = 0
	c.partial = append(c.partial, h.ohmAt(len(c.partial)))
	if len(c.partial) == h.channels() {
		copy(c.readings, c.partial)
		c.partial = c.partial[:0]
		c.scan++
	}
}

func (c *controller) voidScan() {
	c.partial, c.scanMs = c.partial[:0], 0
	clear(c.readings)
}

// snapshot forms the answer to STATus:SNAPshot?.
func (c *controller) snapshot(h *hardware, ms int64) wire.Snapshot {
	c.sequence++
	c.formed[int(c.sequence)%rememberedSeqs] = formedSeq{valid: true, seq: c.sequence, ms: ms}
	return wire.Snapshot{
		Practice: true, Sequence: c.sequence,
		KeyIn: c.key.read, Pole1Closed: c.pole1.read, Pole2Closed: c.pole2.read, PermitClosed: h.permitContact,
		BatteryV: volts(h.batteryV), BehindKeyV: volts(h.behindKeyV), BehindPermitV: volts(h.behindPermitV), BusV: volts(h.busV),
		Pulses: h.pulses, Presses: h.presses, Events: c.eventBits(), Scan: c.scan,
		ChannelOhm: append([]wire.Reading(nil), c.readings...), ReferenceV: wire.Of(referenceV * float64(c.sequence%2)),
	}
}

// freshSequence checks the snapshot number of an ON or a KEEP.
func (c *controller) freshSequence(seq uint16, ms int64) bool {
	f := c.formed[int(seq)%rememberedSeqs]
	return f.valid && f.seq == seq && !f.used && ms-f.ms <= snapshotFresh
}

func (c *controller) useSequence(seq uint16) { c.formed[int(seq)%rememberedSeqs].used = true }

func (c *controller) setOwner(h *hardware, token string, ms int64) {
	if token == c.owner {
		return
	}
	if c.owner != "" {
		c.events |= wire.EventOwnerChanged
	}
	c.owner = token
	h.openPermit(ms)
	c.leaseUntil = -1
	c.breakOff(h, ms)
}
