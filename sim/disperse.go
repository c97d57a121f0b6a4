package sim

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"

	"holdline/sim/draws"
)

// IgnitionSource draws the ignition delays of one firing.
type IgnitionSource interface {
	// Draw fills the ignition delay of each motor in seconds, +Inf for one that
	// misfires, and returns the stagger of the firing and whether every
	// bridge fired. It must take all its randomness from rng.
	Draw(rng *rand.Rand, lights []float64) (staggerS float64, allFire bool)
}

// DispersionOptions says how many runs to make and from what.
type DispersionOptions struct {
	Runs    int
	Seed    uint64
	Workers int // 0: one for each processor; the caller's goroutine is one of them
	// NewIgnitions returns a source of ignition delays for one worker. nil: every
	// motor lights at its own IgnitionDelayS.
	NewIgnitions func() IgnitionSource
	// BandM are distances, increasing, at which the spread of the speed is
	// wanted. It is taken over the first bandRuns runs.
	BandM []float64
	// Shares asks for the list of what moves the stopping position most.
	Shares bool
	// Progress, when not nil, is told how many runs are done. It is called by
	// one worker at a time.
	Progress func(done, total int)
}

// Dispersion is what many runs with drawn values show.
type Dispersion struct {
	Runs int
	Seed uint64

	PeakSpeedMps         Quantiles
	StopPositionM        Quantiles // a run that never moves counts with 0, one out of bounds with 20 km
	MinFrontLoadFraction Quantiles // over the runs that move
	StaggerS             Quantiles // over the runs in which every bridge fires

	Overruns           int // runs at rest beyond the cleared length, or out of bounds
	OverrunProbability float64
	OverrunUpper95     float64 // one-sided 95 % Clopper–Pearson bound

	NeverMoved  int
	OutOfBounds int
	Airborne    int
	AllFired    int // runs in which every bridge fires

	Band   []BandPoint
	Shares []VarianceShare
}

// BandPoint is the spread of the speed at a distance; a run that does not
// reach it counts with 0.
type BandPoint struct {
	DistanceM     float64
	P05, P50, P95 float64 // m/s
}

const (
	maxRuns   = 10_000_000
	bandRuns  = 2_000
	drawLimit = 4 // normal draws beyond it are drawn again
	// dispersionTerm is the accuracy of a dispersion's runs, far below its spread.
	dispersionTerm = 1e-10
)

// Disperse makes opts.Runs runs of p with drawn values and ignition delays. The
// answer depends on p, the runs and the seed alone, not on the workers. When ctx
// is cancelled it returns ctx's error. No goroutine outlives the call.
func Disperse(ctx context.Context, p *Problem, opts DispersionOptions) (Dispersion, error) {
	if opts.Runs < 1 || opts.Runs > maxRuns {
		return Dispersion{}, fmt.Errorf("sim: dispersion: %d runs, expected 1 to %d", opts.Runs, maxRuns)
	}
	if !slices.IsSorted(opts.BandM) {
		return Dispersion{}, errors.New("sim: dispersion: the band's distances do not increase")
	}
	workers := opts.Workers
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	runners := make([]*disperser, draws.Workers(workers, opts.Runs))
	tally := newTally(opts)
	for i := range runners {
		runner, err := NewRunner(p)
		if err != nil {
			return Dispersion{}, err
		}
		runners[i] = newDisperser(runner, opts, tally)
	}
	progress := func(done int) {
		if opts.Progress != nil {
			opts.Progress(done, opts.Runs)
		}
	}
	newWorker := func(w int) func(int) { return runners[w].run }
	if err := draws.Each(ctx, opts.Runs, len(runners), newWorker, progress); err != nil {
		return Dispersion{}, fmt.Errorf("sim: dispersion: %w", err)
	}
	dispersion := tally.dispersion(opts, runners)
	if opts.Shares {
		dispersion.Shares = runners[0].shares()
	}
	return dispersion, nil
}

