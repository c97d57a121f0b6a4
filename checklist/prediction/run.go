package prediction

import (
	"context"
	"fmt"
	"math"

	"holdline/checklist/sheet"
	"holdline/sim"
	"holdline/sim/circuit"
)

// RunOptions says how to predict a run.
type RunOptions struct {
	LightAtZero bool // every motor lights at 0 s instead of when the circuit lights it
	Runs        int  // runs of the dispersion; DefaultRuns when 0
	Seed        uint64
	Workers     int            // 0: one for each processor
	Progress    func(done int) // runs done; may be nil

	lean    bool // the limits alone: no path, no band, no shares
	undrawn bool // no dispersion: the limits that need it say nothing
}

// Run is the answer of `holdline predict`: its JSON form, and beside it what the
// text, the plot and the cockpit show.
type Run struct {
	Title          string        `json:"title"`
	SheetSHA256    string        `json:"sheet_sha256"`
	Air            RunAir        `json:"air"`
	Motors         []RunMotor    `json:"motors"`
	Cases          []RunCase     `json:"cases"`
	ThrustToWeight float64       `json:"thrust_to_weight"`
	Dispersion     RunDispersion `json:"dispersion"`
	Limits         []Limit       `json:"limits"`
	Go             bool          `json:"go"`

	LightAtZero  bool             `json:"-"`
	Problem      *sim.Problem     `json:"-"`
	Results      []sim.CaseResult `json:"-"` // in the order of Cases
	Path         []sim.Sample     `json:"-"` // the nominal run, in order of time
	Draws        sim.Dispersion   `json:"-"` // with the band of the speed and the shares
	Notes        []string         `json:"-"` // allowed, but worth saying
	StopMarginM  float64          `json:"-"`
	FrontLimitN  float64          `json:"-"` // the least front axle load that the sheet allows
	ImpulseNs    float64          `json:"-"` // of all motors together
	ClearLengthM float64          `json:"-"`
}

// RunAir is the air of the run.
type RunAir struct {
	DensityKgM3  float64 `json:"density_kg_m3"`
	TemperatureK float64 `json:"temperature_k"`
	PressurePa   float64 `json:"pressure_pa"`
}

// RunMotor is what a motor's curve gives.
type RunMotor struct {
	Class          string  `json:"class"`
	TotalImpulseNs float64 `json:"total_impulse_ns"`
	AverageThrustN float64 `json:"average_thrust_n"`
	PeakThrustN    float64 `json:"peak_thrust_n"`
	BurnTimeS      float64 `json:"burn_time_s"`
}

// RunCase is one what-if case with its outcome.
type RunCase struct {
	Name string       `json:"name"`
	Kind sim.CaseKind `json:"kind"`
	sim.Outcome
}

// RunDispersion is what the drawn runs give.
type RunDispersion struct {
	Runs               int            `json:"runs"`
	Seed               uint64         `json:"seed"`
	PeakSpeedMps       Percentiles    `json:"peak_speed_m_s"`
	StopPositionM      StopQuantiles  `json:"stop_position_m"`
	MinFrontLoad       *Percentiles   `json:"min_front_load_fraction"` // null when no run moves
	StaggerS           *TailQuantiles `json:"stagger_s"`               // null when no run fires every bridge
	OverrunProbability float64        `json:"overrun_probability"`
	OverrunUpper95     float64        `json:"overrun_probability_upper95"`
}

// Percentiles are the quantiles of a value.
type Percentiles struct {
	P05 float64 `json:"p05"`
	P50 float64 `json:"p50"`
	P95 float64 `json:"p95"`
}

// StopQuantiles are the quantiles of the stopping position in metres.
type StopQuantiles struct {
	P05  float64 `json:"p05"`
	P50  float64 `json:"p50"`
	P95  float64 `json:"p95"`
	P999 float64 `json:"p999"`
}

// TailQuantiles are the upper quantiles of a value.
type TailQuantiles struct {
	P50 float64 `json:"p50"`
	P95 float64 `json:"p95"`
	P99 float64 `json:"p99"`
}

// bandPoints is at how many distances the spread of the speed is taken.
const bandPoints = 61

// pathStepS is the interval of Run.Path: short against any burn.
const pathStepS = 0.01

