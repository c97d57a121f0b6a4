package sim

import (
	"math"
	"path/filepath"
	"testing"
	"time"
)

// benchProblem is four motors of 25 points with a chute and a brake. apart
// gives every motor its own ignition delay.
func benchProblem(t testing.TB, apart bool) (*Problem, Case) {
	t.Helper()
	p := readProblem(t, filepath.Join(referenceDir, "run", "02"))
	if apart {
		for i := range p.Motors {
			p.Motors[i].IgnitionDelayS = []float64{0.0412, 0.0367, 0.0531, 0.0448}[i]
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

// BenchmarkNominal is one run with every reported value, the motors lit
// together; aim 10 µs and no allocation.
func BenchmarkNominal(b *testing.B) { benchmarkRun(b, false) }

// BenchmarkNominalApart is the same with a ignition delay for each motor.
func BenchmarkNominalApart(b *testing.B) { benchmarkRun(b, true) }

var benchSpread = Spread{ThrustLot: 0.02, ThrustMotor: 0.02, Drag: 0.08, Rolling: 0.2, Mass: 0.01, WindMps: 1, StopDelayS: 0.05, MotorSilent: 0.01, StopFails: 0.01}

// BenchmarkAgainstRK4 runs the plain Runge–Kutta of the tests beside the
// package, at the largest step of it that agrees on the stopping position to 1e-8,
// and reports how many times longer it takes. (It is written to be plain, not to
// be fast; a tuned one gains perhaps a factor of ten.)
func BenchmarkAgainstRK4(b *testing.B) {
	for _, apart := range []bool{false, true} {
		name := map[bool]string{false: "together", true: "apart"}[apart]
		b.Run(name, func(b *testing.B) {
			p, c := benchProblem(b, apart)
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
				if k.run() && math.Abs(k.x-exact.StopPositionM) < 1e-8*exact.StopPositionM {
					break
				}
			}
			var plain time.Duration
			runs := 0
			for b.Loop() {
				if _, err := r.Run(c); err != nil {
					b.Fatal(err)
				}
				if runs++; runs%100 == 1 {
					b.StopTimer()
					begin := time.Now()
					newRK4(p, c, stepS).run()
					plain += time.Since(begin)
					b.StartTimer()
				}
			}
			mean := float64(plain) / float64((runs+99)/100)
			b.ReportMetric(mean*float64(runs)/float64(b.Elapsed()), "rk4/run")
			b.ReportMetric(stepS*1e3, "rk4-step-ms")
		})
	}
}
