package scenario

import (
	"bytes"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"holdline/checklist/sheet"
	"holdline/sim"
	"holdline/sim/circuit"
)

func open(t *testing.T) *sheet.Sheet {
	t.Helper()
	s, err := Open()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// The scenario is what it says: four motors, a wire, two devices, and nothing
// that needs saying.
func TestScenarioShape(t *testing.T) {
	s := open(t)
	if len(s.Motors) != 4 || len(s.Stops) != 2 || s.Guide == nil || s.Guide.Kind != sim.GuideWire {
		t.Errorf("%d motors, %d stopping devices, guide %+v", len(s.Motors), len(s.Stops), s.Guide)
	}
	if s.Mark == "" || len(s.Crew.Spotters) != 2 || len(s.Posts) != 2 || len(s.Radios) != 2 || len(s.Steps) != 2 {
		t.Errorf("mark %q, %d spotters, %d posts, %d radios, %d steps", s.Mark, len(s.Crew.Spotters), len(s.Posts), len(s.Radios), len(s.Steps))
	}
	if len(s.Notes) != 0 {
		t.Errorf("notes: %+v", s.Notes)
	}
	for _, r := range s.Radios {
		if least := sheet.RadioDistanceM(r.PowerW, r.FrequencyHz); !(r.DistanceM >= 2*least) {
			t.Errorf("%s at %g m, least %g m", r.Name, r.DistanceM, least)
		}
	}
}

func TestScenarioCircuitMeetsItsLimits(t *testing.T) {
	s := open(t)
	p := s.Circuit()
	sol := circuit.Solve(p)
	if !sol.AllFire {
		t.Fatal("not every bridge fires")
	}
	slowest := 0.0
	for i, g := range sol.Igniters {
		if g.Margin < 2*sheet.LeastMargin {
			t.Errorf("motor %d has a current margin of %g", i+1, g.Margin)
		}
		slowest = math.Max(slowest, g.FiresS)
	}
	for i, g := range circuit.WithWorstShorted(p) {
		if g.Margin < sheet.LeastMargin {
			t.Errorf("motor %d beside a shorted bridge has a current margin of %g", i+1, g.Margin)
		}
	}
	if p.PulseS < math.Max(0.2, 10*slowest) {
		t.Errorf("pulse %g s, slowest firing %g s", p.PulseS, slowest)
	}
	if p.TestCurrentA > math.Min(0.050, 0.1*p.Igniters[0].NoFireA)/5 {
		t.Errorf("test current %g A", p.TestCurrentA)
	}
	if p.Battery.HighestCurrentA <= sol.TotalA {
		t.Errorf("%g A out of a battery of %g A", sol.TotalA, p.Battery.HighestCurrentA)
	}
}

func TestScenarioRunMeetsItsLimits(t *testing.T) {
	s := open(t)
	lights := make([]float64, len(s.Motors))
	sol := circuit.Solve(s.Circuit())
	for i := range lights {
		lights[i] = sol.Igniters[i].IgnitionDelayS
	}
	p := s.Run(lights)
	results := runAll(t, p)
	single := 0
	for _, r := range results {
		o := r.Outcome
		if r.Case.Kind != sim.CaseAllStopsAbsent {
			single++
			if left := s.Site.ClearLengthM - o.StopPositionM; left < s.Limits.StopMarginM {
				t.Errorf("%s: %g m left, needs %g m", r.Case.Name, left, s.Limits.StopMarginM)
			}
		}
		if o.PeakDecelerationMps2 > s.Limits.DecelerationMps2 || o.Airborne {
			t.Errorf("%s: deceleration %g m/s2, airborne %v", r.Case.Name, o.PeakDecelerationMps2, o.Airborne)
		}
		if !o.MinFrontLoadFraction.Known || o.MinFrontLoadFraction.Value < s.Limits.FrontLoad {
			t.Errorf("%s: front load %v", r.Case.Name, o.MinFrontLoadFraction)
		}
		if o.GuideMargin.Known && o.GuideMargin.Value < 1.5 {
			t.Errorf("%s: guide margin %v", r.Case.Name, o.GuideMargin)
		}
	}
	// Nominal, two unlike motors silent, late and late at rest, two devices, tailwind.
	if single != 10 {
		t.Errorf("%d cases with one fault at most, want 10", single)
	}
	if ratio := sim.ThrustToWeight(p); ratio > s.Limits.ThrustToWeight || ratio < 1 {
		t.Errorf("thrust to weight %g", ratio)
	}
	if peak := results[0].Outcome.PeakSpeedMps; peak < 25 || peak > 45 {
		t.Errorf("the nominal run peaks at %g m/s: no longer the scenario that was thought out", peak)
	}
}

func TestStarterIsReadWithoutFaults(t *testing.T) {
	s, err := sheet.LoadFS(StarterFiles(), SheetName)
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Notes) != 0 {
		t.Errorf("notes: %+v", s.Notes)
	}
	sol := circuit.Solve(s.Circuit())
	for _, r := range runAll(t, s.Run([]float64{sol.Igniters[0].IgnitionDelayS})) {
		if left := s.Site.ClearLengthM - r.Outcome.StopPositionM; r.Case.Kind != sim.CaseAllStopsAbsent && left < s.Limits.StopMarginM {
			t.Errorf("%s: %g m left", r.Case.Name, left)
		}
	}
}

