package tui

import (
	"fmt"
	"math"
	"strings"
	"testing"

	tea "github.com/charmbracelet/bubbletea"

	"holdline/arming"
	"holdline/checklist/sheet/unit"
	"holdline/tui/golden"
)

// the code never reaches the machine, the screen or the record.
func TestCodeIsSeenByNobody(t *testing.T) {
	t.Parallel()
	w := newWorld(t, arming.ModeBox)
	w.until(arming.StepCode)
	w.sent = nil
	w.key("enter")
	w.write("thornbury9")
	if strings.Contains(w.m.View(), "thornbury") {
		t.Fatal("the code is on the screen")
	}
	w.key("enter")
	w.write("thornbury9")
	w.key("enter")
	if w.code != "thornbury9" {
		t.Fatalf("the shell got the code %q", w.code)
	}
	if text := fmt.Sprintf("%+v", w.sent); strings.Contains(text, "thornbury") {
		t.Errorf("the machine got the code: %s", text)
	}
	if strings.Contains(w.m.View(), "thornbury") {
		t.Error("the code is on the screen")
	}
}

func TestTwoUnlikeCodesAreRefused(t *testing.T) {
	t.Parallel()
	w := newWorld(t, arming.ModeBox)
	w.until(arming.StepCode)
	w.key("enter")
	w.write("thornbury9")
	w.key("enter")
	w.write("thornbury8")
	w.key("enter")
	if w.code != "" || w.m.form == nil || !strings.Contains(w.m.View(), "differ") {
		t.Errorf("two unlike entries set the code %q\n%s", w.code, w.m.View())
	}
}

// A code with a blank in it could never be entered in READY, where the space bar
// is HOLD.
func TestACodeHasNoBlanks(t *testing.T) {
	t.Parallel()
	w := newWorld(t, arming.ModeBox)
	w.until(arming.StepCode)
	w.key("enter")
	for range 2 {
		w.write("thorn bury")
		w.key("enter")
	}
	if w.code != "" || w.m.form == nil || !strings.Contains(w.m.View(), "a code has no blanks") {
		t.Errorf("a code with a blank was set: %q\n%s", w.code, w.m.View())
	}
}

// while a reading is typed its band is nowhere on the screen.
func TestBandIsHiddenWhileTyping(t *testing.T) {
	t.Parallel()
	w := newWorld(t, arming.ModeTyped)
	w.until(arming.StepContinuity(2))
	st := w.planned(arming.StepContinuity(2))
	for _, k := range []string{"", "enter"} {
		if k != "" {
			w.key(k)
		}
		for _, size := range golden.Sizes {
			w.m.Update(tea.WindowSizeMsg{Width: size[0], Height: size[1]})
			if view := w.m.View(); strings.Contains(view, bandText(st.Band, unit.Metric)) || strings.Contains(view, "accepted:") {
				t.Errorf("the band shows at %v\n%s", size, view)
			}
		}
	}
	w.m.Update(tea.WindowSizeMsg{Width: 80, Height: 24})
	w.write("2.05")
	w.key("enter")
	w.write("2.05")
	w.key("enter")
	w.m.chosen = st.ID
	if view := w.m.View(); !strings.Contains(view, "accepted: "+bandText(st.Band, unit.Metric)) {
		t.Errorf("the band does not show after the entry\n%s", view)
	}
}

func TestPick(t *testing.T) {
	t.Parallel()
	names := []string{"Ada Finch", "Ben Wick", "Bea Wood"}
	for _, c := range []struct {
		typed, want string
		ok          bool
	}{{"1", "Ada Finch", true}, {"adafinch", "Ada Finch", true}, {"a", "Ada Finch", true}, {"Be", "", false}, {"bea w", "Bea Wood", true},
		{"4", "", false}, {"0", "", false}, {"", "", false}, {"Zed", "", false}} {
		if got, ok := pick(c.typed, names); got != c.want || ok != c.ok {
			t.Errorf("pick %q: %q %v, want %q %v", c.typed, got, ok, c.want, c.ok)
		}
	}
}

// A number stands for a name on the list in every field that shows one, and
// other names can be typed where they may.
func TestNumberStandsForAName(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ typed, want string }{{"2", "Ben Wick"}, {"benwick", "Ben Wick"}, {"Be", "Be"}, {"a visitor", "a visitor"}} {
		fm := &form{fields: []field{{names: []string{"Ada Finch", "Ben Wick"}, free: true, text: c.typed}},
			send: func(v []string) (arming.Event, string) { return arming.HoldBy{Name: v[0]}, "" }}
		if done, out := fm.enter(); !done || out != (arming.HoldBy{Name: c.want}) {
			t.Errorf("%q sent %v, want %q", c.typed, out, c.want)
		}
	}
}

func TestNumber(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		text, unit string
		want       float64
		ok         bool
	}{{"12.4", "V", 12.4, true}, {"12,4 V", "V", 12.4, true}, {" 1.62ohm ", "ohm", 1.62, true}, {"-3", "m/s", -3, true},
		{"NaN", "", 0, false}, {"inf", "V", 0, false}, {"1e400", "", 0, false}, {"twelve", "V", 0, false}, {"12.4 A", "V", 0, false}, {"", "V", 0, false}} {
		if got, ok := number(c.text, c.unit); got != c.want || ok != c.ok {
			t.Errorf("number %q in %q: %v %v, want %v %v", c.text, c.unit, got, ok, c.want, c.ok)
		}
	}
}

// A value may be typed in any unit of its kind. People who read US units name
// the one they mean; the machine and the record are SI whatever is typed.
func TestReadingsInOtherUnits(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		text, si string
		sys      unit.System
		want     float64
		ok       bool
	}{
		{"2.1", "m/s", unit.Metric, 2.1, true}, {"2,1 m/s", "m/s", unit.Metric, 2.1, true}, {"5 mph", "m/s", unit.Metric, 2.2352, true}, {"5 MPH", "m/s", unit.US, 2.2352, true},
		{"-5mph", "m/s", unit.US, -2.2352, true}, {"2.1 m/s", "m/s", unit.US, 2.1, true}, {"4 lb", "kg", unit.US, 1.81436948, true}, {"5", "m/s", unit.US, 0, false},
		{"5 lb", "m/s", unit.US, 0, false}, {"5 lb", "m/s", unit.Metric, 0, false}, {"12.4", "V", unit.US, 12.4, true}, {"45", "min", unit.US, 45, true},
		{"", "m/s", unit.US, 0, false}, {"nan", "m/s", unit.US, 0, false}, {"inf mph", "m/s", unit.US, 0, false}, {"1e999 mph", "m/s", unit.US, 0, false},
	} {
		if got, ok := reading(c.text, c.si, c.sys); math.Abs(got-c.want) > 1e-12 || ok != c.ok {
			t.Errorf("%q in %q: %v %v, want %v %v", c.text, c.si, got, ok, c.want, c.ok)
		}
	}
}
