package sim

import (
	"context"
	"path/filepath"
	"testing"
)

// benchProblem is four motors of 25 points with a chute and a brake. apart
// gives every motor its own light time.
func benchProblem(tb testing.TB, apart bool) (*Problem, Case) {
	tb.Helper()
	t, ok := tb.(*testing.T)
	if !ok {
		t = &testing.T{}
	}
	p := readProblem(t, filepath.Join(referenceDir, "run", "02"))
	if apart {
		for i := range p.Motors {
			p.Motors[i].LightS = []float64{0.0412, 0.0367, 0.0531, 0.0448}[i]
		}
	}
	return p, Cases(p)[0]
}

func benchmarkRun(b *testing.B, apart bool) {
	p, c := benchProblem(b, apart)
	r, err := NewRunner(p)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := r.Run(c); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkNominal(b *testing.B)      { benchmarkRun(b, false) }
func BenchmarkNominalApart(b *testing.B) { benchmarkRun(b, true) }

// BenchmarkDispersion makes 10,000 runs of dispersion on all processors, every
// motor with its own light time.
func BenchmarkDispersion(b *testing.B) {
	p, _ := benchProblem(b, false)
	p.Spread = Spread{ThrustLot: 0.02, ThrustMotor: 0.02, Drag: 0.08, Rolling: 0.2, Mass: 0.01, WindMps: 1, StopDelayS: 0.05, MotorSilent: 0.01, StopFails: 0.01}
	for b.Loop() {
		if _, err := Disperse(context.Background(), p, DispersionOptions{Runs: 10_000, Seed: 1, NewLights: func() LightSource { return scattered{} }}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkDispersionRun(b *testing.B) {
	p, _ := benchProblem(b, false)
	p.Spread = Spread{ThrustLot: 0.02, ThrustMotor: 0.02, Drag: 0.08, Rolling: 0.2, Mass: 0.01, WindMps: 1, StopDelayS: 0.05, MotorSilent: 0.01, StopFails: 0.01}
	opts := DispersionOptions{Runs: 4096, Seed: 1, NewLights: func() LightSource { return scattered{} }}
	r, err := NewRunner(p)
	if err != nil {
		b.Fatal(err)
	}
	d := newDisperser(r, opts, newTally(opts))
	b.ReportAllocs()
	run := 0
	for b.Loop() {
		d.run(run & 4095)
		run++
	}
}
