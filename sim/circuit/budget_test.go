package circuit

import (
	"testing"
)

// A worked table of parallel currents by Ohm's law alone, calculated apart from
// this program: 12.0 V, 0.05 ohm source, harness 10 m out and back at
// 8.3 mohm/m, 1.05 ohm for each bridge with its lead.
func TestWorkedParallelCurrents(t *testing.T) {
	for _, w := range []struct {
		n                        int
		totalA, eachA, terminalV float64
	}{{1, 9.479, 9.479, 11.526}, {2, 16.194, 8.097, 11.190}, {4, 25.078, 6.270, 10.746}, {6, 30.691, 5.115, 10.465}} {
		p := alike(w.n)
		p.Battery = Battery{VoltageV: 12, InternalOhm: 0.05, HighestInternalOhm: 0.05}
		p.Lead = Lead{Kind: LeadMeasured, LoopOhm: 2 * 10 * 8.3e-3}
		p.SwitchOhm, p.ContactOhm = 0, 0
		for k := range p.Igniters {
			p.Igniters[k].ResistanceOhm, p.Igniters[k].BranchLead = 1.05, Lead{}
		}
		sol := Solve(p)
		near(t, "total", sol.TotalA, w.totalA, 1e-4)
		near(t, "each", sol.Igniters[0].CurrentA, w.eachA, 1e-4)
		near(t, "terminal", sol.BatteryV, w.terminalV, 1e-4)
	}
}

func TestRequiredMarginIsNeverBelowOnePointFive(t *testing.T) {
	p := alike(1)
	p.Margin = 1.2
	if got := p.RequiredMargin(); got != 1.5 {
		t.Errorf("got %v, want 1.5", got)
	}
	p.Margin = 2
	if got := p.RequiredMargin(); got != 2 {
		t.Errorf("got %v, want 2", got)
	}
}

// 14 CFR 417 Appendix D, batteries (b)(2): ten times the initiation time or
// 200 ms, whichever is greater.
func TestRequiredPulse(t *testing.T) {
	p := alike(1)
	sol := Solve(p)
	if got := sol.RequiredPulseS(); got != 0.2 {
		t.Errorf("fast bridge: got %v, want 0.2", got)
	}
	p.Igniters[0].TimeConstantS = 40
	sol = Solve(p)
	near(t, "slow bridge", sol.RequiredPulseS(), 10*sol.Igniters[0].FiresS, 1e-12)
	if sol.Igniters[0].FiresS < 0.02 {
		t.Fatalf("the bridge is not slow: %v s", sol.Igniters[0].FiresS)
	}
}

// NASA-STD-8719.24 13.8.1.1.1: 50 mA at most, and a tenth of the no-fire current.
func TestTestCurrentLimit(t *testing.T) {
	p := alike(3)
	near(t, "a tenth of no-fire", p.TestCurrentLimitA(), 0.015, 1e-12)
	for k := range p.Igniters {
		p.Igniters[k].NoFireA, p.Igniters[k].AllFireA = 1, 3
	}
	near(t, "50 mA", p.TestCurrentLimitA(), 0.050, 1e-12)
	p.Igniters[2].NoFireA = 0.02
	near(t, "the least of all", p.TestCurrentLimitA(), 0.002, 1e-12)
}

// Two branches, the other one shorted: worked by Ohm's law here.
func TestWorstOtherShorted(t *testing.T) {
	p := alike(3)
	if WithWorstShorted(p) != nil {
		t.Error("no bridge can short: want nil")
	}
	p.Igniters[0].ShortProbability, p.Igniters[0].ShortOhm = 0.1, 0.30
	p.Igniters[1].ShortProbability, p.Igniters[1].ShortOhm = 0.1, 0.05
	got := WithWorstShorted(p)
	for k, want := range []int{1, 0, 1} {
		if got[k].Robber != want {
			t.Errorf("motor %d: robbed by %d, want %d", k, got[k].Robber, want)
		}
	}
	lead := p.BranchLeadOhm(0)
	own, low := lead+0.8*1.12, lead+0.8*0.88
	par := 1 / (1/own + 1/low + 1/(lead+0.05))
	volts := 12.4 * par / (par + p.WorstSourceOhm())
	near(t, "robbed current", got[2].CurrentA, volts/own, 1e-12)
	near(t, "robbed margin", got[2].Margin, volts/own/0.6, 1e-12)

	one := alike(2)
	one.Igniters[0].ShortProbability, one.Igniters[0].ShortOhm = 1, 0.05
	if got := WithWorstShorted(one); got[0].Robber != -1 || got[1].Robber != 0 {
		t.Errorf("robbers: got %d and %d, want -1 and 0", got[0].Robber, got[1].Robber)
	}
}

func TestLeastVoltageReachesTheMarginExactly(t *testing.T) {
	p := referenceProblem("05")
	p.Battery.VoltageV = LeastVoltageV(p)
	near(t, "least margin", p.leastMargin(), 1.5, 1e-12)
}
