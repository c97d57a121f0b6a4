package tui

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"holdline/arming"
	"holdline/checklist/sheet/unit"
	"holdline/tui/canvas"
	"holdline/tui/golden"
)

// a paste answers nothing and is no code.
func TestPasteIsThrownAway(t *testing.T) {
	t.Parallel()
	w := newWorld(t, arming.ModeBox)
	w.key("enter")
	w.sent = nil
	w.m.Update(tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune("Ada Finch"), Paste: true})
	if w.m.form == nil || w.m.form.fields[0].text != "" || len(w.sent) != 0 {
		t.Errorf("a paste typed %q and sent %v", w.m.form.fields[0].text, w.sent)
	}
	if !strings.Contains(w.m.View(), "thrown away") {
		t.Error("the screen does not say that a paste was thrown away")
	}
}

// what was typed at a screen that stood still is thrown away, HOLD
// excepted.
func TestKeysOfAStallAreThrownAway(t *testing.T) {
	t.Parallel()
	w := at(t, arming.Armed)
	w.at.Mono += 2 * time.Second
	w.at.Wall += 2 * time.Second // the machine went on, the screen has not drawn
	for _, m := range []tea.KeyMsg{keyMsg("enter"), runes("count"), keyMsg("enter"), keyMsg("x")} {
		w.m.Update(m)
	}
	if len(w.sent) != 0 || w.m.form != nil {
		t.Errorf("keys of a stall sent %v", w.sent)
	}
	w.m.Update(keyMsg("space"))
	if w.count(arming.HoldCall{}) != 1 {
		t.Error("HOLD of a stall was thrown away")
	}
}

// a key kept down confirms nothing: not enter by itself, not a letter,
// not both in turn from any state.
func TestKeyRepeatConfirmsNothing(t *testing.T) {
	t.Parallel()
	for _, p := range allPhases {
		w := at(t, p)
		for _, k := range []string{"enter", "tab", "x", "r", "c", "1", "y", "up"} {
			w.m.form, w.m.page, w.m.chosen, w.sent = nil, pageMain, "", nil
			for range 100 {
				w.m.Update(keyMsg(k))
			}
			if len(w.sent) != 0 {
				t.Errorf("%v: %q kept down sent %v", p, k, w.sent)
			}
		}
	}
}

// A hand's key that repeats moves the hand once, and a button key kept down is not
// let go by its own repeat.
func TestHandKeysDoNotRepeat(t *testing.T) {
	t.Parallel()
	w := newWorld(t, arming.ModeBox)
	for range 60 {
		w.m.Update(keyMsg("f9"))
		w.pass(50 * time.Millisecond)
	}
	if len(w.moved) != 1 || w.moved[0] != HandButtonDown {
		t.Errorf("F9 kept down moved %v, want one press", w.moved)
	}
	w.pass(time.Second)
	w.m.Update(keyMsg("f9"))
	if len(w.moved) != 2 || w.moved[1] != HandButtonUp {
		t.Errorf("F9 again moved %v, want the release", w.moved)
	}
}

func TestHandsWorkInAField(t *testing.T) {
	t.Parallel()
	w := newWorld(t, arming.ModeBox)
	w.key("enter", "f6")
	if !slices.Contains(w.moved, HandBattery) || w.m.form == nil {
		t.Errorf("F6 in a field moved %v", w.moved)
	}
}

// No hand can be moved where there is no practice box.
func TestNoHandsWithoutAPracticeBox(t *testing.T) {
	t.Parallel()
	w := newWorld(t, arming.ModeTyped)
	for _, k := range []string{"f5", "f6", "f7", "f8", "f9"} {
		w.m.Update(keyMsg(k))
	}
	if len(w.moved) != 0 || strings.Contains(w.m.View(), "F9") {
		t.Errorf("moved %v", w.moved)
	}
}

