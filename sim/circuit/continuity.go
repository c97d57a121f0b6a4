package circuit

import (
	"fmt"
	"math"
)

// meterWiringOhm is what the meter at the hold line sees besides a channel:
// the firing lead and the contacts, nothing once it is nulled.
func (p *Problem) meterWiringOhm() float64 {
	if p.Nulled {
		return 0
	}
	return p.LeadOhm() + p.ContactOhm
}

// Band is what a channel reads when it is whole, in ohms.
type Band struct {
	LowOhm, HighOhm float64
	WiringOhm       float64 // the part of it that is not the bridge
	MeterErrorOhm   float64 // a bound
}

// BridgeBand returns the band of motor k's channel at the vehicle: branch lead
// and R(1 ± tolerance).
func BridgeBand(p *Problem, k int) Band { return p.band(k, 0) }

// ChannelBand returns the band of motor k's channel as a meter at the hold line
// sees it: firing lead and contacts as well, unless the meter is nulled.
func ChannelBand(p *Problem, k int) Band { return p.band(k, p.meterWiringOhm()) }

func (p *Problem) band(k int, wiringOhm float64) Band {
	ig := &p.Igniters[k]
	wiringOhm += p.BranchLeadOhm(k)
	return Band{
		LowOhm:        wiringOhm + ig.ResistanceOhm*(1-ig.Tolerance),
		HighOhm:       wiringOhm + ig.ResistanceOhm*(1+ig.Tolerance),
		WiringOhm:     wiringOhm,
		MeterErrorOhm: p.MeterErrorOhm,
	}
}

// ClusterCount is what the whole cluster reads with some igniters intact.
type ClusterCount struct {
	Intact       int
	ExpectedOhm  float64
	DeviationOhm float64
}

// CountLikelihood is how well a cluster reading fits a count.
type CountLikelihood struct {
	Intact     int
	Likelihood float64 // probability density, 1/Ω
	Posterior  float64 // with equal priors over 0 to N
}

// ClusterVerdict is what a reading of the whole cluster means.
type ClusterVerdict struct {
	ReadingOhm  float64
	Likelihoods []CountLikelihood // from N down to 0
	Answer      string            // as people read it
	Intact      int               // the count, when Conclusive
	Conclusive  bool              // the answer is a count
}

// The other answers of a cluster reading.
const (
	AnswerCannotTell = "cannot tell: measure each igniter"
	AnswerShort      = "a short: measure each igniter"
	AnswerNoFit      = "no count fits"
	AnswerNone       = "none intact"
)

const (
	posteriorOfOthers = 0.05 // a count is the answer when every other is below
	noFitDeviations   = 5
	shortDeviations   = 3
	openDeviations    = 6
	// leastDeviationOhm keeps a density finite where tolerance and meter error
	// are 0: no meter of this trade resolves less.
	leastDeviationOhm = 1e-6
)

// component is the reading of one set of intact igniters.
type component struct{ ohm, deviation float64 }

// sets calls visit with every set of intact igniters, grouped by their number
// only through intact; 2^N − 1 calls.
func (p *Problem) sets(visit func(intact int, c component)) {
	n := len(p.Igniters)
	wiring, meter := p.meterWiringOhm(), p.MeterErrorOhm/3
	siemens, spread := make([]float64, n), make([]float64, n)
	for k := range p.Igniters {
		ig := &p.Igniters[k]
		sigma := ig.Tolerance * ig.ResistanceOhm / 3
		siemens[k] = 1 / p.BranchOhm(k)
		g2 := siemens[k] * siemens[k]
		spread[k] = g2 * g2 * sigma * sigma
	}
	var walk func(k, intact int, sum, spreadSum float64)
	walk = func(k, intact int, sum, spreadSum float64) {
		if k == n {
			if intact > 0 {
				par := 1 / sum
				// √(Σ (R_par/R_k)⁴ σ_k² + σ_m²): the first-order spread of a parallel value.
				visit(intact, component{wiring + par, math.Sqrt(par*par*par*par*spreadSum + meter*meter)})
			}
			return
		}
		walk(k+1, intact, sum, spreadSum)
		walk(k+1, intact+1, sum+siemens[k], spreadSum+spread[k])
	}
	walk(0, 0, 0, 0)
}

// ClusterCounts returns what the cluster reads at the hold line with j of N
// igniters intact, from N down to 1: mean and deviation of the mixture over the
// equally likely sets of j.
func ClusterCounts(p *Problem) []ClusterCount {
	n := len(p.Igniters)
	sets := make([]float64, n+1)
	mean := make([]float64, n+1)
	p.sets(func(j int, c component) { sets[j]++; mean[j] += c.ohm })
	for j := 1; j <= n; j++ {
		mean[j] /= sets[j]
	}
	variance := make([]float64, n+1)
	p.sets(func(j int, c component) {
		variance[j] += c.deviation*c.deviation + (c.ohm-mean[j])*(c.ohm-mean[j])
	})
	out := make([]ClusterCount, 0, n)
	for j := n; j >= 1; j-- {
		out = append(out, ClusterCount{j, mean[j], math.Sqrt(variance[j] / sets[j])})
	}
	return out
}

