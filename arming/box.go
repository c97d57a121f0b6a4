package arming

import (
	"fmt"

	"holdline/checklist"
)

// onBoxUp takes the news that a box answers. A box that is not what the
// firing began with is no box.
func (m *machine) onBoxUp(ev BoxUp) error {
	wrong := ""
	switch {
	case ev.Practice != m.p.Practice:
		wrong = "the box says " + practiceWord(ev.Practice) + ", this firing is " + practiceWord(m.p.Practice)
	case ev.Channels < m.p.Motors:
		wrong = fmt.Sprintf("the box has %d channels, the sheet %d motors", ev.Channels, m.p.Motors)
	}
	if m.s.BoxRefused = wrong != ""; m.s.BoxRefused {
		m.s.Box.Up = false
		m.boxFault(wrong) // nobody reads the circuit of this firing any more
		m.stop(wrong)
		return nil
	}
	if ev.NewBox {
		m.boxFault("another box, or the box began anew")
		if m.s.Hooked {
			m.unknownPulse("another box, or the box began anew: nobody watched the circuit")
			return nil
		}
	}
	switch m.s.Phase {
	case Proof, Wait, MakeSafe, Window, Run, Armed, Count:
		m.stop("the box is back")
	default:
		m.notice("box: " + ev.Identity)
	}
	return nil
}

func practiceWord(practice bool) string {
	if practice {
		return "PRACTICE"
	}
	return "real"
}

// boxFault withdraws what rests on the box having been whole. Who is forward
// went on the word of its contact proof, and comes back.
func (m *machine) boxFault(why string) {
	m.s.BoxFault = true
	m.drop(checklist.DropBoxFault, why)
	if m.s.Line == LineOpen && m.s.Phase != MakeSafe { // from MAKESAFE all that calls this leads to WAIT
		m.everyoneBack("the box is not whole: " + why)
	}
}

// onBoxEvents takes the event bits of the box.
func (m *machine) onBoxEvents(ev BoxEvents) error {
	m.fx = append(m.fx, ClearBits(ev))
	bits := ev.Bits
	if m.s.Phase == Proof && m.s.Proof == ProofWatchdog && bits&BitWatchdog != 0 {
		m.s.ProofTrip = true
		bits &^= BitWatchdog
	}
	if m.s.Phase < Ready || m.s.Phase == Closed {
		if bits&BitEarly != 0 && m.s.Phase == Setup {
			m.earlyHands("the button was pressed")
		}
		bits &^= BitEarly
	}
	why := bitsText(bits)
	if why == "" {
		return nil
	}
	if bits&(BitWatchdog|BitRestarted|BitWelded|BitOwner|BitPermitTime) != 0 {
		m.boxFault(why)
	}
	m.stop("the box reports: " + why)
	return nil
}

// bitsText says the first of the bits that calls for a stop.
func bitsText(bits int) string {
	for _, b := range []struct {
		bit  int
		text string
	}{
		{BitWelded, "voltage behind an open contact, welded or bridged"},
		{BitWatchdog, "its watchdog opened the permit"},
		{BitKeyPulled, "the key was pulled while the permit was closed"},
		{BitRestarted, "its controller restarted"},
		{BitOwner, "another program took it over"},
		{BitPermitTime, "the permit reached its own time limit"},
		{BitErrors, "a command was not understood"},
		{BitEarly, "the button was pressed while the permit was open"},
	} {
		if bits&b.bit != 0 {
			return b.text
		}
	}
	return ""
}

// onBoxReading takes a snapshot, then looks at what it shows.
func (m *machine) onBoxReading(ev BoxReading) error {
	if m.s.BoxRefused {
		return m.refuse("this is not the box of this firing", "connect the right one")
	}
	old := m.s.Box
	b := ev.Box
	b.Up, b.Seen, b.ScanSeen = true, m.s.Now, old.ScanSeen
	if b.Scan != old.Scan || !old.Up {
		b.ScanSeen = m.s.Now
	}
	if b.Pole1 == ContactClosed && !b.sensed(m.p) {
		// The box says closed for what it cannot tell.
		b.Pole1 = ContactUnknown
	}
	m.s.Box = b
	if !m.s.LeaseWanted && !b.measuring(m.p) {
		m.s.TestCurrent = false
	}
	if b.Key == ContactOpen {
		m.s.PermitSpent = false
	}
	m.batteryEdge()
	m.countsBack(&old)
	switch m.s.Phase {
	case Proof:
		m.proofReading()
	case Window, Run:
		m.windowReading()
	case Wait:
		m.waitReading(&old)
	default:
		m.hands()
	}
	m.renewLive(b.Scan != old.Scan)
	return nil
}

// sensed reports whether the box can tell the pole in the loop: the sense
// current runs with the key in or under the measuring lease, which shows by
// channels being measured.
func (b *Box) sensed(p *Plan) bool {
	return b.Key == ContactClosed || b.measuring(p)
}

// measuring reports whether any channel is being measured.
func (b *Box) measuring(p *Plan) bool {
	for k := range p.Motors {
		if b.Channel[k].Kind != OhmNotMeasured {
			return true
		}
	}
	return false
}

