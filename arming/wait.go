package arming

import (
	"fmt"
	"strings"
	"time"

	"holdline/checklist"
)

// windowReading looks at a snapshot in WINDOW and RUN.
func (m *machine) windowReading() {
	s, b := &m.s, &m.s.Box
	closed := b.Pole1 == ContactClosed || b.Pole2 == ContactClosed
	switch {
	case b.Key != ContactClosed:
		m.enterWait("the key went out with the permit given")
	case s.Phase == Window && (closed || b.Presses > s.PressesBefore || b.Pulses > s.PulsesBefore):
		m.enter(Run)
		s.RunPressAt = s.Now
		m.notice("button pressed")
	case s.Phase == Run && !closed:
		m.enterWait("button let go")
	case b.Permit == ContactOpen && s.PermitWanted && s.Now.Since(s.PermitAt) > gapFromArmed:
		m.enterWait("the permit reads open, though it is wanted")
	}
}

// windowTimers ends a window in which nobody pressed, or a permit that lasted
// too long.
func (m *machine) windowTimers() {
	if m.s.Now.Mono >= m.s.WindowEnds || m.s.Now.Since(m.s.PermitAt) > m.p.Times.Permit {
		m.enterWait("the window is over, nobody pressed")
		m.askNoPulse(true)
	}
}

// waitTimers ends the look for an unchanged count when its time is over.
func (m *machine) waitTimers() {
	if m.s.NoPulse != NoPulseNone && m.s.Now.Since(m.s.OffAt) > noPulseLimit {
		m.restartWait("the box has not shown that no pulse began")
	}
}

// askNoPulse begins to look for the only proof that spares the wait: the
// permit read open, then the counts unchanged. It is not asked where
// there is no box or a press was seen.
func (m *machine) askNoPulse(fromWindow bool) {
	if fromWindow && m.p.Mode == ModeBox && m.s.PulsesBefore >= 0 && m.s.PressesBefore >= 0 {
		m.s.NoPulse = NoPulseAsked
	}
}

// enterWait begins the wait: nobody goes forward. The permit goes first.
func (m *machine) enterWait(why string) {
	m.permitOff()
	m.clearArming()
	if m.s.Line == LineOpen {
		m.lineUnknown()
	}
	m.enter(Wait)
	m.s.NoPulse = NoPulseNone
	m.s.AtRest = false
	m.s.MakeSafe = MakeSafeFacts{}
	for k := range m.s.WaitOhm {
		m.s.WaitOhm[k] = OhmNotMeasured
	}
	m.s.WaitPulses = m.s.Box.Pulses
	m.s.Said = Said{} // what was said before is not known any more
	m.s.HoldWhy, m.s.HoldCaller = why, ""
	m.restartWait(why)
	if m.forward {
		m.loud("EVERYONE BACK: " + why) // last, so that it is what the screen says
	}
}

// restartWait sets the wait to full (I-20). Whatever does it also ends the
// hope of showing that no pulse began.
func (m *machine) restartWait(why string) {
	m.s.NoPulse = NoPulseNone
	if say, ok := m.s.Pending.Event.(Say); ok && say.Fact == FactAtRest {
		m.s.Pending = Pending{} // said before what restarts the wait
		m.notice("not done, the wait began anew: say again that the vehicle is at rest")
	}
	m.s.WaitLeft = m.p.Times.Wait
	m.loud("WAIT from full: " + why)
}

// runWait counts the wait down by the smaller step of the two clocks, never
// more than a second, and only with the vehicle at rest, key out and bus dead
// (I-19, R-08).
func (m *machine) runWait(step time.Duration) {
	if m.s.Phase != Wait {
		return
	}
	if step > waitStepMost {
		m.restartWait(fmt.Sprintf("the program stood still for %.1f s", step.Seconds()))
		return
	}
	if m.s.NoPulse != NoPulseNone {
		return // what the box shows within a second decides first, key in or out
	}
	if !m.s.AtRest || !m.s.keyOut(m.p) || !m.s.busDead(m.p) || step <= 0 {
		return
	}
	m.s.WaitLeft = max(0, m.s.WaitLeft-step*time.Duration(m.p.WaitSpeed))
}

