package session

import (
	"context"
	"errors"
	"fmt"

	"holdline/checklist/prediction"
	"holdline/checklist/sheet"
)

// compute predicts the run and the circuit of the day. One worker leaves the
// other processors to the driver, and stays on the thread that it is called on.
func compute(ctx context.Context, s *sheet.Sheet, of measured, share func(float64)) predicted {
	day := of.with(s)
	const runs = prediction.DefaultRuns
	told := func(from float64) func(int) {
		return func(done int) { share(from + 0.5*float64(done)/runs) }
	}
	share(0.01)
	circuit, err := prediction.BuildCircuit(ctx, day.Title, fmt.Sprintf("%x", day.SHA256), day.Circuit(),
		prediction.CircuitOptions{Runs: runs, Seed: seed, Workers: 1, Progress: told(0)})
	if err != nil {
		return predicted{of: of, err: err}
	}
	run, err := prediction.BuildRun(ctx, day, prediction.RunOptions{Runs: runs, Seed: seed, Workers: 1, Progress: told(0.5)})
	if err == nil && run == nil {
		err = errors.New("no prediction")
	}
	return predicted{run: run, circuit: circuit, of: of, err: err}
}
