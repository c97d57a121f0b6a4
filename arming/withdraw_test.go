package arming

import (
	"strings"
	"testing"
)

// noticed lists the notices of the last step.
func (w *world) noticed() string {
	var out []string
	for _, f := range w.all {
		if n, ok := f.(Notice); ok {
			out = append(out, n.Text)
		}
	}
	return strings.Join(out, "\n")
}

// What rests on a basis that changed is withdrawn by name, each with why, and
// nothing else is. R-38, I-16.
func TestAChangedBasisWithdrawsByName(t *testing.T) {
	for name, c := range map[string]struct {
		change func(w *world)
		gone   []string
		said   []string
	}{
		"wind outside its range": {
			func(w *world) { w.typed("wind", 7) },
			[]string{"wind", "prediction/firing officer", "prediction"},
			[]string{"withdrawn: prediction/firing officer, wind left its range", "withdrawn: prediction, ", "wind: 7 m/s is outside -1 to 5"},
		},
		"mass outside its range": {
			func(w *world) { w.typed("mass", 1.7) },
			[]string{"mass", "prediction/firing officer", "prediction"},
			[]string{"withdrawn: prediction/firing officer, mass left its range", "withdrawn: prediction, "},
		},
		"another sheet on disk": {
			func(w *world) { w.must(BasisLeft{"the sheet on disk is another one"}) },
			[]string{"prediction/firing officer", "prediction"},
			[]string{"withdrawn: prediction/firing officer, the sheet on disk is another one", "withdrawn: prediction, prediction/firing officer rests on it", "the sheet on disk is another one: the prediction is withdrawn"},
		},
		"the mark taken back": {
			func(w *world) { w.must(Withdraw{Step: "mark", Why: "read again"}) },
			[]string{"mark", "prediction/firing officer", "prediction"},
			[]string{"withdrawn: mark, read again", "withdrawn: prediction/firing officer, mark rests on it"},
		},
	} {
		w := newWorld(t, ModeBox)
		w.crew()
		before := w.s.Evidence
		w.all = nil
		c.change(w)
		gone := map[string]bool{}
		for _, id := range c.gone {
			gone[id] = true
		}
		for i := range w.p.Steps {
			if id := w.p.Steps[i].ID; before[i].Present && w.s.Evidence[i].Present == gone[id] {
				t.Errorf("%s: %s present %v", name, id, w.s.Evidence[i].Present)
			}
		}
		for _, want := range c.said {
			if !strings.Contains(w.noticed(), want) {
				t.Errorf("%s: %q is not said in\n%s", name, want, w.noticed())
			}
		}
	}
}
