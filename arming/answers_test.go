package arming

import (
	"strings"
	"testing"
	"time"

	"holdline/checklist"
)

// The loss of the keyboard stops from ARMED on, and only there: before it
// nothing can be lit, after it nothing is left to stop. R-34.
func TestFocusLostStopsFromArmedOn(t *testing.T) {
	to := func(p Phase) *world {
		w := newWorld(t, ModeBox)
		w.crew()
		w.proof()
		w.hookUp()
		w.gates()
		if p >= Armed {
			w.arm()
		}
		if p >= Count {
			w.must(StartCount{By: firing})
		}
		if p >= Window {
			w.pass(w.p.Times.Count)
		}
		if p == Run {
			w.button(true)
		}
		w.phase(p)
		return w
	}
	for from, want := range map[Phase]Phase{Ready: Ready, Armed: Hold, Count: Hold, Window: Wait, Run: Wait} {
		w := to(from)
		w.must(FocusLost{})
		if w.s.Phase != want {
			t.Errorf("%v without the keyboard: %v, want %v", from, w.s.Phase, want)
		}
	}
}

// The mark is read off the vehicle and typed, and another vehicle's is refused;
// a mass outside its band does not stand. R-48.
func TestTheMarkIsReadOffTheVehicle(t *testing.T) {
	w := newWorld(t, ModeBox)
	w.crew()
	w.refused(Answer{Step: "mark", Words: "SB-4"}, "not what the sheet says")
	w.words("mark", "sb-3")
	w.typed("mass", 1.6)
	if w.s.Evidence[w.p.index("mass")].Present {
		t.Error("a mass outside its band stands")
	}
	w.typed("mass", 1.45)
	if !w.s.Evidence[w.p.index("mass")].Present {
		t.Error("a mass inside its band does not stand")
	}
}

// A reading that is typed is typed twice, and the two must agree. R-49.
func TestTypedReadingsAgree(t *testing.T) {
	w := newWorld(t, ModeTyped)
	w.crew()
	w.must(Say{FactKeyOut, firing})
	w.must(Say{FactBatteryOff, firing})
	w.must(Say{FactBusDead, firing})
	w.refused(Answer{Step: StepProof, Value: 0, Again: 0.05, Means: MeansTyped}, "differ")
	w.refused(Answer{Step: StepProof, Value: 0, Again: 0, Means: MeansSaid}, "off an instrument")
	w.typed(StepProof, 0)
}

// A plan may make waits and ages stricter, never laxer; only practice runs its
// waits faster; and no core step can be left out..
func TestAPlanIsNeverLaxer(t *testing.T) {
	for name, spoil := range map[string]func(p *Plan){
		"short wait":       func(p *Plan) { p.Times.Wait = 59 * time.Second },
		"no wait":          func(p *Plan) { p.Times.Wait = 0 },
		"long range clear": func(p *Plan) { p.Times.RangeClear = 181 * time.Second },
		"long armed":       func(p *Plan) { p.Times.Armed = 121 * time.Second },
		"long window":      func(p *Plan) { p.Times.Window = 16 * time.Second },
		"long permit":      func(p *Plan) { p.Times.Permit = 21 * time.Second },
		"fast real wait":   func(p *Plan) { p.Practice, p.WaitSpeed = false, 2 },
		"stopped wait":     func(p *Plan) { p.WaitSpeed = 0 },
		"no mode":          func(p *Plan) { p.Mode = ModeUnknown },
		"many motors":      func(p *Plan) { p.Motors = checklist.MaxMotors + 1 },
		"no proof":         func(p *Plan) { p.without(StepProof) },
		"no spotter":       func(p *Plan) { p.without(StepSpotter("north")) },
		"no continuity":    func(p *Plan) { p.without(StepContinuity(2)) },
		"twice":            func(p *Plan) { p.Steps = append(p.Steps, p.Steps[0]) },
	} {
		p := testPlan(ModeBox)
		spoil(p)
		if p.Validate() == nil {
			t.Errorf("%s was not refused", name)
		}
	}
	p := testPlan(ModeBox)
	p.Times.Wait, p.Times.RangeClear = 10*time.Minute, 30*time.Second
	if err := p.Validate(); err != nil {
		t.Errorf("a stricter plan: %v", err)
	}
}

func (p *Plan) without(id string) {
	i := p.index(id)
	p.Steps = append(append([]checklist.Step(nil), p.Steps[:i]...), p.Steps[i+1:]...)
}

// A key seen in, or a button closed, where no step asks for it, with nobody
// forward: HOLD in READY, once a loud word in SETUP and HOLD, WAIT from full in
// MAKESAFE. I-14, I-29.
func TestAKeyWhereNoStepAsksForIt(t *testing.T) {
	w := newWorld(t, ModeBox)
	w.crew()
	for range 3 {
		w.all = nil
		w.key(true)
		if w.s.Phase != Setup || !strings.Contains(w.lastLoud(), "no step asks for it") {
			t.Fatalf("%v, the last loud word is %q", w.s.Phase, w.lastLoud())
		}
		w.tick(50 * time.Millisecond)
		if w.lastLoud() != "" {
			t.Error("said at every snapshot")
		}
		w.key(false)
	}
	w = newWorld(t, ModeBox)
	w.toWindow()
	w.pass(w.p.Times.Window + 300*time.Millisecond)
	w.phase(Hold)
	w.key(false)
	w.key(true)
	if !strings.Contains(w.lastLoud(), "no step asks for it") {
		t.Errorf("HOLD, the last loud word is %q", w.lastLoud())
	}
}
