//go:build slow

package sim

import "testing"

func TestAgainstPlainRungeKuttaAtLength(t *testing.T) {
	for seed := uint64(100); seed < 110; seed++ {
		crossCheck(t, seed, 60, 1e-3)
	}
}

func TestNoAnswerHoldsANaNAtLength(t *testing.T) { wildAnswersAreFinite(t, 9, 2000) }

func TestStridesOnAnyProblemAtLength(t *testing.T) { stridesOnAnyProblem(t, 9, 4000) }
