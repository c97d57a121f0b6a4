package tui

import (
	"cmp"
	"strings"
	"testing"
	"time"

	"holdline/arming"
	"holdline/tui/golden"
)

// Without a box every fact is said, and the screen says on every page of the
// firing that the laptop cannot stop it.
func TestWholeFiringTyped(t *testing.T) {
	t.Parallel()
	w := newWorld(t, arming.ModeTyped)
	for n := 0; n < 300 && w.s.Phase != arming.Ready; n++ {
		w.answer(w.m.atHand())
		w.pass(100 * time.Millisecond)
		if w.refusal.Why != "" {
			t.Fatalf("refused: %s: %s\n%s", w.refusal.Why, w.refusal.Remedy, w.m.View())
		}
	}
	warned := func() {
		t.Helper()
		if view := w.m.View(); !strings.Contains(view, "laptop cannot stop this firing") {
			t.Errorf("%v does not say that the laptop cannot stop it\n%s", w.s.Phase, view)
		}
		if view := w.m.View(); strings.Contains(view, "permit┄") || strings.Contains(view, " SAFE ") {
			t.Errorf("%v draws a permit or says SAFE\n%s", w.s.Phase, view)
		}
	}
	warned()
	w.fill("AdaFinch")
	w.fill("plover")
	w.pass(100 * time.Millisecond)
	w.fill("in")
	w.pass(100 * time.Millisecond)
	w.fill("count")
	w.pass(w.p.Times.Count + 200*time.Millisecond)
	if w.s.Phase != arming.Window {
		t.Fatalf("not in WINDOW: %v %s", w.s.Phase, w.refusal.Why)
	}
	warned()
	w.fill("pressed")
	w.pass(500 * time.Millisecond)
	warned()
	w.fill("released")
	w.pass(100 * time.Millisecond)
	if w.s.Phase != arming.Wait {
		t.Fatalf("not in WAIT: %v %s", w.s.Phase, w.refusal.Why)
	}
	for n := 0; n < 12 && w.s.Phase == arming.Wait; n++ {
		switch id := w.m.atHand().id; {
		case strings.HasPrefix(id, "say/"):
			w.fill(strings.TrimPrefix(id, "say/"))
		case id == "fact/AT REST":
			w.fill("2")
		case id == "observe":
			w.fill("all", "lit", "2")
		case id == "forward":
			w.fill("BenWick", "1")
		default:
			w.pass(20 * time.Second)
		}
		w.pass(100 * time.Millisecond)
	}
	if w.s.Phase != arming.MakeSafe {
		t.Fatalf("not in MAKESAFE: %v %s\n%s", w.s.Phase, w.refusal.Why, w.m.View())
	}
	w.makeSafe()
	if w.s.Phase != arming.Closed {
		t.Errorf("ended in %v\n%s", w.s.Phase, w.m.View())
	}
}

// HOLD in the count, who called, resume by the range officer, and on to READY
// again.
func TestHoldAndResume(t *testing.T) {
	t.Parallel()
	w := newWorld(t, arming.ModeBox)
	w.toPhase(arming.Hold)
	view := w.m.View()
	for _, want := range []string{"What held: called", "Ben Wick", "not said yet", "F5 takes the key out"} {
		if !strings.Contains(view, want) {
			t.Errorf("HOLD does not say %q\n%s", want, view)
		}
	}
	w.fill("3")
	w.pass(100 * time.Millisecond)
	if w.s.HoldCaller == "" || !strings.Contains(w.m.View(), w.s.HoldCaller) {
		t.Errorf("who called is %q", w.s.HoldCaller)
	}
	w.fill("Ben Wick")
	if !strings.Contains(w.m.View(), "refused") {
		t.Error("a resume with the key in is not refused")
	}
	w.key("f5")
	w.pass(300 * time.Millisecond)
	w.fill("Ben Wick")
	w.pass(300 * time.Millisecond)
	if w.s.Phase != arming.Setup && w.s.Phase != arming.Ready {
		t.Fatalf("resumed into %v: %s", w.s.Phase, w.refusal.Why)
	}
}