// uncomment takes the mark from every commented key and table of the starter.
func uncomment(t *testing.T) []byte {
	t.Helper()
	data, err := fs.ReadFile(StarterFiles(), SheetName)
	if err != nil {
		t.Fatal(err)
	}
	return regexp.MustCompile(`(?m)^# (\[|[a-z_]+ = )`).ReplaceAll(data, []byte("$1"))
}

// What the starter offers in comments works when the mark is taken away.
func TestStarterCommentsAreTrue(t *testing.T) {
	data := uncomment(t)
	s, err := sheet.Parse(SheetName, data, func(path string) ([]byte, error) {
		return fs.ReadFile(StarterFiles(), path)
	})
	if err != nil {
		t.Fatal(err)
	}
	plain, err := sheet.LoadFS(StarterFiles(), SheetName)
	if err != nil {
		t.Fatal(err)
	}
	if s.Times.Pauses[0] != 5*time.Second {
		t.Errorf("pauses %v", s.Times.Pauses)
	}
	s.Times.Pauses = plain.Times.Pauses
	// Limits and times are said to be the ones that hold without them.
	if s.Limits != plain.Limits || s.Times != plain.Times {
		t.Errorf("limits %+v, times %+v", s.Limits, s.Times)
	}
	if s.Guide == nil || len(s.Posts) != 1 || len(s.Radios) != 1 || len(s.Steps) != 1 || s.Mark == "" {
		t.Errorf("guide %v, %d posts, %d radios, %d steps", s.Guide, len(s.Posts), len(s.Radios), len(s.Steps))
	}
}

// Every key that the parser knows is in the starter: an unknown key is put
// into each table, and the parser names the known ones.
func TestStarterExplainsEveryKey(t *testing.T) {
	text := string(uncomment(t))
	poisoned := regexp.MustCompile(`(?m)^\[.*\]$`).ReplaceAllString("zzzzzzzz = 1\n"+text, "$0\nzzzzzzzz = 1")
	poisoned = strings.ReplaceAll(poisoned, "{ ", "{ zzzzzzzz = 1, ")
	// The stopping devices that the starter describes in words.
	for _, kind := range []string{"chute", "weighted-line", "elastic-line"} {
		poisoned += "\n[[stop]]\nname = \"" + kind + "\"\nkind = \"" + kind + "\"\nzzzzzzzz = 1\n"
	}
	_, err := sheet.Parse(SheetName, []byte(poisoned), func(path string) ([]byte, error) {
		return fs.ReadFile(StarterFiles(), path)
	})
	faults, ok := err.(sheet.Faults)
	if !ok {
		t.Fatalf("error %v", err)
	}
	known := map[string]bool{}
	tables := 0
	for _, f := range faults {
		if _, list, ok := strings.Cut(f.Expected, " are "); ok && strings.HasPrefix(f.Expected, "no such key") {
			tables++
			for _, key := range strings.Fields(list) {
				known[key] = true
			}
		}
	}
	if tables < 20 || len(known) < 80 {
		t.Fatalf("%d tables with %d keys", tables, len(known))
	}
	for key := range known {
		// Set somewhere, or in the list of a stopping device's keys.
		if !regexp.MustCompile(`(?m)\b` + key + ` = |\[` + key + `[].]|^#   .*\b` + key + `\b`).MatchString(text) {
			t.Errorf("the starter does not mention %s", key)
		}
	}
}

func TestWriteStarterWritesAndDoesNotOverwrite(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "new", "run")
	written, err := WriteStarter(dir)
	if err != nil {
		t.Fatal(err)
	}
	want := []string{filepath.Join(dir, "curves", "example-c.csv"), filepath.Join(dir, SheetName)}
	if !slices.Equal(written, want) {
		t.Errorf("written %q, want %q", written, want)
	}
	if _, err := sheet.Load(filepath.Join(dir, SheetName)); err != nil {
		t.Error(err)
	}
	mine := []byte("mine")
	if err := os.WriteFile(filepath.Join(dir, SheetName), mine, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(filepath.Join(dir, "curves", "example-c.csv")); err != nil {
		t.Fatal(err)
	}
	if _, err := WriteStarter(dir); err == nil || !strings.Contains(err.Error(), "there already") {
		t.Errorf("over a sheet of mine: %v", err)
	}
	if got, _ := os.ReadFile(filepath.Join(dir, SheetName)); !bytes.Equal(got, mine) {
		t.Errorf("the sheet of mine is now %q", got)
	}
	if _, err := os.Stat(filepath.Join(dir, "curves", "example-c.csv")); err == nil {
		t.Error("a curve was written all the same")
	}
}

// A fault half way leaves nothing behind.
func TestWriteStarterLeavesNothingHalfWritten(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "run")
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	// A file where the folder of curves should be.
	if err := os.WriteFile(filepath.Join(dir, "curves"), nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := WriteStarter(dir); err == nil {
		t.Fatal("no error")
	}
	entries, err := os.ReadDir(dir)
	if err != nil || len(entries) != 1 {
		t.Errorf("%v left behind, %v", entries, err)
	}
}

// runAll runs every what-if case of p.
func runAll(t *testing.T, p *sim.Problem) []sim.CaseResult {
	t.Helper()
	runner, err := sim.NewRunner(p)
	if err != nil {
		t.Fatal(err)
	}
	results, err := runner.RunAll(sim.Cases(p))
	if err != nil {
		t.Fatal(err)
	}
	return results
}
