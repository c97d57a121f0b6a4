package circuit

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"holdline/sim/draws"
)

// robbing is the circuit of the reference dispersion: two bridges that may
// short beside two that need much.
func robbing() *Problem {
	std := Igniter{
		Kind: "std", ResistanceOhm: 0.8, Tolerance: 0.12, NoFireA: 0.15, AllFireA: 0.60, Source: "invented",
		TimeConstantS: 0.004, PressureMeanS: 0.035, PressureSpreadS: 0.008, ShortProbability: 0.13, ShortOhm: 0.05,
	}
	hard := Igniter{
		Kind: "hard", ResistanceOhm: 0.7, Tolerance: 0.15, NoFireA: 0.45, AllFireA: 1.25, Source: "invented",
		TimeConstantS: 0.014, PressureMeanS: 0.050, PressureSpreadS: 0.012,
		BranchLead: Lead{Kind: LeadGauge, Gauge: 24, LengthM: 0.4},
	}
	p := alike(0)
	p.Battery = Battery{VoltageV: 11.1, InternalOhm: 0.3, HighestInternalOhm: 0.5}
	p.MeterErrorOhm = 0
	p.Igniters = []Igniter{std, hard, hard, std}
	return p
}

func disperse(t *testing.T, p *Problem, runs int, seed uint64, workers int) Dispersion {
	t.Helper()
	d, err := Disperse(context.Background(), p, DisperseOptions{Runs: runs, Seed: seed, Workers: workers})
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// Reference: 1,000,000 draws of an independent sampler in C++ with its standard
// errors, checked by a second one in Python; ours agrees within 4.5 combined
// standard errors, as that reference asks.
func TestDispersionAgainstTheIndependentSampler(t *testing.T) {
	const (
		p, pSE     = 0.757155, 0.0004288021758048809
		refRuns    = 1000000
		runs       = 40000
		combinedBy = 4.5
	)
	d := disperse(t, robbing(), runs, 1, 2)
	within := func(what string, got, want, refSE, ourSE float64) {
		t.Helper()
		if math.Abs(got-want) > combinedBy*math.Hypot(refSE, ourSE) {
			t.Errorf("%s: got %v, want %v within %v", what, got, want, combinedBy*math.Hypot(refSE, ourSE))
		}
	}
	within("all-light probability", d.Probability, p, pSE, math.Sqrt(p*(1-p)/runs))
	scale := math.Sqrt(float64(refRuns) / runs)
	for _, q := range []struct {
		name          string
		got, want, se float64
	}{
		{"p50", d.StaggerS.P50, 0.026352998413810003, 1.650584160375652e-05},
		{"p95", d.StaggerS.P95, 0.04922891421454181, 3.981975425743607e-05},
		{"p99", d.StaggerS.P99, 0.061667645695933006, 8.654506842635346e-05},
	} {
		within("stagger "+q.name, q.got, q.want, q.se, q.se*scale)
	}
	// Reference shares of draws with 1, 2 and 3 motors lit: 0.020048, 0.222074
	// and 0.000723; here as the mean number of dark motors in a draw.
	dark := 0
	for _, m := range d.Motors {
		dark += m.Misfires
	}
	want := 3*0.020048 + 2*0.222074 + 0.000723
	se := math.Sqrt((9*0.020048 + 4*0.222074 + 0.000723 - want*want) / runs)
	within("dark motors in a draw", float64(dark)/runs, want, 0, se)
}

func TestSameSeedSameAnswerWhateverTheWorkers(t *testing.T) {
	one := disperse(t, robbing(), 3001, 42, 1)
	for _, workers := range []int{2, 3, 8, 100} {
		if got := disperse(t, robbing(), 3001, 42, workers); !reflect.DeepEqual(got, one) {
			t.Errorf("%d workers: a different answer", workers)
		}
	}
	if other := disperse(t, robbing(), 3001, 43, 2); other.AllLight == one.AllLight && *other.StaggerS == *one.StaggerS {
		t.Error("another seed gave the same answer")
	}
}

// As spreads go to 0 the draws tend to the nominal circuit at the highest
// internal resistance: the greatest difference of a ignition delay shrinks with
// them.
func TestDrawsTendToTheNominalAsSpreadsGoToZero(t *testing.T) {
	base := referenceProblem("03")
	base.Battery.InternalOhm = base.Battery.HighestInternalOhm
	worst := func(share float64) float64 {
		p := base.with(func(c *Problem) {
			for k := range c.Igniters {
				ig := &c.Igniters[k]
				median, ratio := ig.MedianThresholdA(), math.Pow(ig.AllFireA/ig.NoFireA, share/2)
				ig.Tolerance *= share
				ig.NoFireA, ig.AllFireA = median/ratio, median*ratio
				ig.PressureSpreadS *= share
			}
		})
		sol := Solve(p)
		nominal := sol.IgnitionDelays()
		s, lights := NewSampler(p), make([]float64, len(nominal))
		rng := rand.New(rand.NewPCG(5, 6))
		most := 0.0
		for range 500 {
			if _, all := s.Draw(rng, lights); !all {
				t.Fatal("a draw left a motor dark")
			}
			for k := range lights {
				most = max(most, math.Abs(lights[k]-nominal[k]))
			}
		}
		return most
	}
	previous := worst(1)
	for _, share := range []float64{0.1, 0.01, 0.001} {
		now := worst(share)
		if now > previous/5 {
			t.Errorf("spread × %g: greatest difference %v s, was %v at ten times the spread", share, now, previous)
		}
		previous = now
	}
	if previous > 1e-4 {
		t.Errorf("greatest difference at a thousandth of the spread: %v s", previous)
	}
}

// The moments of what is drawn, against the sheet's: mean and deviation of the
// pressurisation, deviation of the resistance, median and points of I_t.
func TestDrawnMoments(t *testing.T) {
	p := alike(1)
	p.Igniters[0].BranchLead = Lead{}
	const n = 40000
	s, rng := NewSampler(p), rand.New(rand.NewPCG(11, 12))
	ohm, delay, amps := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range n {
		s.draw(rng)
		ohm[i], delay[i], amps[i] = 1/s.drawn[0], s.delayS[0], 1/math.Sqrt(s.net.bridges[0].perA2)
	}
	mean := func(x []float64) (m, sd float64) {
		for _, v := range x {
			m += v / n
		}
		for _, v := range x {
			sd += (v - m) * (v - m) / n
		}
		return m, math.Sqrt(sd)
	}
	m, sd := mean(ohm)
	near(t, "mean resistance", m, 0.8, 1e-3)
	near(t, "deviation of resistance", sd, 0.12*0.8/3, 2e-2)
	m, sd = mean(delay)
	near(t, "mean pressurisation", m, 0.035, 5e-3)
	near(t, "deviation of pressurisation", sd, 0.008, 4e-2)
	slices.Sort(amps)
	near(t, "median threshold", draws.Quantile(amps, 0.5), math.Sqrt(0.15*0.60), 1e-2)
	near(t, "no-fire point", draws.Quantile(amps, 0.001), 0.15, 6e-2)
	near(t, "all-fire point", draws.Quantile(amps, 0.999), 0.60, 6e-2)
	if least, most := slices.Min(ohm), slices.Max(ohm); least < 0.8*(1-4*0.04) || most > 0.8*(1+4*0.04) {
		t.Errorf("resistances from %v to %v: beyond four deviations", least, most)
	}
}

func TestCausesOfDarkMotors(t *testing.T) {
	robbed := robbing()
	d := disperse(t, robbed, 4000, 3, 2)
	k := d.MisfiresMost()
	if k != 1 && k != 2 {
		t.Fatalf("most often dark: motor %d, want one of the hard ones", k)
	}
	if cause, _ := MainCause(d.Motors[k].MisfiresBy); cause != Robbed {
		t.Errorf("cause: got %v, want robbed", cause)
	}

	// Enough at the median threshold, not at the highest ones.
	high := alike(1)
	high.Lead = Lead{Kind: LeadMeasured, LoopOhm: 25}
	d = disperse(t, high, 4000, 3, 2)
	if cause, n := MainCause(d.Motors[0].MisfiresBy); cause != HighThreshold || n != d.Motors[0].Misfires || n == 0 {
		t.Errorf("cause: got %v (%d of %d), want high threshold", cause, n, d.Motors[0].Misfires)
	}

	// Not even at the median.
	starved := alike(1)
	starved.Lead = Lead{Kind: LeadMeasured, LoopOhm: 80}
	d = disperse(t, starved, 4000, 3, 2)
	if cause, _ := MainCause(d.Motors[0].MisfiresBy); cause != WeakCurrent {
		t.Errorf("cause: got %v, want weak current", cause)
	}
	if d.StaggerS != nil && d.AllLight == 0 {
		t.Error("stagger without a draw that lights all")
	}
	for k, m := range d.Motors {
		sum := 0
		for _, n := range m.MisfiresBy {
			sum += n
		}
		if sum != m.Misfires {
			t.Errorf("motor %d: causes count %d, dark %d", k, sum, m.Misfires)
		}
	}
}

func TestCausesOfLastMotors(t *testing.T) {
	// The second motor's pressurisation is slow: last, and that is why.
	slow := alike(2)
	slow.Igniters[1].PressureMeanS = 0.3
	d := disperse(t, slow, 1000, 1, 1)
	if d.LastMost() != 1 || d.Motors[1].LastBy[SlowPressure] != d.Motors[1].Last || d.Motors[1].Last < 990 {
		t.Errorf("slow pressurisation: %+v", d.Motors)
	}

	// A sluggish bridge of its own, fast pressurisation: weak current.
	weak := alike(2)
	for k := range weak.Igniters {
		weak.Igniters[k].PressureMeanS, weak.Igniters[k].PressureSpreadS = 1e-4, 0
	}
	weak.Igniters[1].TimeConstantS = 2
	d = disperse(t, weak, 1000, 1, 1)
	if cause, n := MainCause(d.Motors[1].LastBy); d.LastMost() != 1 || cause != WeakCurrent || n < 900 {
		t.Errorf("weak current: got %v, %+v", cause, d.Motors)
	}

	// The first bridge shorts for certain and the second must wait for what
	// is left: robbed.
	robbed := weak.with(func(c *Problem) {
		c.Igniters[0].ShortProbability, c.Igniters[0].ShortOhm = 1, 0.3
		c.Igniters[1].TimeConstantS = 0.05
	})
	d = disperse(t, robbed, 1000, 1, 1)
	if cause, n := MainCause(d.Motors[1].LastBy); cause != Robbed || n < 900 {
		t.Errorf("robbed: got %v, %+v", cause, d.Motors)
	}
	if d := disperse(t, alike(1), 100, 1, 1); d.LastMost() != -1 || *d.StaggerS != (Quantiles{}) {
		t.Errorf("one motor is never last, its stagger 0: %+v", d)
	}
}

func TestDisperseStopsWhenAsked(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	_, err := Disperse(ctx, alike(8), DisperseOptions{Runs: 1 << 22, Workers: 2, Progress: func(int) { cancel() }})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want the context's error", err)
	}
	if _, err := Disperse(context.Background(), alike(1), DisperseOptions{}); err == nil {
		t.Error("0 runs: no error")
	}
	if _, err := Disperse(context.Background(), alike(0), DisperseOptions{Runs: 1}); err == nil {
		t.Error("no motor: no error")
	}
}

func TestProgressCountsEveryDraw(t *testing.T) {
	last, calls := 0, 0
	_, err := Disperse(context.Background(), alike(2), DisperseOptions{Runs: 1000, Workers: 2, Progress: func(done int) {
		calls++
		if done < last {
			t.Errorf("progress fell from %d to %d", last, done)
		}
		last = done
	}})
	if err != nil || last != 1000 || calls != 32 {
		t.Errorf("err %v, last %d, calls %d; want nil, 1000, 32", err, last, calls)
	}
}
