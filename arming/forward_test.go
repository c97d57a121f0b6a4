package arming

import (
	"reflect"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"holdline/arming/groundbox/wire"
	"holdline/checklist"
)

// onlyTime compares a refused event with a tick at the same instant: it may
// have done what time alone does, and nothing else. I-35.
func (w *world) onlyTime(ev Event, s State, fx []Effect) {
	w.t.Helper()
	if !w.s.Started {
		if s != w.s || len(fx) != 0 {
			w.t.Fatalf("a refused %T changed a firing that had not begun", ev)
		}
		return
	}
	same, sameFx, err := Step(w.p, w.s, w.at, Tick{})
	if err != nil || s != same || len(fx)+len(sameFx) > 0 && !reflect.DeepEqual(fx, sameFx) {
		w.t.Fatalf("a refused %T did more than a tick: %v to %v with %v, want %v with %v", ev, w.s.Phase, s.Phase, fx, same.Phase, sameFx)
	}
}

// lastLoud is the loud sentence that a screen shows after the last step.
func (w *world) lastLoud() string {
	text := ""
	for _, f := range w.fx {
		if n, ok := f.(Notice); ok && n.Loud {
			text = n.Text
		}
	}
	return text
}

// opened is a firing in SETUP with one person forward.
func opened(t *testing.T) *world {
	t.Helper()
	return in(t, ModeBox, "forward")
}

// inMakeSafe is a firing after its wait, with one person forward.
func inMakeSafe(t *testing.T) *world {
	t.Helper()
	return in(t, ModeBox, "MAKESAFE")
}

// What makes the box's word worthless calls back who went forward on it, as
// does a live bus whatever the contacts say., I-29, I-34.
func TestBoxFaultCallsBackWhoIsForward(t *testing.T) {
	live := func(w *world) {
		b := w.box
		b.Battery, b.BehindKey, b.BehindPermit, b.Bus, b.Permit = volt(0), volt(0), volt(0), volt(3), ContactOpen
		w.must(BoxReading{b})
	}
	for name, spoil := range map[string]func(w *world){
		"welded":    func(w *world) { w.must(BoxEvents{wire.EventWelded}) },
		"restarted": func(w *world) { w.must(BoxEvents{wire.EventRestarted}) },
		"owner":     func(w *world) { w.must(BoxEvents{wire.EventOwnerChanged}) },
		"stuck":     func(w *world) { w.must(PermitStuck{}) },
		"wrong box": func(w *world) { w.must(BoxUp{Practice: false, Channels: 2}) },
		"too small": func(w *world) { w.must(BoxUp{Practice: true, Channels: 1}) },
		"live bus":  live,
	} {
		w := opened(t)
		w.all = nil
		spoil(w)
		called := false
		for _, f := range w.all {
			n, ok := f.(Notice)
			called = called || ok && n.Loud && strings.HasPrefix(n.Text, "EVERYONE BACK")
		}
		if w.s.Line != LineUnknown || !called {
			t.Errorf("%s: line %v, called back %v", name, w.s.Line, called)
		}
		w.box.Key = ContactClosed
		_ = w.do(BoxReading{w.box}) // a wrong box is refused: no invariant may break on it

		w = inMakeSafe(t)
		spoil(w)
		if w.s.Phase != Wait || w.s.Line != LineUnknown || w.s.WaitLeft != w.p.Times.Wait {
			t.Errorf("%s in MAKESAFE: %v, line %v, %v left, want a full WAIT", name, w.s.Phase, w.s.Line, w.s.WaitLeft)
		}
		if name != "stuck" && !strings.HasPrefix(w.lastLoud(), "EVERYONE BACK") {
			t.Errorf("%s in MAKESAFE: the last loud word is %q", name, w.lastLoud())
		}
	}
}

// Everyone-back is the last word on the screen whoever calls it with a person
// forward after the run..
func TestCallingBackIsTheLastWord(t *testing.T) {
	for name, spoil := range map[string]func(w *world){
		"space":    func(w *world) { w.must(HoldCall{}) },
		"movement": func(w *world) { w.must(Say{FactMovement, "Sven"}) },
		"box lost": func(w *world) { w.must(BoxLost{"cable"}) },
		"key": func(w *world) {
			b := w.box
			b.Key = ContactClosed
			w.must(BoxReading{b})
		},
	} {
		w := inMakeSafe(t)
		spoil(w)
		if w.s.Line != LineUnknown || !strings.HasPrefix(w.lastLoud(), "EVERYONE BACK") {
			t.Errorf("%s: line %v, the last loud word is %q", name, w.s.Line, w.lastLoud())
		}
	}
}

// A permit that stays closed after OFF is said in the words that help, and
// they are the last. R-24.
func TestStuckPermitIsTheLastWord(t *testing.T) {
	w := newWorld(t, ModeBox)
	w.toWindow()
	w.must(HoldCall{})
	w.must(PermitStuck{})
	w.phase(Wait)
	if got := w.lastLoud(); got != "Permit did not open: let go, pull the key" {
		t.Errorf("the last loud word is %q", got)
	}
}

