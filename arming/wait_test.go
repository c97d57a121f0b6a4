package arming

import (
	"testing"
	"time"

	"holdline/arming/groundbox/wire"
)

// Once the permit has been commanded on, HOLD, scrub, a lost link, a fault and
// the window's end all lead to WAIT. R-01.
func TestAfterThePermitOnlyWait(t *testing.T) {
	for name, ev := range map[string]Event{
		"hold": HoldCall{}, "scrub": Scrub{By: ranger, Why: "dog"}, "lost": BoxLost{"cable"}, "fault": BoxEvents{wire.EventWelded},
		"stall": Stalled{"screen"}, "record": RecordFailed{"disk full"}, "focus": FocusLost{}, "quit": Quit{"ctrl-c"}, "stuck": PermitStuck{},
		"key": BoxEvents{wire.EventKeyPulled}, "basis": BasisLeft{"wind"},
	} {
		for _, pressed := range []bool{false, true} {
			w := newWorld(t, ModeBox)
			w.toWindow()
			if pressed {
				w.button(true)
				w.phase(Run)
			}
			if name == "basis" && pressed {
				continue // in RUN age and basis cut no pulse
			}
			w.must(ev)
			if w.s.Phase != Wait || w.s.WaitLeft != w.p.Times.Wait {
				t.Errorf("%s, pressed %v: %v with %v left, want a full WAIT", name, pressed, w.s.Phase, w.s.WaitLeft)
			}
			if _, first := w.fx[0].(PermitOff); !first {
				t.Errorf("%s: first effect %T, want PermitOff", name, w.fx[0])
			}
		}
	}
}

// A tap between two polls is a pulse all the same: the box's latched count
// tells..
func TestTapBetweenPollsIsAPulse(t *testing.T) {
	w := newWorld(t, ModeBox)
	w.toWindow()
	w.box.Presses++
	w.box.Pulses++
	w.tick(50 * time.Millisecond)
	w.phase(Run)
	w.tick(50 * time.Millisecond)
	w.phase(Wait)
	w.pass(2 * time.Second)
	w.phase(Wait)
}

// HOLD in WINDOW with an unchanged pulse count comes back to HOLD; the counts
// must read unchanged after the permit reads open, in this order. R-01.
func TestHoldInWindowWithoutAPulse(t *testing.T) {
	w := newWorld(t, ModeBox)
	w.toWindow()
	w.must(HoldCall{})
	w.phase(Wait)
	w.look()
	w.phase(Wait)
	w.tick(50 * time.Millisecond)
	w.phase(Hold)

	w = newWorld(t, ModeBox)
	w.toWindow()
	w.must(HoldCall{})
	w.look()
	w.must(BoxLost{"cable"})
	w.look()
	w.pass(time.Second)
	w.phase(Wait)
}

// A start after ARMED or later begins in WAIT, full length, line UNKNOWN. R-03.
func TestRestartBeginsInWait(t *testing.T) {
	for p := Setup; p < phaseEnd; p++ {
		s, _, err := Step(testPlan(ModeBox), State{}, Instant{}, Start{From: p})
		if err != nil {
			t.Fatal(err)
		}
		want := Setup
		if p >= Armed && p != Closed {
			want = Wait
		}
		if s.Phase != want || s.Line != LineUnknown || (want == Wait && (s.WaitLeft != 60*time.Second || s.Live(testPlan(ModeBox)) != 2)) {
			t.Errorf("after %v: %v, line %v, %v left", p, s.Phase, s.Line, s.WaitLeft)
		}
	}
}

// Igniters that nobody watched count as a live cluster: a restart with them
// connected begins in WAIT whatever the phase was. R-02.
func TestRestartWithIgnitersBeginsInWait(t *testing.T) {
	for _, p := range []Phase{Setup, Proof, Ready} {
		s, _, err := Step(testPlan(ModeBox), State{}, Instant{}, Start{From: p, Hooked: true})
		if err != nil || s.Phase != Wait || s.WaitLeft != 60*time.Second || s.Line != LineUnknown {
			t.Errorf("after %v with igniters: %v, line %v, %v left, %v", p, s.Phase, s.Line, s.WaitLeft, err)
		}
	}
}

// A pulse counted while the link was down, counts that ran backwards, counts
// that are lost, and another box: each is a live cluster..
func TestPulsesWhileTheLinkWasDown(t *testing.T) {
	for name, after := range map[string]func(w *world){
		"more pulses":  func(w *world) { w.box.Pulses++ },
		"fewer pulses": func(w *world) { w.box.Pulses-- },
		"unknown":      func(w *world) { w.box.Pulses, w.box.Presses = -1, -1 },
		"another box":  func(w *world) { w.must(BoxUp{Practice: true, Channels: 2, NewBox: true}) },
	} {
		w := newWorld(t, ModeBox)
		w.box.Pulses = 7
		w.look()
		w.crew()
		w.proof()
		w.hookUp()
		w.must(BoxLost{"cable"})
		after(w)
		w.look()
		if w.s.Phase != Wait || w.s.WaitLeft != w.p.Times.Wait {
			t.Errorf("%s: %v with %v left, want a full WAIT", name, w.s.Phase, w.s.WaitLeft)
		}
	}
}

// Rest that was said before movement is not rest. R-08.
func TestMovementUndoesRestUnderWay(t *testing.T) {
	w := newWorld(t, ModeBox)
	w.toWindow()
	w.must(BoxLost{"cable"})
	s, fx, err := Step(w.p, w.s, w.at, Say{FactAtRest, "Nora"})
	if err != nil || !has[Write](fx) {
		t.Fatal(err)
	}
	ticket := s.Pending.Ticket
	s, _, _ = Step(w.p, s, w.at, Say{FactMovement, "Sven"})
	s, _, _ = Step(w.p, s, w.at, Written{ticket})
	if s.AtRest {
		t.Error("at rest, though movement was called after it")
	}
}

