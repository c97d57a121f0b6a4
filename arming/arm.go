package arming

import (
	"fmt"
	"time"

	"holdline/checklist"
)

// onHoldCall is anyone's HOLD. It waits for nothing.
func (m *machine) onHoldCall() error {
	switch m.s.Phase {
	case Ready, Armed, Count:
		m.enterHold("called")
	case Window, Run:
		first := m.s.Phase == Window
		m.enterWait("HOLD called after the permit")
		m.askNoPulse(first)
	case Setup:
		m.everyoneBack("called")
	case Proof:
		m.failProof("HOLD called")
		m.everyoneBack("called")
	case Wait:
		m.everyoneBack("called")
		m.restartWait("everyone back")
	case MakeSafe:
		m.lineUnknown()
		m.enterWait("called")
		if !m.forward {
			m.loud("EVERYONE BACK: called")
		}
	case Hold:
		m.notice("HOLD called again")
	default:
		m.notice("HOLD called")
	}
	return nil
}

// onFocusLost stops from ARMED on: the space bar would go elsewhere.
func (m *machine) onFocusLost() error {
	if m.s.Phase >= Armed && m.s.Phase <= Run {
		m.stop("the keyboard went to another window")
		return nil
	}
	m.notice("the keyboard went to another window")
	return nil
}

// onHoldBy names who called HOLD, afterwards.
func (m *machine) onHoldBy(ev HoldBy) error {
	if m.s.Phase != Hold && m.s.Phase != Wait {
		return m.refuse("nobody has called HOLD", "")
	}
	if ev.Name == "" {
		return m.refuse("a name is due", "")
	}
	m.s.HoldCaller = ev.Name
	return nil
}

// onArmEntry is the firing officer's deliberate entry.
func (m *machine) onArmEntry(ev ArmEntry) error {
	switch {
	case m.s.Phase != Ready:
		return m.refuse("arming begins in READY, this is "+m.s.Phase.String(), "")
	case m.s.ArmEntry:
		return m.refuse("the firing officer's entry is in", "the range officer enters the code")
	case !sameName(ev.By, m.s.Crew.Firing):
		return m.refuse("that is not the firing officer's name", "the firing officer types their own name")
	case sameName(m.s.Crew.Firing, m.s.Crew.Range):
		return m.refuse("firing officer and range officer are two people", "")
	case m.s.PermitEver:
		return m.refuse("a firing was attempted: this vehicle is made safe first", "")
	}
	if b := m.s.Blockers(m.p); len(b) > 0 {
		return m.refuse(b[0].Why, "")
	}
	return m.ask(ev, func() {
		m.s.ArmEntry, m.s.ArmEntryAt, m.s.ArmedBy = true, m.s.Now, m.s.Crew.Firing
		m.notice("firing officer has armed: the range officer's code within 30 s")
	})
}

// onCode is the range officer's code. Three wrong ones hold, however many
// entries to arm lie between them.
func (m *machine) onCode(ev Code) error {
	switch {
	case m.s.Phase != Ready || !m.s.ArmEntry:
		return m.refuse("the code follows the firing officer's entry", "")
	case m.s.Now.Since(m.s.ArmEntryAt) > armPair:
		return m.refuse("the code came later than 30 s", "arm again")
	}
	if !ev.Matched {
		m.s.CodeTries++
		if m.s.CodeTries >= codeTriesMax {
			m.stop("three wrong codes")
			return nil
		}
		m.notice(fmt.Sprintf("wrong code, %d of %d", m.s.CodeTries, codeTriesMax))
		return nil
	}
	return m.ask(ev, func() {
		m.s.CodeOK, m.s.CodeTries = true, 0
		m.enter(Armed)
		m.notice("code entered: ARMED. The key goes in now")
	})
}

