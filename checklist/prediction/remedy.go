package prediction

import (
	"context"
	"errors"
	"math"
	"slices"

	"holdline/checklist/sheet"
	"holdline/checklist/sheet/unit"
	"holdline/sim"
	"holdline/sim/circuit"
)

// RemedyOptions says how to look for what makes a sheet a go. With the runs and
// the seed of a prediction the answers are the prediction's own.
type RemedyOptions struct {
	Runs     int // DefaultRuns when 0
	Seed     uint64
	Workers  int
	Units    unit.System         // that the values searched are written in
	Progress func(share float64) // of the work done; may be nil
}

func (o *RemedyOptions) tell(share float64) {
	if o.Progress != nil {
		o.Progress(min(share, 1))
	}
}

// limitComesToRest stands for a run that does not end.
const limitComesToRest = "the vehicle comes to rest"

// failing names the limits of run and circuit that a sheet fails, each once;
// none means go. Without draws the limits that depend on them are left out,
// which is about a thousand times faster.
func failing(ctx context.Context, s *sheet.Sheet, o RemedyOptions, drawn bool) ([]string, error) {
	if o.Runs == 0 {
		o.Runs = DefaultRuns
	}
	run, err := BuildRun(ctx, s, RunOptions{Runs: o.Runs, Seed: o.Seed, Workers: o.Workers, lean: true, undrawn: !drawn})
	var endless *sim.UnfinishedError
	if errors.As(err, &endless) {
		return []string{limitComesToRest}, nil
	}
	if err != nil {
		return nil, err
	}
	wiring := s.Circuit()
	sol := circuit.Solve(wiring)
	var draws circuit.Dispersion
	if drawn {
		draws, err = circuit.Disperse(ctx, wiring, circuit.DisperseOptions{Runs: o.Runs, Seed: o.Seed, Workers: o.Workers})
		if err != nil {
			return nil, err
		}
	}
	var names []string
	for _, l := range slices.Concat(run.Limits, circuitLimits(wiring, &sol, &draws)) {
		needsDraws := l.Name == limitOverrun || l.Name == limitStagger || l.Name == limitAllLight
		if !l.Pass && (drawn || !needsDraws) && !slices.Contains(names, l.Name) {
			names = append(names, l.Name)
		}
	}
	return names, ctx.Err()
}

// MotorCount is a sheet with so many of its motors.
type MotorCount struct {
	Motors  int
	Out     []int // the motors left out, by index
	Go      bool
	Failing []string // limits
}

// MotorCounts tries a sheet with all its motors, then with one after the other
// left out, each time the one without which the thrust pulls least to one
// side. The vehicle's mass stays what the sheet says: it is to be weighed
// again.
func MotorCounts(ctx context.Context, s *sheet.Sheet, o RemedyOptions) ([]MotorCount, error) {
	var out []int
	var counts []MotorCount
	for n := len(s.Motors); n > 0; n-- {
		fewer := without(s, out)
		names, err := failing(ctx, fewer, o, false)
		if err == nil && len(names) == 0 {
			names, err = failing(ctx, fewer, o, true)
		}
		if err != nil {
			return nil, err
		}
		counts = append(counts, MotorCount{Motors: n, Out: slices.Sorted(slices.Values(out)), Go: len(names) == 0, Failing: names})
		o.tell(float64(len(counts)) / float64(len(s.Motors)))
		if n > 1 {
			out = append(out, leastPull(s, out))
		}
	}
	return counts, nil
}

// without is a sheet without some of its motors.
func without(s *sheet.Sheet, out []int) *sheet.Sheet {
	fewer := *s
	fewer.Motors = nil
	for i, m := range s.Motors {
		if !slices.Contains(out, i) {
			fewer.Motors = append(fewer.Motors, m)
		}
	}
	return &fewer
}

// leastPull is the motor, of those not yet out, without which the impulse is
// nearest to the middle; of several the outermost, then the last.
func leastPull(s *sheet.Sheet, out []int) int {
	moment := func(m sheet.Motor) float64 { return m.LateralM * m.Curve.TotalImpulseNs() }
	sum := 0.0
	for _, m := range without(s, out).Motors {
		sum += moment(m)
	}
	const alike = 1e-12
	best, bestPull, bestOuter := -1, 0.0, 0.0
	for i, m := range s.Motors {
		pull, outer := math.Abs(sum-moment(m)), math.Abs(m.LateralM)
		nearer := best < 0 || pull < bestPull-alike || pull < bestPull+alike && outer >= bestOuter-alike
		if nearer && !slices.Contains(out, i) {
			best, bestPull, bestOuter = i, pull, outer
		}
	}
	return best
}
