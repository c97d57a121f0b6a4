package prediction

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"holdline/checklist/sheet"
)

// remedyOptions makes few runs: the sheets of these tests allow what so few can show.
var remedyOptions = RemedyOptions{Runs: 300, Seed: 1, Workers: 1}

var scenarioSheet = filepath.Join("..", "sheet", "scenario", "run", "sheet.toml")

// readChanged reads a sheet's text, with an overrun probability that some hundred
// runs can show, and values changed.
func readChanged(t *testing.T, changes ...string) []byte {
	t.Helper()
	text, err := os.ReadFile(scenarioSheet)
	if err != nil {
		t.Fatal(err)
	}
	changes = append(changes, "limits.overrun_probability", "4 %", "limits.all_light_probability", "80 %")
	for i := 0; i < len(changes); i += 2 {
		if text, err = sheet.Set(text, changes[i], changes[i+1]); err != nil {
			t.Fatal(err)
		}
	}
	return text
}

func parseChanged(text []byte) (*sheet.Sheet, error) {
	return sheet.Parse(scenarioSheet, text, sheet.CurvesBeside(scenarioSheet))
}

// whole is the answer of the whole prediction, which the search must agree
// with: the limits that a text fails.
func whole(t *testing.T, text []byte) []string {
	t.Helper()
	s, err := parseChanged(text)
	if err != nil {
		t.Fatal(err)
	}
	run, err := BuildRun(context.Background(), s, RunOptions{Runs: remedyOptions.Runs, Seed: remedyOptions.Seed, Workers: 1})
	if err != nil {
		t.Fatal(err)
	}
	c, err := BuildCircuit(context.Background(), s.Title, "", s.Circuit(), CircuitOptions{Runs: remedyOptions.Runs, Seed: remedyOptions.Seed, Workers: 1})
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, l := range append(run.Limits, c.Limits...) {
		if !l.Pass && !slices.Contains(names, l.Name) {
			names = append(names, l.Name)
		}
	}
	if (len(names) == 0) != (run.Go && c.Go) {
		t.Fatalf("go %v and %v, failing %q", run.Go, c.Go, names)
	}
	return names
}

// The ends of a range are a go by the whole prediction, and one step outside
// is not.
func TestRangeEndsWhereTheWholePredictionSaysNo(t *testing.T) {
	for _, c := range []struct {
		key     string
		changes []string
		now     bool
	}{
		{"site.clear_length", nil, true},
		{"site.clear_length", []string{"site.clear_length", "150 m"}, false},
		{"vehicle.mass", []string{"vehicle.mass", "0.9 kg"}, false},
		{"firing.lead.length", []string{"firing.lead.length", "200 m"}, false},
		{"stop[2].at", []string{"stop[2].at", "160 m"}, false},
		{"site.headwind", nil, true},
	} {
		text := readChanged(t, c.changes...)
		r, err := FindRange(context.Background(), text, c.key, parseChanged, remedyOptions)
		if err != nil || !r.Found || r.Now != c.now || r.Now != (len(whole(t, text)) == 0) {
			t.Errorf("%s %q: %+v, %v", c.key, c.changes, r, err)
			continue
		}
		t.Logf("%s %q: %s", c.key, c.changes, r)
		for _, end := range []struct {
			value string
			by    int
			open  bool
		}{{r.Low, -1, r.FromLowest}, {r.High, 1, r.ToHighest}} {
			at := with(t, text, c.key, end.value)
			if names := whole(t, at); len(names) > 0 {
				t.Errorf("%s = %s fails %q", c.key, end.value, names)
			}
			if end.open {
				continue
			}
			g, ok := gridOf(valueOf(t, text, c.key))
			if !ok {
				t.Fatal("no grid")
			}
			for i := g.low; i <= g.high; i++ {
				if g.write(i) == end.value && len(whole(t, with(t, text, c.key, g.write(i+end.by)))) == 0 {
					t.Errorf("%s = %s is a go too, beside %s", c.key, g.write(i+end.by), end.value)
				}
			}
		}
		if r.FromLowest && r.ToHighest {
			t.Errorf("%s: a range without an end tests nothing", c.key)
		}
	}
}

func with(t *testing.T, text []byte, key, value string) []byte {
	t.Helper()
	next, err := sheet.Set(text, key, value)
	if err != nil {
		t.Fatal(err)
	}
	return next
}

func valueOf(t *testing.T, text []byte, key string) string {
	t.Helper()
	entries, err := sheet.Entries(text)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if e.Key == key {
			return e.Value
		}
	}
	t.Fatalf("no %s", key)
	return ""
}

// The least strip is, where the draws do not decide, the farthest rest of any
// single fault and the margin that must be left, rounded up to a step.
func TestLeastStripIsTheFarthestRestAndTheMargin(t *testing.T) {
	text := readChanged(t, "limits.overrun_probability", "99 %")
	s, err := parseChanged(text)
	if err != nil {
		t.Fatal(err)
	}
	run, err := BuildRun(context.Background(), s, RunOptions{Runs: 10, Seed: 1, Workers: 1})
	if err != nil {
		t.Fatal(err)
	}
	far := 0.0
	for i := range run.Results {
		if c := &run.Results[i]; c.Case.Kind == "nominal" || c.Case.SingleFault() {
			far = max(far, c.Outcome.StopPositionM)
		}
	}
	r, err := FindRange(context.Background(), text, "site.clear_length", parseChanged, remedyOptions)
	if err != nil || !r.Found {
		t.Fatalf("%+v, %v", r, err)
	}
	var least float64
	if _, err := fmt.Sscanf(r.Low, "%f m", &least); err != nil {
		t.Fatal(err)
	}
	if need := far + s.Limits.StopMarginM; least < need || least >= need+1 {
		t.Errorf("least strip %s, needed %.3f m", r.Low, need)
	}
}

