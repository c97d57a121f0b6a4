package circuit

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"holdline/sim/draws"
)

// Quantiles of a sample, linear between order statistics.
type Quantiles struct{ P50, P95, P99 float64 }

// Cause is why a motor misfired or last in a draw.
type Cause int

// The causes, each found by asking again without it: Robbed, had no bridge
// shorted; HighThreshold, had its threshold been the median; WeakCurrent, what
// remains. SlowPressure is a bridge in time and a motor slow to come up.
const (
	WeakCurrent Cause = iota
	HighThreshold
	Robbed
	SlowPressure
	causes
)

// String returns the cause as people read it.
func (c Cause) String() string {
	switch c {
	case HighThreshold:
		return "high threshold"
	case Robbed:
		return "robbed by a shorted bridge"
	case SlowPressure:
		return "slow pressurisation"
	default:
		return "weak current"
	}
}

// Tally counts, for one motor, the draws in which it misfired and those in
// which all lit and it was the last, by cause.
type Tally struct {
	Misfires, Last     int
	MisfiresBy, LastBy [causes]int
}

// MainCause returns the commonest cause in by, and how many draws it counts.
func MainCause(by [causes]int) (Cause, int) {
	best := Cause(0)
	for c := range by {
		if by[c] > by[best] {
			best = Cause(c)
		}
	}
	return best, by[best]
}

// Dispersion is what many draws of the circuit give.
type Dispersion struct {
	Runs     int
	Seed     uint64
	AllLight int // draws in which every bridge fires within the pulse

	Probability float64 // AllLight / Runs
	Lower95     float64 // one-sided 95 % Clopper–Pearson lower bound of it

	StaggerS *Quantiles // over the draws in which all light; nil without any
	Motors   []Tally    // in the problem's order
}

// MisfiresMost returns the motor that most often misfires, or −1 when none ever is.
func (d *Dispersion) MisfiresMost() int {
	return d.most(func(t *Tally) int { return t.Misfires })
}

// LastMost returns the motor that is most often the last to light, or −1 when
// there is only one or all never light together.
func (d *Dispersion) LastMost() int {
	return d.most(func(t *Tally) int { return t.Last })
}

func (d *Dispersion) most(count func(*Tally) int) int {
	best, bestCount := -1, 0
	for k := range d.Motors {
		if n := count(&d.Motors[k]); n > bestCount {
			best, bestCount = k, n
		}
	}
	return best
}

// DisperseOptions says how to disperse.
type DisperseOptions struct {
	Runs     int // above 0
	Seed     uint64
	Workers  int            // the caller's goroutine and others, none of which outlives the call; 1 when not above 0
	Progress func(done int) // draws done so far, never called by two goroutines at once; may be nil
}

// Disperse makes many draws of p, each from a generator of its own seeded by
// the seed and the draw's number, so that the answer depends on neither the
// workers nor their order. It returns ctx's error when that ends first.
func Disperse(ctx context.Context, p *Problem, o DisperseOptions) (Dispersion, error) {
	if o.Runs <= 0 {
		return Dispersion{}, fmt.Errorf("circuit: disperse: %d runs: must be above 0", o.Runs)
	}
	if len(p.Igniters) == 0 {
		return Dispersion{}, errors.New("circuit: disperse: no motor")
	}
	staggers := make([]float64, o.Runs) // +Inf for a draw with a misfire
	tallies := make([][]Tally, draws.Workers(o.Workers, o.Runs))
	for w := range tallies {
		tallies[w] = make([]Tally, len(p.Igniters))
	}
	newWorker := func(w int) func(int) {
		d := newDisperser(p, o.Seed, tallies[w])
		return func(run int) { staggers[run] = d.one(uint64(run)) }
	}
	if err := draws.Each(ctx, o.Runs, len(tallies), newWorker, o.Progress); err != nil {
		return Dispersion{}, err
	}
	return gather(o, staggers, tallies), nil
}

// gather joins what the workers found.
func gather(o DisperseOptions, staggers []float64, tallies [][]Tally) Dispersion {
	d := Dispersion{Runs: o.Runs, Seed: o.Seed, Motors: make([]Tally, len(tallies[0]))}
	for _, tally := range tallies {
		for k := range tally {
			d.Motors[k].add(&tally[k])
		}
	}
	slices.Sort(staggers)
	d.AllLight, _ = slices.BinarySearch(staggers, math.Inf(1))
	d.Probability = float64(d.AllLight) / float64(o.Runs)
	d.Lower95 = draws.Lower95(d.AllLight, o.Runs)
	if lit := staggers[:d.AllLight]; len(lit) > 0 {
		d.StaggerS = &Quantiles{P50: draws.Quantile(lit, 0.50), P95: draws.Quantile(lit, 0.95), P99: draws.Quantile(lit, 0.99)}
	}
	return d
}