// JudgeCluster returns what a reading of the whole cluster at the hold line
// means. It says plainly when it cannot tell. A reading of +Inf is an open
// meter; NaN is answered by 'no count fits'.
func JudgeCluster(p *Problem, readingOhm float64) ClusterVerdict {
	return judgeCluster(p, ClusterCounts(p), readingOhm)
}

func judgeCluster(p *Problem, counts []ClusterCount, readingOhm float64) ClusterVerdict {
	n := len(p.Igniters)
	v := ClusterVerdict{ReadingOhm: readingOhm, Answer: AnswerNoFit}
	v.Likelihoods = make([]CountLikelihood, n+1)
	for i := range v.Likelihoods {
		v.Likelihoods[i].Intact = n - i
	}
	if math.IsNaN(readingOhm) || n == 0 {
		return v
	}
	if readingOhm > p.noneIntactOhm() {
		v.Likelihoods[n].Posterior = 1
		v.Answer, v.Intact, v.Conclusive = AnswerNone, 0, true
		return v
	}
	p.likelihoods(readingOhm, v.Likelihoods)
	fits := false
	for _, c := range counts {
		fits = fits || math.Abs(readingOhm-c.ExpectedOhm) <= noFitDeviations*max(c.DeviationOhm, leastDeviationOhm)
	}
	all, best := counts[0], v.likeliest()
	switch {
	case readingOhm < all.ExpectedOhm-shortDeviations*max(all.DeviationOhm, leastDeviationOhm):
		v.Answer = AnswerShort
	case !fits || best < 0:
		v.Answer = AnswerNoFit
	case v.othersBelow(best, posteriorOfOthers):
		v.Intact, v.Conclusive = v.Likelihoods[best].Intact, true
		v.Answer = fmt.Sprintf("%d intact", v.Intact)
	default:
		v.Answer = AnswerCannotTell
	}
	return v
}

// noneIntactOhm is the reading above which no single igniter can be intact.
func (p *Problem) noneIntactOhm() float64 {
	limit := 0.0
	wiring, meter := p.meterWiringOhm(), p.MeterErrorOhm/3
	largest := -1
	for k := range p.Igniters {
		if largest < 0 || p.BranchOhm(k) > p.BranchOhm(largest) {
			largest = k
		}
	}
	if largest >= 0 {
		ig := &p.Igniters[largest]
		deviation := math.Hypot(ig.Tolerance*ig.ResistanceOhm/3, meter)
		limit = wiring + p.BranchOhm(largest) + openDeviations*max(deviation, leastDeviationOhm)
	}
	return limit
}

// likelihoods fills the densities of every count, from N down to 0, and their
// posteriors. Posteriors come from logarithms, so that a poor fit of every
// count does not become 0/0.
func (p *Problem) likelihoods(readingOhm float64, out []CountLikelihood) {
	n := len(out) - 1
	sets, logs := make([]float64, n+1), make([]float64, n+1)
	for j := range logs {
		logs[j] = math.Inf(-1)
	}
	p.sets(func(j int, c component) {
		sets[j]++
		d := max(c.deviation, leastDeviationOhm)
		z := (readingOhm - c.ohm) / d
		logs[j] = addLogs(logs[j], -z*z/2-math.Log(d*math.Sqrt(2*math.Pi)))
	})
	total := math.Inf(-1)
	for j := 1; j <= n; j++ {
		logs[j] -= math.Log(sets[j])
		total = addLogs(total, logs[j])
	}
	for i := range out {
		j := out[i].Intact
		out[i].Likelihood = math.Exp(logs[j])
		if !math.IsInf(total, -1) {
			out[i].Posterior = math.Exp(logs[j] - total)
		}
	}
}

// addLogs returns ln(e^a + e^b).
func addLogs(a, b float64) float64 {
	if a < b {
		a, b = b, a
	}
	if math.IsInf(a, -1) {
		return a
	}
	return a + math.Log1p(math.Exp(b-a))
}

// likeliest returns the place of the count of the largest posterior, −1 when
// none has any.
func (v *ClusterVerdict) likeliest() int {
	best := -1
	for i, l := range v.Likelihoods {
		if l.Posterior > 0 && (best < 0 || l.Posterior > v.Likelihoods[best].Posterior) {
			best = i
		}
	}
	return best
}

// othersBelow reports whether every count but that at best is below limit.
func (v *ClusterVerdict) othersBelow(best int, limit float64) bool {
	for i, l := range v.Likelihoods {
		if i != best && l.Posterior >= limit {
			return false
		}
	}
	return true
}

// ClusterConclusive reports whether a whole cluster's reading can be trusted to
// say so: anywhere within two deviations of what all N intact read, which 95 %
// of readings of a whole cluster are, the answer is N. Where it is false, ask
// for single readings.
func ClusterConclusive(p *Problem) bool {
	counts := ClusterCounts(p)
	if len(counts) == 0 {
		return false
	}
	for _, z := range [...]float64{-2, 0, 2} {
		v := judgeCluster(p, counts, counts[0].ExpectedOhm+z*counts[0].DeviationOhm)
		if !v.Conclusive || v.Intact != len(p.Igniters) {
			return false
		}
	}
	return true
}
