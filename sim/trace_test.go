package sim

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// A trace goes by series where a run goes in closed form; both must give the
// same outcome. In every sample the forces must be mass times acceleration, and
// the axle loads must sum to the wheels' load.
func TestTraceAgreesWithRun(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 1))
	for n := range 16 {
		p := randomProblem(rng, n%4 == 3)
		r, err := NewRunner(p)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range Cases(p) {
			want, err := r.Run(c)
			if err != nil {
				continue
			}
			last := Sample{TimeS: -1}
			err = r.Trace(c, 0.05, func(s Sample) error {
				if s.TimeS < last.TimeS || s.PositionM < last.PositionM-1e-9 || s.SpeedMps < 0 {
					t.Errorf("%d %s: got %+v after %+v", n, c.Name, s, last)
				}
				last = s
				back := s.DragN + s.RollingN + s.GuideN + s.SlopeN + s.BrakeN + s.ChuteN + s.LineN + s.BedN
				inertia := s.MassKg + p.Vehicle.RotatingMassKg + r.engaged.weights
				if net := s.ThrustN - back; r.moving && math.Abs(net-inertia*s.AccelerationMps2) > 1e-6*(s.ThrustN+math.Abs(back)+1) {
					t.Errorf("%d %s: at %g s net force is %g N, mass times acceleration %g N", n, c.Name, s.TimeS, net, inertia*s.AccelerationMps2)
				}
				return nil
			})
			if err != nil {
				t.Fatal(err)
			}
			sameOutcome(t, c.Name, r.out, want, 1e-8)
		}
	}
}

func TestTraceEndsWithTheVisitorsError(t *testing.T) {
	p := motorsAt(t, 0)
	r, err := NewRunner(p)
	if err != nil {
		t.Fatal(err)
	}
	stop := errors.New("enough")
	seen := 0
	err = r.Trace(Cases(p)[0], 0.01, func(Sample) error {
		if seen++; seen == 20 {
			return stop
		}
		return nil
	})
	if !errors.Is(err, stop) || seen != 20 {
		t.Errorf("got %v after %d samples, want %v after 20", err, seen, stop)
	}
	for _, every := range []float64{0, -1, math.NaN()} {
		if err := r.Trace(Cases(p)[0], every, func(Sample) error { return nil }); err == nil {
			t.Errorf("interval %g: got no error", every)
		}
	}
	if o, err := r.Run(Cases(p)[0]); err != nil || o.StopPositionM == 0 {
		t.Errorf("the runner after a trace: got %+v, %v", o, err)
	}
}

func TestARunAllocatesNothing(t *testing.T) {
	p, c := benchProblem(t, true)
	r, err := NewRunner(p)
	if err != nil {
		t.Fatal(err)
	}
	cases := Cases(p)
	for _, c := range append(cases, c) {
		if n := testing.AllocsPerRun(10, func() {
			if _, err := r.Run(c); err != nil {
				t.Fatal(err)
			}
		}); n != 0 {
			t.Errorf("%s: got %g allocations a run, want none", c.Name, n)
		}
	}
}