// Ctrl-C stops first and asks; again it ends the program.
func TestCtrlC(t *testing.T) {
	t.Parallel()
	w := at(t, arming.Window)
	_, cmd := w.m.Update(keyMsg("ctrl+c"))
	if w.count(arming.HoldCall{}) != 1 || cmd != nil || w.m.form == nil {
		t.Fatalf("ctrl+c sent %v, cmd %v", w.sent, cmd != nil)
	}
	_, cmd = w.m.Update(keyMsg("ctrl+c"))
	if cmd == nil {
		t.Fatal("ctrl+c again does not end the program")
	}
	if _, quit := cmd().(tea.QuitMsg); !quit {
		t.Errorf("ctrl+c again gave %T", cmd())
	}
	if _, is := w.sent[len(w.sent)-1].(arming.Quit); !is {
		t.Errorf("the machine was not told: %v", w.sent)
	}
}

// Names of people may be anything; the screen stays whole and the keys work.
func TestNamesOfEveryKind(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"日本 花子", "Zoë Ångström", "e\u0301e\u0301e\u0301", "👩‍🚀 Rider", "a\u202egnirts", "한글 이름",
		strings.Repeat("W", 40), "O'Neil-Smythe", "\u200b\u200bx"} {
		w := newWorld(t, arming.ModeBox)
		w.fill(name)
		for _, size := range golden.Sizes {
			w.m.Update(tea.WindowSizeMsg{Width: size[0], Height: size[1]})
			for _, k := range []string{"", "o", "s", "l", "esc"} {
				if k != "" {
					w.m.Update(keyMsg(k))
				}
				golden.Fits(t, w.m.View(), size[0], size[1])
			}
		}
	}
}

// 10,000 random keys, alone, in bursts that arrive as one, and pasted, never
// panic, never break the screen, and never take the machine along an edge that
// its invariants forbid: the world puts every step to arming.Check.
func TestRandomKeys(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(7, 11))
	names := []string{"enter", "enter", "enter", "esc", "tab", "shift+tab", "up", "down", "backspace", "ctrl+u", "space",
		"f5", "f6", "f7", "f8", "f9", "a", "x", "w", "v", "p", "c", "o", "l", "s", "?", "g", "i", "t", "1", "2", "9", "all", "lit", "count",
		"read", "prove", "AdaFinch", "BenWick", "plover", "seen", "é", "日", "\x00", "\u202e", "ab cd", "leave", "ctrl+c"}
	sizesSeen := 0
	for n, p := range allPhases {
		w := at(t, p)
		w.dead = false
		for k := range 10000/len(allPhases) + 1 {
			msg := keyMsg(names[rng.IntN(len(names))])
			if rng.IntN(6) == 0 {
				burst := ""
				for range 1 + rng.IntN(8) {
					burst += []string{"a", "x", "1", " ", "日", "e\u0301", "count", "\r", "q"}[rng.IntN(9)]
				}
				msg = tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune(burst), Paste: rng.IntN(2) == 0}
			}
			before := len(w.sent)
			w.m.Update(msg)
			if msg.Paste && len(w.sent) > before && w.sent[len(w.sent)-1] != (arming.HoldCall{}) {
				t.Fatalf("start %v key %d: a paste sent %v", p, k, w.sent[before:])
			}
			if rng.IntN(4) == 0 {
				sizesSeen++
				w.m.Update(tea.WindowSizeMsg{Width: rng.IntN(140), Height: rng.IntN(45)})
			}
			if k%7 == 0 {
				w.pass(50 * time.Millisecond)
				view := w.m.View()
				if got := strings.Count(view, "\n") + 1; got != max(w.m.h, 1) {
					t.Fatalf("start %d key %d: %d lines on a screen of %d", n, k, got, w.m.h)
				}
			}
		}
	}
	if sizesSeen < 1000 {
		t.Errorf("%d sizes", sizesSeen)
	}
}

