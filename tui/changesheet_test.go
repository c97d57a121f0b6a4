package tui

import (
	"strings"
	"testing"

	"holdline/arming"
	"holdline/tui/golden"
)

// A prediction that says no is read with what can be done about it, in SETUP
// only; one that says go is not.
func TestANoSaysHowTheSheetIsChanged(t *testing.T) {
	t.Parallel()
	w := newWorld(t, arming.ModeBox)
	w.until(arming.StepRangeClear)
	w.key("p")
	if strings.Contains(w.m.View(), "holdline edit") {
		t.Errorf("said beside a go:\n%s", w.m.View())
	}
	w.m.forecast.allGo = false
	w.m.changed = true
	view := w.m.View()
	golden.Fits(t, view, 80, 24)
	if !strings.Contains(view, "holdline edit") {
		t.Errorf("not said beside a no:\n%s", view)
	}
	w.m.frame.State.Phase = arming.Hold
	if w.m.changeSheet() != "" {
		t.Error("said outside SETUP")
	}
}
