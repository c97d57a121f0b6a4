package tui

import (
	"fmt"
	"strings"

	"holdline/arming"
	"holdline/checklist"
	"holdline/tui/canvas"
	"holdline/tui/theme"
)

// countTasks are what is counted in MAKESAFE. What keeps nothing open comes
// apart: what the sheet asks then, and a count made before the firing, which
// may be made again.
func countTasks(f *Frame) (due, more []task) {
	wanted := map[int]bool{}
	for _, i := range f.State.CountsDue(f.Plan) {
		wanted[i] = true
	}
	for i := range f.Plan.Steps {
		st := &f.Plan.Steps[i]
		switch {
		case wanted[i] && (st.Phase == checklist.After || !f.State.Evidence[i].Present):
			due = append(due, stepTask(f, i))
		case wanted[i]:
			t := stepTask(f, i)
			t.side = true
			more = append(more, t)
		}
	}
	return due, more
}

// countForm takes a count twice, and with one that has to balance a word about
// what is missing.
func countForm(st *checklist.Step) *form {
	fields := []field{{label: "first count", ghost: "how many"}, {label: "second count", ghost: "how many"}}
	if st.Counted() {
		fields = append(fields, field{label: "not adding up", ghost: "where they are, or -"})
	}
	return stepForm(st, fields, func(v []string) (arming.Event, string) {
		a, okA := number(v[0], "")
		b, okB := number(v[1], "")
		if !okA || !okB {
			return nil, "a whole number is due"
		}
		ev := arming.Answer{Step: st.ID, Value: a, Again: b, Means: arming.MeansTyped}
		if len(v) > 2 && strings.Trim(v[2], "-–") != "" {
			ev.Words = v[2]
		}
		return ev, ""
	})
}

// countSeen is what could be counted in practice, where there is no box of
// motors to look into: twice what the vehicle takes was brought.
func (m *Model) countSeen(st *checklist.Step) string {
	f := &m.frame
	value := func(id string) float64 {
		for i := range f.Plan.Steps {
			if f.Plan.Steps[i].ID == id {
				return f.State.Evidence[i].Value
			}
		}
		return 0
	}
	n := 2 * float64(f.Plan.Motors)
	switch {
	case st.Counted():
		n = value(st.Balance[0]) - value(st.Balance[1])
	case st.Phase == checklist.After:
		n = float64(len(f.Hands.Lit))
	case st.Advisory:
		n = st.Band.Low
	}
	return fmt.Sprintf("you count %g", n)
}

// drawFallen says at the step itself why what was just answered does not stand:
// a value outside its band, a count that does not add up.
func (m *Model) drawFallen(w *canvas.Pen, t task) {
	if m.form != nil || t.step < 0 || m.frame.State.Evidence[t.step].Present {
		return
	}
	if why, about := strings.CutPrefix(m.frame.Loud, m.frame.Plan.Steps[t.step].ID+": "); about && w.Left() > 1 {
		w.Text(theme.Broken, "╱ "+why)
	}
}
