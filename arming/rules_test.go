package arming

import (
	"errors"
	"strings"
	"testing"
	"time"

	"holdline/arming/groundbox/wire"
	"holdline/checklist"
)

// Each test restates a requirement of the hazard analysis and ends with its
// number.

func has[E Effect](fx []Effect) bool {
	for _, f := range fx {
		if _, ok := f.(E); ok {
			return true
		}
	}
	return false
}

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

// After 'everyone back' those who went forward are counted too, signed on or
// not, before and after a restart. R-06.
func TestEveryoneBackCountsThoseWhoWent(t *testing.T) {
	w := newWorld(t, ModeBox)
	w.crew()
	w.proof()
	w.must(Answer{Step: "dead-check", Means: MeansBox})
	w.typed("stray-current", 0)
	w.words("shunt-on", "clip across")
	w.must(OpenLine{By: ranger, Names: [checklist.MaxPosts]string{forward, "nora "}, Key: forward})
	w.must(HoldCall{})
	w.refused(CloseLine{By: ranger, Count: 4}, "4 counted, 5")
	w.must(CloseLine{By: ranger, Count: 5})

	s, _, _ := Step(w.p, State{}, Instant{}, Start{From: Setup, Hooked: true, Forward: [checklist.MaxPosts]string{forward}})
	for _, a := range []Answer{{Step: "crew/firing officer", Words: firing}, {Step: "crew/range officer", Words: ranger}} {
		s, _, _ = Step(w.p, s, Instant{}, a)
		s, _, _ = Step(w.p, s, Instant{}, Written{s.Tickets})
	}
	if _, _, err := Step(w.p, s, Instant{}, CloseLine{By: ranger, Count: 2}); err == nil {
		t.Error("closed by two with a third forward")
	}
	if s, _, err := Step(w.p, s, Instant{}, CloseLine{By: ranger, Count: 3}); err != nil || s.Line != LineClosed {
		t.Errorf("three of three: %v", err)
	}
}