// WaitStops lists why the wait does not run, in words; empty while it runs.
func (s *State) WaitStops(p *Plan) []string {
	var out []string
	if s.Phase != Wait {
		return nil
	}
	if s.NoPulse != NoPulseNone {
		out = append(out, "whether a pulse began is being read")
	}
	if !s.AtRest {
		out = append(out, "nobody has said that the vehicle is at rest")
	}
	if !s.keyOut(p) {
		out = append(out, "the key is not known to be out")
	}
	if !s.busDead(p) {
		out = append(out, "the firing bus is not known to be dead")
	}
	return out
}

// waitReading looks at a snapshot in WAIT.
func (m *machine) waitReading(old *Box) {
	s, b := &m.s, &m.s.Box
	switch {
	case s.NoPulse != NoPulseNone:
		m.showNoPulse()
		return
	case b.Pole1 == ContactClosed || b.Pole2 == ContactClosed:
		m.restartOnce("the button is closed")
		return
	case b.Key == ContactClosed:
		m.restartOnce("the key is in")
		return
	case b.Bus.Level != LevelDead:
		m.restartOnce("the firing bus is not dead")
		return
	case b.Pulses != s.WaitPulses && old.Up:
		s.WaitPulses = b.Pulses
		m.restartWait("another pulse was counted")
	}
	s.WaitPulses = b.Pulses
	m.waitChannels()
}

// restartOnce sets the wait to full without saying so at every snapshot: the
// loud notice comes when there was anything to lose.
func (m *machine) restartOnce(why string) {
	if m.s.WaitLeft == m.p.Times.Wait {
		m.s.NoPulse = NoPulseNone
		return
	}
	m.restartWait(why)
}

// waitChannels restarts the wait when a channel reads otherwise than before.
// A reading can only make an outcome worse.
func (m *machine) waitChannels() {
	for k := 0; k < m.p.Motors; k++ {
		now, was := m.s.Box.Channel[k].Kind, m.s.WaitOhm[k]
		if now == OhmNotMeasured || now == was {
			continue
		}
		m.s.WaitOhm[k] = now
		if now == OhmValue && m.s.Fate[k] == FateSaidLit {
			m.s.Fate[k] = FateUnknown
			m.loud(fmt.Sprintf("motor %d conducts: it counts as LIVE whatever was seen", k+1))
		}
		if was != OhmNotMeasured {
			m.restartWait(fmt.Sprintf("channel %d changed", k+1))
		}
	}
}

// showNoPulse looks for the proof that no pulse began, in its order, within a
// second of OFF.
func (m *machine) showNoPulse() {
	s, b := &m.s, &m.s.Box
	switch {
	case s.Now.Since(s.OffAt) > noPulseLimit || b.Pulses != s.PulsesBefore || b.Presses != s.PressesBefore ||
		b.Pole1 != ContactOpen || b.Pole2 != ContactOpen:
		m.restartWait("a pulse may have begun")
	case s.NoPulse == NoPulseAsked && b.Permit == ContactOpen:
		s.NoPulse = NoPulseOpened
	case s.NoPulse == NoPulseOpened && b.Permit == ContactOpen && b.Bus.Level == LevelDead:
		why := s.HoldWhy
		s.NoPulse, s.PermitEver, s.WaitLeft = NoPulseNone, false, 0
		m.enter(Hold)
		s.HoldFrom, s.HoldWhy = Window, why+"; the box shows that no pulse began"
		m.loud("HOLD: " + s.HoldWhy)
	}
}

