package sim

import (
	"context"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"testing"
)

// Quantiles are those of the runs made, with nothing thinned or binned: of
// 1,001 runs each per mille is a run's own value, and between two runs the
// value lies on the line between them. They are compared here with a count of
// the values below.
func TestQuantilesAreThoseOfTheRunsMade(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 1))
	values := make([]float64, 1001)
	for i := range values {
		values[i] = rng.ExpFloat64()
	}
	q := quantilesOf(slices.Clone(values))
	for _, c := range []struct {
		name  string
		got   Maybe
		below int // values that must lie below it
	}{{"p05", q.P05, 50}, {"p50", q.P50, 500}, {"p95", q.P95, 950}, {"p99", q.P99, 990}, {"p999", q.P999, 999}} {
		below := 0
		for _, v := range values {
			if v < c.got.Value {
				below++
			}
		}
		if !slices.Contains(values, c.got.Value) || below != c.below {
			t.Errorf("%s: %g has %d values below it, want %d", c.name, c.got.Value, below, c.below)
		}
	}
	two := quantilesOf([]float64{3, 1})
	close(t, "median of two", two.P50.Value, 2, 1e-15)
	close(t, "p95 of two", two.P95.Value, 2.9, 1e-14)
	if one := quantilesOf([]float64{7}); one.P05 != Some(7) || one.P999 != Some(7) {
		t.Errorf("of one run: %+v", one)
	}
	if none := quantilesOf(nil); none.P50.Known {
		t.Errorf("of no run: %+v", none)
	}
}

// Progress grows and ends at the number of runs, whatever the workers.
func TestProgressCountsEveryRun(t *testing.T) {
	p := readProblem(t, filepath.Join(referenceDir, "run", "02"))
	for _, workers := range []int{1, 3} {
		last := 0
		_, err := Disperse(context.Background(), p, DispersionOptions{Runs: 60, Seed: 1, Workers: workers, Progress: func(done, total int) {
			if done < last || done > total || total != 60 {
				t.Errorf("%d workers: %d of %d after %d", workers, done, total, last)
			}
			last = done
		}})
		if err != nil || last != 60 {
			t.Errorf("%d workers: ended at %d, %v", workers, last, err)
		}
	}
}
