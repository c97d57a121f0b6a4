package checklist

import (
	"strings"
	"testing"
)

func inputs(boxed bool) Inputs {
	return Inputs{Boxed: boxed, Motors: 4, Channels: make([]Band, 4), Times: Bounds().Default, Mark: "PL-4",
		Posts: []Post{{"north gate", 45}, {"south gate", 0}}, Radios: []Radio{{"steering transmitter", 30, 0.8}},
		Mass: Band{1.8, 1.9, "kg"}, Wind: Band{-1, 30, "m/s"}}
}

// Every step rests only on steps before it, phases never go back, and each
// step has somebody to answer it.
func TestRoutineIsInOrder(t *testing.T) {
	for _, boxed := range []bool{true, false} {
		in := inputs(boxed)
		in.Extra = []Step{{Phase: VehicleCheck, Challenge: "flag up"}, {Phase: Briefing, Challenge: "roll call"}, {Phase: Poll, Challenge: "gates"}, {Phase: After, Challenge: "litter"}}
		seen, last, lastGate := map[string]bool{}, PhaseNone, GateNone
		for _, s := range Routine(in) {
			if s.Phase < last {
				t.Errorf("%s: phase %v after %v", s.ID, s.Phase, last)
			}
			if s.Gate < lastGate && s.Phase <= Poll {
				t.Errorf("%s: gate %v after %v: the chain would break elsewhere than at the step at hand", s.ID, s.Gate, lastGate)
			}
			if seen[s.ID] || s.Challenge == "" || s.Role == RoleNone || s.Kind == KindNone {
				t.Errorf("step %+v", s)
			}
			for _, base := range s.RestsOn {
				if !seen[base] {
					t.Errorf("%s rests on %s, which does not come before it", s.ID, base)
				}
			}
			seen[s.ID], last, lastGate = true, s.Phase, s.Gate
		}
		if len(seen) > MaxSteps {
			t.Errorf("%d steps", len(seen))
		}
	}
}

// The wind limit of 20 mph holds whatever the sheet allows: item 9 of the
// national model rocket safety code.
func TestWindNeverAboveTwentyMilesAnHour(t *testing.T) {
	const mph = 0.44704 // m/s, exact by definition
	for _, s := range Routine(inputs(true)) {
		if s.ID == "wind" && (s.Band.High > 20*mph+0.001 || s.Band.High < 20*mph-0.01) {
			t.Errorf("wind band %v", s.Band)
		}
	}
}

// HOLD means stop and nothing else, and no challenge asks for "checked"
// (14 CFR 450.157: defined phraseology).
func TestWordsOfTheRoutine(t *testing.T) {
	for _, s := range Routine(inputs(true)) {
		text := strings.ToLower(s.Challenge + " " + s.Hint)
		if strings.Contains(text, "checked") || strings.Contains(text, " safe") {
			t.Errorf("%s: %q", s.ID, text)
		}
		for _, word := range strings.FieldsFunc(s.Challenge+" "+s.Hint, func(r rune) bool { return r == ' ' || r == ',' || r == '.' || r == ':' }) {
			if (word == "hold" || word == "Hold") && !strings.Contains(text, "hold line") {
				t.Errorf("%s: %q stands for something other than stop", s.ID, word)
			}
		}
	}
}

// A sheet adds steps and never removes one: the core stands with any extra.
func TestExtraStepsOnlyAdd(t *testing.T) {
	plain := Routine(inputs(true))
	in := inputs(true)
	in.Extra = []Step{{ID: "contact-proof", Phase: ContactProof, Kind: KindWords, Optional: true, Challenge: "pretend"}}
	more := Routine(in)
	have := map[string]Kind{}
	for _, s := range more {
		have[s.ID] = s.Kind
	}
	for _, s := range plain {
		if k, ok := have[s.ID]; !ok || k != s.Kind {
			t.Errorf("%s is gone or changed", s.ID)
		}
	}
	if len(more) != len(plain)+1 {
		t.Errorf("%d steps, want %d", len(more), len(plain)+1)
	}
}

// Every built-in step says where it comes from, most of them in words of their
// own; a sheet's own steps are the sheet's.
func TestEveryStepNamesItsSource(t *testing.T) {
	in := inputs(true)
	in.Extra = []Step{{Phase: VehicleCheck, Challenge: "flag up"}}
	named, built := 0, 0
	for _, s := range Routine(in) {
		if s.Challenge == "flag up" {
			if s.Source != "" {
				t.Errorf("the sheet's own step says %q", s.Source)
			}
			continue
		}
		built++
		if s.Source == "" {
			t.Errorf("%s has no source", s.ID)
		}
		if s.Source != "common practice, no source" {
			named++
		}
	}
	if named <= built/2 {
		t.Errorf("%d of %d steps name a source", named, built)
	}
}
