package circuit

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"
)

// The five reference circuits, as testdata/reference/circuit/NN/sheet.toml has
// them. The sheets themselves are read and compared in package prediction; here
// the problems are built by hand, so that a fault of the sheet reader cannot
// hide one of the circuit.
var (
	refThin = Igniter{
		Kind: "thin", ResistanceOhm: 2.4, Tolerance: 0.06, NoFireA: 0.09, AllFireA: 0.30, Source: "invented",
		TimeConstantS: 0.0016, PressureMeanS: 0.041, PressureSpreadS: 0.009, ShortOhm: 0.05,
	}
	refStd = Igniter{
		Kind: "std", ResistanceOhm: 0.8, Tolerance: 0.12, NoFireA: 0.15, AllFireA: 0.60, Source: "invented",
		TimeConstantS: 0.004, PressureMeanS: 0.035, PressureSpreadS: 0.008, ShortOhm: 0.05,
	}
	refStiff = Igniter{
		Kind: "stiff", ResistanceOhm: 1.05, Tolerance: 0.08, NoFireA: 0.35, AllFireA: 1.10, Source: "invented",
		TimeConstantS: 0.009, PressureMeanS: 0.028, PressureSpreadS: 0.005, ShortOhm: 0.05,
	}
	refSturdy = Igniter{
		Kind: "sturdy", ResistanceOhm: 1.3, Tolerance: 0.10, NoFireA: 0.80, AllFireA: 2.20, Source: "invented",
		TimeConstantS: 0.012, PressureMeanS: 0.025, PressureSpreadS: 0.004, ShortOhm: 0.05,
	}
	refRobber = Igniter{
		Kind: "robber", ResistanceOhm: 0.7, Tolerance: 0.10, NoFireA: 0.12, AllFireA: 0.45, Source: "invented",
		TimeConstantS: 0.003, PressureMeanS: 0.033, PressureSpreadS: 0.007, ShortProbability: 1, ShortOhm: 0.05,
	}
)

func (ig Igniter) behind(gauge int, lengthM float64) Igniter {
	ig.BranchLead = Lead{Kind: LeadGauge, Gauge: gauge, LengthM: lengthM}
	return ig
}

func referenceProblem(name string) *Problem {
	p := &Problem{
		LeadTemperatureC: 20, SwitchOhm: 0.010, ContactOhm: 0.020, PulseS: 1, Margin: 1.5,
		TestCurrentA: 0.001, MeterErrorOhm: 0.02, StaggerLimitS: 0.060, AllLightProbabilityLeast: 0.99,
	}
	lead := func(gauge int, lengthM float64) { p.Lead = Lead{Kind: LeadGauge, Gauge: gauge, LengthM: lengthM} }
	switch name {
	case "01":
		p.Battery = Battery{VoltageV: 8.2, InternalOhm: 0.15, HighestInternalOhm: 0.25}
		lead(20, 15)
		p.TestCurrentA = 0.010
		p.Igniters = []Igniter{refStiff.behind(22, 0.5)}
	case "02":
		p.Battery = Battery{VoltageV: 12.4, InternalOhm: 0.025, HighestInternalOhm: 0.040}
		lead(18, 20)
		std := refStd.behind(24, 0.4)
		p.Igniters = []Igniter{std, std, std, std}
	case "03":
		p.Battery = Battery{VoltageV: 11.9, InternalOhm: 0.040, HighestInternalOhm: 0.070}
		lead(18, 30)
		p.LeadTemperatureC = 30
		p.Igniters = []Igniter{refStd.behind(24, 0.3), refStiff.behind(24, 0.6)}
	case "04":
		p.Battery = Battery{VoltageV: 8.4, InternalOhm: 0.2, HighestInternalOhm: 0.3}
		lead(22, 25)
		p.Igniters = []Igniter{refRobber.behind(24, 0.3), refStiff.behind(24, 0.5)}
	case "05":
		p.Battery = Battery{VoltageV: 7.8, InternalOhm: 0.5, HighestInternalOhm: 0.7}
		lead(22, 40)
		p.PulseS = 2
		std := refStd.behind(24, 0.5)
		p.Igniters = []Igniter{refThin, std, std, refStiff, refStiff.behind(24, 1), refSturdy}
	}
	return p
}

var referenceNames = []string{"01", "02", "03", "04", "05"}

func readReference(t *testing.T, name, file string, into any) {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "..", "testdata", "reference", "circuit", name, file))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, into); err != nil {
		t.Fatal(err)
	}
}

