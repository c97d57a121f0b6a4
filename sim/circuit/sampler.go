package circuit

import (
	"math"
	"math/rand/v2"
)

// zLimit is the deviate beyond which a bridge's resistance is drawn again.
const zLimit = 4

// spread is what a draw of one igniter needs, worked out once.
type spread struct {
	leadOhm   float64
	bridgeOhm float64
	sigmaOhm  float64
	lnAmps    float64 // ln of the median threshold
	sigmaLnA  float64
	meanS     float64 // pressurisation when it does not vary
	mu        float64 // of ln pressurisation
	sigma     float64 // of ln pressurisation
	short     float64 // probability
	shortOhm  float64
}

// Sampler draws ignition delays from the circuit's own uncertainty. Use one for
// each worker; a draw does not allocate.
type Sampler struct {
	pulseS  float64
	spreads []spread
	net     network
	drawn   []float64 // conductance of each branch before anything fires
	delayS  []float64
	trial   network // for asking why a motor misfired or last
}

// NewSampler returns a sampler of p, the battery at its highest internal
// resistance. p must be one that Validate accepts, and may be shared.
func NewSampler(p *Problem) *Sampler {
	n := len(p.Igniters)
	s := &Sampler{
		pulseS:  p.PulseS,
		spreads: make([]spread, n),
		drawn:   make([]float64, n),
		delayS:  make([]float64, n),
	}
	s.net = network{emfV: p.Battery.VoltageV, sourceOhm: p.WorstSourceOhm(), bridges: make([]bridge, n)}
	s.trial = network{emfV: s.net.emfV, sourceOhm: s.net.sourceOhm, bridges: make([]bridge, n)}
	for k := range p.Igniters {
		ig := &p.Igniters[k]
		sp := spread{
			leadOhm:   p.BranchLeadOhm(k),
			bridgeOhm: ig.ResistanceOhm,
			sigmaOhm:  ig.Tolerance * ig.ResistanceOhm / 3,
			lnAmps:    math.Log(ig.MedianThresholdA()),
			sigmaLnA:  ig.ThresholdDeviation(),
			meanS:     ig.PressureMeanS,
			short:     ig.ShortProbability,
			shortOhm:  ig.ShortOhm,
		}
		if ig.PressureMeanS > 0 && ig.PressureSpreadS > 0 {
			// Moments of the lognormal: σ² = ln(1 + s²/m²), μ = ln m − σ²/2.
			ratio := ig.PressureSpreadS / ig.PressureMeanS
			sigma2 := math.Log1p(ratio * ratio)
			sp.sigma, sp.mu = math.Sqrt(sigma2), math.Log(ig.PressureMeanS)-sigma2/2
		}
		s.spreads[k] = sp
		s.net.bridges[k].tauS = ig.TimeConstantS
	}
	return s
}

// Len returns the number of motors.
func (s *Sampler) Len() int { return len(s.spreads) }

// draw draws every value of one firing, all independent, into s.net and
// s.delayS: bridge resistance normal within ±4 σ, ln I_t normal, pressurisation
// lognormal, and whether a bridge will short.
func (s *Sampler) draw(rng *rand.Rand) {
	s.net.reset()
	for k := range s.spreads {
		sp, b := &s.spreads[k], &s.net.bridges[k]
		z := rng.NormFloat64()
		for z < -zLimit || z > zLimit {
			z = rng.NormFloat64()
		}
		s.drawn[k] = 1 / (sp.leadOhm + sp.bridgeOhm + sp.sigmaOhm*z)
		b.siemens = s.drawn[k]
		b.perA2 = math.Exp(-2 * (sp.lnAmps + sp.sigmaLnA*rng.NormFloat64()))
		zDelay := rng.NormFloat64()
		s.delayS[k] = sp.meanS
		if sp.sigma > 0 {
			s.delayS[k] = math.Exp(sp.mu + sp.sigma*zDelay)
		}
		b.afterSiemens = 0
		if rng.Float64() < sp.short {
			b.afterSiemens = 1 / (sp.leadOhm + sp.shortOhm)
		}
	}
}

// Draw makes one draw and fills lights, one ignition delay in seconds for each
// motor: +Inf for a motor whose bridge does not fire within the pulse. A bridge
// that fires lights its motor even when the pulse has ended by then. staggerS
// is the largest less the smallest ignition delay, and means something only when
// allFire is true. len(lights) must be the number of motors.
func (s *Sampler) Draw(rng *rand.Rand, lights []float64) (staggerS float64, allFire bool) {
	s.draw(rng)
	s.net.run(s.pulseS)
	first, last := math.Inf(1), math.Inf(-1)
	for k := range s.net.bridges {
		light := s.net.bridges[k].firesS + s.delayS[k]
		lights[k] = light
		first, last = min(first, light), max(last, light)
	}
	if math.IsInf(last, 1) {
		return 0, false
	}
	return last - first, true
}
