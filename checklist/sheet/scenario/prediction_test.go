package scenario

import (
	"context"
	"testing"

	"holdline/checklist/prediction"
	"holdline/checklist/sheet"
)

// Both sheets that come with the program are a go, run and circuit. That this
// is no lucky draw is shown over many seeds by the slow test beside it.
func TestBothSheetsAreAGo(t *testing.T) {
	starter, err := sheet.LoadFS(StarterFiles(), SheetName)
	if err != nil {
		t.Fatal(err)
	}
	mustGo(t, "scenario", open(t), 1, prediction.DefaultRuns)
	// With 4,000 runs and none over, the bound on the overrun is 0.075 %.
	mustGo(t, "starter", starter, 1, 4000)
}

func mustGo(t *testing.T, name string, s *sheet.Sheet, seed uint64, runs int) {
	t.Helper()
	run, err := prediction.BuildRun(context.Background(), s, prediction.RunOptions{Seed: seed, Runs: runs})
	if err != nil {
		t.Fatal(err)
	}
	fired, err := prediction.BuildCircuit(context.Background(), s.Title, "", s.Circuit(), prediction.CircuitOptions{Seed: seed, Runs: runs})
	if err != nil {
		t.Fatal(err)
	}
	if len(run.Limits) < 10 || len(fired.Limits) < 6 {
		t.Fatalf("%s: %d limits of the run, %d of the circuit", name, len(run.Limits), len(fired.Limits))
	}
	for _, l := range append(run.Limits, fired.Limits...) {
		if !l.Pass {
			t.Errorf("%s, seed %d: %s (%s) is %g, limit %g", name, seed, l.Name, l.Case, l.Value, l.Limit)
		}
	}
	if !run.Go || !fired.Go {
		t.Errorf("%s, seed %d: run %v, circuit %v", name, seed, run.Go, fired.Go)
	}
}
