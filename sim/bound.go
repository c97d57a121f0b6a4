package sim

import (
	"slices"

	"gonum.org/v1/gonum/mathext"
)

// ClopperPearsonUpper returns the one-sided upper confidence bound of a
// probability of which count in runs were seen; confidence is 0.95 for the
// bound that the limits use. It is 1 when all were. runs must be above 0 and
// count from 0 to runs.
//
// Source: Clopper and Pearson, The use of confidence or fiducial limits
// illustrated in the case of the binomial, Biometrika 26 (1934) 404–413, in
// the form of a quantile of the beta distribution.
func ClopperPearsonUpper(count, runs int, confidence float64) float64 {
	if count >= runs {
		return 1
	}
	return mathext.InvRegIncBeta(float64(count)+1, float64(runs-count), confidence)
}

// quantile returns the q-quantile of sorted values, linear between order
// statistics: the value at rank q (n − 1). It is not known without values.
func quantile(sorted []float64, q float64) Maybe {
	if len(sorted) == 0 {
		return Maybe{}
	}
	rank := q * float64(len(sorted)-1)
	low := int(rank)
	if low+1 >= len(sorted) {
		return Some(sorted[len(sorted)-1])
	}
	a, b := sorted[low], sorted[low+1]
	return Some(a + (rank-float64(low))*(b-a))
}

// Quantiles are the reported quantiles of a value over the runs, each unknown
// when no run has the value. Which of them are reported depends on the value.
type Quantiles struct {
	P05, P50, P95, P99, P999 Maybe
}

// quantilesOf sorts values and returns their quantiles.
func quantilesOf(values []float64) Quantiles {
	slices.Sort(values)
	return Quantiles{
		P05: quantile(values, 0.05), P50: quantile(values, 0.5), P95: quantile(values, 0.95),
		P99: quantile(values, 0.99), P999: quantile(values, 0.999),
	}
}
