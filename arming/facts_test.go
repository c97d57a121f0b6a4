package arming

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"
)

// HOLD is said by a name afterwards, and never by none. R-37.
func TestHoldIsNamedAfterwards(t *testing.T) {
	for _, name := range []string{"HOLD", "WAIT"} {
		w := in(t, ModeBox, name)
		w.refused(HoldBy{}, "a name is due")
		w.must(HoldBy{"Nora"})
		if w.s.HoldCaller != "Nora" {
			t.Errorf("%s: called by %q", name, w.s.HoldCaller)
		}
	}
}

// HOLD in the phases in which people may be forward calls everyone back, once
// and aloud, and it is the last loud word..
func TestHoldCallsEveryoneBack(t *testing.T) {
	for _, name := range []string{"SETUP", "forward", "PROOF", "MAKESAFE", "done"} {
		w := in(t, ModeBox, name)
		w.must(HoldCall{})
		said := 0
		for _, f := range w.fx {
			if n, ok := f.(Notice); ok && n.Loud && strings.HasPrefix(n.Text, "EVERYONE BACK") {
				said++
			}
		}
		if said != 1 || !strings.HasPrefix(w.lastLoud(), "EVERYONE BACK") {
			t.Errorf("%s: said %d times; the last loud word is %q", name, said, w.lastLoud())
		}
	}
}

// A count or a pole by itself shows that a pulse may have begun: a welded pole
// gives a pulse without a press, and a press may have met a permit that was still
// closed. R-01.
func TestACountOrAPoleAloneKeepsTheWait(t *testing.T) {
	for name, counted := range map[string]func(*Box){
		"pulse": func(b *Box) { b.Pulses++ }, "press": func(b *Box) { b.Presses++ },
		"pole 1": func(b *Box) { b.Pole1 = ContactClosed }, "pole 2": func(b *Box) { b.Pole2 = ContactClosed },
	} {
		w := in(t, ModeBox, "WINDOW")
		w.must(HoldCall{})
		ev := w.reading()
		counted(&ev.Box)
		w.must(ev)
		w.phase(Wait)
		if w.s.NoPulse != NoPulseNone || w.s.WaitLeft != w.p.Times.Wait {
			t.Errorf("a %s alone: stage %v, %v left", name, w.s.NoPulse, w.s.WaitLeft)
		}
	}
}

// A bus that is not dead keeps the wait, whatever the counts say. R-01.
func TestALiveBusKeepsTheWait(t *testing.T) {
	for _, level := range []Level{LevelLive, LevelBetween, LevelUnknown} {
		w := in(t, ModeBox, "WINDOW")
		w.must(HoldCall{})
		w.look() // the permit reads open
		ev := w.reading()
		ev.Box.Bus.Level = level
		w.must(ev)
		w.phase(Wait)
	}
}

// What stands in the way of arming is said for each reason by itself.
func TestReadyNeedsHookUpAndRecord(t *testing.T) {
	for want, change := range map[string]func(*State){
		"nothing is hooked up":                          func(s *State) { s.Hooked = false },
		"no record: the last line could not be written": func(s *State) { s.NoRecord = true },
	} {
		w := in(t, ModeBox, "READY")
		change(&w.s)
		if list := w.s.Blockers(w.p); len(list) != 1 || list[0].Why != want {
			t.Errorf("%q: %+v", want, list)
		}
	}
}

// Before a firing begins nothing is taken but its start. I-30.
func TestNothingIsTakenBeforeTheStart(t *testing.T) {
	for _, mode := range []Mode{ModeBox, ModeTyped} {
		for _, r := range rows() {
			w := &world{t: t, p: testPlan(mode)}
			ev := r.make(w)
			if _, start := ev.(Start); start {
				continue
			}
			if s, fx, err := Step(w.p, State{}, w.at, ev); err == nil || s != (State{}) || len(fx) > 0 {
				t.Errorf("%s before the start: %v, %d effects", r.name, err, len(fx))
			}
		}
	}
}

// A firing that broke off in WINDOW may have fired: it is not closed without a
// word on what it did. R-03, I-06.
func TestABrokenFiringWantsItsResult(t *testing.T) {
	p := testPlan(ModeBox)
	s, _, err := Step(p, State{}, Instant{}, Start{From: Window, Hooked: true})
	if err != nil || !strings.Contains(fmt.Sprint(s.AllClearMissing(p)), "no result is typed in") {
		t.Errorf("%v, missing %q", err, s.AllClearMissing(p))
	}
}

