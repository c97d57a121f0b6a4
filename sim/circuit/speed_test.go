package circuit

import (
	"context"
	"math/rand/v2"
	"testing"
)

// Budgets of the project: one nominal solution of 8 motors well under 10 µs,
// 10,000 draws of 8 motors under 60 ms on two cores, no allocation in a draw.

func eight() *Problem {
	p := alike(8)
	for k := range p.Igniters { // none fires with another: the most events
		p.Igniters[k].TimeConstantS *= 1 + 0.1*float64(k)
	}
	return p
}

func BenchmarkNominal8(b *testing.B) {
	p := eight()
	b.ReportAllocs()
	for b.Loop() {
		Solve(p)
	}
}

func BenchmarkDraw8(b *testing.B) {
	p := eight()
	s, lights := NewSampler(p), make([]float64, 8)
	rng := rand.New(rand.NewPCG(1, 2))
	b.ReportAllocs()
	for b.Loop() {
		s.Draw(rng, lights)
	}
}

func BenchmarkDisperse10000Draws8(b *testing.B) {
	p := eight()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Disperse(context.Background(), p, DisperseOptions{Runs: 10000, Seed: 1, Workers: 2}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkDisperse10000Draws8Robbing(b *testing.B) {
	p := eight()
	for k := range p.Igniters {
		p.Igniters[k].ShortProbability, p.Igniters[k].ShortOhm = 0.3, 0.02
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Disperse(context.Background(), p, DisperseOptions{Runs: 10000, Seed: 1, Workers: 2}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkJudgeCluster16(b *testing.B) {
	p := alike(16)
	for k := range p.Igniters {
		p.Igniters[k].ResistanceOhm += 0.01 * float64(k)
	}
	ohm := ClusterCounts(p)[0].ExpectedOhm
	b.ReportAllocs()
	for b.Loop() {
		JudgeCluster(p, ohm)
	}
}

func TestADrawDoesNotAllocate(t *testing.T) {
	p := eight()
	s, lights := NewSampler(p), make([]float64, 8)
	rng := rand.New(rand.NewPCG(1, 2))
	if n := testing.AllocsPerRun(200, func() { s.Draw(rng, lights) }); n != 0 {
		t.Errorf("allocations per draw: got %v, want 0", n)
	}
}
