package session

import (
	"context"
	"sync"
	"testing"

	"go.uber.org/goleak"

	"holdline/checklist/prediction"
	"holdline/checklist/sheet"
	"holdline/checklist/sheet/scenario"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// quick answers at once with a go: what the models say is tested where they
// are, and here only what follows from it.
func quick(context.Context, *sheet.Sheet, func(float64)) predicted { return small() }

// small is a prediction of the scenario with few draws, made once and called a
// go.
var small = sync.OnceValue(func() predicted {
	s, err := scenario.Open()
	if err != nil {
		return predicted{err: err}
	}
	run, err := prediction.BuildRun(context.Background(), s, prediction.RunOptions{Runs: 50, Seed: seed, Workers: 1})
	if err != nil {
		return predicted{err: err}
	}
	circuit, err := prediction.BuildCircuit(context.Background(), s.Title, "", s.Circuit(), prediction.CircuitOptions{Runs: 50, Seed: seed, Workers: 1})
	if err != nil {
		return predicted{err: err}
	}
	run.Go, circuit.Go = true, true
	return predicted{run: run, circuit: circuit}
})
