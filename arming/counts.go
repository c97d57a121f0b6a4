package arming

import (
	"fmt"
	"math"
	"strings"

	"holdline/checklist"
)

// answeredAfter reports a step that is answered in MAKESAFE: what comes after
// the firing, and a count made before it. A start after a break knows no count,
// and one that does not balance may have begun with a wrong one.
func answeredAfter(st *checklist.Step) bool { return st.Phase == checklist.After || counts(st) }

// counts reports a count that others balance with.
func counts(st *checklist.Step) bool {
	for _, what := range checklist.Consumables() {
		if st.ID == checklist.BroughtStep(what) {
			return true
		}
	}
	return false
}

// again says what to do about two entries that differ.
func again(st *checklist.Step) string {
	if st.Whole {
		return "count again"
	}
	return "lift the leads and measure again"
}

// CountsDue returns the counts that the all clear waits for: those after a
// firing, and those before it that were not made, once anything was counted or
// hooked up. A firing given up before that has used nothing.
func (s *State) CountsDue(p *Plan) []int {
	begun := s.Hooked || s.PermitEver
	for i := range p.Steps {
		begun = begun || counts(&p.Steps[i]) && s.Evidence[i].Present
	}
	if !begun {
		return nil
	}
	var due []int
	for i := range p.Steps {
		if st := &p.Steps[i]; counts(st) || st.Phase == checklist.After && !p.skips(st) {
			due = append(due, i)
		}
	}
	return due
}

// OutOfBalance returns how many of a count are not accounted for with the
// value given: negative where there are more than were brought. The step rests
// on both of the others, so they are known.
func (s *State) OutOfBalance(p *Plan, st *checklist.Step, value float64) float64 {
	i, j := p.index(st.Balance[0]), p.index(st.Balance[1])
	if i < 0 || j < 0 {
		return math.Inf(1)
	}
	return s.Evidence[i].Value - s.Evidence[j].Value - value
}

// balances compares a count with the two before it. One that does not add up
// stands only with an explanation in words; it is said either way.
func (m *machine) balances(st *checklist.Step, value float64, words string) bool {
	missing := m.s.OutOfBalance(m.p, st, value)
	if missing == 0 {
		return true
	}
	i, j := m.p.index(st.Balance[0]), m.p.index(st.Balance[1])
	text := fmt.Sprintf("%s: %g used and %g left of %g brought, %g not accounted for", st.ID, m.s.Evidence[j].Value, value,
		m.s.Evidence[i].Value, missing)
	if missing < 0 {
		text = fmt.Sprintf("%s: %g used and %g left, %g more than the %g brought", st.ID, m.s.Evidence[j].Value, value,
			-missing, m.s.Evidence[i].Value)
	}
	words = strings.TrimSpace(words)
	if saysNothing(words, 4) {
		m.loud(text + ": count again, or say where they are; the step does not stand")
		return false
	}
	m.loud(text + ", explained: " + words)
	return true
}