// Nobody's word gives nothing up, though nobody has signed on. R-14.
func TestNobodyScrubsBeforeTheFirstName(t *testing.T) {
	newWorld(t, ModeBox).refused(Scrub{Why: "enough"}, "scrubs")
}

// A permit that reads open though it is wanted ends WINDOW and RUN, once the
// relay has had its quarter of a second to close. R-24.
func TestAPermitThatFellByItselfIsSeen(t *testing.T) {
	for _, name := range []string{"WINDOW", "RUN"} {
		w := in(t, ModeBox, name)
		w.permit = false
		w.at = Instant{w.s.PermitAt.Mono + 250*time.Millisecond, w.s.PermitAt.Wall + 250*time.Millisecond}
		w.look()
		w.phase(map[string]Phase{"WINDOW": Window, "RUN": Run}[name])
		w.at = Instant{w.at.Mono + moment, w.at.Wall + moment}
		w.look()
		w.phase(Wait)
	}
}

// Back in WAIT from MAKESAFE, rest and what was made safe are said anew. R-08.
func TestBackInWaitNothingSaidBeforeCounts(t *testing.T) {
	w := in(t, ModeBox, "done")
	w.must(BoxLost{"cable"})
	w.phase(Wait)
	if w.s.AtRest || w.s.MakeSafe != (MakeSafeFacts{}) {
		t.Errorf("at rest %v, made safe %+v", w.s.AtRest, w.s.MakeSafe)
	}
}

// Event bits are cleared once they were taken, whatever they lead to, so that
// the next ones show. R-20.
func TestEventBitsAreCleared(t *testing.T) {
	for _, b := range bits {
		for _, name := range []string{"SETUP", "PROOF", "WINDOW", "WAIT", "CLOSED"} {
			w := in(t, ModeBox, name)
			w.must(BoxEvents{b.bit})
			if !slices.Contains(w.fx, Effect(ClearBits{b.bit})) {
				t.Errorf("%s in %s: %+v", b.name, name, w.fx)
			}
		}
	}
}

// A pulse that no permit allowed is an attempt like any other: what it did is
// written down before the all clear. R-02, I-06.
func TestAPulseWithoutAPermitIsAnAttempt(t *testing.T) {
	w := in(t, ModeBox, "READY")
	w.box.Pulses++
	w.look()
	w.phase(Wait)
	if !strings.Contains(fmt.Sprint(w.s.AllClearMissing(w.p)), "no result is typed in") {
		t.Errorf("missing %q", w.s.AllClearMissing(w.p))
	}
}

// A key or button out of place is called aloud once, not ten times a second,
// and again the next time. R-39, I-29.
func TestAnEarlyHandIsCalledOnce(t *testing.T) {
	w := in(t, ModeBox, "SETUP")
	called := func() bool {
		w.fx = nil
		w.look()
		return w.lastLoud() != ""
	}
	w.box.Key = ContactClosed
	if !called() || called() {
		t.Error("the key in SETUP is called never, or again and again")
	}
	w.box.Key = ContactOpen
	called()
	w.box.Key = ContactClosed
	if !called() {
		t.Error("the key in SETUP is not called the second time")
	}
}

// A live reading that leaves its band takes its gate with it in the same step.
// I-15.
func TestALiveReadingOutOfItsBandFallsAtOnce(t *testing.T) {
	w := in(t, ModeBox, "READY")
	w.box.Battery.Millivolt = 11000 // of 12 to 13 V
	w.look()
	w.phase(Setup)
	if w.s.Evidence[w.p.index(StepBudget)].Present {
		t.Error("the battery's answer stands outside its band")
	}
}

// The step of the line stands while the line is CLOSED, whatever else stands.
// I-09.
func TestTheLinesStepStandsWithTheLine(t *testing.T) {
	w := in(t, ModeBox, "READY")
	i := w.p.index(StepLine)
	for _, l := range []Line{LineUnknown, LineOpen, LineClosed} {
		w.s.Line = l
		if ok, why := w.s.Stands(w.p, i); ok != (l == LineClosed) {
			t.Errorf("line %v: stands %v, %s", l, ok, why)
		}
	}
}
