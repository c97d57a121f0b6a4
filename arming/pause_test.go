package arming

import (
	"strings"
	"testing"
	"time"

	"holdline/checklist"
)

// paused is a firing in COUNT at the first of the pauses given.
func paused(t *testing.T, mode Mode, at ...time.Duration) *world {
	t.Helper()
	return pausedAfter(t, mode, 0, at...)
}

// pausedAfter is the same with so much time between the gates and the arming.
func pausedAfter(t *testing.T, mode Mode, late time.Duration, at ...time.Duration) *world {
	t.Helper()
	w := newWorld(t, mode)
	copy(w.p.Times.Pauses[:], at)
	if err := w.p.Validate(); err != nil {
		t.Fatal(err)
	}
	w.crew()
	w.proof()
	w.hookUp()
	w.gates()
	w.pass(late)
	w.arm()
	w.must(StartCount{By: firing})
	w.pass(w.p.Times.Count - at[0] + 50*time.Millisecond)
	if w.phase(Count); !w.s.Paused {
		t.Fatal("the count does not stand at its pause")
	}
	return w
}

// At a pause the clock stands, however long it takes, and goes on from there by
// the firing officer alone. Built-in hold: a planned pause, clock stopped, ended
// by a go (NASA, launch blog, 2014, read second-hand).
func TestThePauseOfACount(t *testing.T) {
	for _, mode := range []Mode{ModeBox, ModeTyped} {
		w := paused(t, mode, 5*time.Second, 3*time.Second)
		left := w.s.ToZero()
		if left > 5*time.Second || left < 4900*time.Millisecond {
			t.Errorf("%v: the clock stands at %v, want 5 s", mode, left)
		}
		w.pass(20 * time.Second)
		if w.phase(Count); w.s.ToZero() != left || w.s.PermitEver {
			t.Errorf("%v: after 20 s the clock stands at %v, want %v", mode, w.s.ToZero(), left)
		}
		w.refused(StartCount{By: ranger}, "the firing officer goes on")
		w.must(StartCount{By: firing})
		w.pass(1900 * time.Millisecond)
		if w.s.Paused || w.s.ToZero() >= left-time.Second {
			t.Errorf("%v: going on, the clock shows %v", mode, w.s.ToZero())
		}
		w.pass(200 * time.Millisecond)
		if w.phase(Count); !w.s.Paused || w.s.ToZero() > 3*time.Second {
			t.Fatalf("%v: the second pause does not stand", mode)
		}
		w.must(StartCount{By: firing})
		w.pass(2800 * time.Millisecond)
		w.phase(Count)
		w.pass(300 * time.Millisecond)
		w.phase(Window)
	}
}

// A pause is stopped like the count that it stands in: by anyone, by the button, by
// the key, by a gate, by the program, and by itself after a minute. The count
// after a HOLD comes to its pauses anew.
func TestAPauseHolds(t *testing.T) {
	for name, do := range map[string]func(w *world){
		"called": func(w *world) { w.must(HoldCall{}) },
		"button": func(w *world) { w.button(true) },
		"key":    func(w *world) { w.key(false) },
		"focus":  func(w *world) { w.must(FocusLost{}) },
		"late":   func(w *world) { w.must(Stalled{Part: "screen"}) },
		"gate":   func(w *world) { w.must(Withdraw{Step: StepRangeClear}) },
		"minute": func(w *world) { w.pass(checklist.PauseMost + 200*time.Millisecond) },
	} {
		w := paused(t, ModeBox, 5*time.Second)
		if do(w); w.s.Phase != Hold || w.s.Paused || w.s.PausesDone != 0 || w.s.PauseLeft != 0 {
			t.Errorf("%s: %v, paused %v, %d pauses done, %v left; want HOLD and nothing of the pause", name, w.s.Phase, w.s.Paused, w.s.PausesDone, w.s.PauseLeft)
		}
	}
}

// Going on wants what the start wanted: every gate, and answers that last to
// the end of the window. R-15.
func TestGoingOnWantsAnswersThatLast(t *testing.T) {
	w := pausedAfter(t, ModeBox, 45*time.Second, 5*time.Second)
	i := w.p.index(StepRangeClear)
	w.pass(w.s.Left(w.p, i) - 10*time.Second)
	w.phase(Count)
	w.refused(StartCount{By: firing}, "range-clear lasts")
	w.pass(11 * time.Second)
	w.phase(Hold)
}