// Without what only pictures need, the limits are the same.
func TestTheSearchSeesTheLimitsOfTheWholePrediction(t *testing.T) {
	for _, changes := range [][]string{nil, {"site.clear_length", "120 m"}, {"vehicle.mass", "0.6 kg"}, {"firing.lead.length", "400 m"},
		{"uncertainty.thrust_lot", "20 %"}, {"igniter.bridge.pressurisation.deviation", "30 ms"}} {
		text := readChanged(t, changes...)
		s, err := parseChanged(text)
		if err != nil {
			t.Fatal(err)
		}
		got, err := failing(context.Background(), s, remedyOptions, true)
		want := whole(t, text)
		if err != nil || !slices.Equal(got, want) {
			t.Errorf("%q: got %q, want %q, %v", changes, got, want, err)
		}
		cheap, err := failing(context.Background(), s, remedyOptions, false)
		for _, name := range cheap {
			if !slices.Contains(want, name) {
				t.Errorf("%q: without draws %q fails too", changes, name)
			}
		}
		if err != nil {
			t.Error(err)
		}
	}
}

func TestRangeNamesWhatItIsNoRemedyFor(t *testing.T) {
	text := readChanged(t, "vehicle.mass", "0.7 kg")
	r, err := FindRange(context.Background(), text, "site.clear_length", parseChanged, remedyOptions)
	if err != nil || r.Found || !slices.Contains(r.Failing, "thrust to weight") || slices.Contains(r.Failing, limitStop) {
		t.Errorf("%+v, %v", r, err)
	}
	if !strings.HasPrefix(r.String(), "none from 50 m to 800 m: each fails ") {
		t.Errorf("%s", r)
	}
}

func TestRangeRefusesWhatIsNoNumber(t *testing.T) {
	text := readChanged(t)
	for _, key := range []string{"title", "guide.kind", "site.pressure", "colour", "motor[1].curve"} {
		if _, err := FindRange(context.Background(), text, key, parseChanged, remedyOptions); !errors.Is(err, ErrNoRange) {
			t.Errorf("%s: %v", key, err)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := FindRange(ctx, text, "vehicle.mass", parseChanged, remedyOptions); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

func TestGridsAreValuesThatOneWouldWrite(t *testing.T) {
	for _, c := range []struct{ now, low, high, next string }{
		{"200 m", "50 m", "800 m", "201 m"},
		{"1.85 kg", "0.465 kg", "7.4 kg", "1.855 kg"},
		{"0.45", "0.114", "1.8", "0.452"},
		{"18", "4.5", "72", "18.05"},
		{"1.5 m/s", "-8.5 m/s", "11.5 m/s", "1.55 m/s"},
		{"-48 mm", "-192 mm", "96 mm", "-47.5 mm"},
		{"0 mm", "-100 mm", "100 mm", "0.5 mm"},
		{"0.1 %", "0.025 %", "0.4 %", "0.1005 %"},
	} {
		g, ok := gridOf(c.now)
		if !ok {
			t.Errorf("%s: no grid", c.now)
			continue
		}
		if got := g.write(g.now); got != c.now {
			t.Errorf("%s is written %s", c.now, got)
		}
		if low, high, next := g.write(g.low), g.write(g.high), g.write(g.now+1); low != c.low || high != c.high || next != c.next {
			t.Errorf("%s: from %s to %s, beside it %s; want %s, %s, %s", c.now, low, high, next, c.low, c.high, c.next)
		}
	}
	for _, none := range []string{"wire", "", "0", "0 N", "NaN", "1 furlong"} {
		if _, ok := gridOf(none); ok {
			t.Errorf("%q has a grid", none)
		}
	}
}

// Each count is what the whole prediction says of the sheet with those motors.
func TestMotorCountsAreWhatThePredictionSays(t *testing.T) {
	text := readChanged(t, "limits.thrust_to_weight", "2.5")
	s, err := parseChanged(text)
	if err != nil {
		t.Fatal(err)
	}
	counts, err := MotorCounts(context.Background(), s, remedyOptions)
	if err != nil || len(counts) != 4 {
		t.Fatalf("%+v, %v", counts, err)
	}
	yes, no := 0, 0
	for _, c := range counts {
		fewer := text
		for _, out := range slices.Backward(c.Out) {
			if fewer, err = sheet.Remove(fewer, fmt.Sprintf("motor[%d]", out+1)); err != nil {
				t.Fatal(err)
			}
		}
		want := whole(t, fewer)
		if c.Go != (len(want) == 0) {
			t.Errorf("%d motors without %v: go %v, failing %q; the prediction fails %q", c.Motors, c.Out, c.Go, c.Failing, want)
		}
		if c.Go {
			yes++
		} else {
			no++
		}
	}
	if yes == 0 || no == 0 {
		t.Errorf("%d go, %d no: nothing was told apart", yes, no)
	}
	// One of the inner two first, which pull least to a side, then the other
	// two balance without the other inner one.
	if got := fmt.Sprint(counts[1].Out, counts[2].Out); got != "[2] [1 2]" {
		t.Errorf("left out: %s", got)
	}
}