// A key or button seen with the line OPEN calls everyone back, whatever was
// said before it opened. I-29.
func TestEarlyHandsCallBackEachTime(t *testing.T) {
	w := newWorld(t, ModeBox)
	w.crew()
	w.proof()
	w.must(Answer{Step: "dead-check", Means: MeansBox})
	w.typed("stray-current", 0)
	w.words("shunt-on", "clip across")
	w.must(BoxEvents{wire.EventButtonEarly})
	w.must(OpenLine{By: ranger, Names: [checklist.MaxPosts]string{forward}, Key: forward})
	w.key(true)
	if w.s.Line != LineUnknown {
		t.Errorf("line %v with the key in", w.s.Line)
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

// A box that is not the one of this firing is not listened to. R-40.
func TestReadingsOfAWrongBoxAreRefused(t *testing.T) {
	w := newWorld(t, ModeBox)
	w.must(BoxUp{Practice: false, Channels: 2})
	w.refused(BoxReading{w.box}, "not the box")
	if w.s.Box.Up {
		t.Error("the wrong box is up")
	}
	w.must(BoxUp{Practice: true, Channels: 2})
	w.look()
	if !w.s.Box.Up {
		t.Error("the right box is not up")
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

// The word SAFE needs every fact fresh. R-05.
func TestSafeIsProvedOrNotSaid(t *testing.T) {
	w := newWorld(t, ModeBox)
	for name, spoil := range map[string]func(s *State){
		"key": func(s *State) { s.Box.Key = ContactClosed }, "key unknown": func(s *State) { s.Box.Key = ContactUnknown },
		"battery": func(s *State) { s.Box.Battery = volt(12) }, "battery unknown": func(s *State) { s.Box.Battery = Volt{} },
		"permit": func(s *State) { s.Box.Permit = ContactClosed }, "bus": func(s *State) { s.Box.Bus = volt(0.3) },
		"stale": func(s *State) { s.Now.Mono += 3 * time.Second }, "link": func(s *State) { s.Box.Up = false }, "live": func(s *State) { s.Hooked = true },
	} {
		s := w.s
		spoil(&s)
		if len(s.NotSafe(w.p)) == 0 {
			t.Errorf("%s: still proved SAFE", name)
		}
	}
	if len((&State{}).NotSafe(w.p)) == 0 {
		t.Error("the zero state is proved SAFE")
	}
}

// The line opens only by the range officer with key out, battery off, permit
// open and bus dead, each fresh, shunt on, contacts proved, names and key
// holder given..
func TestLineOpensOnlyOnAProvedDeadCircuit(t *testing.T) {
	names := [checklist.MaxPosts]string{forward}
	good := OpenLine{By: ranger, Names: names, Key: forward}
	ready := func() *world { return in(t, ModeBox, "shunted") }
	for _, c := range []struct {
		name, text string
		spoil      func(w *world) OpenLine
	}{
		{"by another", "range officer", func(w *world) OpenLine { return OpenLine{By: firing, Names: names, Key: forward} }},
		{"nobody named", "pocket", func(w *world) OpenLine { return OpenLine{By: ranger, Key: forward} }},
		{"key left behind", "pocket", func(w *world) OpenLine { return OpenLine{By: ranger, Names: names, Key: ranger} }},
		{"named twice", "twice", func(w *world) OpenLine {
			return OpenLine{By: ranger, Names: [checklist.MaxPosts]string{forward, forward}, Key: forward}
		}},
		{"range officer goes", "stays", func(w *world) OpenLine {
			return OpenLine{By: ranger, Names: [checklist.MaxPosts]string{ranger}, Key: ranger}
		}},
		{"key in", "key", func(w *world) OpenLine { w.key(true); return good }},
		{"battery", "battery", func(w *world) OpenLine { w.battery(12.4); return good }},
		{"stale", "not known", func(w *world) OpenLine { w.at.Mono += 3 * time.Second; w.at.Wall += 3 * time.Second; return good }},
		{"box lost", "dead-check", func(w *world) OpenLine { w.must(BoxLost{"cable"}); return good }},
		{"box fault", "contact-proof", func(w *world) OpenLine { w.must(BoxEvents{wire.EventWelded}); return good }},
		{"dead check old", "dead-check", func(w *world) OpenLine { w.pass(11 * time.Minute); return good }},
		{"no shunt", "shunt", func(w *world) OpenLine { w.s.Shunted = false; return good }},
	} {
		w := ready()
		ev := c.spoil(w)
		err := w.do(ev)
		if err == nil || !strings.Contains(err.Error(), c.text) || w.s.Line == LineOpen {
			t.Errorf("%s: line %v, refusal %v, want %q", c.name, w.s.Line, err, c.text)
		}
	}
	w := ready()
	w.must(good)
	if w.s.Line != LineOpen {
		t.Fatal("the line opens when all is as it should be")
	}
	w.refused(CloseLine{By: ranger, Count: 2}, "2 counted, 1 went forward")
	w.must(CloseLine{By: ranger, Count: 1})
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

// The battery joined while people are forward is the loudest notice. R-12.
func TestBatteryJoinedWithPeopleForward(t *testing.T) {
	w := newWorld(t, ModeBox)
	w.crew()
	w.proof()
	w.must(Answer{Step: "dead-check", Means: MeansBox})
	w.typed("stray-current", 0)
	w.words("shunt-on", "clip across")
	w.must(OpenLine{By: ranger, Names: [checklist.MaxPosts]string{forward}, Key: forward})
	w.all = nil
	w.battery(12.4)
	loud := false
	for _, f := range w.all {
		n, ok := f.(Notice)
		loud = loud || ok && n.Loud && strings.Contains(n.Text, "battery joined, people forward")
	}
	if !loud || w.s.Line != LineUnknown {
		t.Errorf("loud %v, line %v", loud, w.s.Line)
	}
}

// The key goes in after both have armed; at any other time it is a HOLD, and
// so is its going out. R-13.
func TestKeyGoesInAfterBothHaveArmed(t *testing.T) {
	prepared := func() *world {
		w := newWorld(t, ModeBox)
		w.crew()
		w.proof()
		w.hookUp()
		w.gates()
		return w
	}
	w := prepared()
	w.key(true)
	w.phase(Hold)
	w = prepared()
	w.must(ArmEntry{By: firing})
	w.key(true)
	w.phase(Hold)
	w = prepared()
	w.arm()
	w.key(false)
	w.phase(Hold)
	w = prepared()
	w.arm()
	w.must(StartCount{By: firing})
	w.key(false)
	w.phase(Hold)
	w = prepared()
	w.arm()
	w.must(StartCount{By: firing})
	w.button(true)
	w.phase(Hold)
}

// One person does not arm alone; three wrong codes hold; the pair is made
// within 30 s..
func TestTwoPeopleArm(t *testing.T) {
	w := newWorld(t, ModeBox)
	w.words("crew/firing officer", firing)
	w.refused(Answer{Step: "crew/range officer", Words: " ines  HALVORSEN "}, "two people")
	w = newWorld(t, ModeBox)
	w.crew()
	w.proof()
	w.hookUp()
	w.gates()
	w.refused(ArmEntry{By: ranger}, "not the firing officer")
	w.refused(Code{Matched: true}, "follows")
	w.must(ArmEntry{By: firing})
	w.pass(31 * time.Second)
	w.refused(Code{Matched: true}, "follows")
	w.must(ArmEntry{By: firing})
	w.must(Code{})
	w.must(Code{})
	w.phase(Ready)
	w.must(Code{})
	w.phase(Hold)
}

// A change of range officer drops every gate. R-14.
func TestHandOverDropsEveryGate(t *testing.T) {
	w := newWorld(t, ModeBox)
	w.crew()
	w.proof()
	w.hookUp()
	w.gates()
	w.words("crew/range officer", "Ada Brandt")
	for i, st := range w.p.Steps {
		if st.Phase > checklist.Briefing && w.s.Evidence[i].Present {
			t.Errorf("%s outlived the hand-over", st.ID)
		}
	}
	w.phase(Setup)
}

// The count does not start on answers that will not last to the end of the
// window; the refusal names the shortest. R-15.
func TestCountWantsAnswersThatLast(t *testing.T) {
	w := newWorld(t, ModeBox)
	w.crew()
	w.proof()
	w.hookUp()
	w.gates()
	w.pass(45 * time.Second)
	w.arm()
	w.pass(27 * time.Second)
	w.refused(StartCount{By: firing}, "range-clear lasts")
}

// The contact proof finds a welded or bridged key, permit and button, an
// igniter left on, and a watchdog that does not trip..
func TestContactProofFindsEachFault(t *testing.T) {
	begin := func() *world {
		w := newWorld(t, ModeBox)
		w.crew()
		w.must(StartProof{})
		w.pass(200 * time.Millisecond)
		return w
	}
	for _, c := range []struct {
		name string
		make func(w *world)
	}{
		{"key bridged", func(w *world) {
			b := w.box
			b.Battery, b.BehindKey, b.BehindPermit, b.Bus, b.Permit = volt(12.4), volt(12.4), volt(0), volt(0), ContactOpen
			w.must(BoxReading{b})
		}},
		{"permit welded", func(w *world) { w.permit = true; w.battery(12.4); w.key(true) }},
		{"button bridged", func(w *world) {
			w.battery(12.4)
			w.box.Key = ContactClosed
			b := w.box
			b.Battery, b.BehindKey, b.BehindPermit, b.Bus, b.Permit = volt(12.4), volt(12.4), volt(12.4), volt(12.4), ContactClosed
			w.must(BoxReading{b})
		}},
		{"igniter on", func(w *world) { w.igniter = true; w.pass(200 * time.Millisecond) }},
		{"watchdog dead", func(w *world) { w.battery(12.4); w.key(true); w.pass(2 * time.Second) }},
	} {
		w := begin()
		c.make(w)
		w.phase(Setup)
		if ok, _ := w.s.Stands(w.p, w.p.index(StepProof)); ok || w.s.PermitWanted {
			t.Errorf("%s: the contact proof stands", c.name)
		}
	}
}

// A gap of the ticks from ARMED on, or clocks that part, holds before the
// event is looked at. R-31, I-26.
func TestGapsAndJumpsHoldFirst(t *testing.T) {
	w := newWorld(t, ModeBox)
	w.crew()
	w.proof()
	w.hookUp()
	w.gates()
	w.arm()
	w.at.Mono += 300 * time.Millisecond
	w.at.Wall += 300 * time.Millisecond
	w.refused2(StartCount{By: firing})
	w.phase(Hold)

	w = newWorld(t, ModeBox)
	w.crew()
	w.proof()
	w.hookUp()
	w.gates()
	w.at.Wall += 3 * time.Minute
	w.at.Mono += 50 * time.Millisecond
	w.must(Tick{})
	if ok, _ := w.s.Stands(w.p, w.p.index(StepRangeClear)); ok || w.s.Phase == Ready {
		t.Errorf("after three minutes asleep: %v", w.s.Phase)
	}
}

// refused2 wants a refusal and leaves the phase to the caller.
func (w *world) refused2(ev Event) {
	w.t.Helper()
	var r *RefusedError
	if err := w.do(ev); !errors.As(err, &r) {
		w.t.Fatalf("%T: got %v, want a refusal", ev, err)
	}
}

// Nothing moves forward without its line on disk; 0.5 s without it is a HOLD.
// OFF and HOLD wait for nothing. R-36.
func TestForwardWaitsForTheRecord(t *testing.T) {
	p := testPlan(ModeBox)
	w := newWorld(t, ModeBox)
	w.crew()
	w.proof()
	w.hookUp()
	w.gates()
	s, fx, err := Step(p, w.s, w.at, ArmEntry{By: firing})
	if err != nil || s.ArmEntry || !has[Write](fx) {
		t.Fatalf("entry taken before its line is on disk: %v %v", s.ArmEntry, err)
	}
	late := w.at
	late.Mono += 600 * time.Millisecond
	late.Wall += 600 * time.Millisecond
	s2, fx, err := Step(p, s, late, Tick{})
	if err != nil || s2.Phase != Hold || !s2.NoRecord || !has[PermitOff](fx) {
		t.Fatalf("after 0.6 s without the line: %v", s2.Phase)
	}
	s3, fx, err := Step(p, s, w.at, HoldCall{})
	if err != nil || s3.Phase != Hold || has[Write](fx) {
		t.Fatalf("HOLD waits for the record: %v", s3.Phase)
	}
}

// A value inside its accepted range withdraws nothing, one outside withdraws
// and says which. R-38.
func TestAnotherWindWithdrawsTheAcceptance(t *testing.T) {
	w := newWorld(t, ModeBox)
	w.crew()
	w.typed("wind", 2)
	if ok, why := w.s.Stands(w.p, w.p.index(StepPrediction)); !ok {
		t.Errorf("the same wind, read again: %s", why)
	}
	w.typed("wind", 2.1)
	if ok, _ := w.s.Stands(w.p, w.p.index(StepPrediction)); ok {
		t.Error("the acceptance outlived another wind inside its range")
	}
	w = newWorld(t, ModeBox)
	w.crew()
	w.typed("wind", 7)
	if ok, _ := w.s.Stands(w.p, w.p.index(StepPrediction)); ok {
		t.Error("the prediction outlived the wind it was made for")
	}
}

// Each spotter repeats the word of this very call. R-44.
func TestSpotterRepeatsTheWord(t *testing.T) {
	w := newWorld(t, ModeBox)
	w.crew()
	w.proof()
	w.hookUp()
	w.words("range-clear", "nobody, gate shut")
	w.pass(200 * time.Millisecond)
	w.must(Answer{Step: "continuity/1"})
	w.must(Answer{Step: "continuity/2"})
	w.battery(12.4)
	w.must(Answer{Step: "battery-joined"})
	w.must(Answer{Step: "battery-budget"})
	w.words("radios", "one at the table")
	w.words("storm", "blue sky")
	w.words("laptop", "charger out")
	w.refused(Answer{Step: "spotter/north", Words: "road empty"}, "the word of this call")
	word := w.s.CallWord(w.p.index("spotter/north"))
	w.words("spotter/north", word+" road empty")
	if w.s.CallWord(w.p.index("spotter/north")) == word {
		t.Error("the word of the next call is the same")
	}
}

// "Checked" is no answer. Degani and Wiener, Human Factors 35(2).
func TestAnswersSayWhatIsSeen(t *testing.T) {
	w := newWorld(t, ModeBox)
	w.words("crew/firing officer", firing)
	w.words("crew/range officer", ranger)
	w.words("crew/north", "Nora")
	w.words("crew/south", "Sven")
	for _, words := range []string{"", "ok", "Checked.", "YES", " done ", "k"} {
		w.refused(Answer{Step: "briefing", Words: words}, "say what you see")
	}
	w.refused(Answer{Step: "wind", Value: 1, Again: 1, Means: MeansTyped}, "comes after")
	w.refused(Answer{Step: "no such", Words: "blue"}, "no step")
}

// The zero value of every type is its least permissive one. I-30.
func TestZeroStateIsLeastPermissive(t *testing.T) {
	p := testPlan(ModeBox)
	var s State
	if s.Phase != Setup || s.Line != LineUnknown || s.PermitWanted || s.LeaseWanted || s.Box.Key != ContactUnknown || len(s.Blockers(p)) == 0 {
		t.Errorf("zero state %+v", s)
	}
	for _, ev := range []Event{ArmEntry{By: ""}, Code{Matched: true}, StartCount{}, OpenLine{}, GoForward{}, AllClear{}, Resume{}, Answer{Step: StepCode, Value: 5}} {
		if _, fx, err := Step(p, s, Instant{}, ev); err == nil || has[PermitOn](fx) {
			t.Errorf("%T was taken before a firing began", ev)
		}
	}
	if s != (State{}) { // compiles only while State is comparable
		t.Error("the refusals changed the zero state")
	}
}

// A phase that is left unfinished for too long begins again; one that is
// finished stays. Transport Canada multi-crew procedures 1.9.
func TestPhaseLeftUnfinishedBeginsAgain(t *testing.T) {
	w := newWorld(t, ModeTyped)
	w.crew()
	w.proof()
	w.typed("dead-check", 0)
	w.pass(10 * time.Minute)
	if !w.s.Evidence[w.p.index("dead-check")].Present {
		t.Fatal("the phase began again too soon")
	}
	w.pass(10*time.Minute + 200*time.Millisecond)
	if w.s.Evidence[w.p.index("dead-check")].Present {
		t.Error("half a dead check outlived its phase")
	}
	if !w.s.Evidence[w.p.index("motors")].Present || w.s.Crew.Firing == "" {
		t.Error("a finished phase was begun again")
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

// The test current is off when a snapshot that came after it shows so: one from
// before the lease, still fresh, shows nothing (R-06, found by the independent
// model).
func TestTheLineStaysClosedUntilTheTestCurrentIsReadOff(t *testing.T) {
	w := newWorld(t, ModeBox)
	w.toWindow()
	w.button(true)
	w.button(false)
	w.phase(Wait)
	w.key(false)
	w.battery(0)
	w.must(HoldCall{}) // everyone back: the lease ends with the line
	w.must(Say{FactAtRest, firing})
	w.pass(w.p.Times.Wait - time.Second/2)
	if w.lease || w.s.TestCurrent {
		t.Fatal("test current with the line UNKNOWN")
	}
	w.must(CloseLine{By: ranger, Count: 4})
	if !w.lease {
		t.Fatal("no lease in WAIT with the line CLOSED")
	}
	// The cable stalls: no snapshot comes, and the OFF at the end of the wait
	// does not arrive.
	for w.s.WaitLeft > 0 {
		w.at.Mono += 50 * time.Millisecond
		w.at.Wall += 50 * time.Millisecond
		w.must(Tick{})
	}
	w.refused(GoForward{By: ranger, Person: forward}, "test current is not yet off")
	w.look()
	w.must(GoForward{By: ranger, Person: forward})
}