// Every key is bound once.
func TestKeysAreBoundOnce(t *testing.T) {
	t.Parallel()
	seen := map[string]string{}
	for _, b := range Keys() {
		for _, k := range b.Keys() {
			if other, twice := seen[k]; twice {
				t.Errorf("key %q is %q and %q", k, other, b.Help().Desc)
			}
			seen[k] = b.Help().Desc
		}
		if b.Help().Key == "" || b.Help().Desc == "" {
			t.Errorf("a key without help: %v", b.Keys())
		}
	}
}

func resize(w *world, size [2]int) {
	w.m.Update(tea.WindowSizeMsg{Width: size[0], Height: size[1]})
}

func TestAFiringInUSUnits(t *testing.T) {
	t.Parallel()
	w := newWorld(t, arming.ModeBox)
	w.until("wind")
	inUS(w)
	w.key("enter")
	w.write("5")
	w.key("enter")
	w.write("5")
	w.key("enter")
	if w.m.form == nil || !strings.Contains(w.m.View(), "a number with its unit is due") {
		t.Fatalf("a bare number was taken\n%s", w.m.View())
	}
	w.key("esc")
	w.fill("5 mph", "5.5 mph")
	sent := w.sent[len(w.sent)-1].(arming.Answer)
	if math.Abs(sent.Value-2.2352) > 1e-9 || math.Abs(sent.Again-2.45872) > 1e-9 {
		t.Errorf("sent %+v", sent)
	}
	w.units = unit.Metric
	w.until(arming.StepRangeClear)
	inUS(w)
	flat := w.m.View()
	for _, want := range []string{" mph", " ft"} {
		if !strings.Contains(flat, want) {
			t.Errorf("no %q on\n%s", want, flat)
		}
	}
}

// A key that does nothing says so, and where to look; one that does something
// says nothing of the kind.
func TestAKeyThatDoesNothingSaysSo(t *testing.T) {
	t.Parallel()
	w := newWorld(t, arming.ModeBox)
	w.pass(time.Second)
	w.key("q")
	if flat := strings.Join(strings.Fields(w.m.View()), " "); !strings.Contains(flat, "q does nothing now") || w.m.said == "" {
		t.Errorf("said %q\n%s", w.m.said, w.m.View())
	}
	for _, k := range []string{"?", "s", "p", "enter", "esc"} {
		if w.key(k); w.m.said != "" {
			t.Errorf("%s: said %q", k, w.m.said)
		}
	}
}

// What was refused of one task is not shown in the form of another.
func TestARefusalStaysWithItsTask(t *testing.T) {
	t.Parallel()
	w := newWorld(t, arming.ModeBox)
	w.pass(time.Second)
	w.fill("Ada Finch")
	w.key("enter")
	w.write("ada finch")
	w.key("enter")
	w.pass(100 * time.Millisecond)
	if !strings.Contains(w.m.View(), "two people") {
		t.Fatalf("one person in both roles is not refused\n%s", w.m.View())
	}
	w.key("x")
	if w.m.form == nil || strings.Contains(w.m.View(), "two people") {
		t.Errorf("the refusal stands in another form\n%s", w.m.View())
	}
	w.key("esc", "enter")
	if w.m.form == nil || !strings.Contains(w.m.View(), "two people") {
		t.Errorf("the refusal is gone from its own form\n%s", w.m.View())
	}
}

// Nothing of the help is cut off on the narrowest screen, in any phase.
func TestHelpFitsTheNarrowestScreen(t *testing.T) {
	t.Parallel()
	for p := arming.Setup; p <= arming.Hold; p++ {
		w := newWorld(t, arming.ModeBox)
		w.pass(time.Second)
		w.m.frame.State.Phase = p
		for _, r := range w.m.helpRows() {
			if canvas.Width(r.does) > golden.Sizes[0][0]-helpCols || canvas.Width(r.key) >= helpCols-2 {
				t.Errorf("%v: %q is cut off", p, r.does)
			}
		}
	}
}