// tally has one place for each run, so that the order in which workers come
// to them does not matter.
type tally struct {
	speed, rest, front, stagger []float64 // front and stagger NaN where there is none
	band                        [][]float64
}

func newTally(opts DispersionOptions) *tally {
	t := &tally{
		speed: make([]float64, opts.Runs), rest: make([]float64, opts.Runs),
		front: make([]float64, opts.Runs), stagger: make([]float64, opts.Runs),
		band: make([][]float64, len(opts.BandM)),
	}
	for i := range t.band {
		t.band[i] = make([]float64, min(opts.Runs, bandRuns))
	}
	return t
}

func (t *tally) dispersion(opts DispersionOptions, runners []*disperser) Dispersion {
	d := Dispersion{Runs: opts.Runs, Seed: opts.Seed}
	for _, r := range runners {
		d.Overruns += r.overruns
		d.NeverMoved += r.neverMoved
		d.OutOfBounds += r.outOfBounds
		d.Airborne += r.airborne
		d.AllFired += r.allFired
	}
	d.PeakSpeedMps, d.StopPositionM = quantilesOf(t.speed), quantilesOf(t.rest)
	d.MinFrontLoadFraction = quantilesOf(slices.DeleteFunc(t.front, math.IsNaN))
	d.StaggerS = quantilesOf(slices.DeleteFunc(t.stagger, math.IsNaN))
	d.OverrunProbability = float64(d.Overruns) / float64(d.Runs)
	d.OverrunUpper95 = draws.Upper95(d.Overruns, d.Runs)
	for i, speeds := range t.band {
		q := quantilesOf(speeds)
		d.Band = append(d.Band, BandPoint{opts.BandM[i], q.P05.Value, q.P50.Value, q.P95.Value})
	}
	return d
}

// disperser makes a worker's share of the runs.
type disperser struct {
	*Runner
	source *rand.PCG
	rng    *rand.Rand
	lamp   IgnitionSource
	seed   uint64
	band   []float64
	tally  *tally

	overruns, neverMoved, outOfBounds, airborne, allFired int
	clearM                                                float64
	bandRun, bandNext                                     int
}

func newDisperser(r *Runner, opts DispersionOptions, t *tally) *disperser {
	d := &disperser{Runner: r, source: rand.NewPCG(0, 0), seed: opts.Seed, band: opts.BandM, tally: t, clearM: r.p.ClearLengthM}
	d.rng = rand.New(d.source)
	if opts.NewIgnitions != nil {
		d.lamp = opts.NewIgnitions()
	}
	// Where nothing is drawn, the answer is the nominal run.
	d.lean = opts.NewIgnitions != nil || r.p.Spread != Spread{}
	d.skipYaw, d.least = r.p.Guide == nil, dispersionTerm
	return d
}

// reseed starts the random stream of a run, which depends on nothing else.
func (d *disperser) reseed(run uint64) {
	d.source.Seed(draws.Mix(d.seed), draws.Mix(draws.Mix(d.seed)^run))
}

// normal draws from the standard normal distribution, again beyond ±4.
func (d *disperser) normal() float64 {
	for {
		if z := d.rng.NormFloat64(); z >= -drawLimit && z <= drawLimit {
			return z
		}
	}
}

// run makes run number run and takes its values into the tally.
func (d *disperser) run(run int) {
	d.reseed(uint64(run))
	d.draw()
	staggerS, allFire := d.drawLights()
	d.bandRun = run
	d.bandNext = 0
	if len(d.band) > 0 && run < bandRuns {
		d.visit = d.takeBand
	} else {
		d.visit = nil
	}
	err := d.Runner.run()
	t := d.tally
	t.speed[run], t.rest[run] = d.out.PeakSpeedMps, d.out.StopPositionM
	switch {
	case err != nil:
		d.outOfBounds++
		d.overruns++
		t.rest[run] = MaxRunLengthM
	case d.out.StopPositionM > d.clearM:
		d.overruns++
	}
	if !d.started {
		d.neverMoved++
	}
	if d.out.Airborne {
		d.airborne++
	}
	t.front[run] = math.NaN()
	if d.out.MinFrontLoadFraction.Known {
		t.front[run] = d.out.MinFrontLoadFraction.Value
	}
	t.stagger[run] = math.NaN()
	if allFire {
		d.allFired++
		t.stagger[run] = staggerS
	}
}