// onStartCount begins the count if everything will last to the end of the
// window, and goes on with it after a pause.
func (m *machine) onStartCount(ev StartCount) error {
	switch {
	case m.s.Phase == Count && m.s.Paused:
		return m.goOn(ev)
	case m.s.Phase != Armed:
		return m.refuse("the count starts in ARMED, this is "+m.s.Phase.String(), "")
	case !sameName(ev.By, m.s.Crew.Firing):
		return m.refuse("the firing officer starts the count", "")
	case !m.s.KeyInArmed:
		return m.refuse("the key is not in", "turn the key in")
	case m.s.PermitSpent:
		return m.refuse("the permit was used on this insertion of the key", "key out, then arm again")
	}
	if b := m.s.Blockers(m.p); len(b) > 0 {
		return m.refuse(b[0].Why, "")
	}
	if ok, why := m.s.lasting(m.p, m.p.Times.Count+m.p.Times.Window); !ok {
		return m.refuse(why, "answer it again: HOLD, then resume")
	}
	return m.ask(ev, func() {
		m.enter(Count)
		m.countFrom(m.p.Times.Count)
	})
}

// countFrom lets the clock run with so much left to zero.
func (m *machine) countFrom(left time.Duration) {
	m.s.ZeroAt = Instant{Mono: m.s.Now.Mono + left, Wall: m.s.Now.Wall + left}
	m.s.ZeroTicket, m.s.CalledAt = 0, int(left/time.Second)+1
	m.callout()
}

// goOn ends a pause, by the firing officer, if everything will last to the end
// of the window. The gates are watched in a pause as in any count.
func (m *machine) goOn(ev StartCount) error {
	if !sameName(ev.By, m.s.Crew.Firing) {
		return m.refuse("the firing officer goes on with the count", "")
	}
	if b := m.s.Blockers(m.p); len(b) > 0 {
		return m.refuse(b[0].Why, "")
	}
	if ok, why := m.s.lasting(m.p, m.s.PauseLeft+m.p.Times.Window); !ok {
		return m.refuse(why, "answer it again: HOLD, then resume")
	}
	return m.ask(ev, func() {
		left := m.s.PauseLeft
		m.s.Paused, m.s.PausedAt, m.s.PauseLeft = false, Instant{}, 0
		m.countFrom(left)
	})
}

// pause stops the clock at a planned pause that has been come to, and reports
// whether it stands. One that nobody ends is a HOLD.
func (m *machine) pause() bool {
	s := &m.s
	if s.Paused {
		if s.Now.Since(s.PausedAt) > checklist.PauseMost {
			m.stop(fmt.Sprintf("a pause of %s without a word", checklist.PauseMost))
		}
		return true
	}
	if s.PausesDone == checklist.MaxPauses {
		return false
	}
	at := m.p.Times.Pauses[s.PausesDone]
	if at == 0 || s.ToZero() > at {
		return false
	}
	if at-s.ToZero() > pauseLate {
		m.stop("the program came late to a pause")
		return true
	}
	s.PauseLeft = s.ToZero()
	s.Paused, s.PausedAt = true, s.Now
	s.PausesDone++
	m.fx = append(m.fx, Callout{"pause"})
	m.notice("the count stands: the firing officer goes on, or HOLD")
	return true
}

// ToZero returns how long until zero, 0 from zero on. In a pause it stands.
func (s *State) ToZero() time.Duration {
	if s.Paused {
		return s.PauseLeft
	}
	return max(0, s.ZeroAt.Mono-s.Now.Mono)
}

// callout calls the whole seconds that are marks of the count.
func (m *machine) callout() {
	left := int((m.s.ToZero() + time.Second - 1) / time.Second)
	if left >= m.s.CalledAt {
		return
	}
	m.s.CalledAt = left
	if left <= 5 || left == 10 || left == 20 || left == 30 || left == 60 {
		m.fx = append(m.fx, Callout{fmt.Sprintf("%d", left)})
	}
}

