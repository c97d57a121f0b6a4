package draws

import (
	"math"
	"testing"
)

func near(t *testing.T, what string, got, want, share float64) {
	t.Helper()
	if math.Abs(got-want) > share*math.Abs(want) {
		t.Errorf("%s: got %v, want %v", what, got, want)
	}
}

// The one-sided Clopper–Pearson bound by its definition: P(X ≥ k | p) = 5 %,
// the tail summed term by term from logarithms of factorials.
func TestLowerBoundByItsDefinition(t *testing.T) {
	tail := func(k, n int, p float64) float64 {
		logFactorial := func(m int) float64 { v, _ := math.Lgamma(float64(m) + 1); return v }
		sum := 0.0
		for i := k; i <= n; i++ {
			term := logFactorial(n) - logFactorial(i) - logFactorial(n-i) + float64(i)*math.Log(p)
			if i < n {
				term += float64(n-i) * math.Log1p(-p)
			}
			sum += math.Exp(term)
		}
		return sum
	}
	for _, c := range []struct{ k, n int }{{1, 1}, {1, 20}, {7, 10}, {50, 100}, {990, 1000}, {9993, 10000}, {10000, 10000}, {1, 10000}, {8589, 10000}} {
		p := Lower95(c.k, c.n)
		near(t, "tail probability", tail(c.k, c.n, p), 0.05, 1e-6)
	}
	if Lower95(0, 100) != 0 {
		t.Error("no success: want 0")
	}
	// All of n: p = 0.05^(1/n), the "rule of three".
	near(t, "all of a million", Lower95(1000000, 1000000), 0.9999970042722136, 1e-12)
	// The reference sampler's own bound, by another library's beta quantile.
	near(t, "reference bound", Lower95(757155, 1000000), 0.7564486336675306, 1e-9)
}

func TestQuantileIsLinearBetweenOrderStatistics(t *testing.T) {
	sorted := []float64{1, 2, 4, 8, 16}
	for q, want := range map[float64]float64{0: 1, 0.25: 2, 0.5: 4, 0.625: 6, 0.95: 14.4, 1: 16} {
		near(t, "quantile", Quantile(sorted, q), want, 1e-12)
	}
	near(t, "of one", Quantile([]float64{3}, 0.99), 3, 1e-12)
}

// Worked values: for no event in n runs the bound is 1 − 0.05^(1/n), which for
// 10,000 runs is 0.03 %; for one event in 10 it solves p(X ≤ 1) = 0.05, 0.3942
// (tables of the binomial, as printed in textbooks; from memory).
func TestUpperBound(t *testing.T) {
	near(t, "none in 10,000", Upper95(0, 10_000), 1-math.Pow(0.05, 1e-4), 1e-9)
	p := Upper95(1, 10)
	near(t, "one in 10: P(X <= 1) at the bound", math.Pow(1-p, 10)+10*p*math.Pow(1-p, 9), 0.05, 1e-9)
	near(t, "one in 10", p, 0.3942, 1e-4)
	near(t, "19865 in a million", Upper95(19865, 1_000_000), 0.02009604690211674, 1e-10)
	if Upper95(5, 5) != 1 {
		t.Error("the bound does not reach 1")
	}
}
