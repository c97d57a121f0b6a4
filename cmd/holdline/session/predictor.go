package session

import (
	"context"
	"sync"
	"sync/atomic"

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

// predicted is one prediction with what it rests on.
type predicted struct {
	run     *prediction.Run
	circuit *prediction.Circuit
	of      measured
	err     error
}

// computer makes one prediction; share tells how much of it is done.
type computer func(ctx context.Context, s *sheet.Sheet, of measured, share func(float64)) predicted

// predictor computes in the background, one prediction at a time, on a thread
// that gives way to all else; a newer wish ends the one under way.
type predictor struct {
	compute computer
	deliver func(predicted)
	share   func(float64)

	mu     sync.Mutex // held by those who want or stop, never by who computes
	cancel context.CancelFunc
	number atomic.Int64 // of the newest wish, or of the end
	done   sync.WaitGroup
	over   bool
}

// want starts a prediction of s with the values of the day.
func (p *predictor) want(s *sheet.Sheet, of measured) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.over {
		return
	}
	if p.cancel != nil {
		p.cancel()
	}
	ctx, cancel := context.WithCancel(context.Background())
	p.cancel = cancel
	number := p.number.Add(1)
	p.done.Go(func() {
		defer cancel()
		giveWay()
		answer := p.compute(ctx, s, of, func(done float64) {
			if p.newest(number) {
				p.share(done)
			}
		})
		if p.newest(number) {
			p.deliver(answer)
		}
	})
}

func (p *predictor) newest(number int64) bool { return p.number.Load() == number }

// stop ends what is under way and waits for it.
func (p *predictor) stop() {
	p.mu.Lock()
	p.over = true
	p.number.Add(1)
	if p.cancel != nil {
		p.cancel()
	}
	p.mu.Unlock()
	p.done.Wait()
}

// with returns the sheet with the values of the day in their places. The
// sheet itself is left as it is.
func (of measured) with(s *sheet.Sheet) *sheet.Sheet {
	day := *s
	if of.headwindMps != nil {
		day.Site.HeadwindMps = *of.headwindMps
	}
	if of.massKg != nil {
		day.Vehicle.MassKg = *of.massKg
	}
	if of.batteryV != nil {
		day.Firing.Battery.VoltageV = *of.batteryV
	}
	if of.testA != nil {
		day.Firing.TestCurrentA = *of.testA
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
