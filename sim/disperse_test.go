package sim

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"testing"
)

// scattered lights every motor at a time of its own within spreadS, 10 ms when
// that is 0, some never.
type scattered struct{ spreadS float64 }

func (s scattered) Draw(rng *rand.Rand, lights []float64) (staggerS float64, allFire bool) {
	first, last, all := math.Inf(1), 0.0, true
	for i := range lights {
		lights[i] = 0.04 + cmp.Or(s.spreadS, 0.01)*rng.Float64()
		if rng.Float64() < 0.02 {
			lights[i], all = math.Inf(1), false
			continue
		}
		first, last = min(first, lights[i]), max(last, lights[i])
	}
	return last - first, all
}

// One motor: its ignition delay shifts the whole run and changes none of the values
// compared. Reference: Monte Carlo of 1,000,000 runs (Boost.odeint) with its
// standard errors; 4.5 combined standard errors are allowed.
func TestReferenceDispersionOfOneMotor(t *testing.T) {
	dir := filepath.Join(referenceDir, "dispersion", "01")
	data, err := os.ReadFile(filepath.Join(dir, "expected_dispersion.json"))
	if err != nil {
		t.Fatal(err)
	}
	var want struct {
		Dispersion map[string]json.RawMessage `json:"dispersion"`
	}
	if err := json.Unmarshal(data, &want); err != nil {
		t.Fatal(err)
	}
	const runs, referenceRuns = 5_000, 1_000_000
	got, err := Disperse(context.Background(), readProblem(t, dir), DispersionOptions{Runs: runs, Seed: 7})
	if err != nil {
		t.Fatal(err)
	}
	combined := math.Sqrt(1 + float64(referenceRuns)/runs)
	quantiles := func(key string) (value, deviation map[string]float64) {
		if err := errors.Join(json.Unmarshal(want.Dispersion[key], &value), json.Unmarshal(want.Dispersion[key+"_se"], &deviation)); err != nil {
			t.Fatal(err)
		}
		return value, deviation
	}
	for key, q := range map[string]Quantiles{
		"peak_speed_m_s": got.PeakSpeedMps, "stop_position_m": got.StopPositionM, "min_front_load_fraction": got.MinFrontLoadFraction,
	} {
		value, deviation := quantiles(key)
		for name, g := range map[string]Maybe{"p05": q.P05, "p50": q.P50, "p95": q.P95, "p999": q.P999} {
			if _, asked := value[name]; !asked {
				continue
			}
			if d := math.Abs(g.Value-value[name]) / (deviation[name] * combined); !g.Known || d > 4.5 {
				t.Errorf("%s %s: got %v, want %g: %.1f combined standard errors", key, name, g, value[name], d)
			}
		}
	}
	var overrun float64
	if err := json.Unmarshal(want.Dispersion["overrun_probability"], &overrun); err != nil {
		t.Fatal(err)
	}
	deviation := math.Sqrt(overrun * (1 - overrun) * (1.0/runs + 1.0/referenceRuns))
	if d := math.Abs(got.OverrunProbability-overrun) / deviation; d > 4.5 {
		t.Errorf("overrun probability: got %g, want %g: %.1f standard errors", got.OverrunProbability, overrun, d)
	}
}

func TestDispersionDoesNotDependOnWorkers(t *testing.T) {
	p := readProblem(t, filepath.Join(referenceDir, "dispersion", "02"))
	var first Dispersion
	for _, workers := range []int{1, 2, 8} {
		d, err := Disperse(context.Background(), p, DispersionOptions{
			Runs: 700, Seed: 42, Workers: workers, Shares: true, BandM: []float64{0, 10, 50, 100},
			NewIgnitions: func() IgnitionSource { return scattered{} },
		})
		if err != nil {
			t.Fatal(err)
		}
		if workers == 1 {
			first = d
		} else if !reflect.DeepEqual(d, first) {
			t.Errorf("%d workers: got %+v, want %+v", workers, d, first)
		}
	}
	other, err := Disperse(context.Background(), p, DispersionOptions{Runs: 700, Seed: 43})
	if err != nil {
		t.Fatal(err)
	}
	if other.StopPositionM == first.StopPositionM {
		t.Error("another seed gave the same quantiles")
	}
}