type expectedAnswer struct {
	SourceOhm float64 `json:"source_resistance_ohm"`
	TotalA    float64 `json:"total_current_a"`
	Igniters  []struct {
		BranchOhm      float64  `json:"branch_resistance_ohm"`
		CurrentA       float64  `json:"current_a"`
		WorstCaseA     float64  `json:"worst_case_current_a"`
		Margin         float64  `json:"margin"`
		FiresS         *float64 `json:"fires_at_s"`
		IgnitionDelayS *float64 `json:"lights_at_s"`
	} `json:"igniters"`
	StaggerS   *float64 `json:"stagger_nominal_s"`
	TestLimitA float64  `json:"test_current_limit_a"`
	Continuity struct {
		Channel []struct{ Low, High float64 } `json:"channel_ohm"`
		Cluster []struct {
			Intact              int
			Expected, Deviation float64
		} `json:"cluster_ohm"`
	} `json:"continuity"`
}

// nearOrNever compares a time with a reference that is null for never.
func nearOrNever(t *testing.T, what string, got float64, want *float64) {
	t.Helper()
	if want == nil {
		if !math.IsInf(got, 1) {
			t.Errorf("%s: got %v, want never", what, got)
		}
		return
	}
	near(t, what, got, *want, 1e-6)
}

// Reference: testdata/reference/circuit, an independent event-driven solution
// checked against 50-digit decimals, an ODE solver and ngspice; tolerance 1e-6
// relative, as its README asks.
func TestReferenceCircuits(t *testing.T) {
	for _, name := range referenceNames {
		t.Run(name, func(t *testing.T) {
			p := referenceProblem(name)
			if err := Validate(p); err != nil {
				t.Fatal(err)
			}
			var want expectedAnswer
			readReference(t, name, "expected.json", &want)
			got := Solve(p)
			near(t, "source", got.SourceOhm, want.SourceOhm, 1e-6)
			near(t, "total current", got.TotalA, want.TotalA, 1e-6)
			near(t, "test current limit", p.TestCurrentLimitA(), want.TestLimitA, 1e-6)
			nearOrNever(t, "stagger", got.StaggerS, want.StaggerS)
			if len(got.Igniters) != len(want.Igniters) {
				t.Fatalf("igniters: got %d, want %d", len(got.Igniters), len(want.Igniters))
			}
			for k, w := range want.Igniters {
				g := got.Igniters[k]
				near(t, "branch", g.BranchOhm, w.BranchOhm, 1e-6)
				near(t, "current", g.CurrentA, w.CurrentA, 1e-6)
				near(t, "worst-case current", g.WorstCaseA, w.WorstCaseA, 1e-6)
				near(t, "margin", g.Margin, w.Margin, 1e-6)
				nearOrNever(t, "fires", g.FiresS, w.FiresS)
				nearOrNever(t, "lights", g.IgnitionDelayS, w.IgnitionDelayS)
				band := BridgeBand(p, k)
				near(t, "channel low", band.LowOhm, want.Continuity.Channel[k].Low, 1e-6)
				near(t, "channel high", band.HighOhm, want.Continuity.Channel[k].High, 1e-6)
			}
			counts := ClusterCounts(p)
			if len(counts) != len(want.Continuity.Cluster) {
				t.Fatalf("cluster counts: got %d, want %d", len(counts), len(want.Continuity.Cluster))
			}
			for i, w := range want.Continuity.Cluster {
				if counts[i].Intact != w.Intact {
					t.Fatalf("cluster count %d: got %d intact, want %d", i, counts[i].Intact, w.Intact)
				}
				near(t, "cluster expected", counts[i].ExpectedOhm, w.Expected, 1e-6)
				near(t, "cluster deviation", counts[i].DeviationOhm, w.Deviation, 1e-6)
			}
		})
	}
}

// Reference: the same folder's trace.json, the events one by one.
func TestReferenceEvents(t *testing.T) {
	for _, name := range referenceNames {
		t.Run(name, func(t *testing.T) {
			var want struct {
				Events []struct {
					TimeS    float64    `json:"t_s"`
					CurrentA []float64  `json:"current_a"`
					Theta    []*float64 `json:"theta"`
				} `json:"events"`
			}
			readReference(t, name, "trace.json", &want)
			got := Solve(referenceProblem(name)).Events
			if len(got) != len(want.Events) {
				t.Fatalf("events: got %d, want %d", len(got), len(want.Events))
			}
			var fired uint32
			for i, w := range want.Events {
				near(t, "time", got[i].TimeS, w.TimeS, 1e-6)
				for k := range w.CurrentA {
					near(t, "current after", got[i].CurrentA[k], w.CurrentA[k], 1e-6)
					if w.Theta[k] == nil {
						if fired&(1<<k) == 0 {
							t.Errorf("event %d: bridge %d has not fired, the reference's has", i, k)
						}
						continue
					}
					near(t, "heat", got[i].Heat[k], *w.Theta[k], 1e-6)
				}
				fired |= got[i].Fired
			}
		})
	}
}