func (t *Tally) add(o *Tally) {
	t.Misfires += o.Misfires
	t.Last += o.Last
	for c := range t.MisfiresBy {
		t.MisfiresBy[c] += o.MisfiresBy[c]
		t.LastBy[c] += o.LastBy[c]
	}
}

// disperser is one worker's state.
type disperser struct {
	sampler *Sampler
	pcg     rand.PCG
	rng     *rand.Rand
	seed    uint64
	lights  []float64
	tally   []Tally
}

func newDisperser(p *Problem, seed uint64, tally []Tally) *disperser {
	d := &disperser{sampler: NewSampler(p), seed: seed, lights: make([]float64, len(p.Igniters)), tally: tally}
	d.rng = rand.New(&d.pcg)
	return d
}

// one makes one draw, counts it, and returns its stagger in seconds, +Inf when
// a motor misfires.
func (d *disperser) one(run uint64) float64 {
	d.pcg.Seed(d.seed, draws.Mix(run))
	staggerS, allFire := d.sampler.Draw(d.rng, d.lights)
	if !allFire {
		for k, light := range d.lights {
			if math.IsInf(light, 1) {
				d.tally[k].Misfires++
				d.tally[k].MisfiresBy[d.sampler.misfireBy(k)]++
			}
		}
		return math.Inf(1)
	}
	if len(d.lights) > 1 {
		last := 0
		for k, light := range d.lights {
			if light > d.lights[last] {
				last = k
			}
		}
		d.tally[last].Last++
		d.tally[last].LastBy[d.sampler.lastBy(last, staggerS)]++
	}
	return staggerS
}

// retry solves the last draw again with no bridge shorting, or with motor k's
// threshold at its median, and returns when bridge k fires.
func (s *Sampler) retry(k int, noShorts, median bool) float64 {
	for i := range s.net.bridges {
		sp, b := &s.spreads[i], &s.trial.bridges[i]
		*b = s.net.bridges[i]
		b.siemens = s.drawn[i]
		if noShorts {
			b.afterSiemens = 0
		}
		if median && i == k {
			b.perA2 = math.Exp(-2 * sp.lnAmps)
		}
	}
	s.trial.reset()
	s.trial.run(s.pulseS)
	return s.trial.bridges[k].firesS
}

// misfireBy returns why motor k misfired in the last draw.
func (s *Sampler) misfireBy(k int) Cause {
	switch {
	case s.shorted() && !math.IsInf(s.retry(k, true, false), 1):
		return Robbed
	case !math.IsInf(s.retry(k, false, true), 1):
		return HighThreshold
	default:
		return WeakCurrent
	}
}

// lastBy returns why motor k was the last to light in the last draw: its
// pressurisation, unless its bridge fired so late after the first one that this
// makes most of the stagger; then whichever of shorts and threshold, taken
// away, mends most of that, and weak current when neither mends half.
func (s *Sampler) lastBy(k int, staggerS float64) Cause {
	firstS := math.Inf(1)
	for i := range s.net.bridges {
		firstS = min(firstS, s.net.bridges[i].firesS)
	}
	lag := s.net.bridges[k].firesS - firstS
	if lag <= staggerS/2 {
		return SlowPressure
	}
	saved := func(noShorts, median bool) float64 { return s.net.bridges[k].firesS - s.retry(k, noShorts, median) }
	byShorts := 0.0
	if s.shorted() {
		byShorts = saved(true, false)
	}
	byThreshold := saved(false, true)
	switch {
	case byShorts >= lag/2 && byShorts >= byThreshold:
		return Robbed
	case byThreshold >= lag/2:
		return HighThreshold
	default:
		return WeakCurrent
	}
}

// shorted reports whether a bridge of the last draw shorted on firing.
func (s *Sampler) shorted() bool {
	for k := range s.net.bridges {
		if b := &s.net.bridges[k]; b.fired && b.afterSiemens > 0 {
			return true
		}
	}
	return false
}
