package session

import (
	"math/rand/v2"
	"strings"
	"time"

	"holdline/arming"
	"holdline/checklist"
	"holdline/tui"
)

// team is a crew that does what the screen asks, one thing at a time, whatever
// happens around it. It looks at the newest frame as people look at the screen.
type team struct {
	p       *plant
	rnd     *rand.Rand
	asked   time.Duration // when something was last asked for
	seen    arming.Phase
	since   time.Duration // when the phase was first seen
	pressed time.Duration
	back    time.Duration // when the person at the vehicle turned back
	resumed int
	sent    map[arming.Event]time.Duration // what was asked for: people wait before they ask again
	far     map[arming.Phase]bool          // phases that were come to
}

func (m *team) submit(ev arming.Event) {
	now := m.p.now()
	if at, some := m.sent[ev]; some && now-at < 500*time.Millisecond {
		return
	}
	m.sent[ev] = now
	m.p.screen.cfg.Submit(ev)
}

// look does what is due, and reports whether there is anything left to do.
func (m *team) look() bool {
	f := m.p.s.driver.latest.Load()
	if f == nil || m.p.screen.isFrozen() {
		return true
	}
	s := &f.State
	if f.Refusal.Why != "" {
		m.p.refusals[f.Refusal.Why] = true
	}
	if s.Phase != m.seen || m.since == 0 {
		m.seen, m.since, m.pressed = s.Phase, m.p.now(), 0
		m.far[s.Phase] = true
	}
	m.people(f)
	switch s.Phase {
	case arming.Setup:
		m.setup(f)
	case arming.Proof:
		m.proof(s)
	case arming.Ready:
		m.ready(s)
	case arming.Armed:
		m.armed(s)
	case arming.Count:
		if s.Paused {
			m.submit(arming.StartCount{By: firing})
		}
	case arming.Window:
		m.window(s)
	case arming.Run:
		m.run()
	case arming.Hold:
		m.hold(s)
	case arming.Wait:
		m.wait(f)
	case arming.MakeSafe:
		m.makeSafe(f)
	case arming.Closed:
		m.hands(false, false)
		return f.Record.Signed == "" && f.Record.Fault == "" && !m.over(10*time.Second)
	}
	return !m.over(90*time.Second + m.p.s.plan.Times.Wait)
}

// over reports that nothing has come of this phase for so long.
func (m *team) over(after time.Duration) bool { return m.p.now()-m.since > after }

// people walk: forward when the line is OPEN, back when anybody is called.
func (m *team) people(f *tui.Frame) {
	p := m.p
	called := f.State.Line != arming.LineOpen || strings.Contains(f.Loud, "EVERYONE BACK")
	switch {
	case !p.forward:
		m.back = 0
	case called && m.back == 0:
		m.back = p.now() + 800*time.Millisecond
	case m.back > 0 && p.now() >= m.back:
		p.goForward(false)
		m.back = 0
	}
}

func (m *team) hands(key, battery bool) {
	m.p.turnKey(key)
	m.p.joinBattery(battery)
	if m.p.button {
		m.p.pressButton(false)
	}
}

func (m *team) setup(f *tui.Frame) {
	s, plan, p := &f.State, m.p.s.plan, m.p
	i := s.Cursor(plan)
	last := len(plan.Posts) - 1
	switch {
	case s.Line == arming.LineUnknown && (last < 0 || s.Crew.Spotter[last] != "") && s.Crew.Range != "":
		if !p.forward {
			m.submit(arming.CloseLine{By: ranger, Count: 2 + len(plan.Posts)})
		}
		m.hands(false, false)
		return
	case i < 0:
		m.hands(false, p.battery)
		return
	}
	st := &plan.Steps[i]
	m.hands(false, st.ID == arming.StepProof || p.battery && (st.ID == arming.StepBattery || st.ID == arming.StepBudget || st.Phase >= checklist.Poll))
	switch st.ID {
	case arming.StepProof:
		p.joinBattery(true)
		if s.Box.Battery.Level == arming.LevelLive {
			m.submit(arming.StartProof{})
		}
		return
	case arming.StepShuntOn:
		p.putShunt(true)
	case arming.StepHookUp:
		if s.Line != arming.LineOpen {
			m.openLine(s)
			return
		}
		if m.back == 0 {
			if !p.forward {
				p.goForward(true)
				return
			}
			if p.now()-p.sentAt < time.Second {
				return
			}
			p.connectIgniters(true)
		}
	case arming.StepLine:
		m.backThenClose(s)
		return
	case arming.StepShuntOff:
		p.putShunt(false)
	case arming.StepBattery, arming.StepBudget:
		p.joinBattery(true)
		if s.Box.Battery.Level != arming.LevelLive {
			return
		}
	}
	if st.Motor > 0 && st.Kind == checklist.KindMeasured && s.Box.Channel[st.Motor-1].Kind != arming.OhmValue {
		return
	}
	if m.p.now()-m.asked < 40*time.Millisecond {
		return
	}
	m.asked = m.p.now()
	if ev, known := goodAnswer(m.p.s, f, i); known {
		if st.Kind == checklist.KindSecret {
			m.p.screen.cfg.SetCode(code)
		}
		m.submit(ev)
	}
}

