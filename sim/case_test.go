package sim

import (
	"encoding/json"
	"math"
	"slices"
	"testing"
)

func motorsAt(t *testing.T, laterals ...float64) *Problem {
	t.Helper()
	p := plain(t, 1, 10, 1)
	p.Vehicle.RollingResistance = 0.1
	motor := p.Motors[0]
	p.Motors = nil
	for _, y := range laterals {
		motor.LateralM = y
		p.Motors = append(p.Motors, motor)
	}
	return p
}

func silentMotors(p *Problem) (numbers []int) {
	for _, c := range Cases(p) {
		if c.Kind == CaseMotorSilent {
			numbers = append(numbers, c.Motor)
		}
	}
	return numbers
}

func TestMotorsAlikeStandOnce(t *testing.T) {
	other, err := BuiltinCurve("neutral-b")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name     string
		laterals []float64
		change   func(p *Problem)
		want     []int
	}{
		{"one", []float64{0}, nil, []int{1}},
		{"a mirrored pair", []float64{-0.03, 0.03}, nil, []int{1}},
		{"two on one line", []float64{0.03, 0.03}, nil, []int{1}},
		{"not a mirror image", []float64{-0.03, 0.04}, nil, []int{1, 2}},
		{"a mirrored pair beside a lone one", []float64{-0.03, 0.03, 0.05}, nil, []int{1, 2, 3}},
		{"four", []float64{-0.036, -0.012, 0.012, 0.036}, nil, []int{1, 2}},
		{"a middle one", []float64{-0.03, 0, 0.03}, nil, []int{1, 2}},
		{"mirrored in place but not in curve", []float64{-0.03, 0.03}, func(p *Problem) { p.Motors[1].Curve = other }, []int{1, 2}},
		{"mirrored in place but not in circuit", []float64{-0.03, 0.03}, func(p *Problem) { p.Motors[1].Circuit = "long branch" }, []int{1, 2}},
		{"mirrored in place but not in height", []float64{-0.03, 0.03}, func(p *Problem) { p.Motors[1].HeightM = 0.06 }, []int{1, 2}},
		{"an equal curve from another file", []float64{-0.03, 0.03}, func(p *Problem) {
			again, err := NewCurve(p.Motors[0].Curve.Points())
			if err != nil {
				t.Fatal(err)
			}
			p.Motors[1].Curve = again
		}, []int{1}},
	} {
		p := motorsAt(t, c.laterals...)
		if c.change != nil {
			c.change(p)
		}
		if got := silentMotors(p); !slices.Equal(got, c.want) {
			t.Errorf("%s: got motors %v, want %v", c.name, got, c.want)
		}
	}
}

func TestAMotorThatNeverFiresStaysDark(t *testing.T) {
	p := motorsAt(t, 0, 0)
	p.Motors[1].IgnitionDelayS = math.Inf(1)
	results, err := predict(p)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range results {
		if r.Case.Motor == 2 && r.Outcome != results[0].Outcome {
			t.Errorf("%s: got %+v, want the nominal run", r.Case.Name, r.Outcome)
		}
		if r.Case.Kind == CaseMotorSilent && r.Case.Motor == 1 && r.Outcome.PeakSpeedMps != 0 {
			t.Errorf("the other silent: got %+v, want no motion", r.Outcome)
		}
	}
}

func TestCasesOfLatenessAndWind(t *testing.T) {
	p := motorsAt(t, 0, 0)
	p.Motors[0].IgnitionDelayS, p.Motors[1].IgnitionDelayS = 0.04, 0.05
	p.LateLightDelayS, p.HeadwindMps, p.WindRangeMps = 0.5, 2, 3
	kinds := map[CaseKind]Case{}
	for _, c := range Cases(p) {
		if _, there := kinds[c.Kind]; !there {
			kinds[c.Kind] = c
		}
	}
	if got := kinds[CaseMotorLate].IgnitionDelayS; math.Abs(got[0]-0.54) > 1e-15 || got[1] != 0.05 {
		t.Errorf("late: got %v, want 0.54 and 0.05", got)
	}
	if got := kinds[CaseTailwind].HeadwindMps; got != -1 {
		t.Errorf("tailwind: got %g, want -1", got)
	}
	if kinds[CaseAllStopsAbsent].SingleFault() || kinds[CaseNominal].SingleFault() || !kinds[CaseTailwind].SingleFault() {
		t.Error("single faults are not told from the others")
	}
}

func TestThrustToWeightOfJumps(t *testing.T) {
	// one curve ends with a step down from 8 N at 1 s, where the other has 6 N:
	// the left side counts
	a, err1 := NewCurve([]Point{{0, 2}, {1, 8}})
	b, err2 := NewCurve([]Point{{0, 6}, {3, 6}})
	if err1 != nil || err2 != nil {
		t.Fatal(err1, err2)
	}
	p := motorsAt(t, 0, 0)
	p.Motors[0].Curve, p.Motors[1].Curve = a, b
	close(t, "thrust to weight", ThrustToWeight(p), 14/GravityMps2, 1e-14)
}

func TestMaybeReadsNull(t *testing.T) {
	data, err := json.Marshal([]Maybe{{}, Some(2.5)})
	if err != nil || string(data) != "[null,2.5]" {
		t.Errorf("got %s, %v", data, err)
	}
	var back []Maybe
	if err := json.Unmarshal(data, &back); err != nil || back[0] != (Maybe{}) || back[1] != Some(2.5) {
		t.Errorf("got %v, %v", back, err)
	}
}

// predict runs every case of p, in the order of Cases.
func predict(p *Problem) ([]CaseResult, error) {
	r, err := NewRunner(p)
	if err != nil {
		return nil, err
	}
	return r.RunAll(Cases(p))
}
