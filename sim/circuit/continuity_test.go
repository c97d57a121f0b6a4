package circuit

import (
	"math"
	"strings"
	"testing"
)

func TestChannelBandFromTheHoldLine(t *testing.T) {
	p := alike(2)
	near, far := BridgeBand(p, 1), ChannelBand(p, 1)
	if got, want := far.LowOhm-near.LowOhm, p.LeadOhm()+p.ContactOhm; math.Abs(got-want) > 1e-12 {
		t.Errorf("lead and contacts: got %v, want %v", got, want)
	}
	p.Nulled = true
	if ChannelBand(p, 1) != BridgeBand(p, 1) {
		t.Error("a nulled meter sees the channel alone")
	}
}

// The likelihood by its definition, worked here for two unlike igniters: the
// mean over the sets of j of a normal density.
func TestClusterLikelihoodByItsDefinition(t *testing.T) {
	p := referenceProblem("03")
	wiring := p.LeadOhm() + p.ContactOhm
	r := []float64{p.BranchOhm(0), p.BranchOhm(1)}
	sigma := []float64{0.12 * 0.8 / 3, 0.08 * 1.05 / 3}
	meter := 0.02 / 3
	density := func(x, mean, sd float64) float64 {
		return math.Exp(-(x-mean)*(x-mean)/(2*sd*sd)) / (sd * math.Sqrt(2*math.Pi))
	}
	par := r[0] * r[1] / (r[0] + r[1])
	spread := math.Sqrt(math.Pow(par/r[0], 4)*sigma[0]*sigma[0] + math.Pow(par/r[1], 4)*sigma[1]*sigma[1] + meter*meter)
	for _, reading := range []float64{wiring + par, wiring + par + 0.03, wiring + 0.7, wiring + r[0], wiring + 1.0} {
		two := density(reading, wiring+par, spread)
		one := (density(reading, wiring+r[0], math.Hypot(sigma[0], meter)) + density(reading, wiring+r[1], math.Hypot(sigma[1], meter))) / 2
		v := JudgeCluster(p, reading)
		near(t, "likelihood of 2", v.Likelihoods[0].Likelihood, two, 1e-9)
		near(t, "likelihood of 1", v.Likelihoods[1].Likelihood, one, 1e-9)
		near(t, "posterior of 1", v.Likelihoods[1].Posterior, one/(one+two), 1e-9)
		if v.Likelihoods[2] != (CountLikelihood{}) {
			t.Errorf("none intact: got %+v, want nothing at a finite reading", v.Likelihoods[2])
		}
	}
}

func TestJudgeClusterAnswers(t *testing.T) {
	p := alike(4)
	counts := ClusterCounts(p)
	for _, c := range counts {
		v := JudgeCluster(p, c.ExpectedOhm)
		if !v.Conclusive || v.Intact != c.Intact || !strings.HasSuffix(v.Answer, " intact") {
			t.Errorf("at what %d read: %q", c.Intact, v.Answer)
		}
		sum := 0.0
		for _, l := range v.Likelihoods {
			sum += l.Posterior
		}
		near(t, "posteriors", sum, 1, 1e-12)
	}
	all, three := counts[0], counts[1]
	one := counts[3]
	for _, c := range []struct {
		name    string
		reading float64
		want    string
	}{
		{"between 4 and 3", (all.ExpectedOhm + three.ExpectedOhm) / 2, AnswerCannotTell},
		{"just above 3 deviations below", all.ExpectedOhm - 2.9*all.DeviationOhm, "4 intact"},
		{"more than 3 deviations below", all.ExpectedOhm - 3.1*all.DeviationOhm, AnswerShort},
		{"a dead short", 0, AnswerShort},
		{"between 2 and 1, far from both", (counts[2].ExpectedOhm + one.ExpectedOhm) / 2, AnswerNoFit},
		{"just below none", p.noneIntactOhm() - 1e-6, AnswerNoFit},
		{"just above", p.noneIntactOhm() + 1e-6, AnswerNone},
		{"over range", math.Inf(1), AnswerNone},
		{"no number", math.NaN(), AnswerNoFit},
	} {
		v := JudgeCluster(p, c.reading)
		if v.Answer != c.want {
			t.Errorf("%s: got %q, want %q", c.name, v.Answer, c.want)
		}
		if v.Conclusive != (strings.HasSuffix(c.want, "intact")) {
			t.Errorf("%s: conclusive %v", c.name, v.Conclusive)
		}
	}
	near(t, "none above the largest single + 6 deviations", p.noneIntactOhm(),
		p.LeadOhm()+p.ContactOhm+p.BranchOhm(0)+6*math.Hypot(0.032, 0.02/3), 1e-12)
}

// With a 0.02 ohm meter the reading of a whole cluster of alike bridges stops
// being conclusive at about six.
func TestClusterStopsBeingConclusiveAtAboutSix(t *testing.T) {
	for n := 1; n <= MostIgniters; n++ {
		if got, want := ClusterConclusive(alike(n)), n < 6; got != want {
			t.Errorf("%d alike: conclusive %v, want %v", n, got, want)
		}
	}
	if ClusterConclusive(alike(0)) {
		t.Error("no igniter is conclusive")
	}
}

// A perfect meter and perfect bridges must not divide by nothing.
func TestClusterWithoutAnySpread(t *testing.T) {
	p := alike(3)
	p.MeterErrorOhm = 0
	for k := range p.Igniters {
		p.Igniters[k].Tolerance = 0
	}
	v := JudgeCluster(p, ClusterCounts(p)[1].ExpectedOhm)
	if v.Answer != "2 intact" {
		t.Errorf("got %q, want 2 intact", v.Answer)
	}
	for _, l := range v.Likelihoods {
		if math.IsNaN(l.Likelihood) || math.IsInf(l.Likelihood, 0) || math.IsNaN(l.Posterior) {
			t.Errorf("%d intact: %+v", l.Intact, l)
		}
	}
}