// The battery joined while nobody knows who is forward, or while somebody is
// after a scrub before any hook-up, is as loud as with igniters connected.
//
func TestBatteryJoinedWithTheLineNotClosed(t *testing.T) {
	w := newWorld(t, ModeBox)
	w.battery(12.4)
	if !strings.Contains(w.lastLoud(), "battery joined") {
		t.Errorf("line %v, the last loud word is %q", w.s.Line, w.lastLoud())
	}
	w = newWorld(t, ModeBox)
	w.crew()
	w.must(Scrub{By: ranger, Why: "rain"})
	w.must(SignOn{Name: forward, Role: checklist.HookUpPerson})
	w.must(GoForward{By: ranger, Person: forward})
	w.battery(12.4)
	if w.s.Line != LineUnknown || !strings.Contains(w.lastLoud(), "battery joined, people forward") {
		t.Errorf("after a scrub: line %v, the last loud word is %q", w.s.Line, w.lastLoud())
	}
}

// Handing the key to the range officer is part of closing the line. R-14.
func TestTheRangeOfficerHasTheKey(t *testing.T) {
	w := opened(t)
	w.igniter = true
	w.words("hook-up", "one on each")
	w.must(CloseLine{By: ranger, Count: 1})
	w.refused(Answer{Step: StepKeyHeld, Words: forward}, "range officer's hand")
	w.refused(Answer{Step: StepKeyHeld, Words: firing}, "range officer's hand")
	w.words(StepKeyHeld, ranger)
}

// Another wind or mass than the one that was accepted needs both to accept anew,
// inside its range and even when it comes back. R-38.
func TestAnotherBasisIsAcceptedAnew(t *testing.T) {
	w := newWorld(t, ModeBox)
	w.crew()
	stands := func() bool {
		ok, _ := w.s.Stands(w.p, w.p.index(StepPrediction))
		return ok
	}
	for _, c := range []struct {
		step      string
		then, now float64
	}{{"wind", 2.4, 2.4}, {"mass", 1.452, 1.452}, {"wind", 5.1, 2}} {
		w.typed(c.step, c.then)
		if c.then != c.now {
			w.typed(c.step, c.now)
		}
		if stands() {
			t.Fatalf("the acceptance outlived %s at %v", c.step, c.then)
		}
		w.must(Answer{Step: "prediction/firing officer", Value: 1, Means: MeansComputed})
		w.must(Answer{Step: "prediction", Value: 1, Means: MeansComputed})
		w.typed(c.step, c.now)
		if !stands() {
			t.Fatalf("the same %s again withdrew the acceptance", c.step)
		}
	}
	w.typed("wind", 2.1)
	w.must(Answer{Step: "prediction/firing officer", Value: 1, Means: MeansComputed})
	w.must(Answer{Step: "prediction", Value: 1, Means: MeansComputed})
	if !stands() {
		t.Fatal("accepted anew, and it does not stand")
	}
}

// In RUN nothing that ages or leaves its range cuts the pulse. R-15, I-03.
func TestAgeCutsNoPulse(t *testing.T) {
	w := newWorld(t, ModeBox)
	w.toWindow()
	w.button(true)
	w.phase(Run)
	w.s.Evidence[w.p.index(StepRangeClear)].At = Instant{}
	w.must(BasisLeft{"wind"})
	w.box.Battery.Millivolt = 9000 // it sags
	w.pass(500 * time.Millisecond)
	w.phase(Run)
	if !w.s.PermitWanted {
		t.Error("the pulse was cut")
	}
}

// Answers age by the faster clock, the wait runs by the slower. R-32, I-19.
func TestAnswersAgeFasterThanTheWaitRuns(t *testing.T) {
	for name, ahead := range map[string]time.Duration{"wall fast": 900 * time.Millisecond, "wall slow": -900 * time.Millisecond} {
		w := newWorld(t, ModeBox)
		w.crew()
		w.proof()
		w.hookUp()
		w.words("range-clear", "nobody, gate shut")
		i := w.p.index(StepRangeClear)
		before := w.s.Left(w.p, i)
		w.at.Wall += ahead
		w.tick(time.Second)
		if lost, want := before-w.s.Left(w.p, i), time.Second+max(ahead, 0); lost != want {
			t.Errorf("%s: the answer aged by %v, want %v", name, lost, want)
		}

		w = newWorld(t, ModeBox)
		w.toWindow()
		w.must(BoxLost{"cable"})
		w.key(false)
		w.must(Say{FactAtRest, "Nora"})
		left := w.s.WaitLeft
		for range 10 { // the clocks drift
			w.at.Wall += ahead / 10
			w.tick(100 * time.Millisecond)
		}
		if ran, want := left-w.s.WaitLeft, time.Second+min(ahead, 0); ran != want {
			t.Errorf("%s: the wait ran %v, want %v", name, ran, want)
		}
	}
}

// checkStands compares every step that is said to stand with its answer's age
// by both clocks and what it rests on, reckoned apart from the machine. I-15.
func checkStands(t rapid.TB, p *Plan, s *State) {
	t.Helper()
	for i := range p.Steps {
		st, e := &p.Steps[i], &s.Evidence[i]
		if ok, _ := s.Stands(p, i); !ok || st.Kind == checklist.KindLine {
			continue
		}
		if !e.Present {
			t.Fatalf("%s stands without an answer", st.ID)
		}
		age := max(s.Now.Mono-e.At.Mono, s.Now.Wall-e.At.Wall)
		frozen := st.UntilBattery && s.BatterySeen || st.Motor > 0 && (s.Phase == Window || s.Phase == Run)
		if st.Expires > 0 && age >= st.Expires && !frozen {
			t.Fatalf("%s stands, %v old, good for %v", st.ID, age, st.Expires)
		}
		for _, base := range st.RestsOn {
			if ok, why := s.Stands(p, p.index(base)); !ok {
				t.Fatalf("%s stands on %s, which does not: %s", st.ID, base, why)
			}
		}
	}
}