// countsBack stops when the box's counts run backwards or are lost: it is then
// not known whether there was a pulse.
func (m *machine) countsBack(old *Box) {
	if old.Pulses < 0 {
		return
	}
	// The counts outlive a broken link: what happened meanwhile shows in them.
	if m.s.Box.Pulses < old.Pulses || m.s.Box.Presses < old.Presses {
		m.boxFault("its counts ran backwards")
		m.unknownPulse("the box lost count of pulses")
		return
	}
	// A pulse that no permit allowed: current may have flowed all the same.
	if m.s.Box.Pulses > old.Pulses && m.s.Phase != Window && m.s.Phase != Run && m.s.Phase != Proof && m.s.Hooked {
		m.s.PermitEver = true
		if m.s.Phase != Wait && m.s.Phase != Closed {
			m.enterWait("the firing bus was live outside the window")
		}
	}
}

// unknownPulse treats an outcome that nobody knows as a live cluster:
// where igniters may be connected, only a full wait leads on.
func (m *machine) unknownPulse(why string) {
	switch {
	case !m.s.Hooked || m.s.Phase == Closed:
		m.stop(why)
	case m.s.Phase == Wait:
		m.s.PermitEver = true
		m.stop(why)
	default:
		m.s.PermitEver = true
		m.enterWait(why)
	}
}

// batteryEdge withdraws what rests on the battery when it is joined or taken
// off, and gives the loudest notice when it is joined with people forward
//
func (m *machine) batteryEdge() {
	joined := m.s.Box.Battery.Millivolt > 1000
	if m.s.Box.Battery.Level != LevelUnknown && joined != m.s.BatterySeen {
		m.s.BatterySeen = joined
		m.drop(checklist.DropBatteryChange, "the battery was joined or taken off")
	}
	if joined && m.s.Line != LineClosed && m.s.Phase != Wait && !m.s.Warned.BatteryForward {
		m.s.Warned.BatteryForward = true
		if m.s.Line == LineOpen {
			m.everyoneBack("battery joined, people forward")
		} else {
			m.everyoneBack("battery joined, and nobody knows who is forward")
		}
	}
}

// hands looks at key and button in the phases in which neither may move.
func (m *machine) hands() {
	b := &m.s.Box
	button := b.Pole1 == ContactClosed || b.Pole2 == ContactClosed
	keyIn := b.Key == ContactClosed
	busLive := b.Bus.Level == LevelLive // whatever the contacts say
	switch m.s.Phase {
	case Ready, Count, Armed:
		if button {
			m.stop("the button is closed before zero")
			return
		}
		m.keyFromReady(keyIn)
	case MakeSafe:
		switch {
		case button || keyIn:
			m.stop("the key is in or the button closed")
		case busLive:
			m.stop("the firing bus is live")
		}
	case Setup, Hold, Closed:
		switch {
		case button || keyIn:
			m.earlyHands("the key is in or the button closed")
		case busLive:
			m.earlyHands("the firing bus is live")
		default:
			m.s.Warned.KeyOrButton = false
		}
	}
}

// keyFromReady takes the key's place from READY on: it goes in after both
// have armed and stays in.
func (m *machine) keyFromReady(keyIn bool) {
	switch {
	case m.s.Phase == Armed && m.s.CodeOK && keyIn:
		if !m.s.KeyInArmed {
			m.s.KeyInArmed = true
			m.notice("key in")
		}
	case keyIn && m.s.Phase == Ready:
		m.stop("the key went in before both have armed")
	case !keyIn && m.s.KeyInArmed:
		m.stop("the key went out")
	case !keyIn && m.s.Phase == Count:
		m.stop("the key is out")
	}
}

// earlyHands says, once, that a hand is where none may be; with the line open
// everyone comes back (I-29).
func (m *machine) earlyHands(why string) {
	if m.s.Line == LineOpen {
		m.s.Warned.KeyOrButton = true
		m.everyoneBack(why)
		return
	}
	if m.s.Warned.KeyOrButton {
		return
	}
	m.s.Warned.KeyOrButton = true
	m.loud(why + ": no step asks for it now")
}

// renewLive keeps the answers fresh that the box reads all the time, and
// withdraws one that left its band.
func (m *machine) renewLive(newScan bool) {
	if m.s.Phase == Run {
		return // the battery sags in a pulse, and no pulse is cut by that
	}
	for i := range m.p.Steps {
		st, e := &m.p.Steps[i], &m.s.Evidence[i]
		if !st.Live || !e.Present || (st.Motor > 0 && (!newScan || m.s.Phase == Window)) {
			continue
		}
		if st.Motor > 0 && m.s.Box.Channel[st.Motor-1].Kind == OhmNotMeasured {
			continue // not being measured: it goes stale by age
		}
		v, why := m.s.reading(m.p, st)
		if why == "" && st.Band.Holds(v) {
			e.Value, e.At = v, m.s.Now
			continue
		}
		if why == "" {
			why = fmt.Sprintf("%.4g %s is outside %.4g to %.4g", v, st.Band.Unit, st.Band.Low, st.Band.High)
		}
		m.withdraw(i, why)
	}
}
