package edit

import (
	"strings"
	"testing"

	tea "github.com/charmbracelet/bubbletea"

	"holdline/checklist/sheet/unit"
	"holdline/tui/golden"
)

// scenes are the moments that the golden screens keep.
func scenes() []struct {
	name string
	act  func(t *testing.T) *world
} {
	type scene = struct {
		name string
		act  func(t *testing.T) *world
	}
	settled := func(act func(w *world)) func(*testing.T) *world {
		return func(t *testing.T) *world {
			w := newWorld(t)
			w.settle()
			act(w)
			return w
		}
	}
	return []scene{
		{"first", func(t *testing.T) *world { return newWorld(t) }},
		{"go", settled(func(w *world) { w.to("site.clear_length") })},
		{"working", settled(func(w *world) {
			w.to("vehicle.mass")
			w.enter("1.2 kg")
			w.send(Progress{w.m.number, "prediction", 0.37})
		})},
		{"no-go", settled(func(w *world) { w.to("site.clear_length"); w.enter("140 m"); w.settle() })},
		{"weak-circuit", settled(func(w *world) { w.to("firing.lead.length"); w.enter("210 m"); w.settle() })},
		{"refused", settled(func(w *world) { w.to("site.headwind"); w.enter("2") })},
		{"fault", settled(func(w *world) { w.to("site.crew_distance"); w.enter("90 m"); w.settle(); w.key("f") })},
		{"curve", settled(func(w *world) { w.to("motor[2].curve"); w.key("enter", "down", "down") })},
		{"add-device", settled(func(w *world) { w.to("stop[2].at"); w.key("a", "down") })},
		{"asked", settled(func(w *world) { w.to("stop[1].after"); w.key("m"); w.settle() })},
		{"heading", settled(func(w *world) { w.to("step[2]") })},
		{"help", settled(func(w *world) { w.key("?") })},
		{"leave", settled(func(w *world) {
			w.to("vehicle.mass")
			w.enter("1.9 kg")
			w.to("limits.stop_margin")
			w.key("d", "q")
		})},
		{"changed-on-disk", settled(func(w *world) { w.to("vehicle.mass"); w.enter("1.9 kg"); w.disk = nil; w.key("s") })},
	}
}

func TestGoldenScreens(t *testing.T) {
	t.Parallel()
	for _, sc := range scenes() {
		t.Run(sc.name, func(t *testing.T) {
			t.Parallel()
			w := sc.act(t)
			golden.Screens(t, sc.name, func(width, height int, ascii bool) string {
				w.m.cfg.ASCII = ascii
				w.send(tea.WindowSizeMsg{Width: width, Height: height})
				return w.m.View()
			})
		})
	}
}

// Entries are shown and taken in the units that people asked for; what was only
// looked at stays in the sheet as it is written, and a new value is written
// with the unit that it was given in, comments and all else kept.
func TestTheFormInUSUnits(t *testing.T) {
	w := newWorld(t)
	w.m.cfg.Units = unit.US
	before := w.m.text
	w.settle()
	w.to("vehicle.mass")
	for _, want := range []string{"4.079 lb", "in the sheet: 1.85 kg", "656.2 ft", "at least 578 ft"} { // 1.85 kg / 0.45359237 kg; 200 m / 0.3048 m
		if !strings.Contains(w.m.View(), want) {
			t.Errorf("no %q on\n%s", want, w.m.View())
		}
	}
	w.key("enter")
	if got := string(w.m.field.text); got != "4.079 lb" {
		t.Errorf("the field opens with %q", got)
	}
	w.key("enter")
	if w.m.field != nil || string(w.m.text) != string(before) {
		t.Error("a value that was only looked at was written anew")
	}
	w.to("site.clear_length")
	w.enter("600 ft")
	gone, come := lineDiff(before, w.m.text)
	if len(gone) != 1 || len(come) != 1 || come[0] != `clear_length = "600 ft"       # start line to the end of the cleared strip` {
		t.Errorf("gone %q, come %q", gone, come)
	}
	for _, other := range []string{"600", "600 lb"} {
		if w.enter(other); w.m.field == nil || w.m.field.wrong == "" {
			t.Errorf("%q was taken", other)
		}
		w.key("esc")
	}
	w.enter("190 m") // SI stays possible
	if got := w.m.rows[w.m.at].entry.Value; got != "190 m" || !strings.Contains(w.m.View(), "623.4 ft") {
		t.Errorf("%q\n%s", got, w.m.View())
	}
}

func TestGoldenScreensInUSUnits(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.m.cfg.Units = unit.US
	w.settle()
	w.to("site.clear_length")
	w.enter("560 ft")
	w.settle()
	golden.Screens(t, "us", func(width, height int, ascii bool) string {
		w.m.cfg.ASCII = ascii
		w.send(tea.WindowSizeMsg{Width: width, Height: height})
		return w.m.View()
	})
}

func TestALongPathKeepsItsEnd(t *testing.T) {
	for _, c := range []struct {
		text string
		w    int
		want string
	}{{"a/sheet.toml", 12, "a/sheet.toml"}, {"aa/sheet.toml", 12, "…/sheet.toml"}, {"漢漢漢", 4, "…漢"}} {
		if got := fitEnd(c.text, c.w); got != c.want {
			t.Errorf("%s in %d: %q, want %q", c.text, c.w, got, c.want)
		}
	}
}
