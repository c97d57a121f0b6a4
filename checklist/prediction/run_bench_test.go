package prediction

import (
	"context"
	"path/filepath"
	"testing"

	"holdline/sim"
	"holdline/sim/circuit"
)

// BenchmarkTenThousandRuns is the dispersion of a sheet with every deviation
// and the circuit's own light times; aim 100 ms on two processors.
func BenchmarkTenThousandRuns(b *testing.B) {
	s := runSheet(b, filepath.Join(referenceDir, "dispersion", "02", "sheet.toml"))
	wiring := s.Circuit()
	fired := circuit.Solve(wiring)
	p := s.Run(fired.IgnitionDelays())
	for b.Loop() {
		_, err := sim.Disperse(context.Background(), p, sim.DispersionOptions{
			Runs: 10_000, Seed: 1, NewIgnitions: func() sim.IgnitionSource { return circuit.NewSampler(wiring) },
		})
		if err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkBuildRun is the whole answer with 10,000 runs.
func BenchmarkBuildRun(b *testing.B) {
	s := runSheet(b, filepath.Join(referenceDir, "dispersion", "02", "sheet.toml"))
	for b.Loop() {
		if _, err := BuildRun(context.Background(), s, RunOptions{Seed: 1}); err != nil {
			b.Fatal(err)
		}
	}
}
