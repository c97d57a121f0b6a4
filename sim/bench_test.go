package sim

import (
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
