package sim

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// VarianceShare is how much one uncertainty moves the stopping position.
type VarianceShare struct {
	Source  string  // what is uncertain
	StdDevM float64 // standard deviation of the stopping position from this alone
	Share   float64 // of the sum of the variances of all sources, 0 to 1
}

const (
	shareStrata = 21
	shareRuns   = 300 // draws of the circuit
	// shareStream keeps the circuit's draws here apart from those of the runs.
	shareStream = 1 << 48
)

// shares returns what moves the stopping position, most first: each uncertainty
// alone with everything else nominal, first order, interactions left out.
//
// A normal one is taken at the middles of 21 equally likely strata; a probability
// p as p (1 − p) Δ² with Δ the change when it happens; the circuit by 300 of its
// own draws. Sources with several independent draws (one for each motor or
// device) add theirs.
func (d *disperser) shares() []VarianceShare {
	s := &d.p.Spread
	d.visit = nil
	nominal := func() {
		d.prepare(Case{HeadwindMps: d.p.HeadwindMps})
	}
	restM := func() float64 {
		if d.Runner.run() != nil {
			return MaxRunLengthM
		}
		return d.out.StopPositionM
	}
	nominal()
	base := restM()
	normal := func(sigma float64, set func(z float64)) float64 {
		if sigma == 0 {
			return 0
		}
		var values []float64
		for i := range shareStrata {
			nominal()
			set(math.Sqrt2 * math.Erfinv(2*(float64(i)+0.5)/shareStrata-1))
			values = append(values, restM())
		}
		return stat.PopVariance(values, nil)
	}
	happens := func(p float64, set func()) float64 {
		if p == 0 {
			return 0
		}
		nominal()
		set()
		delta := restM() - base
		return p * (1 - p) * delta * delta
	}
	var motors, delays, silent, fails float64
	for i := range d.scale {
		motors += normal(s.ThrustMotor, func(z float64) { d.scale[i] = 1 + s.ThrustMotor*z })
		silent += happens(s.MotorSilent, func() { d.lights[i] = math.Inf(1) })
	}
	for i := range d.delay {
		if kind := d.p.Stops[i].Kind; kind == WheelBrake || kind == Chute {
			delays += normal(s.StopDelayS, func(z float64) { d.delay[i] = max(d.delay[i]+s.StopDelayS*z, 0) })
		}
		fails += happens(s.StopFails, func() { d.absent[i] = true })
	}
	lot := normal(s.ThrustLot, func(z float64) {
		for i := range d.scale {
			d.scale[i] = 1 + s.ThrustLot*z
		}
	})
	return ranked([]VarianceShare{
		{Source: "thrust of the lot", StdDevM: lot},
		{Source: "thrust of each motor", StdDevM: motors},
		{Source: "drag", StdDevM: normal(s.Drag, func(z float64) { d.drag *= 1 + s.Drag*z })},
		{Source: "rolling resistance", StdDevM: normal(s.Rolling, func(z float64) { d.rolling *= 1 + s.Rolling*z })},
		{Source: "mass", StdDevM: normal(s.Mass, func(z float64) { d.mass0 *= 1 + s.Mass*z })},
		{Source: "wind", StdDevM: normal(s.WindMps, func(z float64) { d.wind += s.WindMps * z })},
		{Source: "delay of the stopping devices", StdDevM: delays},
		{Source: "a motor silent", StdDevM: silent},
		{Source: "a stopping device failing", StdDevM: fails},
		{Source: "light times from the circuit", StdDevM: d.circuitVariance(nominal, restM)},
	})
}

// ranked turns variances, given as StdDevM, into deviations and shares, the
// largest first.
func ranked(all []VarianceShare) []VarianceShare {
	sum := 0.0
	for i := range all {
		sum += all[i].StdDevM
	}
	for i := range all {
		if sum > 0 {
			all[i].Share = all[i].StdDevM / sum
		}
		all[i].StdDevM = math.Sqrt(all[i].StdDevM)
	}
	slices.SortStableFunc(all, func(a, b VarianceShare) int { return cmp.Compare(b.Share, a.Share) })
	return all
}

func (d *disperser) circuitVariance(nominal func(), restM func() float64) float64 {
	if d.lamp == nil {
		return 0
	}
	var values []float64
	for i := range shareRuns {
		nominal()
		d.reseed(shareStream + uint64(i))
		d.lamp.Draw(d.rng, d.lights)
		values = append(values, restM())
	}
	return stat.PopVariance(values, nil)
}
