package arming

import (
	"fmt"

	"holdline/arming/groundbox/wire"
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
	if m.s.Phase == Proof && m.s.Proof == ProofWatchdog && bits&wire.EventWatchdog != 0 {
		m.s.ProofTrip = true
		bits &^= wire.EventWatchdog
	}
	if m.s.Phase < Ready || m.s.Phase == Closed {
		if bits&wire.EventButtonEarly != 0 && m.s.Phase == Setup {
			m.earlyHands("the button was pressed")
		}
		bits &^= wire.EventButtonEarly
	}
	if !m.keyMustBeIn() {
		bits &^= wire.EventKeyOut
	}
	why := bitsText(bits)
	if why == "" {
		return nil
	}
	if bits&(wire.EventWatchdog|wire.EventRestarted|wire.EventWelded|wire.EventOwnerChanged|wire.EventPermitLimit) != 0 {
		m.boxFault(why)
	}
	m.stop("the box reports: " + why)
	return nil
}

// keyMustBeIn reports whether a key that was out, however short, is a doubt.
func (m *machine) keyMustBeIn() bool {
	switch m.s.Phase {
	case Armed:
		return m.s.KeyInArmed
	case Count, Window, Run:
		return true
	}
	return false
}

// bitsText says the first of the bits that calls for a stop.
func bitsText(bits wire.Event) string {
	for _, b := range []struct {
		bit  wire.Event
		text string
	}{
		{wire.EventWelded, "voltage behind an open contact, welded or bridged"},
		{wire.EventWatchdog, "its watchdog opened the permit"},
		{wire.EventKeyPulled, "the key was pulled while the permit was closed"},
		{wire.EventKeyOut, "the key went out"},
		{wire.EventRestarted, "its controller restarted"},
		{wire.EventOwnerChanged, "another program took it over"},
		{wire.EventPermitLimit, "the permit reached its own time limit"},
		{wire.EventErrors, "a command was not understood"},
		{wire.EventButtonEarly, "the button was pressed while the permit was open"},
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
	m.uncommanded(&old)
	if !m.s.LeaseWanted && !b.measuring(m.p) {
		m.s.TestCurrent = false
	}
	if b.Key == ContactOpen {
		m.s.PermitSpent = false
	}
	m.batteryEdge()
	m.counts(&old)
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

// counts looks at the box's two counts, whatever its event bits say: they hold
// each press and each pulse for good, a bit only until it is cleared. They
// outlive a broken link too: what happened meanwhile shows in them.
func (m *machine) counts(old *Box) {
	b := &m.s.Box
	if old.Pulses >= 0 && (b.Pulses < old.Pulses || b.Presses < old.Presses) {
		// It is not known whether there was a pulse.
		m.boxFault("its counts ran backwards")
		m.unknownPulse("the box lost count of pulses")
		return
	}
	// A pulse that no permit allowed: current may have flowed all the same.
	if old.Pulses >= 0 && b.Pulses > old.Pulses && m.s.Phase != Window && m.s.Phase != Run && m.s.Phase != Proof && m.s.Hooked {
		m.s.PermitEver = true
		if m.s.Phase != Wait && m.s.Phase != Closed {
			m.enterWait("the firing bus was live outside the window")
		}
	}
	if old.Presses >= 0 && b.Presses > old.Presses {
		m.pressed()
	}
}

// pressed is a press that the box has counted, seen in a reading or not.
func (m *machine) pressed() {
	const why = "the button was pressed"
	switch m.s.Phase {
	case Window, Run: // what it is there for: windowReading
	case Wait: // waitReading and showNoPulse know whether it ends anything
		if m.s.NoPulse == NoPulseNone {
			m.restartOnce(why)
		}
	case Proof, Ready, Armed, Count, MakeSafe:
		m.stop(why)
	default:
		m.earlyHands(why)
	}
}

// uncommanded finds a permit that closes though nobody wants it: a welded or
// bridged relay, or somebody else's hand on the wire. One that stays closed
// after OFF is the link's to tell, which knows when it was sent.
func (m *machine) uncommanded(old *Box) {
	was := old.Up && m.s.Now.Since(old.Seen) <= liveLead && old.Permit == ContactClosed
	switch {
	case m.s.Box.Permit == ContactOpen:
		m.s.PermitStuck = false
	case m.s.Box.Permit == ContactClosed && !was && !m.s.PermitWanted && m.s.Phase != Proof:
		m.permitStuck("the permit closed, and nobody asked for it")
	}
}

// permitStuck says that the one contact that is the laptop's is closed against
// its will. The screen says so until it reads open.
func (m *machine) permitStuck(why string) {
	m.s.PermitStuck = true
	m.boxFault(why)
	m.stop(why)
	m.loud(StuckText)
}

// StuckText is what people do about a permit that does not open. It stands on
// the screen's full width for as long as State.PermitStuck.
const StuckText = "Permit did not open: let go, pull the key"

// onBoxLost takes the news that nobody reads the circuit any more. Who is
// forward went on its word and comes back; a dead check from before says
// nothing about what hands do meanwhile.
func (m *machine) onBoxLost(ev BoxLost) {
	why := "the box is lost: " + ev.Why
	m.s.Box.Up = false
	if !m.s.BatterySeen {
		m.withdraw(m.p.index(StepDead), "the box was lost")
	}
	m.stop(why)
	if m.s.Line == LineOpen {
		m.everyoneBack(why)
	}
}

// unread calls back whoever is forward once nothing has been read for too long,
// whether or not the link has said why.
func (m *machine) unread() {
	if m.p.Mode != ModeBox || m.s.Line != LineOpen || m.s.fresh(liveLead) {
		return
	}
	const why = "no fresh answer from the box"
	m.stop(why)
	if m.s.Line == LineOpen {
		m.everyoneBack(why)
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
	mv := m.s.Box.Battery.Millivolt
	joined := mv > 1000 || mv < -1000 // a reversed one is joined too
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
	if m.s.Line == LineOpen && m.s.Box.Battery.Level != LevelDead { // a flat one, and one that is not read, too
		m.everyoneBack("the battery does not read off, people forward")
	}
}

// hands looks at key and button in the phases in which neither may move.
func (m *machine) hands() {
	b := &m.s.Box
	button := b.Pole1 == ContactClosed || b.Pole2 == ContactClosed
	keyIn := b.Key == ContactClosed
	busLive := b.Bus.Level == LevelLive // whatever the contacts say
	// 0.45 V over 0.8 ohm is more than three times a no-fire current of 0.15 A:
	// with people forward what is not read dead counts as live.
	busDead := b.Bus.Level == LevelDead
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
		case !busDead && m.s.Line != LineClosed:
			m.stop("the firing bus does not read dead")
		}
	case Setup, Hold, Closed:
		switch {
		case button || keyIn:
			m.earlyHands("the key is in or the button closed")
		case busLive:
			m.earlyHands("the firing bus is live")
		case !busDead && m.s.Line == LineOpen:
			m.everyoneBack("the firing bus does not read dead")
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
		if why == "" && st.Band.Contains(v) {
			e.Value, e.At = v, m.s.Now
			continue
		}
		if why == "" {
			why = fmt.Sprintf("%.4g %s is outside %.4g to %.4g", v, st.Band.Unit, st.Band.Low, st.Band.High)
		}
		m.withdraw(i, why)
	}
}
