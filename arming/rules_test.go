package arming

import (
	"errors"
	"testing"
	"time"
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

// A gap of the ticks from ARMED on, or clocks that part, stop before the
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
