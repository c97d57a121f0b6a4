package prediction

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"holdline/checklist/sheet"
	"holdline/checklist/sheet/unit"
	"holdline/sim"
)

const referenceDir = "../../testdata/reference"

func runSheet(t testing.TB, path string) *sheet.Sheet {
	t.Helper()
	s, err := sheet.Load(path)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// runJSON returns v as the program writes it, read back.
func runJSON(t *testing.T, v any) map[string]any {
	t.Helper()
	data, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	var m map[string]any
	if err := json.Unmarshal(data, &m); err != nil {
		t.Fatal(err)
	}
	return m
}

func readAnswer(t *testing.T, path string) map[string]any {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var m map[string]any
	if err := json.Unmarshal(data, &m); err != nil {
		t.Fatal(err)
	}
	return m
}

// agreeWith compares every value of want with got: numbers to rel, or absolutely
// near zero, times to a microsecond; null and text exactly. got may hold more.
func agreeWith(t *testing.T, where string, got, want any, rel float64) {
	t.Helper()
	switch w := want.(type) {
	case map[string]any:
		g, ok := got.(map[string]any)
		if !ok {
			t.Errorf("%s: got %v, want an object", where, got)
			return
		}
		for key, value := range w {
			agreeWith(t, where+"."+key, g[key], value, rel)
		}
	case []any:
		g, ok := got.([]any)
		if !ok || len(g) != len(w) {
			t.Errorf("%s: got %d entries, want %d", where, len(g), len(w))
			return
		}
		for i := range w {
			agreeWith(t, where, g[i], w[i], rel)
		}
	case float64:
		g, ok := got.(float64)
		allowed := max(rel*math.Abs(w), 1e-9)
		if strings.HasSuffix(where, "time_s") {
			allowed = 1e-6
		}
		if !ok || math.IsNaN(g) || math.Abs(g-w) > allowed {
			t.Errorf("%s: got %v, want %.12g", where, got, w)
		}
	default:
		if got != want {
			t.Errorf("%s: got %v, want %v", where, got, want)
		}
	}
}

// Every sheet of the run references, from its TOML to the JSON answer, against
// SUNDIALS CVODE 6.4.1 (rtol 1e-11): 1e-7 relative.
func TestReferenceRunsThroughTheSheet(t *testing.T) {
	for _, name := range []string{"01", "02", "03", "04", "05", "06"} {
		dir := filepath.Join(referenceDir, "run", name)
		s := runSheet(t, filepath.Join(dir, "sheet.toml"))
		r, err := BuildRun(context.Background(), s, RunOptions{LightAtZero: true, Runs: 200, Seed: 1})
		if err != nil {
			t.Fatal(name, err)
		}
		agreeWith(t, name, runJSON(t, r), readAnswer(t, filepath.Join(dir, "expected.json")), 1e-7)
	}
}

// The dispersion references, cases lit by the nominal circuit: the same solver.
func TestReferenceCasesLitByTheCircuit(t *testing.T) {
	for _, name := range []string{"01", "02"} {
		dir := filepath.Join(referenceDir, "dispersion", name)
		s := runSheet(t, filepath.Join(dir, "sheet.toml"))
		r, err := BuildRun(context.Background(), s, RunOptions{Runs: 200, Seed: 1})
		if err != nil {
			t.Fatal(name, err)
		}
		agreeWith(t, name, runJSON(t, r), readAnswer(t, filepath.Join(dir, "expected.json")), 1e-7)
	}
}

// Monte Carlo of 1,000,000 runs with an own sampler, closed-form circuit and
// Boost.odeint, with its standard errors: 4.5 combined standard errors.
func TestReferenceDispersions(t *testing.T) {
	const runs = 5_000
	for _, name := range []string{"01", "02"} {
		dir := filepath.Join(referenceDir, "dispersion", name)
		s := runSheet(t, filepath.Join(dir, "sheet.toml"))
		r, err := BuildRun(context.Background(), s, RunOptions{Runs: runs, Seed: 5})
		if err != nil {
			t.Fatal(name, err)
		}
		got := runJSON(t, r)["dispersion"].(map[string]any)
		expected := readAnswer(t, filepath.Join(dir, "expected_dispersion.json"))
		run := expected["dispersion"].(map[string]any)
		wires := expected["circuit_dispersion"].(map[string]any)
		combined := math.Sqrt(1 + run["runs"].(float64)/runs)
		for key, of := range map[string]map[string]any{
			"peak_speed_m_s": run, "stop_position_m": run, "min_front_load_fraction": run, "stagger_s": wires,
		} {
			want, deviation := of[key].(map[string]any), of[key+"_se"].(map[string]any)
			for q, value := range want {
				w, se := value.(float64), deviation[q].(float64)*combined
				g := got[key].(map[string]any)[q].(float64)
				if math.Abs(g-w) > 4.5*se {
					t.Errorf("%s %s.%s: got %.8g, want %.8g: %.1f combined standard errors", name, key, q, g, w, math.Abs(g-w)/se)
				}
			}
		}
		p := run["overrun_probability"].(float64)
		se := math.Sqrt(p * (1 - p) * (1.0/runs + 1e-6))
		if g := got["overrun_probability"].(float64); math.Abs(g-p) > 4.5*se {
			t.Errorf("%s overrun probability: got %g, want %g: %.1f standard errors", name, g, p, math.Abs(g-p)/se)
		}
	}
}

// The keys of the answer, and nothing else, in every object.
func TestRunJSONHasExactlyTheKeysOfTheFormat(t *testing.T) {
	s := runSheet(t, filepath.Join(referenceDir, "run", "03", "sheet.toml"))
	r, err := BuildRun(context.Background(), s, RunOptions{Runs: 100, Seed: 9})
	if err != nil {
		t.Fatal(err)
	}
	m := runJSON(t, r)
	check := func(where string, got any, keys string) {
		t.Helper()
		object, ok := got.(map[string]any)
		want := strings.Fields(keys)
		if !ok || len(object) != len(want) {
			t.Errorf("%s: got %v, want the keys %s", where, got, keys)
			return
		}
		for _, key := range want {
			if _, there := object[key]; !there {
				t.Errorf("%s: key %s is missing", where, key)
			}
		}
	}
	first := func(key string) any { return m[key].([]any)[0] }
	check("answer", m, "title sheet_sha256 air motors cases thrust_to_weight dispersion limits go")
	check("air", m["air"], "density_kg_m3 temperature_k pressure_pa")
	check("motor", first("motors"), "class total_impulse_ns average_thrust_n peak_thrust_n burn_time_s")
	check("case", first("cases"), `name kind peak_speed_m_s peak_speed_time_s peak_speed_position_m burnout_time_s
		burnout_position_m burnout_speed_m_s stop_position_m stop_time_s peak_acceleration_m_s2 peak_deceleration_m_s2
		min_front_load_fraction min_yaw_margin guide_margin peak_line_tension_n stored_line_energy_j airborne`)
	dispersion := m["dispersion"].(map[string]any)
	check("dispersion", dispersion, `runs seed peak_speed_m_s stop_position_m min_front_load_fraction stagger_s
		overrun_probability overrun_probability_upper95`)
	check("stop quantiles", dispersion["stop_position_m"], "p05 p50 p95 p999")
	check("stagger quantiles", dispersion["stagger_s"], "p50 p95 p99")
	check("limit", first("limits"), "name case value limit unit left source pass")
}

// limitOf returns the first limit of that name and case.
func limitOf(t *testing.T, r *Run, name, which string) Limit {
	t.Helper()
	for _, l := range r.Limits {
		if l.Name == name && (which == "" || l.Case == which) {
			return l
		}
	}
	t.Fatalf("no limit %q of case %q in %+v", name, which, r.Limits)
	return Limit{}
}

func TestRunLimitsAreHeldAgainstWhatDecidesThem(t *testing.T) {
	s := runSheet(t, filepath.Join(referenceDir, "run", "02", "sheet.toml"))
	s.Limits.OverrunProbability = 0.1 // so that few runs are enough
	build := func() *Run {
		t.Helper()
		r, err := BuildRun(context.Background(), s, RunOptions{LightAtZero: true, Runs: 100, Seed: 1})
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	r := build()
	if !r.Go {
		t.Fatalf("got no-go: %s", failed(r.Limits, plainName))
	}
	if l := limitOf(t, r, "stop inside the cleared length", "without tail chute"); l.Limit != 200 || math.Abs(l.Left-(200-128.246357588)) > 1e-6 {
		t.Errorf("got %+v, want 128.25 m against 200 m", l)
	}
	for _, l := range r.Limits {
		if l.Case == "without any stop" {
			t.Errorf("all devices absent is held to a limit: %+v", l)
		}
	}
	// a strip too short for one single fault is no-go for that fault alone
	s.Site.ClearLengthM = 148
	if r = build(); r.Go || failed(r.Limits, plainName) != "stop inside the cleared length" {
		t.Errorf("strip of 148 m: got go %v, failed %q", r.Go, failed(r.Limits, plainName))
	}
	s.Site.ClearLengthM = 220
	// 34.8 N·s in four motors: a cluster of class E takes class F's 30 ft, doubled
	if l := limitOf(t, r, "crew distance", ""); math.Abs(l.Limit-18.288) > 1e-9 || !strings.Contains(l.Source, "borrowed") {
		t.Errorf("got %+v, want 60 ft, borrowed", l)
	}
	if l := limitOf(t, r, "clear half width", ""); math.Abs(l.Limit-7.62) > 1e-9 || !strings.Contains(l.Source, "borrowed") {
		t.Errorf("got %+v, want 25 ft, borrowed", l)
	}
	for name, set := range map[string]func(){
		"crew distance":    func() { s.Site.CrewDistanceM = 18 },
		"clear half width": func() { s.Site.ClearHalfWidthM = 7 },
		"thrust to weight": func() { s.Limits.ThrustToWeight = 2.8 },
		"front load":       func() { s.Limits.FrontLoad = 0.98 },
		"deceleration":     func() { s.Limits.DecelerationMps2 = 12 },
		"yaw margin":       func() { s.Limits.YawMargin = 8 },
	} {
		kept := *s
		set()
		if r := build(); r.Go || failed(r.Limits, plainName) != name {
			t.Errorf("%s: got go %v, failed %q", name, r.Go, failed(r.Limits, plainName))
		}
		*s = kept
	}
}

func TestTheBoundDecidesAndNotTheEstimate(t *testing.T) {
	s := runSheet(t, filepath.Join(referenceDir, "run", "02", "sheet.toml"))
	s.Limits.OverrunProbability = 0.001
	r, err := BuildRun(context.Background(), s, RunOptions{LightAtZero: true, Runs: 1000, Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	// none of 1000 runs over: the bound is 0.3 %, above 0.1 %
	if l := limitOf(t, r, "overrun probability, 95 % upper bound", ""); l.Pass || r.Dispersion.OverrunProbability != 0 || r.Go {
		t.Errorf("got %+v with an estimate of %g, go %v", l, r.Dispersion.OverrunProbability, r.Go)
	}
}

func TestALineBeyondItsRatingAndADarkMotorAreNoGo(t *testing.T) {
	s := runSheet(t, filepath.Join(referenceDir, "run", "03", "sheet.toml"))
	s.Limits.OverrunProbability = 0.1
	s.Stops[0].RatingN = 50 // it sees 50.06 N
	r, err := BuildRun(context.Background(), s, RunOptions{LightAtZero: true, Runs: 100, Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	if r.Go || failed(r.Limits, plainName) != "tension of sack" {
		t.Errorf("got go %v, failed %q", r.Go, failed(r.Limits, plainName))
	}
	// 436.6 of margin on a rating of 400 N
	if l := limitOf(t, r, "side load of a guide bearing", ""); math.Abs(l.Value-400/436.585898275) > 1e-6 {
		t.Errorf("got %+v", l)
	}
	s.Stops[0].RatingN = 1500
	for name, ig := range s.Igniters {
		ig.NoFireA, ig.AllFireA = 20, 40
		s.Igniters[name] = ig
	}
	r, err = BuildRun(context.Background(), s, RunOptions{Runs: 100, Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	if l := limitOf(t, r, "every motor fires", "motor 1"); l.Pass || r.Go || r.Nominal().PeakSpeedMps != 0 || r.Nominal().BurnoutTimeS.Known {
		t.Errorf("dark motors: got %+v, go %v, nominal %+v", l, r.Go, r.Nominal())
	}
	if runJSON(t, r)["dispersion"].(map[string]any)["stagger_s"] != nil {
		t.Error("the stagger of motors that never fire is not null")
	}
}

func TestRunTextForPeople(t *testing.T) {
	s := runSheet(t, filepath.Join(referenceDir, "run", "02", "sheet.toml"))
	s.Limits.OverrunProbability = 0.1
	r, err := BuildRun(context.Background(), s, RunOptions{Runs: 100, Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	var metric, us strings.Builder
	if err := r.WriteText(&metric, unit.Metric); err != nil {
		t.Fatal(err)
	}
	if err := r.WriteText(&us, unit.US); err != nil {
		t.Fatal(err)
	}
	for _, line := range strings.Split(metric.String()+us.String(), "\n") {
		if len([]rune(line)) > 80 {
			t.Errorf("line of %d columns: %q", len([]rune(line)), line)
		}
	}
	for _, part := range []string{"23.1 m/s", "motor 1 silent", "81.7 m", "without tail chute", "borrowed", "GO"} {
		if !strings.Contains(metric.String(), part) {
			t.Errorf("the metric text does not say %q", part)
		}
	}
	for _, part := range []string{"mph", " ft", "GO"} {
		if !strings.Contains(us.String(), part) {
			t.Errorf("the US text does not say %q", part)
		}
	}
	drawn := 0
	for _, r := range metric.String() {
		if r > '\u2800' && r <= '\u28ff' {
			drawn++
		}
	}
	if drawn < 40 {
		t.Errorf("the chart of speed over distance has %d dotted cells", drawn)
	}
}

// The borrowed distances against the codes' own numbers in feet: NAR model
// rocket code item 5 (15 ft for class D or smaller, 30 ft above), a cluster one
// class up, all doubled for an unconventional vehicle; the high-power table
// beyond 320 N·s, 1500 g or 125 g of propellant.
func TestBorrowedDistances(t *testing.T) {
	for _, c := range []struct {
		impulseNs, massKg, propellantKg float64
		motors                          int
		wantFt                          float64
	}{
		{9, 0.5, 0.02, 1, 30}, {20, 0.5, 0.02, 1, 30}, {20.01, 0.5, 0.02, 1, 60}, {10, 0.5, 0.02, 2, 30}, {10.01, 0.5, 0.02, 2, 60},
		{320, 1.5, 0.125, 3, 60}, {320, 1.501, 0.1, 1, 100}, {300, 1.4, 0.126, 1, 100}, {300, 1.4, 0.126, 2, 200},
		{321, 1.4, 0.1, 1, 100}, {2000, 5, 1, 1, 200}, {2000, 5, 1, 4, 300}, {40960, 50, 20, 1, 1500},
	} {
		got, source := borrowedCrewDistanceM(c.impulseNs, c.massKg, c.propellantKg, c.motors)
		if math.Abs(got-c.wantFt*0.3048) > 1e-9 || !strings.Contains(source, "borrowed") {
			t.Errorf("%+v: got %g m from %q, want %g ft", c, got, source, c.wantFt)
		}
	}
	for impulseNs, wantFt := range map[float64]float64{9: 25, 1280: 25, 1281: 37.5, 6000: 62.5} {
		if got, _ := borrowedHalfWidthM(impulseNs); math.Abs(got-wantFt*0.3048) > 1e-9 {
			t.Errorf("half width for %g N·s: got %g m, want %g ft", impulseNs, got, wantFt)
		}
	}
	if !beyondTables(41_000) || beyondTables(40_960) {
		t.Error("the end of the tables is not at 40960 N·s")
	}
}

func TestRunIsReproducibleAndCancels(t *testing.T) {
	s := runSheet(t, filepath.Join(referenceDir, "dispersion", "02", "sheet.toml"))
	var first []byte
	for _, workers := range []int{1, 3} {
		r, err := BuildRun(context.Background(), s, RunOptions{Runs: 300, Seed: 11, Workers: workers})
		if err != nil {
			t.Fatal(err)
		}
		data, err := json.Marshal(r)
		if err != nil {
			t.Fatal(err)
		}
		if first == nil {
			first = data
		} else if string(data) != string(first) {
			t.Error("another number of workers gave another answer")
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	_, err := BuildRun(ctx, s, RunOptions{Runs: 1_000_000, Seed: 1, Progress: func(int) { cancel() }})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: got %v", err)
	}
}

func TestARunThatNeverEndsIsAnError(t *testing.T) {
	s := runSheet(t, filepath.Join(referenceDir, "run", "02", "sheet.toml"))
	s.Site.SlopeRatio = -0.2
	_, err := BuildRun(context.Background(), s, RunOptions{LightAtZero: true, Runs: 10, Seed: 1})
	if err == nil || !strings.Contains(err.Error(), "still moving") || !strings.Contains(err.Error(), "without any stop") {
		t.Errorf("downhill at 20 %%: got %v, want the case and why", err)
	}
}

// The chart's axes are marked at round numbers, in either system, from nothing
// to as much as there is.
func TestTicksAreRound(t *testing.T) {
	for _, c := range []struct {
		to   float64
		want string
	}{
		{35.5, "[0 10 20 30]"}, {9.12, "[0 2 4 6 8]"}, {110.6, "[0 20 40 60 80 100]"}, {30, "[0 10 20 30]"}, {1, "[0 0.2 0.4 0.6 0.8 1]"},
		{0.34, "[0 0.1 0.2 0.3]"}, {12000, "[0 5000 10000]"}, {59.999, "[0 10 20 30 40 50]"}, {0, "[]"}, {math.NaN(), "[]"}, {math.Inf(1), "[]"},
	} {
		if got := fmt.Sprint(ticks(c.to)); got != c.want {
			t.Errorf("%g: %s, want %s", c.to, got, c.want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		to := rapid.Float64Range(1e-3, 1e5).Draw(t, "to")
		got := ticks(to)
		if n := len(got); n < 3 || n > 6 || got[0] != 0 || got[n-1] > to {
			t.Errorf("%g: %v", to, got)
		}
	})
}

// Of cases that differ by rounding alone the first is named, and the largest
// value is still the one that counts.
func TestTheWorstCaseIsNotChosenByRounding(t *testing.T) {
	r := &Run{}
	for _, name := range []string{"motor 1 silent", "motor 1 late", "motor 2 silent"} {
		r.Results = append(r.Results, sim.CaseResult{Case: sim.Case{Name: name, Kind: sim.CaseMotorSilent}})
	}
	at := func(values ...float64) func(*sim.CaseResult) sim.Maybe {
		return func(c *sim.CaseResult) sim.Maybe {
			for i := range r.Results {
				if r.Results[i].Case.Name == c.Case.Name {
					return sim.Some(values[i])
				}
			}
			return sim.Maybe{}
		}
	}
	for _, c := range []struct {
		values []float64
		most   float64
		where  string
	}{
		{[]float64{2.76, 2.76 * (1 + 1e-15), 1}, 2.76 * (1 + 1e-15), "motor 1 silent"},
		{[]float64{2.76, 2.76 * (1 + 1e-6), 1}, 2.76 * (1 + 1e-6), "motor 1 late"},
		{[]float64{-2, -3, -1}, -1, "motor 2 silent"},
	} {
		if most, where := r.worst(at(c.values...)); most != c.most || where != c.where {
			t.Errorf("%v: %g of %q", c.values, most, where)
		}
	}
}
