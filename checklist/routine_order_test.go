package checklist

import (
	"strings"
	"testing"
)

// The practice of this job is in the routine in its words and in its order:
// each row is a step, what its challenge must say, and the step that comes
// after it. Numbers are those of the hazard analysis.
func TestThePracticeIsInTheRoutine(t *testing.T) {
	for _, c := range []struct {
		boxed           bool
		id, says, after string
	}{
		{true, "briefing", "If the screen stands still: let go, key out, battery off, all stay", "code"},
		{true, "briefing", "HOLD means stop, anyone calls it", "prediction"},
		{true, "motors", "designation and count, read off every case", "prediction"},
		{true, "mark", "the mark on the vehicle at the start line", "prediction"},
		{true, "contact-proof", "no igniter connected, line closed, battery joined", "hook-up"},
		{true, "dead-check", "battery off, key out", "hook-up"},
		{true, "shunt-on", "shunt across the firing line at the box end", "hook-up"},
		{true, "hook-up", "forward, alone if possible, eyes protected", "line-closed"},
		{true, "key-held", "handed to the range officer", "shunt-off"},
		{true, "shunt-off", "shunt off the firing line", "continuity/1"},
		{true, "continuity/1", "from the hold line", "battery-joined"},
		{true, "battery-joined", "battery joined", "battery-budget"},
		{true, "laptop", "charger unplugged", "spotter/north gate"},
		{true, "laptop", "this window keeps the keyboard", "spotter/north gate"},
		{true, "radios", "steering transmitter at 30 m (0.8 m at least)", "spotter/north gate"},           // H-6
		{true, "crew/north gate", "45 m or more from path and rest", "briefing"},
		{false, "meter-off", "meter off the firing line, before the battery is joined", "battery-joined"},
		{false, "continuity/1", "from the hold line", "meter-off"},
		{false, "contact-proof", "key out, then key in and button open", "hook-up"},
		{false, "dead-check", "battery off, key out", "hook-up"},
	} {
		at, after := -1, -1
		steps := Routine(inputs(c.boxed))
		for i, s := range steps {
			if s.ID == c.id {
				at = i
			}
			if s.ID == c.after {
				after = i
			}
		}
		switch {
		case at < 0 || after <= at:
			t.Errorf("%s stands at %d, %s at %d", c.id, at, c.after, after)
		case !strings.Contains(strings.ToLower(steps[at].Challenge), strings.ToLower(c.says)):
			t.Errorf("%s asks %q, want %q in it", c.id, steps[at].Challenge, c.says)
		case steps[at].Optional || steps[at].Advisory:
			t.Errorf("%s can be passed", c.id)
		}
	}
}

// The battery is asked for with the line CLOSED and the key out only, and every
// circuit step besides..
func TestCircuitStepsNeedTheLineClosedAndTheKeyOut(t *testing.T) {
	for _, boxed := range []bool{true, false} {
		n := 0
		for _, s := range Routine(inputs(boxed)) {
			if s.Gate != GateContinuity && s.Gate != GateBattery && s.Gate != GateDead {
				continue
			}
			n++
			if s.Needs&NeedLineClosed == 0 || s.Needs&NeedKeyOut == 0 {
				t.Errorf("%s needs %b", s.ID, s.Needs)
			}
		}
		if n < 8 {
			t.Errorf("only %d steps were looked at", n)
		}
	}
}
