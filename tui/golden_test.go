package tui

import (
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"holdline/arming"
	"holdline/checklist/sheet/unit"
	"holdline/tui/golden"
)

// scene is a cockpit brought to a moment.
type scene struct {
	name string
	mode arming.Mode
	act  func(w *world)
}

// scenes are the moments of a firing that the golden screens keep.
func scenes() []scene {
	to := func(p arming.Phase) func(*world) { return func(w *world) { w.toPhase(p) } }
	page := func(k string) func(*world) {
		return func(w *world) { w.until(arming.StepRangeClear); w.key(k) }
	}
	box := arming.ModeBox
	return []scene{
		{"setup-first", box, func(w *world) { w.pass(time.Second) }},
		{"setup-field", box, func(w *world) { w.until("wind"); w.key("enter"); w.write("2.1") }},
		{"setup-range-clear", box, func(w *world) { w.until(arming.StepRangeClear) }},
		{"setup-refused", box, func(w *world) { w.until("line/close"); w.fill("Ben Wick", "7") }},
		{"setup-measured", box, func(w *world) { w.until(arming.StepContinuity(3)); w.pass(time.Second) }},
		{"setup-spotter", box, func(w *world) { w.until(arming.StepSpotter(w.p.Posts[0])); w.key("enter") }},
		{"proof", box, func(w *world) { w.until(arming.StepProof); w.key("f6"); w.fill("prove"); w.pass(time.Second) }},
		{"ready", box, to(arming.Ready)},
		{"ready-code", box, func(w *world) { w.until(""); w.fill("AdaFinch"); w.pass(time.Second); w.key("enter"); w.write("plo") }},
		{"armed", box, to(arming.Armed)},
		{"count", box, to(arming.Count)},
		{"count-pause", box, func(w *world) {
			w.p.Times.Pauses[0] = 5 * time.Second
			w.toPhase(arming.Count)
			w.pass(4 * time.Second)
		}},
		{"window", box, to(arming.Window)},
		{"run", box, to(arming.Run)},
		{"hold", box, to(arming.Hold)},
		{"wait", box, to(arming.Wait)},
		{"makesafe", box, func(w *world) { w.toPhase(arming.MakeSafe); w.fill("burned out") }},
		{"closed", box, to(arming.Closed)},
		{"typed-setup", arming.ModeTyped, func(w *world) { w.until("dead-check") }},
		{"drill-count", box, func(w *world) {
			w.toPhase(arming.Count)
			w.drill = &DrillView{Heard: "north gate by radio: HOLD, HOLD"}
			w.pass(time.Second)
		}},
		{"drill-first", box, func(w *world) { w.drill = &DrillView{}; w.pass(time.Second) }},
		{"drill-ready", box, func(w *world) { w.toPhase(arming.Ready); w.drill = &DrillView{}; w.pass(time.Second) }},
		{"drill-closed", box, func(w *world) { w.toPhase(arming.Closed); w.drill = &DrillView{}; w.pass(time.Second) }},
		{"tour-1", box, tourAt(1)},
		{"tour-2", box, tourAt(2)},
		{"tour-3", box, tourAt(3)},
		{"tour-4", box, tourAt(4)},
		{"tour-5", box, tourAt(5)},
		{"tour-6", box, tourAt(6)},
		{"tour-7", box, tourAt(7)},
		{"page-prediction", box, page("p")},
		{"page-circuit", box, func(w *world) { w.until(arming.StepBattery); w.pass(time.Second); w.key("c") }},
		{"page-people", box, page("o")},
		{"page-log", box, page("l")},
		{"page-steps", box, page("s")},
		{"page-help", box, page("?")},
		{"page-words", box, page("g")},
		{"us-setup-field", box, func(w *world) { w.until("wind"); inUS(w); w.key("enter"); w.write("5 mph") }},
		{"us-setup-range-clear", box, func(w *world) { w.until(arming.StepRangeClear); inUS(w) }},
		{"us-page-prediction", box, func(w *world) { w.until(arming.StepRangeClear); inUS(w); w.key("p") }},
	}
}

// inUS shows what follows in US units.
func inUS(w *world) {
	w.units = unit.US
	w.pass(100 * time.Millisecond)
}

// tourAt is a stop of the tour on the first screen.
func tourAt(n int) func(*world) {
	return func(w *world) {
		w.pass(time.Second)
		w.key("i")
		for range n - 1 {
			w.key("enter")
		}
	}
}

func TestGoldenScreens(t *testing.T) {
	t.Parallel()
	for _, sc := range scenes() {
		t.Run(sc.name, func(t *testing.T) {
			t.Parallel()
			w := newWorld(t, sc.mode)
			sc.act(w)
			golden.Screens(t, sc.name, func(width, height int, ascii bool) string {
				w.m.cfg.ASCII = ascii
				w.m.Update(tea.WindowSizeMsg{Width: width, Height: height})
				view := w.m.View()
				checkPractice(t, w, view)
				checkDrill(t, w, view)
				return view
			})
		})
	}
}

// checkPractice is R-41: every row that shows a reading carries the word.
func checkPractice(t *testing.T, w *world, view string) {
	t.Helper()
	if !w.p.Practice {
		return
	}
	for _, l := range strings.Split(view, "\n") {
		if readingPattern.MatchString(l) && !strings.Contains(l, "PRACTICE") {
			t.Errorf("a reading without the word PRACTICE: %q", l)
		}
	}
}

// checkDrill says that a drill says so in the head, on the row of readings and
// on every line of the log, whatever the size, and that what is heard is there.
func checkDrill(t *testing.T, w *world, view string) {
	t.Helper()
	if w.drill == nil {
		return
	}
	if n := strings.Count(view, "PRACTICE DRILL"); n < 3 && !strings.Contains(view, "too small") || n < 1 {
		t.Errorf("PRACTICE DRILL stands %d times:\n%s", n, view)
	}
	if flat := strings.Join(strings.Fields(view), " "); !strings.Contains(flat, w.drill.Heard) {
		t.Errorf("what is heard is not there:\n%s", view)
	}
}
