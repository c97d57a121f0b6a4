package prediction

import (
	"context"
	"fmt"
	"math"

	"holdline/sim/circuit"
)

// DefaultRuns is how many draws a dispersion makes unless told otherwise.
const DefaultRuns = 10000

// CircuitOptions says how to answer for a firing circuit.
type CircuitOptions struct {
	Runs       int // draws; DefaultRuns when 0
	Seed       uint64
	Workers    int
	ReadingOhm *float64       // a reading of the whole cluster to judge; nil: none
	Progress   func(done int) // draws done; may be nil
}

// Circuit is the answer of `holdline circuit`: its JSON form, and beside it
// what the text and the cockpit show.
type Circuit struct {
	Title          string             `json:"title"`
	SheetSHA256    string             `json:"sheet_sha256"`
	SourceOhm      float64            `json:"source_resistance_ohm"`
	TotalA         float64            `json:"total_current_a"`
	Igniters       []CircuitIgniter   `json:"igniters"`
	StaggerS       *float64           `json:"stagger_nominal_s"`
	Dispersion     CircuitDispersion  `json:"dispersion"`
	TestCurrentA   float64            `json:"test_current_a"`
	TestCurrentMax float64            `json:"test_current_limit_a"`
	Continuity     CircuitContinuity  `json:"continuity"`
	Reading        *CircuitReading    `json:"reading,omitempty"`
	Limits         []Limit            `json:"limits"`
	Go             bool               `json:"go"`
	Problem        *circuit.Problem   `json:"-"`
	Solution       circuit.Solution   `json:"-"`
	Shorted        []circuit.Shorted  `json:"-"` // nil when no bridge can short
	Draws          circuit.Dispersion `json:"-"`
	Remedies       []circuit.Remedy   `json:"-"` // nil when every margin is reached
	Advice         []circuit.Advice   `json:"-"`
	Conclusive     bool               `json:"-"` // a whole cluster's reading says so by itself
}

// CircuitIgniter is one igniter's row.
type CircuitIgniter struct {
	Motor      int      `json:"motor"`
	BranchOhm  float64  `json:"branch_resistance_ohm"`
	CurrentA   float64  `json:"current_a"`
	WorstCaseA float64  `json:"worst_case_current_a"`
	Margin     float64  `json:"margin"`
	FiresS     *float64 `json:"fires_at_s"`
	LightsS    *float64 `json:"lights_at_s"`
}

// CircuitDispersion is what the draws give.
type CircuitDispersion struct {
	Runs        int            `json:"runs"`
	Seed        uint64         `json:"seed"`
	AllLight    float64        `json:"all_light_probability"`
	AllLightLow float64        `json:"all_light_probability_lower95"`
	StaggerS    *TailQuantiles `json:"stagger_s"` // null when no draw lights all
}

// CircuitContinuity is what a meter reads of a whole circuit.
type CircuitContinuity struct {
	ChannelOhm []ChannelBand `json:"channel_ohm"`
	ClusterOhm []ClusterBand `json:"cluster_ohm"` // from all intact down to 1
}

// ChannelBand is one channel at the vehicle.
type ChannelBand struct {
	Motor   int     `json:"motor"`
	LowOhm  float64 `json:"low"`
	HighOhm float64 `json:"high"`
}

// ClusterBand is the whole cluster with some igniters intact.
type ClusterBand struct {
	Intact       int     `json:"intact"`
	ExpectedOhm  float64 `json:"expected"`
	DeviationOhm float64 `json:"deviation"`
}

// CircuitReading is what a cluster reading means.
type CircuitReading struct {
	Ohm         float64           `json:"ohm"`
	Likelihoods []CountLikelihood `json:"likelihoods"`
	Answer      string            `json:"answer"`
	Conclusive  bool              `json:"-"`
}

// CountLikelihood is how well a reading fits a count.
type CountLikelihood struct {
	Intact     int     `json:"intact"`
	Likelihood float64 `json:"likelihood"`
	Posterior  float64 `json:"posterior"`
}

// BuildCircuit answers for one firing circuit. It returns p's faults, an error
// for a reading that is no resistance, or ctx's error.
func BuildCircuit(ctx context.Context, title, sheetSHA256 string, p *circuit.Problem, o CircuitOptions) (*Circuit, error) {
	if err := circuit.Validate(p); err != nil {
		return nil, err
	}
	if r := o.ReadingOhm; r != nil && (math.IsNaN(*r) || math.IsInf(*r, 0)) {
		return nil, fmt.Errorf("prediction: cluster reading: %g ohm: must be a finite resistance", *r)
	}
	if o.Runs == 0 {
		o.Runs = DefaultRuns
	}
	draws, err := circuit.Disperse(ctx, p, circuit.DisperseOptions{
		Runs: o.Runs, Seed: o.Seed, Workers: o.Workers, Progress: o.Progress,
	})
	if err != nil {
		return nil, err
	}
	sol := circuit.Solve(p)
	c := &Circuit{
		Title: title, SheetSHA256: sheetSHA256,
		SourceOhm: sol.SourceOhm, TotalA: sol.TotalA, StaggerS: finite(sol.StaggerS),
		TestCurrentA: p.TestCurrentA, TestCurrentMax: p.TestCurrentLimitA(),
		Problem: p, Solution: sol, Draws: draws,
		Shorted: circuit.WithWorstShorted(p), Remedies: circuit.Remedies(p), Advice: circuit.Advise(p),
		Conclusive: circuit.ClusterConclusive(p),
	}
	c.rows()
	if o.ReadingOhm != nil {
		c.judge(*o.ReadingOhm)
	}
	c.Limits = circuitLimits(p, &sol, &draws)
	c.Go = allPass(c.Limits)
	return c, nil
}

