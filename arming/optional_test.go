package arming

import (
	"strings"
	"testing"

	"holdline/checklist"
)

// withSteps is a firing whose sheet adds steps: one that is due, one that may
// be passed over, one after the firing.
func withSteps(t *testing.T) *world {
	t.Helper()
	w := newWorld(t, ModeTyped)
	extra := []checklist.Step{
		{Phase: checklist.Site, Challenge: "Wire tension: what does the scale read?", Role: checklist.RangeOfficer},
		{Phase: checklist.Site, Challenge: "Camera: what runs?", Role: checklist.RangeOfficer, Optional: true},
		{Phase: checklist.After, Challenge: "Strip walked: what lay there?", Role: checklist.RangeOfficer},
	}
	w.p.Steps = checklist.Routine(checklist.Inputs{Motors: 2, Extra: extra, Times: w.p.Times,
		Channels: []checklist.Band{{Low: 1, High: 2, Unit: "ohm"}, {Low: 1, High: 2, Unit: "ohm"}},
		Budget:   checklist.Band{Low: 12, High: 13, Unit: "V"}, Wind: checklist.Band{Low: -1, High: 5, Unit: "m/s"},
		Mass: checklist.Band{Low: 1.4, High: 1.5, Unit: "kg"}, Mark: "SB-3",
		Posts: []checklist.Post{{Name: "north"}, {Name: "south"}}, MeterOhm: 0.02})
	if err := w.p.Validate(); err != nil {
		t.Fatal(err)
	}
	return w
}

// A step that the sheet adds is asked in its place and stands in the way until
// it is answered; only one that the sheet calls optional is passed over, by a
// person, and is known to have been.
func TestStepsOfTheSheetAreAsked(t *testing.T) {
	w := withSteps(t)
	at := func() string { return w.p.Steps[w.s.Cursor(w.p)].ID }
	w.words("crew/firing officer", firing)
	w.words("crew/range officer", ranger)
	w.words("crew/north", "Nora")
	w.words("crew/south", "Sven")
	w.words("briefing", "all four heard it")
	w.must(Answer{Step: "code", Value: 6, Means: MeansTyped})
	w.words("ground", "short grass, two buckets")
	w.typed("wind", 2)
	w.typed("daylight", 240)
	if at() != "sheet/1" {
		t.Fatalf("at hand is %s, want the sheet's step", at())
	}
	w.refused(Answer{Step: "mark", Words: "sb-3", Means: MeansSaid}, "comes after sheet/1")
	w.refused(Answer{Step: "sheet/1", Means: MeansPassed}, "not passed over")
	w.words("sheet/1", "340 N")
	w.refused(Answer{Step: "mark", Words: "sb-3", Means: MeansSaid}, "comes after sheet/2")
	w.must(Answer{Step: "sheet/2", Means: MeansPassed})
	if e := w.s.Evidence[w.p.index("sheet/2")]; !e.Present || e.Means != MeansPassed || e.By != ranger {
		t.Errorf("passed over: %+v", e)
	}
	if at() != "mark" {
		t.Errorf("at hand is %s", at())
	}
	w.must(Withdraw{Step: "sheet/1", Why: "read again"})
	found := false
	for _, b := range w.s.Blockers(w.p) {
		found = found || strings.HasPrefix(b.Why, "sheet/1: ")
	}
	if !found {
		t.Error("a step of the sheet that is not answered blocks nothing")
	}
	w.s.Hooked = true
	if missing := strings.Join(w.s.AllClearMissing(w.p), "; "); !strings.Contains(missing, "sheet/3") {
		t.Errorf("the all clear does not wait for the step after the firing: %s", missing)
	}
}
