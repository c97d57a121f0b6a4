package circuit

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"
)

// finiteOrNever accepts a number, or +Inf where a time may never come.
func finiteOrNever(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, -1) }

func isFinite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// FuzzNoAnswerIsNotANumber feeds any values at all: what Validate accepts must
// give answers of finite numbers, and +Inf only for times that never come.
func FuzzNoAnswerIsNotANumber(f *testing.F) {
	f.Add(12.4, 0.025, 0.04, 20.0, 0.8, 0.12, 0.15, 0.6, 0.004, 0.035, 0.008, 0.05, 0.05, 1.0, 0.02, 18, uint8(4))
	f.Add(1e9, 1e-9, 1e-9, 1e-9, 1e-9, 0.0, 1e-9, 1e9, 1e-9, 0.0, 0.0, 1.0, 1e-9, 1e9, 0.0, 40, uint8(16))
	f.Add(1e-9, 1e9, 1e9, 1e9, 1e9, 0.74, 1e-9, 2e-9, 1e9, 1e-300, 1e9, 0.5, 1e9, 1e-9, 1e9, 0, uint8(1))
	f.Add(5.0, 0.1, 0.1, 1.0, 1.0, 0.0, 1.0, math.Nextafter(1, 2), 0.01, 0.1, 0.0, 1.0, 1e-9, 1.0, 0.0, 24, uint8(2))
	f.Fuzz(func(t *testing.T, volts, internal, highest, length, ohm, tolerance, noFire, allFire, tau, mean, deviation, short, shortOhm, pulse, meter float64, gauge int, n uint8) {
		p := &Problem{
			Battery:   Battery{VoltageV: volts, InternalOhm: internal, HighestInternalOhm: highest},
			Lead:      Lead{Kind: LeadGauge, Gauge: gauge, LengthM: length},
			SwitchOhm: meter, ContactOhm: internal,
			PulseS: pulse, Margin: 1.5, TestCurrentA: 0.001, MeterErrorOhm: meter,
		}
		for k := range int(n % 9) {
			ig := Igniter{
				Kind: "any", ResistanceOhm: ohm, Tolerance: tolerance, NoFireA: noFire, AllFireA: allFire,
				TimeConstantS: tau, PressureMeanS: mean, PressureSpreadS: deviation, ShortProbability: short, ShortOhm: shortOhm,
			}
			if k%2 == 1 {
				ig.BranchLead = Lead{Kind: LeadMeasured, LoopOhm: highest}
			}
			p.Igniters = append(p.Igniters, ig)
		}
		if Validate(p) != nil {
			return
		}
		checkSolution(t, p)
		checkContinuity(t, p)
		d, err := Disperse(context.Background(), p, DisperseOptions{Runs: 20, Seed: 1})
		if err != nil {
			t.Fatal(err)
		}
		if !isFinite(d.Probability) || !isFinite(d.Lower95) {
			t.Fatalf("dispersion: %+v", d)
		}
		if q := d.StaggerS; q != nil && !(isFinite(q.P50) && isFinite(q.P95) && isFinite(q.P99)) {
			t.Fatalf("stagger: %+v", *q)
		}
		lights := make([]float64, len(p.Igniters))
		NewSampler(p).Draw(rand.New(rand.NewPCG(1, 1)), lights)
		for _, l := range lights {
			if !finiteOrNever(l) || l < 0 {
				t.Fatalf("light time %v", l)
			}
		}
		for _, a := range Advise(p) {
			if !isFinite(a.Margin) || !isFinite(a.FoundS) {
				t.Fatalf("advice: %+v", a)
			}
		}
		for _, r := range Remedies(p) {
			if !isFinite(r.Value) || !isFinite(r.Margin) {
				t.Fatalf("remedy: %+v", r)
			}
		}
	})
}

func checkSolution(t *testing.T, p *Problem) {
	t.Helper()
	sol := Solve(p)
	for _, v := range []float64{sol.SourceOhm, sol.TotalA, sol.BusV, sol.BatteryV, p.TestCurrentLimitA(), sol.RequiredPulseS()} {
		if !isFinite(v) {
			t.Fatalf("solution: %+v", sol)
		}
	}
	if !finiteOrNever(sol.StaggerS) {
		t.Fatalf("stagger %v", sol.StaggerS)
	}
	for _, ig := range sol.Igniters {
		if !isFinite(ig.BranchOhm) || !isFinite(ig.CurrentA) || !isFinite(ig.WorstCaseA) || !isFinite(ig.Margin) ||
			!finiteOrNever(ig.FiresS) || !finiteOrNever(ig.IgnitionDelayS) {
			t.Fatalf("igniter: %+v", ig)
		}
	}
	for _, ev := range sol.Events {
		for k := range ev.Heat {
			if !isFinite(ev.Heat[k]) || !isFinite(ev.CurrentA[k]) || !isFinite(ev.TimeS) {
				t.Fatalf("event: %+v", ev)
			}
		}
	}
	for _, s := range WithWorstShorted(p) {
		if !isFinite(s.CurrentA) || !isFinite(s.Margin) {
			t.Fatalf("shorted: %+v", s)
		}
	}
}

func checkContinuity(t *testing.T, p *Problem) {
	t.Helper()
	counts := ClusterCounts(p)
	readings := []float64{0, 1, 1e9}
	for _, c := range counts {
		if !isFinite(c.ExpectedOhm) || !isFinite(c.DeviationOhm) {
			t.Fatalf("cluster: %+v", c)
		}
		readings = append(readings, c.ExpectedOhm)
	}
	for _, r := range readings {
		for _, l := range JudgeCluster(p, r).Likelihoods {
			if !isFinite(l.Likelihood) || !isFinite(l.Posterior) || l.Posterior < 0 || l.Posterior > 1+1e-9 {
				t.Fatalf("reading %v: %+v", r, l)
			}
		}
	}
}
