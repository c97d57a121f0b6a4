package report

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"holdline/arming/record"
	"holdline/arming/record/journal"
	"holdline/checklist/prediction"
	"holdline/checklist/sheet/scenario"
	"holdline/sim"
)

// The line that a session writes for an accepted prediction is read: every
// figure on the page is one of the prediction's own.
func TestTheLineOfAPredictionIsRead(t *testing.T) {
	t.Parallel()
	s, err := scenario.Open()
	if err != nil {
		t.Fatal(err)
	}
	run, err := prediction.BuildRun(t.Context(), s, prediction.RunOptions{Runs: 50, Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	circuit, err := prediction.BuildCircuit(t.Context(), s.Title, "", s.Circuit(), prediction.CircuitOptions{Runs: 50, Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	o := normal()
	o.motors = len(s.Motors)
	f := begin(t, t.TempDir(), first(o))
	f.append(f.now(), journal.KindPrediction, map[string]any{"predict": run, "circuit": circuit, "chart": run.Chart(), "basis": "ba515"})
	f.pass(time.Second)
	d := Build(verified(t, f.close(record.Interrupted, "the test ends it")))
	got := d.Forecast
	if got == nil || len(d.NotValid) > 0 {
		t.Fatalf("no prediction: %q", d.NotValid)
	}
	worst := 0.0
	for _, c := range run.Results {
		if c.Case.SingleFault() {
			worst = max(worst, c.Outcome.StopPositionM)
		}
	}
	for name, pair := range map[string][2]float64{
		"rest": {got.RestM.Nominal, run.Nominal().StopPositionM}, "rest P95": {got.RestM.P95, run.Dispersion.StopPositionM.P95},
		"rest P5": {got.RestM.P05, run.Dispersion.StopPositionM.P05}, "speed": {got.SpeedMps.Nominal, run.Nominal().PeakSpeedMps},
		"speed P5": {got.SpeedMps.P05, run.Dispersion.PeakSpeedMps.P05}, "worst": {*got.WorstM, worst},
		"all light": {*got.AllLow, circuit.Dispersion.AllLightLow}, "overrun": {*got.Overrun, run.Dispersion.OverrunUpper95},
		"clear length": {got.Chart.ClearLengthM, run.ClearLengthM}, "runs": {float64(got.Runs), 50},
		"limits": {float64(len(got.Limits)), float64(len(run.Limits) + len(circuit.Limits))},
	} {
		if math.Abs(pair[0]-pair[1]) > 1e-12*math.Abs(pair[1]) {
			t.Errorf("%s: got %v, want %v", name, pair[0], pair[1])
		}
	}
	if got.Go != (run.Go && circuit.Go) || got.Basis != "ba515" {
		t.Errorf("go %v, basis %q", got.Go, got.Basis)
	}
	for k, g := range d.Igniters {
		want := circuit.Igniters[k]
		if g.Motor != want.Motor || *g.WorstA != want.WorstCaseA || *g.Margin != want.Margin {
			t.Errorf("igniter %+v, want %+v", g, want)
		}
	}
	if n := len(got.Chart.Speed); n < 20 || got.Chart.Speed[n-1].DistanceM < 0.99*run.Nominal().StopPositionM {
		t.Errorf("chart of %d points", n)
	}
	look(t, d, "scenario.pdf")
}

// A record whose prediction has no chart, as one of an earlier version, is
// exported without it; one whose line cannot be read says so.
func TestAPredictionWithoutAChart(t *testing.T) {
	t.Parallel()
	f := begin(t, t.TempDir(), first(normal()))
	body := predictionBody(t, 4)
	delete(body, "chart")
	f.append(f.now(), journal.KindPrediction, body)
	f.append(f.now(), journal.KindPrediction, map[string]any{"predict": []int{1}})
	d := Build(verified(t, f.close(record.Interrupted, "the test ends it")))
	if d.Forecast == nil || d.Forecast.Chart != nil {
		t.Fatalf("%+v", d.Forecast)
	}
	has(t, d, "predicted 132 m", "a prediction was accepted; its line cannot be read")
	look(t, d, "nochart.pdf")
}

// The kinds of cases in a line are those of the run model.
func TestWorstSingleFaultLeavesOutAllStopsAbsent(t *testing.T) {
	t.Parallel()
	f := begin(t, t.TempDir(), first(normal()))
	f.append(f.now(), journal.KindPrediction, predictionBody(t, 4))
	d := Build(verified(t, f.close(record.Interrupted, "the test ends it")))
	if d.Forecast.WorstCase != "brake absent" || *d.Forecast.WorstM != 158.4 {
		t.Errorf("worst %q at %v", d.Forecast.WorstCase, *d.Forecast.WorstM)
	}
	if (sim.Case{Kind: "all-stops-absent"}).SingleFault() {
		t.Error("all devices absent is no single fault")
	}
	if body, err := json.Marshal(d.Forecast.Limits); err != nil || len(body) < 100 {
		t.Errorf("limits %s, %v", body, err)
	}
}
