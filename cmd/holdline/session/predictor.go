package session

import (
	"context"
	"errors"
	"fmt"
	"sync"

	"holdline/checklist/prediction"
	"holdline/checklist/sheet"
)

// seed of every prediction of a session, so that the same sheet gives the same
// answer and the record can name it.
const seed = 1

// measured are the values of the day that a prediction takes instead of the
// sheet's; nil for one that was not measured.
type measured struct {
	headwindMps *float64
	massKg      *float64
	batteryV    *float64
	testA       *float64 // what the box says of itself, where that is more than the sheet's
}

// predicted is one prediction with what it rests on. The zero value is none.
type predicted struct {
	run     *prediction.Run
	circuit *prediction.Circuit
	of      measured
	err     error
}

// restsOn reports a prediction that was made with these values, well or not.
func (p *predicted) restsOn(now measured) bool {
	return (p.run != nil || p.err != nil) && p.of.same(now)
}

// good reports a prediction that says go.
func (p *predicted) good() bool { return p.err == nil && p.run != nil && p.run.Go && p.circuit.Go }

// computer makes one prediction; share tells how much of it is done.
type computer func(ctx context.Context, day *sheet.Sheet, share func(float64)) predicted

// predictor computes in the background, one prediction at a time.
type predictor struct {
	compute computer
	deliver func(predicted)
	share   func(float64)

	cancel context.CancelFunc // of the newest, nil for none
	done   sync.WaitGroup
}

// start begins a prediction of s with the values of the day, and ends the one
// under way.
func (p *predictor) start(s *sheet.Sheet, of measured) {
	p.stop()
	ctx, cancel := context.WithCancel(context.Background())
	p.cancel = cancel
	p.done.Go(func() {
		defer cancel()
		got := p.compute(ctx, of.with(s), func(done float64) {
			if ctx.Err() == nil {
				p.share(done)
			}
		})
		if got.of = of; ctx.Err() == nil {
			p.deliver(got)
		}
	})
}

// stop ends the prediction under way, which delivers nothing then.
func (p *predictor) stop() {
	if p.cancel != nil {
		p.cancel()
	}
}

// compute predicts the run and the circuit of the day. One worker leaves the
// other processors to the driver.
func compute(ctx context.Context, day *sheet.Sheet, share func(float64)) predicted {
	const runs = prediction.DefaultRuns
	told := func(from float64) func(int) {
		return func(done int) { share(from + 0.5*float64(done)/runs) }
	}
	share(0.01)
	circuit, err := prediction.BuildCircuit(ctx, day.Title, fmt.Sprintf("%x", day.SHA256), day.Circuit(),
		prediction.CircuitOptions{Runs: runs, Seed: seed, Workers: 1, Progress: told(0)})
	if err != nil {
		return predicted{err: err}
	}
	run, err := prediction.BuildRun(ctx, day, prediction.RunOptions{Runs: runs, Seed: seed, Workers: 1, Progress: told(0.5)})
	if err == nil && run == nil {
		err = errors.New("no prediction")
	}
	return predicted{run: run, circuit: circuit, err: err}
}

// with returns the sheet with the values of the day in their places. The
// sheet itself is left as it is.
func (of measured) with(s *sheet.Sheet) *sheet.Sheet {
	day := *s
	for _, v := range []struct {
		from *float64
		to   *float64
	}{
		{of.headwindMps, &day.Site.HeadwindMps},
		{of.massKg, &day.Vehicle.MassKg},
		{of.batteryV, &day.Firing.Battery.VoltageV},
		{of.testA, &day.Firing.TestCurrentA},
	} {
		if v.from != nil {
			*v.to = *v.from
		}
	}
	return &day
}

func (of measured) same(other measured) bool {
	return sameValue(of.headwindMps, other.headwindMps) && sameValue(of.massKg, other.massKg) &&
		sameValue(of.batteryV, other.batteryV) && sameValue(of.testA, other.testA)
}

func sameValue(a, b *float64) bool {
	if a == nil || b == nil {
		return a == b
	}
	return *a == *b
}
