package sim

import (
	"math"
	"math/rand/v2"
	"testing"
)

// strideError makes runs of a dispersion of p with strides, and with single
// steps at full accuracy. It returns how far rest, peak speed and front load are
// apart at most, relative to their size, and how many steps the two took.
func strideError(t *testing.T, p *Problem, opts DispersionOptions) (rest, speed, front float64, few, all int) {
	t.Helper()
	var pair [2]*disperser
	for i := range pair {
		r, err := NewRunner(p)
		if err != nil {
			t.Fatal(err)
		}
		pair[i] = newDisperser(r, opts, newTally(opts))
	}
	a, b := pair[0], pair[1]
	b.lean, b.least = false, termLeast/100
	for run := range opts.Runs {
		a.run(run)
		b.run(run)
		few, all = few+a.steps, all+b.steps
		rest = max(rest, off(a.out.StopPositionM, b.out.StopPositionM, 1))
		speed = max(speed, off(a.out.PeakSpeedMps, b.out.PeakSpeedMps, 1))
		front = max(front, off(a.out.MinFrontLoadFraction.Value, b.out.MinFrontLoadFraction.Value, 1)) // of the load at rest
		if a.started != b.started || a.out.MinFrontLoadFraction.Known != b.out.MinFrontLoadFraction.Known || a.out.Airborne != b.out.Airborne {
			t.Errorf("run %d: got %+v, want %+v", run, a.out, b.out)
		}
	}
	return rest, speed, front, few / opts.Runs, all / opts.Runs
}

// A dispersion's runs are as accurate as their strides say: a thousandth of what
// the quantiles of 10,000 runs are uncertain by.
func TestStridesAgreeWithSingleSteps(t *testing.T) {
	for _, s := range fiveSheets(t) {
		rest, speed, front, few, all := strideError(t, s.p, s.options(500))
		t.Logf("%s: rest %.1g, speed %.1g, front load %.1g apart; %d steps beside %d", s.name, rest, speed, front, few, all)
		if rest > 1e-6 || speed > 1e-6 || front > 1e-4 {
			t.Errorf("%s: rest %.1g, speed %.1g, front load %.1g apart", s.name, rest, speed, front)
		}
	}
}

// So they are on vehicles, winds and devices of any kind, on curves with steps in
// them, and on clusters with one curve, however far apart they light.
func TestStridesOnAnyProblem(t *testing.T) { stridesOnAnyProblem(t, 4, 60) }

func stridesOnAnyProblem(t *testing.T, seed uint64, problems int) {
	rng := rand.New(rand.NewPCG(seed, 1))
	few, all := 0, 0
	for n := range problems {
		p := randomProblem(rng, n%4 == 3)
		for i := range p.Motors {
			if rng.IntN(3) == 0 {
				p.Motors[i].Curve = stepped(t, rng)
			}
			if n%2 == 0 {
				p.Motors[i].Curve = p.Motors[0].Curve
			}
		}
		p.Spread = benchSpread
		lights := scattered{[]float64{1e-6, 1e-3, 0.01, 0.06}[rng.IntN(4)]}
		rest, speed, front, a, b := strideError(t, p, DispersionOptions{Runs: 30, Seed: rng.Uint64(), NewIgnitions: func() IgnitionSource { return lights }})
		if rest > 1e-5 || speed > 1e-5 || front > 1e-3 {
			t.Errorf("problem %d: rest %.1g, speed %.1g, front load %.1g apart", n, rest, speed, front)
		}
		few, all = few+a, all+b
	}
	if few > all*9/10 {
		t.Errorf("%d steps beside %d: expected fewer", few, all)
	}
}

// stepped is a curve of a few points, some of them steps of a nanosecond.
func stepped(t *testing.T, rng *rand.Rand) *Curve {
	t.Helper()
	points := []Point{{0, 20 * rng.Float64()}, {0.1, 10}}
	for range 1 + rng.IntN(8) {
		at := points[len(points)-1].TimeS
		gap := math.Pow(10, -4+4*rng.Float64())
		if rng.IntN(3) == 0 {
			gap = 2e-9
		}
		points = append(points, Point{at + gap, 20 * rng.Float64()})
	}
	curve, err := NewCurve(points)
	if err != nil {
		t.Fatal(err)
	}
	return curve
}