func TestDispersionWithoutSpreadIsTheNominalRun(t *testing.T) {
	p := readProblem(t, filepath.Join(referenceDir, "run", "03"))
	d, err := Disperse(context.Background(), p, DispersionOptions{Runs: 50, Seed: 1, Shares: true})
	if err != nil {
		t.Fatal(err)
	}
	cases, err := predict(p)
	if err != nil {
		t.Fatal(err)
	}
	for _, q := range []Maybe{d.StopPositionM.P05, d.StopPositionM.P50, d.StopPositionM.P999} {
		close(t, "rest position", q.Value, cases[0].Outcome.StopPositionM, 1e-8)
	}
	if d.OverrunProbability != 0 || math.Abs(d.OverrunUpper95-(1-math.Pow(0.05, 1.0/50))) > 1e-12 {
		t.Errorf("got overrun probability %g with bound %g", d.OverrunProbability, d.OverrunUpper95)
	}
}

func TestDispersionCancels(t *testing.T) {
	p := readProblem(t, filepath.Join(referenceDir, "run", "02"))
	ctx, cancel := context.WithCancel(context.Background())
	_, err := Disperse(ctx, p, DispersionOptions{Runs: 1_000_000, Seed: 1, Progress: func(done, total int) {
		if done > 100 {
			cancel()
		}
	}})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want it to wrap context.Canceled", err)
	}
	for _, opts := range []DispersionOptions{{Runs: 0}, {Runs: -1}, {Runs: maxRuns + 1}, {Runs: 1, BandM: []float64{2, 1}}} {
		if _, err := Disperse(context.Background(), p, opts); err == nil {
			t.Errorf("%+v: got no error", opts)
		}
	}
}

// A device that fails is the case of its absence; a probability of 1 makes it
// every run.
func TestDispersionOfCertainFailures(t *testing.T) {
	p := readProblem(t, filepath.Join(referenceDir, "run", "02"))
	p.Spread = Spread{StopFails: 1}
	p.ClearLengthM = 300
	cases, err := predict(p)
	if err != nil {
		t.Fatal(err)
	}
	var absent Outcome
	for _, c := range cases {
		if c.Case.Kind == CaseAllStopsAbsent {
			absent = c.Outcome
		}
	}
	d, err := Disperse(context.Background(), p, DispersionOptions{Runs: 10, Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	close(t, "rest position", d.StopPositionM.P50.Value, absent.StopPositionM, 1e-7)
	if d.OverrunProbability != 1 || d.OverrunUpper95 != 1 {
		t.Errorf("got overrun probability %g with bound %g, want 1 and 1", d.OverrunProbability, d.OverrunUpper95)
	}
	p.Spread = Spread{MotorSilent: 1}
	d, err = Disperse(context.Background(), p, DispersionOptions{Runs: 10, Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	if d.NeverMoved != 10 || d.MinFrontLoadFraction.P50.Known || !d.StaggerS.P50.Known {
		t.Errorf("all motors silent: got %+v", d)
	}
}

// Share of variance against what an additive model must give: a wheel brake's
// delay alone, with constant speed over the delay, moves the stopping position by
// about v·σ.
func TestVarianceShares(t *testing.T) {
	p := readProblem(t, filepath.Join(referenceDir, "dispersion", "01"))
	p.Spread = Spread{StopDelayS: 0.01}
	d, err := Disperse(context.Background(), p, DispersionOptions{Runs: 10, Seed: 1, Shares: true})
	if err != nil {
		t.Fatal(err)
	}
	top := d.Shares[0]
	if top.Source != "delay of the stopping devices" || top.Share != 1 || math.Abs(top.StdDevM-0.08) > 0.015 {
		t.Errorf("got %+v, want the delay alone at about 8 m/s × 0.01 s", top)
	}
}
