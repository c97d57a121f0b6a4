package sim

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
)

// allFinite fails for a NaN or an infinity anywhere in v.
func allFinite(t *testing.T, what string, v any) {
	t.Helper()
	var walk func(path string, v reflect.Value)
	walk = func(path string, v reflect.Value) {
		switch v.Kind() {
		case reflect.Float64:
			if f := v.Float(); math.IsNaN(f) || math.IsInf(f, 0) {
				t.Errorf("%s: %s is %v", what, path, f)
			}
		case reflect.Struct:
			for i := range v.NumField() {
				walk(path+"."+v.Type().Field(i).Name, v.Field(i))
			}
		case reflect.Slice:
			for i := range v.Len() {
				walk(path, v.Index(i))
			}
		}
	}
	walk("", reflect.ValueOf(v))
	if _, err := json.Marshal(v); err != nil {
		t.Errorf("%s: %v", what, err)
	}
}

// answersAreFinite predicts p, wild as it may be, and wants every answer to be
// an error or finite.
func answersAreFinite(t *testing.T, p *Problem, seed uint64) {
	t.Helper()
	if Validate(p) != nil {
		return
	}
	r, err := NewRunner(p)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range Cases(p) {
		o, err := r.Run(c)
		var unfinished *UnfinishedError
		if err != nil && !errors.As(err, &unfinished) {
			t.Errorf("case %q: got %v, want an outcome or an *UnfinishedError", c.Name, err)
		}
		if unfinished != nil && unfinished.Steps > 0 && unfinished.StepS < 1e-9 {
			t.Errorf("case %q stood still: %v", c.Name, err)
		}
		allFinite(t, c.Name, o)
	}
	d, err := Disperse(context.Background(), p, DispersionOptions{Runs: 20, Seed: seed, Workers: 1, Shares: true, BandM: []float64{0, 1, 30}})
	if err != nil {
		t.Fatal(err)
	}
	allFinite(t, "dispersion", d)
}

func TestNoAnswerHoldsANaN(t *testing.T) { wildAnswersAreFinite(t, 8, 20) }

func wildAnswersAreFinite(t *testing.T, seed uint64, problems int) {
	rng := rand.New(rand.NewPCG(seed, 1))
	for range problems {
		p := randomProblem(rng, true)
		p.Spread = Spread{ThrustLot: 0.2, ThrustMotor: 0.1, Drag: 0.24, Rolling: 0.2, Mass: 0.1, WindMps: 3, StopDelayS: 1, MotorSilent: 0.2, StopFails: 0.3}
		answersAreFinite(t, p, rng.Uint64())
	}
}

// FuzzRun lets the fuzzer set the numbers that matter, beyond what any sheet
// would say.
func FuzzRun(f *testing.F) {
	f.Add(uint64(1), 1.0, 10.0, 1.0, 0.1, 0.0, 0.0, 0.03, 10.0, 1.0)
	f.Add(uint64(2), 0.01, 1e5, 1e-8, 10.0, 60.0, 1.0, 0.0, 0.0, 1e8)
	f.Add(uint64(3), 1000.0, 1e-5, 600.0, 0.0, -60.0, -1.0, 2.0, 20000.0, 1e-9)
	f.Add(uint64(4), 5e-324, 0.1, 1.0, math.Inf(1), math.NaN(), 0.0, 0.0, 0.0, 0.0)
	f.Fuzz(func(t *testing.T, seed uint64, mass, thrust, burn, area, wind, slope, rolling, at, stiffness float64) {
		p := randomProblem(rand.New(rand.NewPCG(seed, 2)), true)
		if curve, err := NewCurve([]Point{{0, thrust}, {burn, thrust / 3}, {burn * 2, 0}}); err == nil {
			p.Motors[0].Curve = curve
		}
		p.Vehicle.MassKg, p.Vehicle.FrontalAreaM2, p.HeadwindMps, p.SlopeRatio = mass, area, wind, slope
		p.Vehicle.RollingResistance = rolling
		for i := range p.Stops {
			p.Stops[i].AtM, p.Stops[i].StiffnessNpm = at, stiffness
		}
		answersAreFinite(t, p, seed)
	})
}

// Every fault of a problem is one error, and all come together.
func TestEveryFaultIsReported(t *testing.T) {
	p := plain(t, 1, 10, 1)
	p.Stops = []Stop{{Name: "x", Kind: Chute, AtM: 1, DragAreaM2: 0.1}}
	if err := Validate(p); err != nil {
		t.Fatal(err)
	}
	faults := map[string]func(p *Problem){
		"vehicle mass is 0 kg":                func(p *Problem) { p.Vehicle.MassKg = 0 },
		"vehicle mass is -1 kg":               func(p *Problem) { p.Vehicle.MassKg = -1 },
		"clear length is 0 m":                 func(p *Problem) { p.ClearLengthM = 0 },
		"rolling resistance is NaN":           func(p *Problem) { p.Vehicle.RollingResistance = math.NaN() },
		"headwind is +Inf":                    func(p *Problem) { p.HeadwindMps = math.Inf(1) },
		"it has no thrust curve":              func(p *Problem) { p.Motors = []Motor{{}} },
		"0 motors":                            func(p *Problem) { p.Motors = nil },
		"light time is NaN":                   func(p *Problem) { p.Motors = []Motor{{Curve: p.Motors[0].Curve, IgnitionDelayS: math.NaN()}} },
		"propellant of all motors is 2 kg":    func(p *Problem) { p.Motors = []Motor{{Curve: p.Motors[0].Curve, PropellantKg: 2}} },
		"position is -1 m":                    func(p *Problem) { p.Stops = []Stop{{Name: "x", Kind: Chute, AtM: -1, DragAreaM2: 0.1}} },
		"unknown kind 0":                      func(p *Problem) { p.Stops = []Stop{{Name: "x"}} },
		"expected a position":                 func(p *Problem) { p.Stops = []Stop{{Name: "x", Kind: ArrestBed, After: true, LengthM: 1}} },
		"guide bearing spacing is 0 m":        func(p *Problem) { p.Guide = &Guide{Kind: GuideWire, RatingN: 1} },
		"thrust of the lot is 0.25":           func(p *Problem) { p.Spread.ThrustLot = 0.25 },
		"drag is -0.1":                        func(p *Problem) { p.Spread.Drag = -0.1 },
		"probability of a failed device is 2": func(p *Problem) { p.Spread.StopFails = 2 },
	}
	for want, set := range faults {
		q := *p
		set(&q)
		if err := Validate(&q); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("got %v, want %q", err, want)
		}
		if _, err := NewRunner(&q); err == nil {
			t.Errorf("%q: NewRunner took it", want)
		}
		if _, err := Disperse(context.Background(), &q, DispersionOptions{Runs: 1}); err == nil {
			t.Errorf("%q: Disperse took it", want)
		}
	}
	q := *p
	q.Vehicle.MassKg, q.ClearLengthM, q.Motors = 0, 0, nil
	for _, want := range []string{"vehicle mass", "clear length", "0 motors"} {
		if err := Validate(&q); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("all together: got %v, want %q in it", err, want)
		}
	}
	r, err := NewRunner(p)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []Case{
		{IgnitionDelayS: []float64{1, 2}}, {IgnitionDelayS: []float64{math.NaN()}}, {Absent: []bool{true, false}}, {HeadwindMps: math.NaN()},
		{Kind: CaseMotorLateAtRest}, {Kind: CaseMotorLateAtRest, Motor: 2},
	} {
		if o, err := r.Run(c); err == nil {
			t.Errorf("case %+v: got %+v, want an error", c, o)
		}
	}
}
