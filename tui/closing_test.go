package tui

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"holdline/arming"
	"holdline/checklist"
	"holdline/tui/golden"
)

// shows reports whether the view has each of the texts, wrapped or not.
func (w *world) shows(t *testing.T, texts ...string) {
	t.Helper()
	view := w.m.View()
	flat := strings.Join(strings.Fields(strings.Map(func(r rune) rune {
		if strings.ContainsRune("│┊┃┏┗━", r) {
			return ' '
		}
		return r
	}, view)), " ")
	for _, text := range texts {
		if !strings.Contains(flat, text) && !strings.Contains(view, text) {
			t.Errorf("%q is not on the screen\n%s", text, view)
		}
	}
}

// The range officer is offered a signature of their own at closing: with a key,
// with one that wants its passphrase, or not now.
func TestCounterSignatureAtClosing(t *testing.T) {
	t.Parallel()
	w := at(t, arming.Closed)
	var asked [][2]string
	w.m.cfg.CounterSign = func(key, passphrase string) { asked = append(asked, [2]string{key, passphrase}) }
	w.shows(t, "COUNTER-SIGNATURE", "a key file, agent, or no for later")

	w.fill("keys/ro")
	w.counter = CounterView{Protects: "keys/ro"} // the shell wants its passphrase
	w.pass(100 * time.Millisecond)
	w.shows(t, "that key has a passphrase")
	w.key("enter")
	w.write("long dark plover")
	if view := w.m.View(); strings.Contains(view, "plover,") || strings.Contains(view, "long dark") {
		t.Fatalf("the passphrase is shown\n%s", view)
	}
	w.key("enter")
	if len(asked) != 2 || asked[0] != [2]string{"keys/ro", ""} || asked[1] != [2]string{"keys/ro", "long dark plover"} {
		t.Fatalf("asked %q", asked)
	}
	w.key("enter")
	w.write("  two blanks at each end  ")
	w.key("enter")
	if len(asked) != 3 || asked[2][1] != "  two blanks at each end  " {
		t.Fatalf("asked %q: a passphrase is taken as it was typed", asked)
	}
	w.key("enter", "enter")
	if len(asked) != 3 {
		t.Fatalf("asked %q: enter alone confirms nothing", asked)
	}
	w.key("space", "enter")
	if len(asked) != 4 || asked[3][1] != " " {
		t.Fatalf("asked %q: a passphrase may be a blank", asked)
	}
	w.counter = CounterView{Fault: "that key is on the record already"}
	w.pass(100 * time.Millisecond)
	w.shows(t, "not counter-signed: that key is on the record already", "a key file, agent, or no for later")

	w.counter = CounterView{By: "SHA256:second"}
	w.pass(100 * time.Millisecond)
	w.shows(t, "counter-signed by SHA256:second")
	if w.m.due >= 0 || len(w.sent) > 0 {
		t.Errorf("due %d, sent %v: it is done, and the machine has no part in it", w.m.due, w.sent)
	}
}

// It can be declined, and the screen says how it is done later.
func TestCounterSignatureIsDeclined(t *testing.T) {
	t.Parallel()
	w := at(t, arming.Closed)
	asked := ""
	w.m.cfg.CounterSign = func(key, _ string) { asked = key }
	w.fill("no")
	w.counter = CounterView{Declined: true}
	w.pass(100 * time.Millisecond)
	w.shows(t, "not counter-signed: holdline countersign")
	if asked != "no" || strings.Contains(w.m.View(), "COUNTER-SIGNATURE") {
		t.Errorf("asked %q\n%s", asked, w.m.View())
	}
}

// The holds and waivers of earlier firings stand where people sign on, and
// only there.
func TestHoldsSoFarStandAtSignOn(t *testing.T) {
	t.Parallel()
	for _, size := range golden.Sizes {
		w := newWorld(t, arming.ModeBox)
		w.soFar = "So far, PRACTICE: 3 records, 4 holds, 1 waiver: 3 × the box is lost; 1 × waived daylight"
		resize(w, size)
		w.pass(100 * time.Millisecond)
		if size[0] >= leastW && size[1] >= leastH {
			w.shows(t, "So far, PRACTICE: 3 records, 4 holds, 1", "waived", "daylight")
		}
		w.key("enter")
		if strings.Contains(w.m.View(), "So far") {
			t.Errorf("%v: it stands in the way of a field\n%s", size, w.m.View())
		}
		w.key("esc")
		w.until("ground")
		if strings.Contains(w.m.View(), "So far") {
			t.Errorf("%v: it stays after the sign-on\n%s", size, w.m.View())
		}
	}
}