func TestScrubGoesThroughMakeSafe(t *testing.T) {
	t.Parallel()
	w := newWorld(t, arming.ModeBox)
	w.until("")
	w.key("x")
	w.fill("1", "wind_rising")
	w.pass(300 * time.Millisecond)
	if w.s.Phase != arming.MakeSafe {
		t.Fatalf("a scrub led to %v: %s", w.s.Phase, w.refusal.Why)
	}
	for n := 0; n < 3 && w.m.atHand().id != "forward"; n++ {
		if w.m.atHand().id == "battery" {
			w.key("f6")
		}
		w.pass(time.Second)
	}
	w.key("f6")
	w.pass(300 * time.Millisecond)
	w.fill("Ben Wick", "1")
	w.pass(300 * time.Millisecond)
	w.makeSafe()
	if w.s.Phase != arming.Closed {
		t.Errorf("ended in %v\n%s", w.s.Phase, w.m.View())
	}
}

// A reading that lapses for a moment is no question to anybody: the screen says
// what it waits for, and READY comes back by itself.
func TestLapsedReadingAsksNobody(t *testing.T) {
	t.Parallel()
	w := newWorld(t, arming.ModeBox)
	w.until("")
	for range 60 { // the box is silent for 3 s
		w.at.Mono += 50 * time.Millisecond
		w.at.Wall += 50 * time.Millisecond
		w.step(arming.Tick{})
		w.m.Update(tickMsg{})
	}
	if w.s.Phase != arming.Setup || w.m.due >= 0 {
		t.Fatalf("%v, due %d\n%s", w.s.Phase, w.m.due, w.m.View())
	}
	if view := w.m.View(); !strings.Contains(view, "waits for a reading") {
		t.Errorf("the screen does not say what it waits for\n%s", view)
	}
	w.pass(time.Second)
	if w.s.Phase != arming.Ready {
		t.Errorf("READY did not come back: %v\n%s", w.s.Phase, w.m.View())
	}
}

// A start that finds a firing broken off begins in WAIT, with nobody signed on
// and the line unknown: the screen leads out of it by keys alone.
func TestRestartInWait(t *testing.T) {
	t.Parallel()
	w := newWorld(t, arming.ModeBox)
	w.s = arming.State{}
	w.step(arming.Start{From: arming.Window, Hooked: true})
	w.step(arming.BoxUp{Identity: "test box", Practice: true, Channels: w.p.Motors})
	w.pass(200 * time.Millisecond)
	if w.s.Phase != arming.Wait {
		t.Fatalf("begins in %v", w.s.Phase)
	}
	for n := 0; n < 20 && w.s.Phase == arming.Wait; n++ {
		switch h := w.m.atHand(); {
		case h.step >= 0:
			w.fill(strings.ReplaceAll(cmp.Or(crewOf[h.id], "Cleo_"+strings.ToUpper(h.id[5:6])), " ", "_"))
		case h.id == "line/close":
			w.fill("BenWick", "4")
		case h.id == "fact/AT REST":
			w.fill("2")
		case h.id == "observe":
			w.fill("all", "dark", "1")
		case h.id == "forward":
			w.fill("BenWick", "1")
		default:
			w.pass(61 * time.Second)
		}
		w.pass(100 * time.Millisecond)
		if w.refusal.Why != "" {
			t.Fatalf("refused: %s: %s\n%s", w.refusal.Why, w.refusal.Remedy, w.m.View())
		}
	}
	if w.s.Phase != arming.MakeSafe {
		t.Fatalf("not in MAKESAFE: %v\n%s", w.s.Phase, w.m.View())
	}
	if view := w.m.View(); !strings.Contains(view, "LIVE, dark") {
		t.Errorf("dark motors are not shown LIVE\n%s", view)
	}
}

// SAFE stands on the screen only while nothing speaks against it, in
// every state that a firing passes.
func TestSafeOnlyWhileProved(t *testing.T) {
	t.Parallel()
	for _, p := range allPhases {
		w := at(t, p)
		proved := len(w.s.NotSafe(w.p)) == 0
		view := w.m.View()
		if got := strings.Contains(view, " SAFE ") && !strings.Contains(view, "NOT PROVED SAFE"); got != proved {
			t.Errorf("%v: SAFE shown %v, proved %v\n%s", p, got, proved, view)
		}
	}
}