// onSay takes a fact that a person states.
func (m *machine) onSay(ev Say) error {
	if strings.TrimSpace(ev.By) == "" {
		return m.refuse("a fact is said by somebody", "name who says it")
	}
	switch ev.Fact {
	case FactAtRest:
		return m.sayAtRest(ev)
	case FactMovement:
		if m.s.Phase != Wait && m.s.Phase != MakeSafe {
			return m.refuse("movement is called in WAIT and MAKESAFE", "call HOLD")
		}
		seen, wasMakeSafe := "movement, smoke or light seen by "+ev.By, m.s.Phase == MakeSafe
		if wasMakeSafe {
			m.lineUnknown()
		}
		m.s.AtRest = false
		m.stop(seen)
		if wasMakeSafe && !m.forward {
			m.loud("EVERYONE BACK: " + seen)
		}
		return nil
	case FactShunted, FactFireWatched:
		return m.sayMakeSafe(ev)
	}
	if m.p.Mode == ModeBox {
		return m.refuse("the box reads this, it is not said", "")
	}
	return m.saySwitch(ev)
}

func (m *machine) sayAtRest(ev Say) error {
	if m.s.Phase != Wait {
		return m.refuse("rest is said in WAIT", "")
	}
	return m.ask(ev, func() {
		m.s.AtRest = true
		m.notice("at rest, says " + ev.By)
	})
}

// saySwitch takes facts about key, battery, bus and button where there is no
// box to read them.
func (m *machine) saySwitch(ev Say) error {
	switch ev.Fact {
	case FactKeyOut:
		m.s.Said.KeyOut, m.s.Said.KeyOutSaid = m.s.Now, true
		m.s.PermitSpent = false
		if m.s.KeyInArmed || m.s.Phase == Count {
			m.stop("the key went out")
		}
	case FactKeyIn:
		m.s.Said.KeyOutSaid, m.s.Said.BusDeadSaid = false, false
		m.sayKeyIn()
	case FactBatteryOff:
		m.s.Said.BatteryOff, m.s.Said.BatteryOffSaid = m.s.Now, true
		m.s.BatterySeen = false
		m.drop(checklist.DropBatteryChange, "the battery was taken off")
	case FactBusDead:
		m.s.Said.BusDead, m.s.Said.BusDeadSaid = m.s.Now, true
	case FactPressed:
		m.s.Said.BusDeadSaid = false
		m.sayPressed()
	case FactReleased:
		if m.s.Phase == Run {
			m.enterWait("button let go")
		}
	default:
		return m.refuse("nothing was said", "")
	}
	return nil
}

func (m *machine) sayKeyIn() {
	switch m.s.Phase {
	case Armed:
		m.s.KeyInArmed = true
		m.notice("key in, said")
	case Ready, Wait, MakeSafe:
		m.stop("the key is in")
	case Setup, Hold, Closed:
		m.earlyHands("the key is in")
	}
}

func (m *machine) sayPressed() {
	switch m.s.Phase {
	case Window:
		m.enter(Run)
		m.s.RunPressAt = m.s.Now
	case Run:
	default:
		if m.s.Hooked && m.s.Phase != Closed {
			// Nobody can say that no current flowed.
			m.s.PermitEver = true
			m.enterWait("the button was pressed outside the window")
			return
		}
		m.stop("the button was pressed")
	}
}

// onObserve takes what a named observer saw of the motors. It never makes a
// motor less than live (I-23, I-24).
func (m *machine) onObserve(ev Observe) error {
	switch {
	case m.s.Phase != Wait && m.s.Phase != Run:
		return m.refuse("motors are reported in RUN and WAIT", "")
	case strings.TrimSpace(ev.By) == "":
		return m.refuse("an observation has an observer", "name who saw it")
	case ev.Fate != FateMisfire && ev.Fate != FateSaidLit && ev.Fate != FateUnknown:
		return m.refuse("a motor was seen to light, stayed dark, or it is not known", "")
	case ev.Motor < 0 || ev.Motor > m.p.Motors:
		return m.refuse(fmt.Sprintf("there is no motor %d", ev.Motor), "")
	}
	for k := 0; k < m.p.Motors; k++ {
		if (ev.Motor == 0 || ev.Motor == k+1) && m.s.Fate[k] != FateInspected {
			m.s.Fate[k] = ev.Fate
			if ev.Fate == FateSaidLit && m.s.WaitOhm[k] == OhmValue {
				m.s.Fate[k] = FateUnknown
				m.loud(fmt.Sprintf("motor %d conducts: it counts as LIVE whatever was seen", k+1))
			}
		}
	}
	return nil
}
