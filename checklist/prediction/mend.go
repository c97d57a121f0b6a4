package prediction

import (
	"context"
	"errors"
	"slices"

	"holdline/checklist/sheet"
	"holdline/checklist/sheet/unit"
	"holdline/sim"
	"holdline/sim/circuit"
)

// MendOptions says how to look for what makes a sheet a go. With the runs and
// the seed of a prediction the answers are the prediction's own.
type MendOptions struct {
	Runs     int // DefaultRuns when 0
	Seed     uint64
	Workers  int
	Units    unit.System         // that the values searched are written in
	Progress func(share float64) // of the work done; may be nil
}

func (o *MendOptions) tell(share float64) {
	if o.Progress != nil {
		o.Progress(min(share, 1))
	}
}

// limitRest stands for a run that does not end.
const limitRest = "the vehicle comes to rest"

// failing names the limits of run and circuit that a sheet does not keep, each
// once; none means go. Without draws the limits that rest on them are not
// looked at, which is about a thousand times cheaper.
func failing(ctx context.Context, s *sheet.Sheet, o MendOptions, drawn bool) ([]string, error) {
	if o.Runs == 0 {
		o.Runs = DefaultRuns
	}
	run, err := BuildRun(ctx, s, RunOptions{Runs: o.Runs, Seed: o.Seed, Workers: o.Workers, lean: true, undrawn: !drawn})
	var endless *sim.UnfinishedError
	if errors.As(err, &endless) {
		return []string{limitRest}, nil
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
		rests := l.Name == limitOverrun || l.Name == limitStagger || l.Name == limitAllLight
		if !l.Pass && (drawn || !rests) && !slices.Contains(names, l.Name) {
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
	Failing []string // the limits that it does not keep
}

// MotorCounts tries a sheet with all its motors, then with one after the other
// left out, each time the one without which the thrust pulls least to one
// side. The vehicle's mass stays what the sheet says: it is to be weighed
// again.
func MotorCounts(ctx context.Context, s *sheet.Sheet, o MendOptions) ([]MotorCount, error) {
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
	best, bestPull, bestOut := -1, 0.0, 0.0
	for i := range s.Motors {
		if slices.Contains(out, i) {
			continue
		}
		pull := 0.0
		for _, m := range without(s, append(slices.Clone(out), i)).Motors {
			pull += m.LateralM * m.Curve.TotalImpulseNs()
		}
		pull = max(pull, -pull)
		outer := max(s.Motors[i].LateralM, -s.Motors[i].LateralM)
		const alike = 1e-12
		if best < 0 || pull < bestPull-alike || pull < bestPull+alike && outer >= bestOut-alike {
			best, bestPull, bestOut = i, pull, outer
		}
	}
	return best
}
