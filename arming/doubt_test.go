package arming

import (
	"strings"
	"testing"
	"time"

	"holdline/arming/groundbox/wire"
)

// The wait stands still while nothing says that key is out and bus dead, as
// when the link is lost. R-08, I-19.
func TestTheWaitStandsStillWithoutABox(t *testing.T) {
	for name, spoil := range map[string]func(b *Box){
		"key unknown": func(b *Box) { b.Key = ContactUnknown },
		"bus unknown": func(b *Box) { b.Bus = Volt{} },
		"link lost":   func(b *Box) { b.Up = false },
	} {
		w := in(t, ModeBox, "WAIT")
		w.circuitOff()
		w.must(Say{FactAtRest, firing})
		spoil(&w.s.Box)
		w.fast(time.Second)
		if w.s.WaitLeft != w.p.Times.Wait {
			t.Errorf("%s: %v left", name, w.s.WaitLeft)
		}
	}
}

// HOLD in RUN never spares the wait, nor does it where the box's counts before
// the permit are not known. R-01.
func TestWhatNeverSparesTheWait(t *testing.T) {
	w := in(t, ModeBox, "RUN")
	w.must(HoldCall{})
	if w.s.NoPulse != NoPulseNone {
		t.Errorf("HOLD in RUN: stage %v", w.s.NoPulse)
	}
	for _, spoil := range []func(s *State){func(s *State) { s.PulsesBefore = -1 }, func(s *State) { s.PressesBefore = -1 }} {
		w := in(t, ModeBox, "WINDOW")
		spoil(&w.s)
		w.must(HoldCall{})
		if w.s.NoPulse != NoPulseNone {
			t.Errorf("counts not known: stage %v", w.s.NoPulse)
		}
	}
}

// READY waits for the key to be out, and drops the entry when it ends. R-13.
func TestReadyWaitsForTheKey(t *testing.T) {
	w := in(t, ModeBox, "entry")
	w.must(Withdraw{Step: StepStorm, Why: "a cloud"})
	w.phase(Setup)
	if w.s.ArmEntry {
		t.Error("the entry outlives READY")
	}
	w.key(true)
	w.words(StepStorm, "blue again")
	for _, post := range w.p.Posts {
		w.words(StepSpotter(post), w.s.CallWord(w.p.index(StepSpotter(post)))+", road empty")
	}
	w.look()
	w.phase(Setup)
	w.key(false)
	w.pass(200 * time.Millisecond)
	w.phase(Ready)
}

// HOLD takes both arming acts back. I-12.
func TestHoldTakesTheArmingBack(t *testing.T) {
	for _, name := range []string{"entry", "ARMED", "COUNT"} {
		w := in(t, ModeBox, name)
		w.must(HoldCall{})
		if w.s.ArmEntry || w.s.CodeOK || w.s.KeyInArmed || w.s.ArmedBy != "" {
			t.Errorf("%s: entry %v, code %v, key %v, armed by %q", name, w.s.ArmEntry, w.s.CodeOK, w.s.KeyInArmed, w.s.ArmedBy)
		}
	}
}

// A scrub with the key in goes on by itself when the key is out.
func TestAScrubWaitsForTheKey(t *testing.T) {
	w := in(t, ModeBox, "ARMED")
	w.must(Scrub{By: ranger, Why: "enough"})
	w.phase(Hold)
	w.key(false)
	w.phase(MakeSafe)
}

// A request whose line could not be written does not happen later. R-36.
func TestAFailedLineEndsItsRequest(t *testing.T) {
	w := in(t, ModeTyped, "SETUP")
	s, _, _ := Step(w.p, w.s, w.at, Answer{Step: "wind", Value: 3, Again: 3, Means: MeansTyped})
	ticket := s.Pending.Ticket
	s, _, _ = Step(w.p, s, w.at, RecordFailed{"disk full"})
	s, _, _ = Step(w.p, s, w.at, Written{ticket})
	if got := s.Evidence[w.p.index("wind")].Value; got == 3 || s.Pending.Event != nil {
		t.Errorf("wind %g, %T waits", got, s.Pending.Event)
	}
}

// What was said of the circuit does not count after movement. R-08.
func TestSaidFactsEndWithMovement(t *testing.T) {
	w := in(t, ModeTyped, "done")
	w.must(Say{FactMovement, "Sven"})
	w.phase(Wait)
	if w.s.Said != (Said{}) {
		t.Errorf("still said: %+v", w.s.Said)
	}
}

// An answer falls with the age of what it rests on, and the contact proof with
// a box fault, whatever else is withdrawn. I-15, I-34.
func TestAnswersFallWithWhatTheyRestOn(t *testing.T) {
	w := in(t, ModeTyped, "SETUP")
	i := w.p.index(StepPrediction)
	if ok, why := w.s.Stands(w.p, i); !ok {
		t.Fatal(why)
	}
	w.s.Now.Mono += w.p.Times.Weather + time.Second
	if ok, why := w.s.Stands(w.p, i); ok || !strings.Contains(why, "rests on") {
		t.Errorf("the wind is old: stands %v, %s", ok, why)
	}
	w = in(t, ModeBox, "shunted")
	i = w.p.index(StepProof)
	e := w.s.Evidence[i]
	w.must(BoxEvents{wire.EventWelded})
	w.s.Evidence[i] = e
	if ok, _ := w.s.Stands(w.p, i); ok {
		t.Error("the contact proof stands after a box fault")
	}
}
