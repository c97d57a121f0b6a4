package session

import (
	"errors"
	"testing"
	"time"

	"holdline/arming"
	"holdline/arming/drill"
	"holdline/arming/record"
)

// newDrill opens a drill whose first surprise comes in a phase.
func newDrill(t testing.TB, ph arming.Phase, kinds ...drill.Kind) *crew {
	t.Helper()
	c := newCrew(t, quietDir(t), func(o *Options) {
		o.SheetPath, o.Practice = quickSheet(t), true
		sh, err := o.load()
		if err != nil {
			t.Fatal(err)
		}
		p := newPlan(sh, arming.ModeBox, true, 6)
		for seed := uint64(1); seed < 500; seed++ {
			plan, err := drill.Make(p, seed, drill.Choice{Kinds: kinds})
			if err != nil {
				t.Fatal(err)
			}
			if plan.Surprises[0].Phase == ph {
				o.Drill = &Drill{Seed: seed, Choice: drill.Choice{Kinds: kinds}}
				return
			}
		}
		t.Fatalf("no seed puts %v into %v", kinds, ph)
	})
	return c
}

// judged ends the session and judges its record as the command does.
func (c *crew) judged() drill.Judgement {
	c.t.Helper()
	path := c.frame().Record.Path
	c.stop()
	r := verify(c.t, path)
	for _, f := range r.Findings { // a drill that was left early is open, and whole
		if f.Status != record.StillOpen && f.Status != record.Unsigned {
			c.t.Fatalf("%v: %+v", r.Status, r.Findings)
		}
	}
	var judge drill.Judge
	for _, e := range r.Log.Entries {
		if err := judge.Entry(e.Kind, time.Duration(e.MonoUS)*time.Microsecond, e.Body); err != nil {
			c.t.Fatalf("line %d: %v", e.Seq, err)
		}
	}
	j, err := judge.Judgement()
	if err != nil {
		c.t.Fatal(err)
	}
	return j
}

// A drill is for the practice box of the session's own, and the device decides.
func TestNoDrillButWithThePracticeBox(t *testing.T) {
	for _, o := range []Options{{Box: "/dev/ttyACM0"}, {Meter: "/dev/ttyUSB0"}, {Typed: true}} {
		o.Drill = &Drill{Seed: 1, Choice: drill.Choice{Count: 1}}
		if err := o.check(); !errors.Is(err, ErrRealDrill) {
			t.Errorf("%+v: %v", o, err)
		}
	}
	real := &session{o: Options{Drill: &Drill{}}, practice: false}
	if err := real.mayDrill(); !errors.Is(err, ErrRealDrill) {
		t.Errorf("a device that is not practice: %v", err)
	}
	elsewhere := &session{o: Options{Drill: &Drill{}}, practice: true}
	if err := elsewhere.mayDrill(); !errors.Is(err, ErrRealDrill) {
		t.Errorf("a practice box of somebody else: %v", err)
	}
}