// draw sets what the vehicle, the motors, the wind and the devices draw.
func (d *disperser) draw() {
	p, s := &d.p, &d.p.Spread
	factor := func(sigma float64) float64 {
		if sigma == 0 {
			return 1
		}
		return 1 + sigma*d.normal()
	}
	lot := factor(s.ThrustLot)
	for i := range d.scale {
		d.scale[i] = lot * factor(s.ThrustMotor)
	}
	d.drag = d.dragNominal * factor(s.Drag)
	d.rolling = p.Vehicle.RollingResistance * factor(s.Rolling)
	d.mass0 = p.Vehicle.MassKg * factor(s.Mass)
	d.wind = p.HeadwindMps
	if s.WindMps > 0 {
		d.wind += s.WindMps * d.normal()
	}
	for i := range d.delay {
		stop := &p.Stops[i]
		d.delay[i] = stop.DelayS
		if s.StopDelayS > 0 && (stop.Kind == WheelBrake || stop.Kind == Chute) {
			d.delay[i] = max(stop.DelayS+s.StopDelayS*d.normal(), 0)
		}
		d.absent[i] = s.StopFails > 0 && d.rng.Float64() < s.StopFails
	}
}

// drawLights sets the ignition delays, and makes the silent motors silent.
func (d *disperser) drawLights() (staggerS float64, allFire bool) {
	if d.lamp != nil {
		staggerS, allFire = d.lamp.Draw(d.rng, d.lights)
	} else {
		staggerS, allFire = d.ownLights()
	}
	if silent := d.p.Spread.MotorSilent; silent > 0 {
		for i := range d.lights {
			if d.rng.Float64() < silent {
				d.lights[i] = math.Inf(1)
			}
		}
	}
	return staggerS, allFire
}

func (d *disperser) ownLights() (staggerS float64, allFire bool) {
	first, last := math.Inf(1), math.Inf(-1)
	for i := range d.lights {
		d.lights[i] = d.p.Motors[i].IgnitionDelayS
		first, last = min(first, d.lights[i]), max(last, d.lights[i])
	}
	if math.IsInf(last, 1) {
		return 0, false
	}
	return last - first, true
}

// takeBand takes the speed at the band's distances from a span of the run.
func (d *disperser) takeBand(r *Runner, _ float64) error {
	s := &r.step
	for d.moving && d.bandNext < len(d.band) && d.band[d.bandNext] <= s.xEnd {
		speed := r.v
		if at := d.band[d.bandNext]; at > r.x {
			c := s.x
			c[0] -= at
			speed = s.v.at(s.degree, c.crossing(s.degree, 0, 1))
		}
		d.tally.band[d.bandNext][d.bandRun] = max(speed, 0)
		d.bandNext++
	}
	return nil
}

// Quantiles are the reported quantiles of a value over the runs, each unknown
// when no run has the value. Which of them are reported depends on the value.
type Quantiles struct {
	P05, P50, P95, P99, P999 Maybe
}

// quantilesOf sorts values and returns their quantiles.
func quantilesOf(values []float64) Quantiles {
	if len(values) == 0 {
		return Quantiles{}
	}
	slices.Sort(values)
	at := func(q float64) Maybe { return Some(draws.Quantile(values, q)) }
	return Quantiles{P05: at(0.05), P50: at(0.5), P95: at(0.95), P99: at(0.99), P999: at(0.999)}
}
