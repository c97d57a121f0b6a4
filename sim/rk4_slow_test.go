//go:build slow

package sim

import "testing"

func TestAgainstPlainRungeKuttaAtLength(t *testing.T) {
	for seed := uint64(100); seed < 110; seed++ {
		crossCheck(t, seed, 60, 1e-3)
	}
}