// The heartbeat stands still when the machine or the box does.
func TestHeartbeatNeedsBoth(t *testing.T) {
	t.Parallel()
	w := newWorld(t, arming.ModeBox)
	w.until("")
	turn := func(machine, box bool) bool {
		was := w.m.pulse.turn
		f := w.frame()
		f.Beat, f.BoxBeat = w.m.pulse.beat, w.m.pulse.boxBeat
		if machine {
			f.Beat++
		}
		if box {
			f.BoxBeat++
		}
		w.m.pulse.update(&f)
		return w.m.pulse.turn != was
	}
	for _, c := range []struct{ machine, box, want bool }{{true, true, true}, {true, false, false}, {false, true, false}, {false, false, false}} {
		if got := turn(c.machine, c.box); got != c.want {
			t.Errorf("machine %v, box %v: turned %v", c.machine, c.box, got)
		}
	}
}

// Nothing but the rows of the clock is drawn anew while nothing happens in
// SETUP: a slow line to the terminal stays quiet.
func TestQuietInSetup(t *testing.T) {
	t.Parallel()
	w := newWorld(t, arming.ModeBox)
	w.pass(2 * time.Second)
	before := strings.Split(w.m.View(), "\n")
	screens := map[string]bool{}
	for range 100 {
		w.pass(100 * time.Millisecond)
		screens[w.m.View()] = true
	}
	if len(screens) > 11 {
		t.Errorf("%d screens in 10 s, want one a second", len(screens))
	}
	changed := 0
	for i, l := range strings.Split(w.m.View(), "\n") {
		if l != before[i] {
			changed++
		}
	}
	if changed != 1 {
		t.Errorf("%d rows changed, want the clock's alone", changed)
	}
}

// At a pause of the sheet the count stands and says who goes on; space is HOLD, in
// the field too; the typed word lets it run on to WINDOW.
func TestThePauseOfTheCount(t *testing.T) {
	begin := func() *world {
		w := newWorld(t, arming.ModeBox)
		w.p.Times.Pauses[0] = 5 * time.Second
		w.toPhase(arming.Count)
		w.pass(10 * time.Second)
		for _, want := range []string{"PAUSE", "The count stands at 5", "firing officer", "SPACE IS HOLD"} {
			if view := w.m.View(); !strings.Contains(view, want) {
				t.Fatalf("no %q in\n%s", want, view)
			}
		}
		return w
	}
	w := begin()
	w.key("enter")
	w.write("cou")
	w.key("space")
	if w.s.Phase != arming.Hold {
		t.Errorf("space in the field of a pause leaves %v, want HOLD", w.s.Phase)
	}
	w = begin()
	w.key("enter")
	w.write("yes")
	w.key("enter")
	if !w.s.Paused {
		t.Error("another word ends the pause")
	}
	w.key("esc")
	w.fill("count")
	w.pass(2 * time.Second)
	if w.s.Paused || w.s.Phase != arming.Count || strings.Contains(w.m.View(), "PAUSE") {
		t.Errorf("after the word: %v, paused %v", w.s.Phase, w.s.Paused)
	}
	w.pass(4 * time.Second)
	if w.s.Phase != arming.Window {
		t.Errorf("got %v, want WINDOW", w.s.Phase)
	}
}

// A size that changes in the count loses nothing.
func TestResizeWhileCounting(t *testing.T) {
	t.Parallel()
	w := at(t, arming.Count)
	for _, size := range append(golden.Sizes[:len(golden.Sizes):len(golden.Sizes)], [2]int{10, 3}, [2]int{1, 1}, [2]int{0, 0}, [2]int{300, 90}) {
		resize(w, size)
		view := w.m.View()
		if size[0] >= 20 && size[1] >= 10 && !strings.Contains(view, "HOLD") {
			t.Errorf("%v shows no HOLD\n%s", size, view)
		}
		if len(w.sent) != 0 || w.s.Phase != arming.Count {
			t.Errorf("%v sent %v", size, w.sent)
		}
	}
}
