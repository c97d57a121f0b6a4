package sim

import (
	"math"
	"math/rand/v2"
	"path/filepath"
	"testing"
)

// shortAgainstGeneral makes runs of a dispersion of p once with short steps and
// once with the general ones at full accuracy. It returns how far rest, peak
// speed and front load are apart at most, relative to their size, and how many
// steps the two took.
func shortAgainstGeneral(t *testing.T, p *Problem, seed uint64, runs int, band []float64, lights scattered) (worst float64, short, general int) {
	t.Helper()
	opts := DispersionOptions{Runs: runs, Seed: seed, NewLights: func() LightSource { return lights }, BandM: band}
	var pair [2]*disperser
	for i := range pair {
		r, err := NewRunner(p)
		if err != nil {
			t.Fatal(err)
		}
		pair[i] = newDisperser(r, opts, newTally(opts))
	}
	a, b := pair[0], pair[1]
	b.short, b.least = false, termLeast/100
	for run := range runs {
		a.run(run)
		b.run(run)
		short, general = short+a.steps, general+b.steps
		for _, d := range []float64{
			off(a.out.StopPositionM, b.out.StopPositionM, 1e-3),
			off(a.out.PeakSpeedMps, b.out.PeakSpeedMps, 1e-3),
			off(a.out.MinFrontLoadFraction.Value, b.out.MinFrontLoadFraction.Value, 1), // of the load at rest
		} {
			worst = max(worst, d)
		}
		if a.started != b.started || a.out.MinFrontLoadFraction.Known != b.out.MinFrontLoadFraction.Known {
			t.Errorf("run %d: got %+v, want %+v", run, a.out, b.out)
		}
		for i := range band {
			if run < bandRuns {
				// The square: just short of the rest the speed itself hangs on
				// the last digits of the place of rest.
				u, v := a.tally.band[i][run], b.tally.band[i][run]
				worst = max(worst, off(u*u, v*v, 1)/2)
			}
		}
	}
	return worst, short, general
}

// The short steps of a dispersion are as accurate as the general ones, to 1e-8,
// and take less than half of their number where motors light apart.
func TestShortStepsAgreeWithTheGeneral(t *testing.T) {
	p, _ := benchProblem(t, false)
	p.Spread = benchSpread
	worst, short, general := shortAgainstGeneral(t, p, 1, 1000, nil, scattered{})
	if worst > 1e-8 || short > general/2 {
		t.Errorf("four motors: %.1g apart, %d steps beside %d; want 1e-8 at most and half the steps", worst, short, general)
	}
	t.Logf("four motors: %.1g apart, %d steps a run beside %d", worst, short/1000, general/1000)
	band := []float64{0.01, 0.5, 1, 2, 3, 5, 8, 13, 18, 21, 34, 55, 80, 300}
	if worst, short, _ := shortAgainstGeneral(t, p, 1, 300, band, scattered{}); worst > 1e-8 || short > general/2 {
		t.Errorf("with a band: %.1g apart, %d steps", worst, short)
	}
	for _, name := range []string{"01", "03", "04", "05", "06"} {
		p := readProblem(t, filepath.Join(referenceDir, "run", name))
		p.Spread = benchSpread
		for _, band := range [][]float64{nil, band} {
			if worst, _, _ := shortAgainstGeneral(t, p, 2, 200, band, scattered{}); worst > 1e-8 {
				t.Errorf("sheet %s, band at %g m: %.1g apart", name, band, worst)
			}
		}
	}
}

// So they are on vehicles, winds and devices of any kind, on curves with steps in
// them, and on clusters with one curve, however far apart they light.
func TestShortStepsOnAnyProblem(t *testing.T) { shortOnAnyProblem(t, 4, 60) }

func shortOnAnyProblem(t *testing.T, seed uint64, problems int) {
	rng := rand.New(rand.NewPCG(seed, 1))
	used, short, general := 0, 0, 0
	for n := range problems {
		p := randomProblem(rng, n%4 == 3)
		p.Guide, p.Vehicle.LiftCoefficient = nil, 0
		oneCurve := n%2 == 0
		for i := range p.Motors {
			m := &p.Motors[i]
			m.AngleRad = 0
			if rng.IntN(3) == 0 {
				m.Curve = stepped(t, rng)
			}
			if oneCurve {
				m.Curve = p.Motors[0].Curve
			}
		}
		p.Spread = benchSpread
		worst, a, b := shortAgainstGeneral(t, p, rng.Uint64(), 30, []float64{0.3, 3, 30}, scattered{[]float64{1e-6, 1e-3, 0.01, 0.06}[rng.IntN(4)]})
		if worst > 1e-8 {
			t.Errorf("problem %d: %.1g apart", n, worst)
		}
		if a != b {
			used++
		}
		short, general = short+a, general+b
	}
	if used < problems/2 {
		t.Errorf("short steps were taken in %d of %d problems", used, problems)
	}
	t.Logf("%d steps beside %d", short, general)
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

// An end that rounding has put on the wrong side of zero is itself the crossing:
// here the polynomial is below 0 at σ = 1 by rounding alone.
func TestCrossingAtARoundedEnd(t *testing.T) {
	for _, c := range []series{{-1, 1 - 1e-16, 1e-17}, {-3, 2, 1 - 2e-16}, {1, -1 + 1e-16, 0}, {-1e-17, 1, 1}} {
		degree, want := 2, 1.0
		if c[0] > -1e-9 && c[0] < 0 {
			want = 0
		}
		if got := c.crossing(degree, 0, 1); math.Abs(got-want) > 1e-9 {
			t.Errorf("%v: got %g, want %g", c[:3], got, want)
		}
	}
}
