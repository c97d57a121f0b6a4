package tui

import (
	"slices"
	"testing"

	"holdline/arming"
	"holdline/checklist/sheet/unit"
)

// The strip is kept from frame to frame, and drawn anew with everything that
// it shows: after each change it is what a strip drawn from nothing is.
func TestAKeptStripIsNeverOld(t *testing.T) {
	w := newWorld(t, arming.ModeBox)
	w.toPhase(arming.Count)
	m := w.m
	view := func() string {
		m.changed = true
		return m.View()
	}
	before := view()
	another := *w.answers.run
	another.Results = slices.Clone(another.Results)
	another.Results[0].Outcome.StopPositionM *= 0.8
	for _, c := range []struct {
		name string
		do   func()
	}{
		{"another size", func() { resize(w, [2]int{200, 50}) }},
		{"a prediction", func() { m.frame.Run = &another; m.forecast.update(&m.frame) }},
		{"no circuit", func() { m.frame.Circuit = nil; m.forecast.update(&m.frame) }},
		{"a measured rest", func() { m.measuredM, m.frame.State.ResultIn = 120, true }},
		{"another measured rest", func() { m.measuredM = 60 }},
		{"other units", func() { m.frame.Units = unit.US }},
		{"no practice", func() { m.frame.Practice = false }},
		{"ASCII", func() { m.cfg.ASCII = true }},
		{"no prediction", func() { m.frame.Run = nil; m.forecast.update(&m.frame) }},
		{"a small size", func() { resize(w, [2]int{100, 30}) }},
	} {
		c.do()
		kept := view()
		m.strip = strip{}
		if fresh := view(); kept != fresh {
			t.Errorf("%s: the strip is an old one", c.name)
		}
		if kept == before && c.name != "no circuit" {
			t.Errorf("%s: the screen shows nothing of it", c.name)
		}
		before = kept
	}
}
