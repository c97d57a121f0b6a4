package prediction

import (
	"bytes"
	"context"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"holdline/checklist/sheet"
	"holdline/checklist/sheet/unit"
	"holdline/sim/circuit"
)

var circuitCases = []string{"01", "02", "03", "04", "05"}

func circuitFolder(name string) string {
	return filepath.Join("..", "..", "testdata", "reference", "circuit", name)
}

// circuitOf builds the answer for a reference sheet.
func circuitOf(t *testing.T, name string, o CircuitOptions) *Circuit {
	t.Helper()
	s, err := sheet.Load(filepath.Join(circuitFolder(name), "sheet.toml"))
	if err != nil {
		t.Fatal(err)
	}
	c, err := BuildCircuit(context.Background(), s.Title, hex.EncodeToString(s.SHA256[:]), s.Circuit(), o)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// asJSON returns v as a program reads it.
func asJSON(t *testing.T, v any) map[string]any {
	t.Helper()
	data, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	var out map[string]any
	if err := json.Unmarshal(data, &out); err != nil {
		t.Fatal(err)
	}
	return out
}

func readJSON(t *testing.T, path string) map[string]any {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var out map[string]any
	if err := json.Unmarshal(data, &out); err != nil {
		t.Fatal(err)
	}
	return out
}

// compareJSON reports where got differs from want: every key of want must be in
// got, null matches null only, numbers agree to 1e-6 relative.
func compareJSON(path string, want, got any) []string {
	switch w := want.(type) {
	case map[string]any:
		g, ok := got.(map[string]any)
		if !ok {
			return []string{fmt.Sprintf("%s: got %v, want an object", path, got)}
		}
		var bad []string
		for key, value := range w {
			if _, ok := g[key]; !ok {
				bad = append(bad, path+"."+key+": missing")
				continue
			}
			bad = append(bad, compareJSON(path+"."+key, value, g[key])...)
		}
		return bad
	case []any:
		g, ok := got.([]any)
		if !ok || len(g) != len(w) {
			return []string{fmt.Sprintf("%s: got %v, want %d entries", path, got, len(w))}
		}
		var bad []string
		for i := range w {
			bad = append(bad, compareJSON(fmt.Sprintf("%s[%d]", path, i), w[i], g[i])...)
		}
		return bad
	case float64:
		if g, ok := got.(float64); !ok || math.Abs(g-w) > max(1e-6*math.Abs(w), 1e-12) {
			return []string{fmt.Sprintf("%s: got %v, want %v", path, got, w)}
		}
		return nil
	default:
		if !reflect.DeepEqual(want, got) {
			return []string{fmt.Sprintf("%s: got %v, want %v", path, got, want)}
		}
		return nil
	}
}

// Reference: testdata/reference/circuit, computed and checked as its README
// says; from the sheet to the JSON, to 1e-6.
func TestCircuitReferenceFromSheetToJSON(t *testing.T) {
	for _, name := range circuitCases {
		t.Run(name, func(t *testing.T) {
			c := circuitOf(t, name, CircuitOptions{Runs: 2000, Seed: 1, Workers: 2})
			got := asJSON(t, c)
			for _, bad := range compareJSON("$", readJSON(t, filepath.Join(circuitFolder(name), "expected.json")), got) {
				t.Error(bad)
			}
			reasons := readJSON(t, filepath.Join(circuitFolder(name), "trace.json"))["go_reasons"].([]any)
			if len(reasons) > 0 && c.Go {
				t.Errorf("go, although %v", reasons[0])
			}
		})
	}
}

func keysOf(m map[string]any) []string {
	keys := make([]string, 0, len(m))
	for key := range m {
		keys = append(keys, key)
	}
	slices.Sort(keys)
	return keys
}

func TestCircuitJSONHasExactlyTheKeysOfItsFormat(t *testing.T) {
	reading := 1.0747
	with := asJSON(t, circuitOf(t, "02", CircuitOptions{Runs: 500, ReadingOhm: &reading}))
	without := asJSON(t, circuitOf(t, "02", CircuitOptions{Runs: 500}))
	want := []string{
		"continuity", "dispersion", "go", "igniters", "limits", "sheet_sha256", "source_resistance_ohm", "stagger_nominal_s",
		"test_current_a", "test_current_limit_a", "title", "total_current_a",
	}
	if got := keysOf(without); !slices.Equal(got, want) {
		t.Errorf("keys: got %v, want %v", got, want)
	}
	if got := keysOf(with); !slices.Equal(got, slices.Sorted(slices.Values(append([]string{"reading"}, want...)))) {
		t.Errorf("keys with a reading: got %v", got)
	}
	for path, want := range map[string][]string{
		"dispersion": {"all_light_probability", "all_light_probability_lower95", "runs", "seed", "stagger_s"},
		"continuity": {"channel_ohm", "cluster_ohm"},
		"reading":    {"answer", "likelihoods", "ohm"},
	} {
		if got := keysOf(with[path].(map[string]any)); !slices.Equal(got, want) {
			t.Errorf("%s: got %v, want %v", path, got, want)
		}
	}
	likelihoods := with["reading"].(map[string]any)["likelihoods"].([]any)
	if len(likelihoods) != 5 {
		t.Fatalf("likelihoods: got %d, want those of 4 down to 0", len(likelihoods))
	}
	if first := likelihoods[0].(map[string]any); first["intact"] != 4.0 || !slices.Equal(keysOf(first), []string{"intact", "likelihood", "posterior"}) {
		t.Errorf("first likelihood: got %v", first)
	}
	if answer := with["reading"].(map[string]any)["answer"]; answer != "4 intact" {
		t.Errorf("answer: got %v, want 4 intact", answer)
	}
	limit := with["limits"].([]any)[0].(map[string]any)
	for _, key := range []string{"name", "case", "value", "limit", "unit", "left", "source", "pass"} {
		if _, ok := limit[key]; !ok {
			t.Errorf("limit without %q", key)
		}
	}
	if len(with["sheet_sha256"].(string)) != 64 || with["title"] != "Four alike" {
		t.Errorf("title %v, hash %v", with["title"], with["sheet_sha256"])
	}
}

// good is a circuit that meets every limit.
func good() *circuit.Problem {
	p := &circuit.Problem{
		Battery:          circuit.Battery{VoltageV: 12.4, InternalOhm: 0.025, HighestInternalOhm: 0.040, HighestCurrentA: 30},
		Lead:             circuit.Lead{Kind: circuit.LeadGauge, Gauge: 16, LengthM: 20},
		LeadTemperatureC: 20, SwitchOhm: 0.010, ContactOhm: 0.020, PulseS: 1, Margin: 1.5,
		TestCurrentA: 0.001, MeterErrorOhm: 0.02, StaggerLimitS: 0.060, AllLightProbabilityLeast: 0.99,
	}
	for range 4 {
		p.Igniters = append(p.Igniters, circuit.Igniter{
			Kind: "std", ResistanceOhm: 0.8, Tolerance: 0.12, NoFireA: 0.15, AllFireA: 0.60, Source: "invented",
			TimeConstantS: 0.004, PressureMeanS: 0.035, PressureSpreadS: 0.008,
		})
	}
	return p
}

func build(t *testing.T, p *circuit.Problem, o CircuitOptions) *Circuit {
	t.Helper()
	if o.Runs == 0 {
		o.Runs = 1000
	}
	c, err := BuildCircuit(context.Background(), "Sled", "", p, o)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func pageOf(t *testing.T, c *Circuit, sys unit.System) string {
	t.Helper()
	var b bytes.Buffer
	if err := c.WriteText(&b, sys); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestEachCircuitLimitStopsTheGo(t *testing.T) {
	if c := build(t, good(), CircuitOptions{}); !c.Go || len(c.Limits) != 7 {
		t.Fatalf("the good circuit: go %v, limits %+v", c.Go, c.Limits)
	}
	cases := []struct {
		limit, which string
		change       func(*circuit.Problem)
	}{
		{"every bridge fires within the pulse", "motor 3", func(p *circuit.Problem) {
			p.Igniters[2].NoFireA, p.Igniters[2].AllFireA = 30, 60
		}},
		{"current margin of every igniter", "motor 2", func(p *circuit.Problem) { p.Igniters[1].AllFireA = 3 }},
		{"current margin of every igniter", "motor 1", func(p *circuit.Problem) { p.Margin = 20 }},
		{"pulse long enough", "motor 1", func(p *circuit.Problem) { p.PulseS = 0.19 }},
		{"pulse long enough", "motor 4", func(p *circuit.Problem) { p.Igniters[3].TimeConstantS = 100 }},
		{"test current", "motor 3", func(p *circuit.Problem) { p.Igniters[2].NoFireA = 0.009 }},
		{"test current", "motor 1", func(p *circuit.Problem) { p.TestCurrentA = 0.016 }},
		{"all motors light, lower bound", "motor 1", func(p *circuit.Problem) {
			p.Igniters[3].ShortProbability, p.Igniters[3].ShortOhm = 0.5, 0.001
			p.Igniters[3].TimeConstantS = 1e-5
			p.Lead.LengthM = 100
			p.Battery.VoltageV = 30
			for k := range 3 {
				p.Igniters[k].TimeConstantS = 10
			}
			p.Igniters[0].NoFireA = 0.5
			p.StaggerLimitS = 10
		}},
		{"stagger, 95th percentile", "motor 2", func(p *circuit.Problem) { p.Igniters[1].PressureMeanS = 0.3 }},
		{"total current", "", func(p *circuit.Problem) { p.Battery.HighestCurrentA = 10 }},
	}
	for _, c := range cases {
		t.Run(c.limit, func(t *testing.T) {
			p := good()
			c.change(p)
			a := build(t, p, CircuitOptions{})
			if a.Go {
				t.Error("go")
			}
			i := slices.IndexFunc(a.Limits, func(l Limit) bool { return l.Name == c.limit })
			if i < 0 {
				t.Fatalf("no limit %q in %+v", c.limit, a.Limits)
			}
			l := a.Limits[i]
			if l.Pass || l.Case != c.which || !(l.Left < 0) || l.Source == "" {
				t.Errorf("got %+v, want it failed by %q", l, c.which)
			}
			if page := pageOf(t, a, unit.Metric); !strings.Contains(page, "NO-GO") || !strings.Contains(page, "NO "+c.limit) {
				t.Errorf("the text does not say so:\n%s", page)
			}
		})
	}
}

func TestALimitIsNotFailedByTheLastBit(t *testing.T) {
	p := good()
	for k := range p.Igniters {
		p.Igniters[k].NoFireA = 0.35
	}
	p.TestCurrentA = 35 * 1e-3
	if c := build(t, p, CircuitOptions{}); !c.Go {
		t.Errorf("35 mA against a tenth of 0.35 A: %+v", c.Limits[3])
	}
}

func TestAStaggerThatNoDrawHasIsNull(t *testing.T) {
	p := good()
	p.Igniters[0].NoFireA, p.Igniters[0].AllFireA = 300, 600
	got := asJSON(t, build(t, p, CircuitOptions{}))
	if got["stagger_nominal_s"] != nil || got["dispersion"].(map[string]any)["stagger_s"] != nil {
		t.Errorf("stagger: got %v and %v, want null", got["stagger_nominal_s"], got["dispersion"])
	}
	limit := got["limits"].([]any)[5].(map[string]any)
	if limit["value"] != nil || limit["left"] != nil || limit["pass"] != false || limit["limit"] != 0.06 {
		t.Errorf("stagger limit: got %v", limit)
	}
	if first := got["igniters"].([]any)[0].(map[string]any); first["fires_at_s"] != nil || first["lights_at_s"] != nil {
		t.Errorf("a motor that never lights: got %v", first)
	}
}

func TestCircuitTextNamesTheWeakestLinkAndWhatMendsIt(t *testing.T) {
	c := circuitOf(t, "05", CircuitOptions{Runs: 500, Seed: 1})
	page := pageOf(t, c, unit.Metric)
	for _, want := range []string{
		"motor 6 sturdy", "The weakest link is motor 6 (sturdy): 0.189 A at worst is 0.08 of its all-fire current of 2.2 A",
		"Motors 4, 5, 6 never fire in the nominal circuit.", "TOO LITTLE", "NEVER within the pulse", "What would mend it", "a battery of at least",
		"measure each igniter", "NO-GO", "copper-clad aluminium", "contact_resistance: looks guessed",
	} {
		if !strings.Contains(flat(page), want) {
			t.Errorf("text without %q:\n%s", want, page)
		}
	}
	for _, line := range strings.Split(page, "\n") {
		if utf8.RuneCountInString(line) > 80 || strings.TrimRight(line, " ") != line {
			t.Errorf("line too long or with blanks at its end: %q", line)
		}
	}
}

// flat takes the line breaks of wrapped paragraphs away.
func flat(page string) string { return strings.Join(strings.Fields(page), " ") }

func TestEveryPrintedRemedyReachesTheMargin(t *testing.T) {
	p := good()
	p.Battery = circuit.Battery{VoltageV: 12, InternalOhm: 0.6, HighestInternalOhm: 0.9}
	p.Lead = circuit.Lead{Kind: circuit.LeadGauge, Gauge: 20, LengthM: 30}
	p.Igniters = append(p.Igniters, p.Igniters[:2]...)
	for k := range p.Igniters {
		p.Igniters[k].AllFireA = 0.42
	}
	margin := func(change func(*circuit.Problem)) float64 {
		c := *p
		change(&c)
		sol := circuit.Solve(&c)
		return sol.Igniters[sol.Weakest()].Margin
	}
	if m := margin(func(*circuit.Problem) {}); m >= 1.5 {
		t.Fatalf("nothing to mend: %v", m)
	}
	// The numbers are read back from the text, in both systems of units.
	for _, sys := range []unit.System{unit.Metric, unit.US} {
		for _, r := range circuit.Remedies(p) {
			line := RemedyText(r, sys)
			var v float64
			var name string
			var apply func(*circuit.Problem)
			switch r.Kind {
			case circuit.ThickerLead:
				scan(t, line, "a lead of %g AWG", &v)
				apply = func(c *circuit.Problem) { c.Lead.Gauge = int(v) }
			case circuit.ShorterLead:
				scan(t, line, "a lead of at most %g %s one", &v, &name)
				u, ok := unit.Lookup(name)
				if !ok {
					t.Fatalf("unit %q", name)
				}
				apply = func(c *circuit.Problem) { c.Lead.LengthM = u.SI(v) }
			case circuit.StrongerBattery:
				scan(t, line, "a battery of at most %g mohm", &v)
				apply = func(c *circuit.Problem) { c.Battery.HighestInternalOhm = v / 1e3 }
			case circuit.HigherVoltage:
				scan(t, line, "a battery of at least %g V", &v)
				apply = func(c *circuit.Problem) { c.Battery.VoltageV = v }
			case circuit.FewerMotors:
				scan(t, line, "fewer motors, at most %g:", &v)
				apply = func(c *circuit.Problem) { c.Igniters = c.Igniters[:int(v)] }
			default:
				t.Fatalf("remedy %+v", r)
			}
			if m := margin(apply); m < 1.5 {
				t.Errorf("%q: reaches only %v", line, m)
			}
		}
	}
}

func scan(t *testing.T, line, format string, into ...any) {
	t.Helper()
	if n, _ := fmt.Sscanf(line, format, into...); n != len(into) {
		t.Fatalf("%q is not %q", line, format)
	}
}

func TestLengthsInUSUnits(t *testing.T) {
	page := pageOf(t, build(t, good(), CircuitOptions{}), unit.US)
	if !strings.Contains(page, "65.6 ft one way") {
		t.Errorf("20 m is not shown as 65.6 ft:\n%s", page)
	}
}

func TestPercentReadsAllOrNoneOnlyForAllOrNone(t *testing.T) {
	for share, want := range map[float64]string{
		0: "0.0 %", 1: "100.0 %", 0.99999: "more than 99.99 %", 0.00001: "less than 0.01 %", 0.9993: "99.93 %", 0.5: "50.0 %", 0.002: "0.20 %",
	} {
		if got := percent(share); got != want {
			t.Errorf("%v: got %q, want %q", share, got, want)
		}
	}
}

func TestBuildCircuitRefuses(t *testing.T) {
	p := good()
	p.TestCurrentA = 0
	var field *circuit.FieldError
	if _, err := BuildCircuit(context.Background(), "", "", p, CircuitOptions{}); !errors.As(err, &field) || field.Field != "test_current" {
		t.Errorf("got %v, want the fault of the test current", err)
	}
	for _, r := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		if _, err := BuildCircuit(context.Background(), "", "", good(), CircuitOptions{ReadingOhm: &r}); err == nil {
			t.Errorf("reading %v: no error", r)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := BuildCircuit(ctx, "", "", good(), CircuitOptions{}); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want the context's error", err)
	}
}

// FuzzCircuitJSON: whatever Validate accepts has an answer that JSON can carry,
// which has neither NaN nor infinities.
func FuzzCircuitJSON(f *testing.F) {
	f.Add(12.4, 0.8, 0.15, 0.6, 0.004, 0.05, 1.2)
	f.Add(1e9, 1e-9, 1e-9, 1e9, 1e9, 1.0, -1e300)
	f.Add(1e-9, 1e9, 1e-9, 2e-9, 1e-9, 0.0, 1e300)
	f.Fuzz(func(t *testing.T, volts, ohm, noFire, allFire, tau, short, reading float64) {
		p := good()
		p.Battery.VoltageV = volts
		for k := range p.Igniters {
			ig := &p.Igniters[k]
			ig.ResistanceOhm, ig.NoFireA, ig.AllFireA, ig.TimeConstantS = ohm, noFire, allFire, tau
			ig.ShortProbability, ig.ShortOhm = short, 0.05
		}
		c, err := BuildCircuit(context.Background(), "", "", p, CircuitOptions{Runs: 30, ReadingOhm: &reading})
		if err != nil {
			return
		}
		if _, err := json.Marshal(c); err != nil {
			t.Fatal(err)
		}
		var page bytes.Buffer
		if err := c.WriteText(&page, unit.Metric); err != nil {
			t.Fatal(err)
		}
		for _, word := range []string{"NaN", "Inf", "%!"} {
			if strings.Contains(page.String(), word) {
				t.Fatalf("%s in the text:\n%s", word, page.String())
			}
		}
	})
}