// The range officer lets an advisory limit pass by keys, with the value and a
// reason; before arming both officers see it, and no other step takes the key.
func TestWaiveByKeys(t *testing.T) {
	t.Parallel()
	w := newWorld(t, arming.ModeBox)
	w.until("wind")
	w.key("v")
	if w.m.form != nil {
		t.Fatal("the wind can be waived")
	}
	w.until("daylight")
	w.shows(t, "advisory: v, the range officer lets it", "pass with a reason")
	w.fill("20", "20")
	w.pass(100 * time.Millisecond)
	if !strings.Contains(w.loud, "the range officer may waive it") {
		t.Fatalf("a value outside the limit says %q", w.loud)
	}
	w.key("v")
	w.fill("20", "short run, lamps ready", "Ada Finch")
	if w.refusal.Why == "" {
		t.Fatal("the firing officer waives")
	}
	w.key("v")
	w.fill("20", "short run, lamps ready", "Ben Wick")
	w.pass(100 * time.Millisecond)
	i := -1
	for k := range w.p.Steps {
		if w.p.Steps[k].ID == "daylight" {
			i = k
		}
	}
	if e := w.s.Evidence[i]; !e.Waived || e.Value != 20 {
		t.Fatalf("waived as %+v, refusal %q", e, w.refusal.Why)
	}
	w.until("")
	w.shows(t, "WAIVED: daylight at 20", "lamps ready")
	w.toPhaseFromReady(arming.Closed)
	w.shows(t, "WAIVED: daylight at 20", "lamps ready")
}

// A count that does not add up is said on the screen, and stands with a word
// about where the rest is.
func TestACountThatDoesNotAddUpOnTheScreen(t *testing.T) {
	t.Parallel()
	w := at(t, arming.MakeSafe)
	w.dead = false
	for n := 0; n < 40 && w.m.atHand().id != "motors-left"; n++ {
		w.makeSafeStep()
		w.pass(500 * time.Millisecond)
	}
	short := fmt.Sprint(w.p.Motors + 100 - 4 - 3) // the tests bring the middle of the band
	w.fill(short, short, "-")
	w.pass(100 * time.Millisecond)
	if w.m.atHand().id != "motors-left" {
		t.Fatalf("at %q\n%s", w.m.atHand().id, w.m.View())
	}
	w.shows(t, "3 not accounted for", "count again, or say")
	w.fill(short, short, "three lie in the water butt")
	w.pass(100 * time.Millisecond)
	if w.m.atHand().id != "igniters-used" {
		t.Fatalf("at %q: %s\n%s", w.m.atHand().id, w.refusal.Why, w.m.View())
	}
}

// A contact proof that failed leaves the key in: the screen says at once which
// hand is wanted, whatever step is due.
func TestAFailedProofAsksForTheKey(t *testing.T) {
	w := newWorld(t, arming.ModeBox)
	w.until(arming.StepProof)
	w.key("f6")
	w.fill("prove")
	w.pass(time.Second)
	w.key("f5")
	w.pass(200 * time.Millisecond)
	if w.s.Phase != arming.Proof {
		t.Fatalf("the proof did not begin: %v\n%s", w.s.Phase, w.m.View())
	}
	w.key(" ")
	w.pass(time.Second) // nearer, f5 would be its own repeat
	if w.s.Phase != arming.Setup || !w.hands.KeyIn {
		t.Fatalf("%v, key in %v", w.s.Phase, w.hands.KeyIn)
	}
	w.shows(t, "PRACTICE hands: F5 takes the key out")
	w.key("f5")
	w.pass(200 * time.Millisecond)
	if w.hands.KeyIn || strings.Contains(w.m.View(), "takes the key out") {
		t.Errorf("key in %v\n%s", w.hands.KeyIn, w.m.View())
	}
}

// An optional step of the sheet is passed over with one key, no other step is;
// both officers see that it was.
func TestAnOptionalStepIsPassedOver(t *testing.T) {
	t.Parallel()
	w := newWorld(t, arming.ModeTyped)
	i := slices.IndexFunc(w.p.Steps, func(st checklist.Step) bool { return st.ID == "ground" })
	w.until("ground")
	if w.key("n"); w.s.Evidence[i].Present {
		t.Fatal("a step that is not optional was passed over")
	}
	w.p.Steps[i].Optional = true
	w.shows(t, "optional: n passes it over")
	if w.key("n"); w.s.Evidence[i].Means != arming.MeansPassed {
		t.Fatalf("the optional step: %+v, refusal %q", w.s.Evidence[i], w.refusal.Why)
	}
	w.toPhase(arming.Ready)
	w.shows(t, "PASSED OVER: ground")
}

// A stranger named to go forward signs on first, with a role, and what was typed
// is not lost; a spotter is refused.
func TestAStrangerSignsOnBeforeGoingForward(t *testing.T) {
	t.Parallel()
	w := newWorld(t, arming.ModeBox)
	w.until("")
	w.key("x")
	w.fill("1", "wind_rising")
	w.pass(300 * time.Millisecond)
	w.key("f6")
	w.pass(2 * time.Second)
	w.key("enter")
	w.write("Ben Wick")
	w.key("enter")
	w.write("Juno Falk")
	w.key("enter")
	w.shows(t, "SIGN ON: Juno Falk", "has not signed on")
	w.key("enter")
	w.shows(t, "type the answer first")
	w.key("esc") // back to who goes forward
	w.shows(t, "ONE GOES FORWARD")
	w.key("enter")
	w.write("hook-up")
	w.key("enter")
	w.pass(100 * time.Millisecond)
	if w.key("enter"); w.s.Line != arming.LineOpen || w.s.Crew.Forward[0] != "Juno Falk" {
		t.Fatalf("%v, line %v, forward %v, refusal %q\n%s", w.s.Phase, w.s.Line, w.s.Crew.Forward, w.refusal.Why, w.m.View())
	}
	if !w.s.Crew.SignedOn("juno falk") {
		t.Error("not signed on")
	}
}