// rows fills what follows from the solution alone.
func (c *Circuit) rows() {
	p := c.Problem
	for k, ig := range c.Solution.Igniters {
		c.Igniters = append(c.Igniters, CircuitIgniter{
			Motor: k + 1, BranchOhm: ig.BranchOhm, CurrentA: ig.CurrentA, WorstCaseA: ig.WorstCaseA,
			Margin: ig.Margin, FiresS: finite(ig.FiresS), LightsS: finite(ig.IgnitionDelayS),
		})
		b := circuit.BridgeBand(p, k)
		c.Continuity.ChannelOhm = append(c.Continuity.ChannelOhm, ChannelBand{k + 1, b.LowOhm, b.HighOhm})
	}
	for _, n := range circuit.ClusterCounts(p) {
		c.Continuity.ClusterOhm = append(c.Continuity.ClusterOhm, ClusterBand{n.Intact, n.ExpectedOhm, n.DeviationOhm})
	}
	d := &c.Draws
	c.Dispersion = CircuitDispersion{Runs: d.Runs, Seed: d.Seed, AllLight: d.Probability, AllLightLow: d.Lower95}
	if q := d.StaggerS; q != nil {
		c.Dispersion.StaggerS = &TailQuantiles{q.P50, q.P95, q.P99}
	}
}

// judge fills what a reading of the whole cluster means.
func (c *Circuit) judge(ohm float64) {
	v := circuit.JudgeCluster(c.Problem, ohm)
	c.Reading = &CircuitReading{Ohm: ohm, Answer: v.Answer, Conclusive: v.Conclusive}
	for _, l := range v.Likelihoods {
		c.Reading.Likelihoods = append(c.Reading.Likelihoods, CountLikelihood(l))
	}
}

// The sources of the circuit's limits.
const (
	sourceSheet   = "the sheet"
	sourceModel   = "every motor must light"
	sourceBattery = "14 CFR 417 Appendix D, batteries (b)(2)"
	sourceMeter   = "NASA-STD-8719.24 13.8.1.1.1: 50 mA; a tenth of the least no-fire current"
	sourceMaker   = "the sheet: the battery's highest current"
)

// circuitLimits are the requirements of the circuit, each with what decides it.
func circuitLimits(p *circuit.Problem, sol *circuit.Solution, d *circuit.Dispersion) []Limit {
	slowest, firing := sol.SlowestFiringS()
	n := len(sol.Igniters)
	misfire, late := "", ""
	for k := range sol.Igniters {
		switch t := sol.Igniters[k].FiresS; {
		case math.IsInf(t, 1) && misfire == "":
			misfire = motorName(k)
		case t == slowest && late == "":
			late = motorName(k)
		}
	}
	weakest := sol.Weakest()
	margin := atLeast("current margin of every igniter", motorName(weakest), sol.Igniters[weakest].Margin, p.RequiredMargin(), "", sourceBattery)
	if p.Margin > circuit.LeastMargin {
		margin.Source = sourceSheet
	}
	least := motorName(0)
	for k := range p.Igniters {
		if circuit.TestCurrentShare*p.Igniters[k].NoFireA == p.TestCurrentLimitA() {
			least = motorName(k)
			break
		}
	}
	stagger := math.NaN()
	if d.StaggerS != nil {
		stagger = d.StaggerS.P95
	}
	limits := []Limit{
		atLeast("every bridge fires within the pulse", misfire, float64(firing), float64(n), unitBridges, sourceModel),
		margin,
		atLeast("pulse long enough", late, p.PulseS, sol.RequiredPulseS(), "s", sourceBattery),
		atMost("test current", least, p.TestCurrentA, p.TestCurrentLimitA(), "A", sourceMeter),
		atLeast(limitAllLight, motorName(d.MisfiresMost()), d.Lower95, p.RequiredAllLight(), "", sourceSheet),
		atMost(limitStagger, motorName(d.LastMost()), stagger, p.StaggerLimitS, "s", sourceSheet),
	}
	if p.Battery.HighestCurrentA > 0 {
		limits = append(limits, atMost("total current", "", sol.TotalA, p.Battery.HighestCurrentA, "A", sourceMaker))
	}
	return limits
}

// motorName names motor k as the sheet does, "" for none.
func motorName(k int) string {
	if k < 0 {
		return ""
	}
	return fmt.Sprintf("motor %d", k+1)
}