// BuildRun predicts the run of a sheet. It returns the sheet's faults as far as
// they show in the run or the circuit, a case that cannot be finished, or ctx's
// error.
func BuildRun(ctx context.Context, s *sheet.Sheet, o RunOptions) (*Run, error) {
	if o.Runs == 0 {
		o.Runs = DefaultRuns
	}
	wiring := s.Circuit()
	if err := circuit.Validate(wiring); err != nil {
		return nil, err
	}
	fired := circuit.Solve(wiring)
	var lights []float64
	if !o.LightAtZero {
		lights = fired.IgnitionDelays()
	}
	p := s.Run(lights)
	runner, err := sim.NewRunner(p)
	if err != nil {
		return nil, err
	}
	results, err := runner.RunAll(sim.Cases(p))
	if err != nil {
		return nil, err
	}
	r := &Run{
		Title: s.Title, SheetSHA256: fmt.Sprintf("%x", s.SHA256), Air: RunAir(p.Air),
		ThrustToWeight: sim.ThrustToWeight(p), LightAtZero: o.LightAtZero, Problem: p, Results: results,
		Notes: sim.Notes(p), StopMarginM: s.Limits.StopMarginM, ImpulseNs: s.Installed(), ClearLengthM: p.ClearLengthM,
	}
	for i := range p.Motors {
		c := p.Motors[i].Curve
		r.Motors = append(r.Motors, RunMotor{c.Class(), c.TotalImpulseNs(), c.AverageThrustN(), c.PeakThrustN(), c.BurnTimeS()})
	}
	for _, c := range results {
		r.Cases = append(r.Cases, RunCase{c.Case.Name, c.Case.Kind, c.Outcome})
	}
	if !o.lean {
		if err := r.follow(runner); err != nil {
			return nil, err
		}
	}
	if !o.undrawn {
		if err := r.disperse(ctx, wiring, o); err != nil {
			return nil, err
		}
	}
	r.Limits = runLimits(s, r, &fired)
	r.Go = allPass(r.Limits)
	r.FrontLimitN = s.Limits.FrontLoad * sim.StandingFrontLoadN(p)
	return r, nil
}

// follow fills Path with the nominal run, thinned where it stands still.
func (r *Run) follow(runner *sim.Runner) error {
	return runner.Trace(r.Results[0].Case, pathStepS, func(s sim.Sample) error {
		if n := len(r.Path); n >= 2 && s.SpeedMps == 0 && r.Path[n-1].SpeedMps == 0 && r.Path[n-2].SpeedMps == 0 {
			r.Path[n-1] = s
			return nil
		}
		r.Path = append(r.Path, s)
		return nil
	})
}

// disperse fills Draws and Dispersion.
func (r *Run) disperse(ctx context.Context, wiring *circuit.Problem, o RunOptions) error {
	options := sim.DispersionOptions{Runs: o.Runs, Seed: o.Seed, Workers: o.Workers, Shares: !o.lean}
	if !o.lean {
		options.BandM = r.bandM()
	}
	if !o.LightAtZero {
		options.NewIgnitions = func() sim.IgnitionSource { return circuit.NewSampler(wiring) }
	}
	if o.Progress != nil {
		options.Progress = func(done, _ int) { o.Progress(done) }
	}
	d, err := sim.Disperse(ctx, r.Problem, options)
	if err != nil {
		return err
	}
	speed, stop, front, stagger := d.PeakSpeedMps, d.StopPositionM, d.MinFrontLoadFraction, d.StaggerS
	r.Draws = d
	r.Dispersion = RunDispersion{
		Runs: d.Runs, Seed: d.Seed,
		PeakSpeedMps:       Percentiles{speed.P05.Value, speed.P50.Value, speed.P95.Value},
		StopPositionM:      StopQuantiles{stop.P05.Value, stop.P50.Value, stop.P95.Value, stop.P999.Value},
		OverrunProbability: d.OverrunProbability, OverrunUpper95: d.OverrunUpper95,
	}
	if front.P50.Known {
		r.Dispersion.MinFrontLoad = &Percentiles{front.P05.Value, front.P50.Value, front.P95.Value}
	}
	if stagger.P50.Known {
		r.Dispersion.StaggerS = &TailQuantiles{stagger.P50.Value, stagger.P95.Value, stagger.P99.Value}
	}
	return nil
}

// bandM returns the distances of the band, evenly to past the nominal stopping
// position.
func (r *Run) bandM() []float64 {
	far := 1.25 * r.Cases[0].StopPositionM
	if far <= 0 {
		return nil
	}
	distances := make([]float64, bandPoints)
	for i := range distances {
		distances[i] = far * float64(i) / (bandPoints - 1)
	}
	return distances
}

// Nominal returns the nominal case.
func (r *Run) Nominal() *sim.Outcome { return &r.Cases[0].Outcome }

// gates calls visit for every case that has to meet the limits: nominal and
// every single fault.
func (r *Run) gates(visit func(c *sim.CaseResult)) {
	for i := range r.Results {
		if c := &r.Results[i]; c.Case.Kind == sim.CaseNominal || c.Case.SingleFault() {
			visit(c)
		}
	}
}

// worst returns the largest value over the gates and the case that has it, of
// those that differ by rounding alone the first; NaN and "" when no case has
// one.
func (r *Run) worst(value func(c *sim.CaseResult) sim.Maybe) (float64, string) {
	const rounding = 1e-9
	most, named, where := math.NaN(), math.NaN(), ""
	r.gates(func(c *sim.CaseResult) {
		v := value(c)
		if v.Known && !(v.Value <= most) {
			most = v.Value
		}
		if v.Known && !(v.Value <= named+rounding*math.Abs(named)) {
			named, where = v.Value, c.Case.Name
		}
	})
	return most, where
}

// least returns the smallest value over the gates, as worst does.
func (r *Run) least(value func(c *sim.CaseResult) sim.Maybe) (float64, string) {
	most, where := r.worst(func(c *sim.CaseResult) sim.Maybe {
		v := value(c)
		v.Value = -v.Value
		return v
	})
	return -most, where
}
