package circuit

import "math"

// Constants of copper wire.
const (
	// CopperOhmM is the resistivity of annealed copper at 20 °C in Ω·m, 100 %
	// IACS: 1/58 Ω mm²/m to five digits. Source: IEC 60028.
	CopperOhmM = 1.7241e-8
	// CopperPerK is the temperature coefficient of copper's resistance at 20 °C
	// in 1/K. Source: IEC 60028.
	CopperPerK = 0.00393
	// CopperReferenceC is the temperature of both, in °C.
	CopperReferenceC = 20

	gauge36M   = 0.127e-3 // diameter of 36 AWG, m. Source: ASTM B258.
	gaugeRatio = 92.0     // diameter of 0000 AWG over that of 36 AWG, over 39 steps
	leastGauge = 0
	mostGauge  = 40
)

// GaugeDiameterM returns the diameter in metres of solid wire of a gauge:
//
//	d = 0.127 mm · 92^((36 − gauge)/39)
//
// Source: ASTM B258.
func GaugeDiameterM(gauge int) float64 {
	return gauge36M * math.Pow(gaugeRatio, float64(36-gauge)/39)
}

// GaugeAreaM2 returns the area in m² of solid wire of a gauge, (π/4) d².
func GaugeAreaM2(gauge int) float64 {
	d := GaugeDiameterM(gauge)
	return math.Pi / 4 * d * d
}

// Resistance returns the loop resistance of l in ohms, out and back, at tempC:
//
//	R = 2 ℓ ρ (1 + α (T − 20 °C)) / A
//
// A measured loop is taken as it was measured, whatever tempC; no lead is 0.
func (l Lead) Resistance(tempC float64) float64 {
	if l.Kind == LeadMeasured {
		return l.LoopOhm
	}
	return 2 * l.LengthM * l.ohmPerM(tempC)
}

// ohmPerM returns the resistance of one metre of one conductor, 0 for a lead
// that is not given by its copper.
func (l Lead) ohmPerM(tempC float64) float64 {
	rho := CopperOhmM * (1 + CopperPerK*(tempC-CopperReferenceC))
	switch l.Kind {
	case LeadGauge:
		return rho / GaugeAreaM2(l.Gauge)
	case LeadArea:
		return rho / l.AreaM2
	default:
		return 0
	}
}

// calculated reports whether l's resistance follows from its copper.
func (l Lead) calculated() bool { return l.Kind == LeadGauge || l.Kind == LeadArea }

// LeadOhm returns the loop resistance of the firing lead in ohms.
func (p *Problem) LeadOhm() float64 { return p.Lead.Resistance(p.LeadTemperatureC) }

// BranchLeadOhm returns the loop resistance of igniter k's branch lead in ohms.
func (p *Problem) BranchLeadOhm(k int) float64 {
	return p.Igniters[k].BranchLead.Resistance(p.LeadTemperatureC)
}

// BranchOhm returns the nominal resistance of branch k in ohms: branch lead
// and bridge.
func (p *Problem) BranchOhm(k int) float64 {
	return p.BranchLeadOhm(k) + p.Igniters[k].ResistanceOhm
}

// SourceOhm returns R_s in ohms: the battery's nominal internal resistance,
// the firing lead, the switch and the contacts.
func (p *Problem) SourceOhm() float64 { return p.Battery.InternalOhm + p.wiringOhm() }

// WorstSourceOhm returns R_s in ohms with the battery's highest internal
// resistance.
func (p *Problem) WorstSourceOhm() float64 { return p.Battery.HighestInternalOhm + p.wiringOhm() }

// wiringOhm is R_s without the battery.
func (p *Problem) wiringOhm() float64 { return p.LeadOhm() + p.SwitchOhm + p.ContactOhm }

// MedianThresholdA returns the median threshold current of a bridge in
// amperes, √(I_nf I_af).
func (ig *Igniter) MedianThresholdA() float64 { return math.Sqrt(ig.NoFireA * ig.AllFireA) }

// allFireDeviate is the normal deviate of the 99.9 % point; the no-fire
// current is the 0.1 % point, the all-fire current the 99.9 % point.
const allFireDeviate = 3.0902

// ThresholdDeviation returns the standard deviation of ln I_t, without unit.
func (ig *Igniter) ThresholdDeviation() float64 {
	return math.Log(ig.AllFireA/ig.NoFireA) / (2 * allFireDeviate)
}
