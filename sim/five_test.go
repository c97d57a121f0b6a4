package sim

import (
	"context"
	"math"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"holdline/sim/circuit"
)

// fiveSheet is one of the kinds of sheet on which a dispersion's time is
// measured, with its firing circuit.
type fiveSheet struct {
	name   string
	p      *Problem
	wiring *circuit.Problem
}

// fiveSheets returns the practice scenario on its wire, the starter sheet, four
// free motors, two stages of unlike motors on a tilted mount with lift, and a
// cluster of eight on a rail.
func fiveSheets(t testing.TB) []fiveSheet {
	t.Helper()
	scenario := func(name string) *Problem { return readProblem(t, filepath.Join("../checklist/sheet/scenario", name)) }
	builtin := func(name string) *Curve {
		c, err := BuiltinCurve(name)
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	free := readProblem(t, filepath.Join(referenceDir, "run", "02"))
	free.Spread = benchSpread

	stages := scenario("run")
	stages.Guide, stages.Vehicle.LiftCoefficient, stages.ClearLengthM = nil, 0.4, 600
	unlike := []*Curve{builtin("plateau-d"), builtin("neutral-d"), builtin("plateau-e"), builtin("regressive-e")}
	for i := range stages.Motors {
		m := &stages.Motors[i]
		m.Curve, m.AngleRad = unlike[i], 6*math.Pi/180
	}

	cluster := scenario("run")
	rail := *cluster.Guide
	rail.Kind, rail.DragN, rail.BearingSpacingM = GuideRail, 0.8, 0.25
	cluster.Guide, cluster.Vehicle.MassKg, cluster.ClearLengthM = &rail, 3.4, 400
	cluster.Motors = slices.Concat(cluster.Motors, cluster.Motors)
	for i := range cluster.Motors {
		cluster.Motors[i].LateralM = 0.024 * (float64(i) - 3.5)
	}

	sheets := []fiveSheet{
		{name: "guide wire", p: scenario("run")}, {name: "starter", p: scenario("starter")}, {name: "four free", p: free},
		{name: "two stages, tilted, lift", p: stages}, {name: "eight on a rail", p: cluster},
	}
	for i := range sheets {
		s := &sheets[i]
		s.wiring = firingCircuit(len(s.p.Motors))
		if s.p == stages {
			for k := 2; k < 4; k++ { // the second stage's delay
				s.wiring.Igniters[k].PressureMeanS, s.wiring.Igniters[k].PressureSpreadS = 1.4, 0.05
			}
		}
		fired := circuit.Solve(s.wiring)
		for k, lightS := range fired.IgnitionDelays() {
			s.p.Motors[k].IgnitionDelayS = lightS
		}
	}
	return sheets
}

// firingCircuit is the practice scenario's, for any number of motors.
func firingCircuit(motors int) *circuit.Problem {
	w := &circuit.Problem{
		Battery: circuit.Battery{VoltageV: 12.4, InternalOhm: 0.025, HighestInternalOhm: 0.040},
		Lead:    circuit.Lead{Kind: circuit.LeadGauge, Gauge: 14, LengthM: 70}, LeadTemperatureC: 20,
		SwitchOhm: 0.01, ContactOhm: 0.02, PulseS: 1, Margin: 1.5, TestCurrentA: 0.001,
	}
	for range motors {
		w.Igniters = append(w.Igniters, circuit.Igniter{
			ResistanceOhm: 0.8, Tolerance: 0.12, NoFireA: 0.15, AllFireA: 0.60, TimeConstantS: 0.004,
			PressureMeanS: 0.035, PressureSpreadS: 0.008, ShortProbability: 0.02, ShortOhm: 0.3,
			BranchLead: circuit.Lead{Kind: circuit.LeadGauge, Gauge: 24, LengthM: 0.4},
		})
	}
	return w
}

func (s *fiveSheet) options(runs int) DispersionOptions {
	return DispersionOptions{Runs: runs, Seed: 1, NewIgnitions: func() IgnitionSource { return circuit.NewSampler(s.wiring) }}
}

// BenchmarkFiveSheets makes 10,000 runs of dispersion of each kind of sheet on
// all processors; aim 150 ms on two, and at most 2.5 times the plainest. Beside
// each it makes nominal runs of the plain Runge–Kutta of the tests, at the
// largest step of it that is as accurate, and reports how many times longer a
// run of that takes on the same processors. (It is written to be plain, not to
// be fast; a tuned one gains perhaps a factor of ten.)
func BenchmarkFiveSheets(b *testing.B) {
	for _, s := range fiveSheets(b) {
		b.Run(s.name, func(b *testing.B) {
			c := Cases(s.p)[0]
			stepS := plainStepS(b, s.p, c)
			var plain time.Duration
			for b.Loop() {
				if _, err := Disperse(context.Background(), s.p, s.options(10_000)); err != nil {
					b.Fatal(err)
				}
				b.StopTimer()
				begin := time.Now()
				newRK4(s.p, c, stepS).run()
				plain += time.Since(begin)
				b.StartTimer()
			}
			perRun := float64(b.Elapsed()) / float64(b.N) / 10_000
			b.ReportMetric(perRun*1e-2, "ms/10000runs")
			b.ReportMetric(float64(plain)/float64(b.N)/perRun, "rk4/run")
		})
	}
}

// plainStepS returns the largest step of the plain method, halving from 0.2 s,
// that agrees with the package on the stopping position as a dispersion's runs do.
func plainStepS(b *testing.B, p *Problem, c Case) float64 {
	r, err := NewRunner(p)
	if err != nil {
		b.Fatal(err)
	}
	exact, err := r.Run(c)
	if err != nil {
		b.Fatal(err)
	}
	stepS := 0.2
	for ; stepS > 1e-5; stepS /= 2 {
		k := newRK4(p, c, stepS)
		if k.run() && math.Abs(k.x-exact.StopPositionM) < strideTerm*exact.StopPositionM {
			break
		}
	}
	return stepS
}
