//go:build slow

package scenario

import (
	"testing"

	"holdline/checklist/prediction"
)

func TestTheScenarioIsAGoForManySeeds(t *testing.T) {
	s := open(t)
	for seed := range uint64(200) {
		mustGo(t, "scenario", s, seed, prediction.DefaultRuns)
	}
}
