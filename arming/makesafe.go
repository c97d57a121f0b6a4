package arming

import (
	"fmt"
	"math"
	"strings"

	"holdline/checklist"
)

// enterMakeSafe begins the phase in which one person goes forward, with the
// line still as it is: it opens by the order to go.
func (m *machine) enterMakeSafe(why string) {
	m.permitOff()
	m.clearArming()
	m.enter(MakeSafe)
	m.s.ScrubAsked = false
	m.s.MakeSafe = MakeSafeFacts{}
	m.dropPhase(checklist.After) // counted before what led here
	m.notice("MAKESAFE: " + why)
}

// onGoForward is the range officer's order that ends the wait and sends one
// named person forward, the key in their pocket (R-10, I-22).
func (m *machine) onGoForward(ev GoForward) error {
	person := strings.TrimSpace(ev.Person)
	switch {
	case m.s.Phase != Wait && m.s.Phase != MakeSafe:
		return m.refuse("one person goes forward after WAIT", "")
	case m.s.Crew.Range == "" || !sameName(ev.By, m.s.Crew.Range):
		return m.refuse("only the range officer sends somebody forward", "")
	case m.s.Phase == Wait && m.s.WaitLeft > 0:
		return m.refuse(fmt.Sprintf("the wait is not over: %.0f s left", m.s.WaitLeft.Seconds()), "nobody goes forward")
	case m.s.Phase == Wait && !m.s.AtRest:
		return m.refuse("nobody has said that the vehicle is at rest", "")
	case m.s.Line != LineClosed:
		return m.refuse("the line is "+m.s.Line.String(), "count everyone back first")
	case person == "" || len([]rune(person)) > 40:
		return m.refuse("one person is named", "")
	}
	if why, remedy := m.s.Crew.MayGo(m.p, person); why != "" {
		return m.refuse(why, remedy)
	}
	if err := m.mayGo("going forward"); err != nil {
		return err
	}
	ev.Person = person
	return m.ask(ev, func() {
		if m.s.Phase == Wait {
			m.enterMakeSafe("wait over")
		}
		m.s.Line, m.s.Warned = LineOpen, Warned{}
		m.s.Crew.Forward = [checklist.MaxPosts]string{person}
		m.s.Crew.KeyWith = person
		m.notice("line OPEN: " + person + " forward, alone, the key in their pocket")
	})
}

// onInspect is what the person forward found at one motor: the only thing that
// makes a motor less than live (I-23).
func (m *machine) onInspect(ev Inspect) error {
	words := strings.ToLower(strings.TrimSpace(ev.Found))
	switch {
	case m.s.Phase != MakeSafe || m.s.Line != LineOpen:
		return m.refuse("motors are inspected in MAKESAFE, with one person forward", "")
	case !sameName(ev.By, m.s.Crew.Forward[0]):
		return m.refuse("the person forward inspects", "")
	case ev.Motor < 1 || ev.Motor > m.p.Motors:
		return m.refuse(fmt.Sprintf("there is no motor %d", ev.Motor), "")
	case len([]rune(words)) < 3 || emptyWords[words]:
		return m.refuse("say what is seen: burned out, or unlit and its igniter out", "")
	}
	return m.ask(ev, func() {
		m.s.Fate[ev.Motor-1] = FateInspected
		m.notice(fmt.Sprintf("motor %d inspected by %s: %s", ev.Motor, ev.By, words))
	})
}

// sayMakeSafe takes the two facts that end MAKESAFE with the inspections.
func (m *machine) sayMakeSafe(ev Say) error {
	if m.s.Phase != MakeSafe {
		return m.refuse("this is said in MAKESAFE", "")
	}
	return m.ask(ev, func() {
		if ev.Fact == FactShunted {
			m.s.MakeSafe.Shunted = true
			m.notice("igniter leads shunted, says " + ev.By)
			return
		}
		m.s.MakeSafe.FireWatched = true
		m.notice("ground looked over for fire, says " + ev.By)
	})
}

// onResult takes the measured result of the run.
func (m *machine) onResult(ev Result) error {
	if m.s.Phase != MakeSafe && m.s.Phase != Wait {
		return m.refuse("the result is typed in WAIT or MAKESAFE", "")
	}
	for _, v := range []float64{ev.RestM, ev.SpeedMps} {
		if math.IsNaN(v) || math.IsInf(v, 0) || v < 0 {
			return m.refuse("the result is not a number", "type what was measured, or say in words that nothing was")
		}
	}
	if !ev.HasRest && !ev.HasSpeed && len([]rune(strings.TrimSpace(ev.Words))) < 3 {
		return m.refuse("a result is a number or a sentence", "type what was measured, or say in words that nothing was")
	}
	return m.ask(ev, func() {
		m.s.ResultIn = true
		m.notice("result typed in")
	})
}

// AllClearMissing lists what still stands in the way of the all clear.
func (s *State) AllClearMissing(p *Plan) []string {
	var out []string
	add := func(bad bool, why string) {
		if bad {
			out = append(out, why)
		}
	}
	if s.Hooked {
		for k := 0; k < p.Motors; k++ {
			add(s.Fate[k] != FateInspected, fmt.Sprintf("motor %d is %s", k+1, s.Fate[k]))
		}
		add(!s.MakeSafe.Shunted, "the igniter leads are not shunted")
	}
	for _, i := range s.CountsDue(p) {
		ok, why := s.Stands(p, i)
		add(!ok, p.Steps[i].ID+": "+why)
	}
	add(s.Line != LineClosed, "the line is "+s.Line.String())
	add(!s.keyOut(p), "the key is not known to be out")
	add(!s.batteryOff(p), "the battery is not known to be off")
	add(!s.MakeSafe.FireWatched, "nobody has looked the ground over for fire")
	add(s.PermitEver && !s.ResultIn, "no result is typed in")
	return out
}

// onAllClear is the range officer's word that the firing is over.
func (m *machine) onAllClear(ev AllClear) error {
	switch {
	case m.s.Phase != MakeSafe:
		return m.refuse("the all clear ends MAKESAFE", "")
	case m.s.Crew.Range == "" || !sameName(ev.By, m.s.Crew.Range):
		return m.refuse("only the range officer gives the all clear", "")
	}
	if missing := m.s.AllClearMissing(m.p); len(missing) > 0 {
		return m.refuse(missing[0], "")
	}
	return m.ask(ev, func() {
		m.enter(Closed)
		m.notice("all clear by " + m.s.Crew.Range)
		m.fx = append(m.fx, CloseRecord{})
	})
}
