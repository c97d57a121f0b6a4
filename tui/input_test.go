package tui

import (
	"fmt"
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

func runes(text string) tea.KeyMsg { return tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune(text)} }

func (w *world) count(ev arming.Event) int {
	n := 0
	for _, s := range w.sent {
		if s == ev {
			n++
		}
	}
	return n
}

// at brings a world to a phase with nothing open. SETUP, PROOF and HOLD have
// ways of their own.
func at(t *testing.T, p arming.Phase) *world {
	t.Helper()
	w := newWorld(t, arming.ModeBox)
	switch p {
	case arming.Setup:
		w.until(arming.StepRangeClear)
	case arming.Proof:
		w.until(arming.StepProof)
		w.key("f6")
		w.fill("prove")
	default:
		w.toPhase(p)
	}
	if w.s.Phase != p {
		t.Fatalf("came to %v, want %v", w.s.Phase, p)
	}
	w.sent, w.dead = nil, true
	return w
}

var allPhases = []arming.Phase{arming.Setup, arming.Proof, arming.Ready, arming.Armed, arming.Count, arming.Window,
	arming.Run, arming.Wait, arming.MakeSafe, arming.Closed, arming.Hold}

// the space bar calls HOLD (or everyone back) in every state, with
// nothing open, on every page.
func TestSpaceCallsHoldInEveryStateAndOnEveryPage(t *testing.T) {
	t.Parallel()
	for _, p := range allPhases {
		w := at(t, p)
		for pg := pageMain; pg <= pageWords; pg++ {
			w.sent, w.m.page, w.m.form = nil, pg, nil
			w.m.Update(keyMsg("space"))
			if len(w.sent) != 1 || w.sent[0] != (arming.HoldCall{}) {
				t.Errorf("%v, page %d: space sent %v, want HoldCall", p, pg, w.sent)
			}
			if w.m.page != pageMain {
				t.Errorf("%v, page %d: HOLD left the page open", p, pg)
			}
		}
	}
}

// forms lists every form that can be opened in the world's phase.
func (w *world) forms() []*form {
	var out []*form
	for _, t := range w.m.list {
		if t.open != nil {
			out = append(out, t.open())
		}
	}
	f := &w.m.frame
	out = append(out, scrubTask(f).open())
	for i := range f.Plan.Steps {
		out = append(out, withdrawForm(&f.Plan.Steps[i]), waiveForm(f, &f.Plan.Steps[i]))
	}
	if w.m.leave(); w.m.form != nil {
		out = append(out, w.m.form)
	}
	w.m.form, w.sent = nil, nil
	return out
}

// The space bar is HOLD in every dialog from READY to WAIT and in PROOF, in
// every one of its fields, whatever has been typed; in SETUP, MAKESAFE, HOLD
// and CLOSED it types a blank in a field that was opened on purpose, and HOLD
// is one esc away.
func TestSpaceInEveryDialog(t *testing.T) {
	t.Parallel()
	for _, p := range allPhases {
		w := at(t, p)
		for _, fm := range w.forms() {
			for at := range fm.fields {
				fm.at = at
				fm.fields[at].text = "x"
				w.m.form, w.sent = fm, nil
				for _, msg := range []tea.KeyMsg{keyMsg("space"), runes("ab cd")} {
					w.m.form, w.sent, fm.fields[at].text = fm, nil, "x"
					w.m.Update(msg)
					if spaceIsHold(p) {
						if w.count(arming.HoldCall{}) != 1 || w.m.form != nil {
							t.Errorf("%v, %q field %d: space sent %v", p, fm.title, at, w.sent)
						}
						continue
					}
					if len(w.sent) != 0 || !strings.HasPrefix(fm.fields[at].text, "x") || !strings.Contains(fm.fields[at].text, " ") {
						t.Errorf("%v, %q field %d: space typed %q and sent %v", p, fm.title, at, fm.fields[at].text, w.sent)
					}
				}
			}
			w.m.form, w.sent = fm, nil
			w.m.Update(keyMsg("esc"))
			w.m.Update(keyMsg("space"))
			if w.count(arming.HoldCall{}) != 1 {
				t.Errorf("%v, %q: esc and space sent %v", p, fm.title, w.sent)
			}
		}
	}
}

// A field that was opened in SETUP does not swallow HOLD when the machine has
// gone on to READY and the screen has not yet shown it.
func TestSpaceIsHoldAsSoonAsTheMachineIsReady(t *testing.T) {
	t.Parallel()
	w := at(t, arming.Ready)
	w.m.frame.State.Phase = arming.Setup // as the last tick showed it
	w.m.form = wordsForm(&w.m.frame, w.planned(arming.StepStorm), 0)
	w.m.Update(keyMsg("space"))
	if w.count(arming.HoldCall{}) != 1 {
		t.Errorf("space sent %v, want HOLD", w.sent)
	}
}

// The space bar in every dress that terminals give it.
func TestEverySpaceIsHold(t *testing.T) {
	t.Parallel()
	for _, msg := range []tea.KeyMsg{
		{Type: tea.KeySpace, Runes: []rune{' '}}, {Type: tea.KeySpace}, {Type: tea.KeySpace, Runes: []rune{' '}, Alt: true},
		runes(" "), {Type: tea.KeyRunes, Runes: []rune{' '}, Alt: true}, {Type: tea.KeyCtrlAt}, runes("jj kk"), runes("   "),
		{Type: tea.KeyRunes, Runes: []rune("pasted words"), Paste: true},
	} {
		w := at(t, arming.Count)
		w.m.Update(msg)
		if w.count(arming.HoldCall{}) != 1 {
			t.Errorf("%#v sent %v, want one HOLD", msg, w.sent)
		}
	}
}

// HOLD goes first: nothing else of the same burst is carried out.
func TestBurstWithHoldDoesNothingElse(t *testing.T) {
	t.Parallel()
	w := at(t, arming.Armed)
	w.m.Update(runes("x count"))
	if len(w.sent) != 1 || w.m.form != nil {
		t.Errorf("sent %v, form %v", w.sent, w.m.form)
	}
}

// Keys that were read together are taken one by one (bubbletea v1 merges
// them).
func TestBurstOfKeysIsTakenApart(t *testing.T) {
	t.Parallel()
	w := newWorld(t, arming.ModeBox)
	w.m.Update(runes("ps"))
	if w.m.page != pageSteps {
		t.Errorf("p and s in one read led to page %d, want the steps", w.m.page)
	}
	w.m.Update(runes("s"))
	w.m.Update(keyMsg("enter"))
	w.m.Update(runes("Ada"))
	if got := w.m.form.fields[0].text; got != "Ada" {
		t.Errorf("the field has %q, want Ada", got)
	}
}

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

// the loss of the keyboard is told at once.
func TestFocusLost(t *testing.T) {
	t.Parallel()
	w := at(t, arming.Count)
	w.m.Update(tea.BlurMsg{})
	if w.count(arming.FocusLost{}) != 1 {
		t.Errorf("a lost focus sent %v", w.sent)
	}
}

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

func resize(w *world, size [2]int) {
	w.m.Update(tea.WindowSizeMsg{Width: size[0], Height: size[1]})
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
