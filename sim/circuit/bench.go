package circuit

import (
	"math"
	"math/rand/v2"
)

// Bench is the circuit on the bench: it is closed and opened over time, and
// bridges heat, cool and fire as they would. Nothing here is real; it serves
// practice and tests. It is not safe for concurrent use.
type Bench struct {
	problem Problem
	net     network
	delayS  []float64 // pressurisation of each motor
	closed  bool
	shunt   bool
}

// NewBench returns a cold bench of p. With draws nil every value is nominal;
// otherwise resistances, thresholds, shorts and pressurisation are drawn as one
// draw of [Sampler], with the battery at its highest internal resistance.
// p must be one that Validate accepts; it is copied.
func NewBench(p *Problem, draws *rand.Rand) *Bench {
	b := &Bench{problem: *p}
	b.problem.Igniters = append([]Igniter(nil), p.Igniters...)
	n := len(p.Igniters)
	b.delayS = make([]float64, n)
	if draws != nil {
		s := NewSampler(p)
		s.draw(draws)
		b.net = s.net
		b.problem.Battery.InternalOhm = p.Battery.HighestInternalOhm
		copy(b.delayS, s.delayS)
		b.net.reset()
		return b
	}
	b.net = network{emfV: p.Battery.VoltageV, sourceOhm: p.SourceOhm(), bridges: make([]bridge, n)}
	for k := range p.Igniters {
		b.net.bridges[k] = p.Igniters[k].nominal(p.BranchLeadOhm(k))
		b.delayS[k] = p.Igniters[k].PressureMeanS
	}
	return b
}

// Advance lets dtS pass with the circuit closed or open. A bridge that fires
// inside the step does so at its exact time. A dtS that is not above 0 only
// sets the switch.
func (b *Bench) Advance(dtS float64, closed bool) {
	b.closed = closed
	if !(dtS > 0) || math.IsInf(dtS, 1) {
		return
	}
	if !closed || b.shunt {
		b.net.coolFor(dtS)
		return
	}
	endS := b.net.timeS + dtS
	for {
		waitS, next := b.net.settle()
		if next < 0 || b.net.timeS+waitS > endS {
			b.net.heatFor(max(endS-b.net.timeS, 0))
			b.net.timeS = endS
			return
		}
		b.net.heatFor(waitS)
		b.net.fire(next)
	}
}

// CurrentA returns the current out of the battery in amperes.
func (b *Bench) CurrentA() float64 {
	switch {
	case !b.closed:
		return 0
	case b.shunt: // across the box's end of the firing lead
		return b.net.emfV / (b.problem.Battery.InternalOhm + b.problem.SwitchOhm + minShuntOhm)
	}
	sum := 0.0
	for k := range b.net.bridges {
		sum += b.net.bridges[k].siemens
	}
	return b.net.busV() * sum
}

// minShuntOhm is the resistance of a closed shunt.
const minShuntOhm = 1e-3

// BatteryV returns the voltage at the battery's terminals.
func (b *Bench) BatteryV() float64 {
	return b.net.emfV - b.CurrentA()*b.problem.Battery.InternalOhm
}

// VoltageV returns the voltage of the firing bus: behind the button, before
// the firing lead; 0 with the circuit open.
func (b *Bench) VoltageV() float64 {
	if !b.closed {
		return 0
	}
	return b.BatteryV() - b.CurrentA()*b.problem.SwitchOhm
}

// Resistance returns channel k in ohms as the meter at the hold line shows it:
// lead and contacts (none for a nulled meter), branch lead and bridge. +Inf
// when open; the shunt, while it is on, hides every channel.
func (b *Bench) Resistance(k int) float64 {
	if b.shunt {
		return minShuntOhm
	}
	g := b.net.bridges[k].siemens
	if g == 0 {
		return math.Inf(1)
	}
	return 1/g + b.problem.meterWiringOhm()
}

// Fired returns when bridge k fired on the bench's clock, and whether it did.
func (b *Bench) Fired(k int) (timeS float64, fired bool) {
	br := &b.net.bridges[k]
	return br.firesS, br.fired
}

// Lights returns when motor k lights on the bench's clock, in seconds, and
// whether its bridge has fired.
func (b *Bench) Lights(k int) (timeS float64, fired bool) {
	br := &b.net.bridges[k]
	return br.firesS + b.delayS[k], br.fired
}

// Break opens channel k as a nicked lead does: its bridge stays unfired.
func (b *Bench) Break(k int) { b.net.bridges[k].siemens = 0 }

// ShortBridge puts a short of ohm ohms across bridge k, which takes its
// current and leaves it cold: it can fire no more. The branch lead remains.
func (b *Bench) ShortBridge(k int, ohm float64) {
	br := &b.net.bridges[k]
	br.siemens = 1 / max(b.problem.BranchLeadOhm(k)+ohm, 1e-9)
	br.afterSiemens, br.perA2 = br.siemens, 0
}

// AddOhm puts ohm ohms in series with channel k, as a bad joint does.
func (b *Bench) AddOhm(k int, ohm float64) {
	br := &b.net.bridges[k]
	if br.siemens > 0 {
		br.siemens = 1 / (1/br.siemens + max(ohm, 0))
	}
}

// Shunt closes or opens a shunt across the firing lead at the box's end: with
// it on the igniters get no current that matters.
func (b *Bench) Shunt(on bool) { b.shunt = on }

// SetBattery replaces the battery's open-circuit voltage and internal
// resistance, as a flat or a wrong battery would.
func (b *Bench) SetBattery(volts, internalOhm float64) {
	b.problem.Battery.VoltageV, b.problem.Battery.InternalOhm = volts, internalOhm
	b.net.emfV, b.net.sourceOhm = volts, b.problem.SourceOhm()
}