// Only the firing officer's word ends a pause: not time, not another event, and
// not before its line is on disk. I-02, I-27.
func TestNothingElseEndsAPause(t *testing.T) {
	w := paused(t, ModeBox, 5*time.Second)
	s, fx, err := Step(w.p, w.s, w.at, StartCount{By: firing})
	if err != nil || !s.Paused || s.Pending.Event == nil {
		t.Fatalf("before its line is on disk: paused %v, %v, %+v", s.Paused, err, fx)
	}
	over := s
	over.Paused = false
	for _, ev := range []Event{Tick{}, StartCount{By: firing}, HoldBy{Name: ranger}} {
		if err := Check(w.p, w.s, ev, over, nil); err == nil || !strings.Contains(err.Error(), "ended by itself") {
			t.Errorf("%T: the check lets a pause end: %v", ev, err)
		}
	}
	open := w.s
	open.Phase = Window
	if err := Check(w.p, w.s, Tick{}, open, nil); err == nil || !strings.Contains(err.Error(), "WINDOW entered") {
		t.Errorf("the check lets WINDOW follow a pause: %v", err)
	}
}

// The check sees a pause that another ends, or that nobody ends, a clock that
// runs in it, and a count that goes on with answers that will not last. I-02,
// I-17, I-18.
func TestTheCheckOfAPause(t *testing.T) {
	w := paused(t, ModeBox, 5*time.Second)
	asked := w.s
	asked.Tickets++
	asked.Pending = Pending{Event: StartCount{By: ranger}, Ticket: asked.Tickets, Asked: asked.Now}
	on := w.s
	on.Paused, on.PauseLeft, on.OnDisk = false, 0, asked.Tickets
	on.ZeroAt.Mono = on.Now.Mono + w.s.PauseLeft
	mine := asked
	mine.Pending.Event = StartCount{By: firing}
	old, ran, long := on, w.s, w.s
	clear := &old.Evidence[w.p.index(StepRangeClear)]
	clear.At.Mono -= w.p.Times.RangeClear - 10*time.Second
	clear.At.Wall -= w.p.Times.RangeClear - 10*time.Second
	ran.PauseLeft -= 100 * time.Millisecond
	long.Now.Mono += checklist.PauseMost
	for _, c := range []struct {
		a, b State
		ev   Event
		want string
	}{
		{mine, on, Written{asked.Tickets}, ""},
		{asked, on, Written{asked.Tickets}, "I-02: a pause of the count ended by another's word"},
		{mine, old, Written{asked.Tickets}, "I-17: COUNT goes on with answers that will not last"},
		{w.s, ran, Tick{}, "I-02: the clock ran in a pause"},
		{w.s, long, Tick{}, "I-18: a pause of the count too long"},
	} {
		if err := Check(w.p, c.a, c.ev, c.b, nil); (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("got %v, want %q", err, c.want)
		}
	}
}

// A program that came late to its pause stops.
func TestLateToAPause(t *testing.T) {
	w := newWorld(t, ModeBox)
	w.p.Times.Pauses[0] = 5 * time.Second
	m := machine{p: w.p, s: w.s}
	m.s.Phase, m.s.Now = Count, Instant{Mono: time.Minute, Wall: time.Minute}
	m.s.ZeroAt = Instant{Mono: time.Minute + 3900*time.Millisecond}
	if !m.pause() || m.s.Phase != Hold || !strings.Contains(m.s.HoldWhy, "late to a pause") {
		t.Errorf("1.1 s late: %v, %q, want HOLD", m.s.Phase, m.s.HoldWhy)
	}
}

func TestPlanWithImpossiblePauses(t *testing.T) {
	s := time.Second
	for _, c := range []struct {
		pauses [checklist.MaxPauses]time.Duration
		want   string
	}{
		{[3]time.Duration{1900 * time.Millisecond}, "expected 2s or more"},
		{[3]time.Duration{10 * s}, "the count is 10s"},
		{[3]time.Duration{4 * s, 4 * s}, "the longest first"},
		{[3]time.Duration{4 * s, 0, 3 * s}, "expected 2s or more"},
		{[3]time.Duration{0, 3 * s}, "expected 2s or more"},
		{[3]time.Duration{9 * s, 5 * s, 2 * s}, ""},
		{[3]time.Duration{}, ""},
	} {
		p := testPlan(ModeBox)
		p.Times.Pauses = c.pauses
		if err := p.Validate(); (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v: got %v, want %q", c.pauses, err, c.want)
		}
	}
}
