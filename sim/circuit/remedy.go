package circuit

import (
	"math"
	"math/bits"
)

// RemedyKind is a way to mend a current margin.
type RemedyKind int

// The remedies, in the order in which [Remedies] lists them.
const (
	ThickerLead RemedyKind = iota
	ShorterLead
	LowerLead // a measured lead: another one of a lower resistance
	StrongerBattery
	HigherVoltage
	FewerMotors
)

// Remedy is one change that alone brings every margin to what is required.
type Remedy struct {
	Kind RemedyKind
	// Possible is false when this change alone cannot reach the margin; the
	// values below are then 0.
	Possible bool
	// Value is the least change that reaches the margin: gauge (AWG) or area in
	// m² for ThickerLead, one-way length in m, loop resistance in ohms, highest
	// internal resistance in ohms, open-circuit voltage, or number of motors.
	Value float64
	// Gauge is true when a ThickerLead's Value is a gauge.
	Gauge bool
	// Out lists the motors to leave out, by index, for FewerMotors.
	Out []int
	// Margin is the least margin with the change made.
	Margin float64
}

// with returns a copy of p whose igniters may be changed.
func (p *Problem) with(change func(*Problem)) *Problem {
	c := *p
	c.Igniters = append([]Igniter(nil), p.Igniters...)
	change(&c)
	return &c
}

// leastMargin returns the least margin of p, 0 without igniters.
func (p *Problem) leastMargin() float64 {
	sol := Solve(p)
	if w := sol.Weakest(); w >= 0 {
		return sol.Igniters[w].Margin
	}
	return 0
}

// MostSourceOhm returns the largest R_s in ohms, the battery at its highest
// internal resistance, at which every igniter reaches the required margin:
//
//	R_s ≤ (E / (m I_af R_k) − 1) / Σ 1/R_j, at the worst corner of each k
//
// Negative when no source would do.
func MostSourceOhm(p *Problem) float64 {
	corners := p.corners()
	most := math.Inf(1)
	for k := range p.Igniters {
		needA := p.RequiredMargin() * p.Igniters[k].AllFireA
		most = min(most, (p.Battery.VoltageV*corners.least[k]/needA-1)/corners.worst(k))
	}
	return most
}

// hair keeps a remedy's rounding on the right side of the margin.
const hair = 1e-9

// Remedies returns what would bring every margin to what is required, each on
// its own, nil when the margins already are. An answer that no single change
// gives is listed as not possible.
func Remedies(p *Problem) []Remedy {
	if len(p.Igniters) == 0 || p.leastMargin() >= p.RequiredMargin() {
		return nil
	}
	source := MostSourceOhm(p) * (1 - hair)
	loop := source - p.Battery.HighestInternalOhm - p.SwitchOhm - p.ContactOhm
	out := []Remedy{}
	switch p.Lead.Kind {
	case LeadGauge:
		out = append(out, thickerGauge(p, loop), shorterLead(p, loop))
	case LeadArea:
		out = append(out, thickerArea(p, loop), shorterLead(p, loop))
	case LeadMeasured:
		out = append(out, p.remedy(LowerLead, loop, func(c *Problem) { c.Lead.LoopOhm = loop }))
	}
	internal := source - p.wiringOhm()
	out = append(out, p.remedy(StrongerBattery, internal, func(c *Problem) {
		c.Battery.HighestInternalOhm = internal
		c.Battery.InternalOhm = min(c.Battery.InternalOhm, internal)
	}))
	volts := LeastVoltageV(p) * (1 + hair)
	out = append(out, p.remedy(HigherVoltage, volts, func(c *Problem) { c.Battery.VoltageV = volts }))
	return append(out, fewerMotors(p))
}

// remedy returns the remedy whose value is what change sets, not possible when
// the value is not above 0 or the change does not reach the margin.
func (p *Problem) remedy(kind RemedyKind, value float64, change func(*Problem)) Remedy {
	if !(value > 0) || math.IsInf(value, 1) {
		return Remedy{Kind: kind}
	}
	margin := p.with(change).leastMargin()
	if margin < p.RequiredMargin() {
		return Remedy{Kind: kind}
	}
	return Remedy{Kind: kind, Possible: true, Value: value, Margin: margin}
}

// thickerGauge finds the thinnest gauge whose loop is at most loopOhm.
func thickerGauge(p *Problem, loopOhm float64) Remedy {
	for gauge := p.Lead.Gauge - 1; gauge >= leastGauge; gauge-- {
		lead := p.Lead
		lead.Gauge = gauge
		if lead.Resistance(p.LeadTemperatureC) <= loopOhm {
			r := p.remedy(ThickerLead, 1, func(c *Problem) { c.Lead = lead })
			r.Value, r.Gauge = float64(gauge), true
			return r
		}
	}
	return Remedy{Kind: ThickerLead, Gauge: true}
}

// thickerArea finds the area at which the loop is loopOhm.
func thickerArea(p *Problem, loopOhm float64) Remedy {
	if !(loopOhm > 0) {
		return Remedy{Kind: ThickerLead}
	}
	area := p.Lead.AreaM2 * p.LeadOhm() / loopOhm
	return p.remedy(ThickerLead, area, func(c *Problem) { c.Lead.AreaM2 = area })
}

// shorterLead finds the one-way length at which the loop is loopOhm.
func shorterLead(p *Problem, loopOhm float64) Remedy {
	length := loopOhm / (2 * p.Lead.ohmPerM(p.LeadTemperatureC))
	return p.remedy(ShorterLead, length, func(c *Problem) { c.Lead.LengthM = length })
}

// fewerMotors finds the largest set of motors that reaches the margin, the one
// of the largest least margin among equals, by trying every set.
func fewerMotors(p *Problem) Remedy {
	n := len(p.Igniters)
	corners, source := p.corners(), p.WorstSourceOhm()
	least := func(set uint32) float64 {
		sum := 0.0
		for k := range n {
			if set&(1<<k) != 0 {
				sum += corners.most[k]
			}
		}
		margin := math.Inf(1)
		for k := range n {
			if set&(1<<k) != 0 {
				own := corners.least[k]
				margin = min(margin, p.Battery.VoltageV*own/(1+source*(sum-corners.most[k]+own))/p.Igniters[k].AllFireA)
			}
		}
		return margin
	}
	var best uint32
	bestCount, bestMargin := 0, 0.0
	for set := uint32(1); set < 1<<n-1; set++ {
		count := bits.OnesCount32(set)
		if count < bestCount {
			continue
		}
		margin := least(set)
		if margin >= p.RequiredMargin() && (count > bestCount || margin > bestMargin*(1+hair)) {
			best, bestCount, bestMargin = set, count, margin
		}
	}
	if bestCount == 0 {
		return Remedy{Kind: FewerMotors}
	}
	r := Remedy{Kind: FewerMotors, Possible: true, Value: float64(bestCount), Margin: bestMargin}
	for k := range n {
		if best&(1<<k) == 0 {
			r.Out = append(r.Out, k)
		}
	}
	return r
}