// Where no box reads it, what was said of key, battery and bus before the run
// does not count after it. R-08.
func TestSaidFactsDoNotOutliveTheRun(t *testing.T) {
	w := newWorld(t, ModeTyped)
	w.toWindow()
	w.must(Say{FactPressed, firing})
	w.must(Say{FactReleased, firing})
	w.must(Say{FactAtRest, ranger})
	w.pass(2 * time.Second)
	if w.s.WaitLeft != w.p.Times.Wait {
		t.Errorf("the wait ran on what was said before the run: %v left", w.s.WaitLeft)
	}
	w.must(Say{FactKeyOut, ranger})
	w.must(Say{FactBusDead, ranger})
	w.pass(61 * time.Second)
	w.refused(GoForward{By: ranger, Person: forward}, "battery is not known to be off")
}

// A reading only makes an outcome worse; nothing but an inspection takes a
// live motor away. R-07.
func TestOpenIsNoEvidenceAndConductiveIsLive(t *testing.T) {
	w := newWorld(t, ModeBox)
	w.toWindow()
	w.button(true)
	w.button(false)
	w.key(false)
	w.must(Observe{Motor: 0, Fate: FateSaidLit, By: "Nora"})
	w.refused(Observe{Motor: 1, Fate: FateInspected, By: "Nora"}, "seen to light")
	w.pass(time.Second) // every channel still conducts
	if w.s.Fate[0] == FateSaidLit || w.s.Live(w.p) != 2 {
		t.Errorf("a conducting motor is %v, %d live", w.s.Fate[0], w.s.Live(w.p))
	}
	w.igniter = false
	w.pass(time.Second)
	if w.s.Live(w.p) != 2 {
		t.Errorf("open channels count as no evidence, %d live", w.s.Live(w.p))
	}
}

// The wait runs only with rest said, key out and bus dead, and starts again
// from full on everything of the list..
func TestWaitStartsAgainFromFull(t *testing.T) {
	inWait := func() *world {
		w := newWorld(t, ModeBox)
		w.toWindow()
		w.button(true)
		w.igniter = false
		w.button(false)
		w.pass(5 * time.Second)
		if w.s.WaitLeft != 60*time.Second {
			t.Fatalf("the wait ran with the key in and no word of rest: %v left", w.s.WaitLeft)
		}
		w.key(false)
		w.must(Say{FactAtRest, "Nora"})
		w.pass(30 * time.Second)
		if w.s.WaitLeft > 31*time.Second || w.s.WaitLeft < 29*time.Second {
			t.Fatalf("%v left after 30 s", w.s.WaitLeft)
		}
		return w
	}
	for name, spoil := range map[string]func(w *world){
		"key in":   func(w *world) { w.key(true) },
		"button":   func(w *world) { w.button(true) },
		"bus live": func(w *world) { w.box.Key, w.permit = ContactClosed, true; w.button(true) },
		"bus alone": func(w *world) {
			b := w.box
			b.Bus = volt(3)
			w.must(BoxReading{b})
		},
		"bus unknown": func(w *world) {
			b := w.box
			b.Bus = Volt{}
			w.must(BoxReading{b})
		},
		"reading":  func(w *world) { w.igniter = true; w.pass(100 * time.Millisecond) },
		"lost":     func(w *world) { w.must(BoxLost{"cable"}) },
		"back":     func(w *world) { w.must(BoxUp{Practice: true, Channels: 2}) },
		"movement": func(w *world) { w.must(Say{FactMovement, "Sven"}) },
		"space":    func(w *world) { w.must(HoldCall{}) },
		"jump":     func(w *world) { w.at.Wall += 30 * time.Second; w.tick(50 * time.Millisecond) },
		"back set": func(w *world) { w.at.Wall -= 30 * time.Second; w.tick(50 * time.Millisecond) },
		"suspend":  func(w *world) { w.at.Mono += 40 * time.Second; w.at.Wall += 40 * time.Second; w.must(Tick{}) },
		"stuck":    func(w *world) { w.must(PermitStuck{}) },
		"fault":    func(w *world) { w.must(BoxEvents{wire.EventRestarted}) },
	} {
		w := inWait()
		spoil(w)
		if w.s.Phase != Wait || w.s.WaitLeft < 59*time.Second {
			t.Errorf("%s: %v with %v left, want a full WAIT", name, w.s.Phase, w.s.WaitLeft)
		}
	}
}

// While the box may still show that no pulse began, the wait does not run, so
// that a key turned in just then cannot find it short. R-08.
func TestWaitDoesNotRunWhileTheCountsAreLookedAt(t *testing.T) {
	w := newWorld(t, ModeBox)
	w.toWindow()
	w.must(HoldCall{})
	w.phase(Wait)
	w.permit = true // welded: the contact goes on reading closed
	w.must(Say{FactAtRest, "Nora"})
	w.key(false)
	w.tick(200 * time.Millisecond)
	if w.s.WaitLeft != w.p.Times.Wait {
		t.Errorf("%v left while the counts were looked at", w.s.WaitLeft)
	}
	w.pass(1500 * time.Millisecond)
	if w.s.Phase != Wait || w.s.NoPulse != NoPulseNone {
		t.Errorf("%v, no-pulse stage %v: it never ends", w.s.Phase, w.s.NoPulse)
	}
}
