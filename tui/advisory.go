package tui

import (
	"fmt"

	"holdline/arming"
	"holdline/tui/canvas"
	"holdline/tui/limits"
	"holdline/tui/theme"
)

// drawAdvisory says that a limit is advisory, and which key lets it pass.
func (m *Model) drawAdvisory(w *canvas.Pen, t task) {
	if m.mayPass(t) && w.Left() >= 2 {
		w.Text(theme.Dim, "optional: "+keyPass.Help().Key+" passes it over, and the record shows that")
		return
	}
	if t.step < 0 || !m.mayWaive(t) || m.frame.State.Evidence[t.step].Present || w.Left() < 2 {
		return
	}
	w.Text(theme.Dim, "advisory: "+keyWaive.Help().Key+", the range officer lets it pass with a reason")
}

// waived lists the advisory limits that the range officer has let pass, and the
// optional steps that were passed over.
func waived(f *Frame) []string {
	var out []string
	if f.Plan == nil {
		return nil
	}
	for i := range f.Plan.Steps {
		e, st := &f.State.Evidence[i], &f.Plan.Steps[i]
		if e.Present && e.Means == arming.MeansPassed {
			out = append(out, "PASSED OVER: "+st.ID+" by "+e.By)
		}
		if e.Present && e.Waived {
			out = append(out, fmt.Sprintf("WAIVED: %s at %s by %s: %s", st.ID, limits.Quantity(e.Value, st.Band.Unit, f.Units)+practiceMark(f, st), e.By, e.Words))
		}
	}
	return out
}

// drawWaived has both officers see what was let pass before they arm.
func (m *Model) drawWaived(w *canvas.Pen) {
	if m.frame.State.Phase != arming.Ready {
		return
	}
	for _, text := range waived(&m.frame) {
		if w.Left() > 1 {
			w.Text(theme.Lapsing, text)
		}
	}
}
