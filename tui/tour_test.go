package tui

import (
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"holdline/arming"
)

// tourists opens a cockpit whose first start this is.
func tourists(t *testing.T, mode arming.Mode, change func(*Config)) (w *world, over *int) {
	t.Helper()
	w = newWorld(t, mode)
	over = new(int)
	cfg := w.m.cfg
	cfg.Tour, cfg.TourOver = true, func() { *over++ }
	if change != nil {
		change(&cfg)
	}
	w.m = NewModel(cfg).(*Model)
	w.pass(200 * time.Millisecond)
	return w, over
}

func TestTheTourEndsByItselfOrByEsc(t *testing.T) {
	w, over := tourists(t, arming.ModeBox, nil)
	for n, stop := range tourStops {
		view := w.m.View()
		if !strings.Contains(view, stop.title) || !strings.Contains(view, stop.where) {
			t.Errorf("stop %d is not shown:\n%s", n+1, view)
		}
		if *over != 0 {
			t.Fatalf("over at stop %d", n+1)
		}
		w.key("enter")
	}
	if *over != 1 || w.m.touring() || w.m.form != nil {
		t.Errorf("over %d times, touring %v", *over, w.m.touring())
	}
	w.key("i", "enter", "shift+tab", "shift+tab")
	if !strings.Contains(w.m.View(), tourStops[0].title) {
		t.Errorf("i does not begin it anew:\n%s", w.m.View())
	}
	w.key("esc")
	if *over != 2 || w.m.touring() {
		t.Error("esc does not end it")
	}
	w.key("enter")
	if w.m.form == nil {
		t.Error("after the tour enter opens nothing")
	}
}

// Nothing that matters is covered: head, strip, log and the last rows stand as
// they do without a tour, and the chain while it is what is explained.
func TestTheTourCoversNothingThatMatters(t *testing.T) {
	for _, size := range [][2]int{{80, 24}, {120, 36}, {200, 50}} {
		plain, _ := tourists(t, arming.ModeBox, func(c *Config) { c.Tour = false })
		plain.m.Update(tea.WindowSizeMsg{Width: size[0], Height: size[1]})
		want := strings.Split(plain.m.View(), "\n")
		w, _ := tourists(t, arming.ModeBox, nil)
		w.m.Update(tea.WindowSizeMsg{Width: size[0], Height: size[1]})
		for range tourStops {
			got := strings.Split(w.m.View(), "\n")
			for y := range want {
				covers := got[y] != want[y]
				top := y < 6 && size[1] > 24 || y < 4
				if covers && (top || y >= size[1]*3/4 && y < size[1]-2) {
					t.Errorf("%dx%d: row %d is %q, without the tour %q", size[0], size[1], y, got[y], want[y])
				}
			}
			if last := strings.Join(got[size[1]-2:], "\n"); !strings.Contains(last, "space everyone back") {
				t.Errorf("%dx%d: the space bar is not explained: %q", size[0], size[1], last)
			}
			if stop := &tourStops[w.m.tour-1]; !stop.left && !strings.Contains(w.m.View(), "CREW SIGNED ON") {
				t.Errorf("%dx%d: %s covers the chain", size[0], size[1], stop.title)
			}
			w.key("tab")
		}
	}
}

func TestSpaceIsHoldDuringTheTour(t *testing.T) {
	w, over := tourists(t, arming.ModeBox, nil)
	for n := range tourStops {
		w.sent = nil
		w.key("space")
		if len(w.sent) != 1 || w.sent[0] != (arming.HoldCall{}) {
			t.Errorf("stop %d: space sends %v", n+1, w.sent)
		}
		w.key("enter")
	}
	if *over != 1 {
		t.Errorf("over %d times", *over)
	}
	w.key("i", "f6")
	if len(w.moved) != 1 || w.moved[0] != HandBattery {
		t.Errorf("the hands do not move during the tour: %v", w.moved)
	}
}

// With a real box, or none, there is no tour: at no start and by no key.
func TestNoTourButInPractice(t *testing.T) {
	for what, start := range map[string]func() *world{
		"typed": func() *world { w, _ := tourists(t, arming.ModeTyped, nil); return w },
		"a box that is not our own": func() *world {
			w, _ := tourists(t, arming.ModeBox, func(c *Config) { c.Move = nil })
			return w
		},
		"a real box": func() *world {
			w, _ := tourists(t, arming.ModeBox, func(c *Config) {
				latest := c.Latest
				c.Latest = func() Frame { f := latest(); f.Practice = false; return f }
			})
			return w
		},
	} {
		w := start()
		for _, k := range []string{"", "i"} {
			if k != "" {
				w.key(k)
			}
			if w.m.touring() || strings.Contains(w.m.View(), "THE CHAIN") || strings.Contains(w.m.View(), "WELCOME") {
				t.Errorf("%s, key %q: a tour:\n%s", what, k, w.m.View())
			}
		}
	}
}

// From the moment that anything begins the tour is gone, and i brings no other.
func TestTheTourLeavesWhenSomethingBegins(t *testing.T) {
	for _, p := range []arming.Phase{arming.Ready, arming.Armed, arming.Count, arming.Window, arming.Run, arming.Hold, arming.Wait, arming.MakeSafe} {
		w := newWorld(t, arming.ModeBox)
		w.toPhase(p)
		w.key("i")
		if w.m.touring() {
			t.Errorf("%v: a tour:\n%s", p, w.m.View())
		}
	}
	w := newWorld(t, arming.ModeBox)
	w.until(arming.StepProof)
	w.key("i")
	if !w.m.touring() {
		t.Fatal("no tour in SETUP")
	}
	w.key("f6")
	w.step(arming.StartProof{})
	w.pass(time.Second)
	if w.m.tour != 0 || w.s.Phase != arming.Proof {
		t.Errorf("the tour stays in %v", w.s.Phase)
	}
}
