package tui

import (
	"strings"
	"testing"

	tea "github.com/charmbracelet/bubbletea"

	"holdline/arming"
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

// the loss of the keyboard is told at once.
func TestFocusLost(t *testing.T) {
	t.Parallel()
	w := at(t, arming.Count)
	w.m.Update(tea.BlurMsg{})
	if w.count(arming.FocusLost{}) != 1 {
		t.Errorf("a lost focus sent %v", w.sent)
	}
}