// countTimers calls the seconds, gets the entry before zero onto the disk, and
// at zero opens the window or stops.
func (m *machine) countTimers() {
	if m.pause() {
		return
	}
	left := m.s.ToZero()
	if left > 0 {
		m.callout()
	}
	if left <= time.Second && m.s.ZeroTicket == 0 {
		m.s.ZeroTicket = m.ticket()
	}
	if left == 0 {
		m.zero()
	}
}

// zero opens the window if, just before zero, key in, both poles open and no
// trip were read (I-02), and the entry of the last second is on disk (I-27).
func (m *machine) zero() {
	s, b := &m.s, &m.s.Box
	switch {
	case s.OnDisk < s.ZeroTicket:
		m.noRecord("the last line before zero is not on disk")
		return
	case s.Line != LineClosed:
		m.stop("the line is " + s.Line.String())
		return
	}
	if m.p.Mode == ModeBox {
		switch {
		case !b.Up || b.Seen.Mono < s.ZeroAt.Mono-freshWindow || !s.fresh(freshWindow):
			m.stop("no reading of the last 0.3 s before zero")
			return
		case b.Key != ContactClosed:
			m.stop("the key is not in at zero")
			return
		case b.Pole1 != ContactOpen || b.Pole2 != ContactOpen:
			m.stop("the button is not open at zero")
			return
		case s.PermitSpent || b.Pulses < 0:
			m.stop("the permit cannot be given")
			return
		}
	}
	if blockers := s.Blockers(m.p); len(blockers) > 0 {
		m.stop(blockers[0].Why)
		return
	}
	m.enter(Window)
	s.PermitEver, s.PermitAt, s.NoPulse = true, s.Now, NoPulseNone
	s.WindowEnds = s.Now.Mono + m.p.Times.Window
	s.PulsesBefore, s.PressesBefore = b.Pulses, b.Presses
	if m.p.Mode == ModeBox {
		s.PermitWanted, s.PermitSpent = true, true
		m.fx = append(m.fx, PermitOn{s.ZeroTicket})
	}
	m.fx = append(m.fx, Callout{"zero"})
}

// onResume leaves HOLD by the range officer, with the key out and no hand on
// the button.
func (m *machine) onResume(ev Resume) error {
	switch {
	case m.s.Phase != Hold:
		return m.refuse("HOLD has not been called", "")
	case m.s.Crew.Range == "" || !sameName(ev.By, m.s.Crew.Range):
		return m.refuse("only the range officer resumes", "")
	case !m.s.keyOut(m.p):
		return m.refuse("the key is not known to be out", "take the key out")
	case !m.s.permitOpen(m.p):
		return m.refuse("the permit is not known to be open", "wait for the box to read it open")
	}
	return m.ask(ev, func() {
		m.enter(Setup)
		m.notice("resumed by " + m.s.Crew.Range + ": both arming acts are asked again")
	})
}

// onScrub gives the firing up. Before the permit it goes to MAKESAFE without a
// wait, as soon as the key is out; after it, through WAIT.
func (m *machine) onScrub(ev Scrub) error {
	if !sameName(ev.By, m.s.Crew.Range) && !sameName(ev.By, m.s.Crew.Firing) || ev.By == "" {
		return m.refuse("the firing officer or the range officer scrubs", "")
	}
	switch m.s.Phase {
	case Window, Run:
		m.enterWait("scrubbed after the permit by " + ev.By)
		return nil
	case Wait, MakeSafe, Closed, Proof:
		return m.refuse("a scrub is no use in "+m.s.Phase.String(), "")
	}
	if m.s.Phase != Hold && m.s.Phase != Setup {
		m.enterHold("scrubbed by " + ev.By + ": " + ev.Why)
	}
	if m.s.keyOut(m.p) {
		m.enterMakeSafe("scrubbed by " + ev.By + ": " + ev.Why)
		return nil
	}
	if m.s.Phase == Setup {
		return m.refuse("the key is not known to be out", "take the key out, then scrub")
	}
	m.s.ScrubAsked = true
	m.loud("scrubbed: key out")
	return nil
}
