package circuit

import "math"

// The limits of section "current budget" that no sheet can loosen.
const (
	// LeastMargin is the least worst-case current over the all-fire current.
	// Source: 14 CFR 417 Appendix D, batteries (b)(2): 150 % of each device's
	// all-fire current at the lowest system battery voltage.
	LeastMargin = 1.5
	// PulseFirings and LeastPulseS: the pulse lasts at least so many firing
	// times, and at least so long. Source: the same.
	PulseFirings = 10
	LeastPulseS  = 0.2
	// MostTestCurrentA and TestCurrentShare: the most a meter may put through
	// a bridge. The 50 mA are of NASA-STD-8719.24 13.8.1.1.1, whose other
	// bound is a tenth of the no-fire energy; a tenth of the no-fire current is
	// a hundredth of the power.
	MostTestCurrentA = 0.050
	TestCurrentShare = 0.1
	// DefaultAllLightProbability is taken where the sheet gives none.
	DefaultAllLightProbability = 0.99
)

// RequiredMargin returns the margin every igniter must reach: the sheet's,
// never below [LeastMargin].
func (p *Problem) RequiredMargin() float64 { return max(p.Margin, LeastMargin) }

// RequiredAllLight returns the least lower bound of the all-light probability.
func (p *Problem) RequiredAllLight() float64 {
	if p.AllLightProbabilityLeast > 0 {
		return p.AllLightProbabilityLeast
	}
	return DefaultAllLightProbability
}

// TestCurrentLimitA returns the most test current in amperes, the lesser of
// 50 mA and a tenth of the least no-fire current among the igniters; the whole
// current is counted for each.
func (p *Problem) TestCurrentLimitA() float64 {
	limit := MostTestCurrentA
	for k := range p.Igniters {
		limit = min(limit, TestCurrentShare*p.Igniters[k].NoFireA)
	}
	return limit
}

// RequiredPulseS returns the least pulse in seconds that goes with a nominal
// solution: the greater of ten times the slowest firing and 0.2 s. Bridges that
// never fire are not counted.
func (s *Solution) RequiredPulseS() float64 {
	slowest, _ := s.SlowestFiringS()
	return max(PulseFirings*slowest, LeastPulseS)
}

// corners are the conductances in siemens of the branches with their bridges
// at R(1 − tolerance), which take the most current, and at R(1 + tolerance).
type corners struct {
	most, least []float64
	sum         float64 // of most
}

func (p *Problem) corners() corners {
	var c corners
	for k := range p.Igniters {
		ig, leadOhm := &p.Igniters[k], p.BranchLeadOhm(k)
		c.most = append(c.most, 1/(leadOhm+ig.ResistanceOhm*(1-ig.Tolerance)))
		c.least = append(c.least, 1/(leadOhm+ig.ResistanceOhm*(1+ig.Tolerance)))
		c.sum += c.most[k]
	}
	return c
}

// worst returns the conductance of the whole cluster where bridge k fares worst:
// it takes the least, all others the most.
func (c *corners) worst(k int) float64 { return c.sum - c.most[k] + c.least[k] }

// worstCase fills the worst-case currents and margins, with the highest
// internal resistance.
func (s *solver) worstCase() {
	p, corners := s.p, s.p.corners()
	for k := range p.Igniters {
		ans := &s.sol.Igniters[k]
		ans.WorstCaseA = p.Battery.VoltageV / (1 + p.WorstSourceOhm()*corners.worst(k)) * corners.least[k]
		ans.Margin = ans.WorstCaseA / p.Igniters[k].AllFireA
	}
}

// Shorted is an igniter's current with the one other bridge shorted that takes
// the most from it.
type Shorted struct {
	Robber   int     // index of the shorted igniter
	CurrentA float64 // at the worst corner otherwise
	Margin   float64 // over the all-fire current
}

// WithWorstShorted returns, for each igniter, its worst-case current with the
// worst other bridge already shorted, among those that can short. It returns
// nil when no bridge can short; Robber is −1 where no other one can.
func WithWorstShorted(p *Problem) []Shorted {
	possible := false
	for k := range p.Igniters {
		possible = possible || p.Igniters[k].ShortProbability > 0
	}
	if !possible {
		return nil
	}
	source, corners := p.WorstSourceOhm(), p.corners()
	out := make([]Shorted, len(p.Igniters))
	for k := range p.Igniters {
		own, base := corners.least[k], corners.worst(k)
		out[k] = Shorted{Robber: -1, CurrentA: p.Battery.VoltageV / (1 + source*base) * own}
		for j := range p.Igniters {
			other := &p.Igniters[j]
			if j == k || other.ShortProbability == 0 {
				continue
			}
			all := base - corners.most[j] + 1/(p.BranchLeadOhm(j)+other.ShortOhm)
			if amps := p.Battery.VoltageV / (1 + source*all) * own; out[k].Robber < 0 || amps < out[k].CurrentA {
				out[k].Robber, out[k].CurrentA = j, amps
			}
		}
		out[k].Margin = out[k].CurrentA / p.Igniters[k].AllFireA
	}
	return out
}

// LeastVoltageV returns the least open-circuit voltage in volts at which every
// igniter reaches the required margin, all else as in p: the worst-case current
// is proportional to the voltage.
func LeastVoltageV(p *Problem) float64 {
	sol := Solve(p)
	weakest := sol.Weakest()
	if weakest < 0 || !(sol.Igniters[weakest].Margin > 0) {
		return math.Inf(1)
	}
	return p.Battery.VoltageV * p.RequiredMargin() / sol.Igniters[weakest].Margin
}