// backThenClose brings the person back and has the line closed.
func (m *team) backThenClose(s *arming.State) {
	switch {
	case m.p.forward:
		if m.back == 0 {
			m.back = m.p.now() + 800*time.Millisecond
		}
	case s.Line == arming.LineOpen:
		m.submit(arming.CloseLine{By: ranger, Count: 1})
	case s.Line == arming.LineUnknown:
		m.submit(arming.CloseLine{By: ranger, Count: 2 + len(m.p.s.plan.Posts)})
	}
}

func (m *team) openLine(s *arming.State) {
	if s.Box.Channel[0].Kind == arming.OhmNotMeasured && !s.LeaseWanted && !s.TestCurrent {
		ev := arming.OpenLine{By: ranger, Key: firing}
		ev.Names[0] = firing
		m.submit(ev)
	}
}

func (m *team) proof(s *arming.State) {
	switch {
	case s.Proof == arming.ProofKeyBack:
		m.p.turnKey(false)
	case s.Proof >= arming.ProofKeyIn:
		m.p.turnKey(true)
	}
}

func (m *team) ready(s *arming.State) {
	m.p.turnKey(false)
	switch {
	case !s.ArmEntry:
		m.submit(arming.ArmEntry{By: firing})
	case s.Pending.Event == nil && m.p.now()-m.asked > 500*time.Millisecond:
		m.asked = m.p.now()
		m.p.screen.cfg.TryCode(code)
	}
}

func (m *team) armed(s *arming.State) {
	m.p.turnKey(true)
	if s.KeyInArmed {
		m.submit(arming.StartCount{By: firing})
	}
}

func (m *team) window(s *arming.State) {
	if s.Box.Permit == arming.ContactClosed && m.p.now()-m.since > 300*time.Millisecond {
		m.p.pressButton(true)
		m.pressed = m.p.now()
	}
}

func (m *team) run() {
	if m.pressed == 0 {
		m.pressed = m.p.now()
	}
	if m.p.now()-m.pressed > time.Second {
		m.p.pressButton(false)
	}
}

func (m *team) hold(s *arming.State) {
	m.p.turnKey(false)
	if m.p.button {
		m.p.pressButton(false)
	}
	switch {
	case s.Line != arming.LineClosed:
		m.backThenClose(s)
	case s.HoldCaller == "":
		m.submit(arming.HoldBy{Name: ranger})
	case m.resumed < 2:
		if m.over(time.Second) {
			m.resumed++
			m.submit(arming.Resume{By: ranger})
		}
	case m.over(15 * time.Second):
		m.submit(arming.Scrub{By: ranger, Why: "no more of it"})
	default:
		m.submit(arming.Resume{By: ranger})
	}
}

func (m *team) wait(f *tui.Frame) {
	s := &f.State
	if m.p.button {
		m.p.pressButton(false)
	}
	m.p.turnKey(false)
	switch {
	case s.Line != arming.LineClosed:
		m.backThenClose(s)
	case !s.AtRest:
		m.submit(arming.Observe{Fate: arming.FateSaidLit, By: firing})
		m.submit(arming.Say{Fact: arming.FactAtRest, By: firing})
	case s.WaitLeft == 0:
		m.p.joinBattery(false)
		m.goForward(s)
	}
}

func (m *team) goForward(s *arming.State) {
	if s.Box.Battery.Level == arming.LevelDead && s.Box.Channel[0].Kind == arming.OhmNotMeasured && !s.LeaseWanted && !s.TestCurrent {
		m.submit(arming.GoForward{By: ranger, Person: firing})
	}
}

func (m *team) makeSafe(f *tui.Frame) {
	s, p, plan := &f.State, m.p, m.p.s.plan
	m.hands(false, false)
	live := 0
	for k := range plan.Motors {
		if s.Fate[k] != arming.FateInspected {
			live = k + 1
		}
	}
	work := s.Hooked && (live > 0 || !s.MakeSafe.Shunted)
	switch {
	case s.Line == arming.LineUnknown:
		m.backThenClose(s)
	case work && s.Line == arming.LineClosed:
		m.goForward(s)
	case work && s.Line == arming.LineOpen && !p.forward:
		if m.back == 0 {
			p.goForward(true)
		}
	case work && live > 0:
		m.submit(arming.Inspect{Motor: live, Found: "burned out", By: firing})
	case work:
		p.putShunt(true)
		m.submit(arming.Say{Fact: arming.FactShunted, By: firing})
	case s.Line == arming.LineOpen:
		m.backThenClose(s)
	case !s.MakeSafe.FireWatched:
		m.submit(arming.Say{Fact: arming.FactFireWatched, By: firing})
	case !s.ResultIn && s.PermitEver:
		m.submit(arming.Result{RestM: 131, HasRest: true, Words: "straight"})
	default:
		if !m.countUp(s) {
			m.submit(arming.AllClear{By: ranger})
		}
	}
}

// countUp answers a count that is due after the firing.
func (m *team) countUp(s *arming.State) bool {
	plan := m.p.s.plan
	for _, i := range s.CountsDue(plan) {
		st := &plan.Steps[i]
		if s.Evidence[i].Present {
			continue
		}
		n := 0.0
		if !st.Counted() {
			n = float64(plan.Motors)
		}
		m.submit(arming.Answer{Step: st.ID, Value: n, Again: n, Means: arming.MeansTyped})
		return true
	}
	return false
}
