package circuit

import (
	"math"
	"testing"
)

// weak is a cluster that a thick lead, a short lead, a better battery, a higher
// voltage or fewer motors each mend.
func weak() *Problem {
	p := alike(6)
	p.Battery = Battery{VoltageV: 12, InternalOhm: 0.6, HighestInternalOhm: 0.9}
	p.Lead = Lead{Kind: LeadGauge, Gauge: 20, LengthM: 30}
	for k := range p.Igniters {
		p.Igniters[k].AllFireA = 0.4
	}
	return p
}

func TestEachRemedyReachesTheMarginAndLessDoesNot(t *testing.T) {
	p := weak()
	if got := p.leastMargin(); got >= 1.5 {
		t.Fatalf("margin %v: nothing to mend", got)
	}
	byKind := map[RemedyKind]Remedy{}
	for _, r := range Remedies(p) {
		byKind[r.Kind] = r
		if !r.Possible {
			t.Errorf("remedy %d not possible", r.Kind)
		}
		if r.Margin < 1.5 {
			t.Errorf("remedy %d reaches only %v", r.Kind, r.Margin)
		}
	}
	try := func(what string, least bool, change func(*Problem)) {
		t.Helper()
		got := p.with(change).leastMargin()
		if least != (got >= 1.5) {
			t.Errorf("%s: margin %v, want at least 1.5: %v", what, got, least)
		}
	}
	gauge := int(byKind[ThickerLead].Value)
	try("gauge", true, func(c *Problem) { c.Lead.Gauge = gauge })
	try("one gauge thinner", false, func(c *Problem) { c.Lead.Gauge = gauge + 1 })
	length := byKind[ShorterLead].Value
	try("length", true, func(c *Problem) { c.Lead.LengthM = length })
	try("a little longer", false, func(c *Problem) { c.Lead.LengthM = length * 1.0001 })
	internal := byKind[StrongerBattery].Value
	try("battery", true, func(c *Problem) { c.Battery.HighestInternalOhm = internal })
	try("a little weaker", false, func(c *Problem) { c.Battery.HighestInternalOhm = internal * 1.0001 })
	volts := byKind[HigherVoltage].Value
	try("voltage", true, func(c *Problem) { c.Battery.VoltageV = volts })
	try("a little less", false, func(c *Problem) { c.Battery.VoltageV = volts * 0.9999 })
	fewer := byKind[FewerMotors]
	n := int(fewer.Value)
	if len(fewer.Out) != 6-n {
		t.Fatalf("fewer motors: %d left, out %v", n, fewer.Out)
	}
	try("fewer", true, func(c *Problem) { c.Igniters = c.Igniters[:n] })
	try("one more", false, func(c *Problem) { c.Igniters = c.Igniters[:n+1] })
}

func TestRemediesOfAreaAndMeasuredLeads(t *testing.T) {
	p := weak()
	ohm := p.LeadOhm()
	p.Lead = Lead{Kind: LeadArea, AreaM2: 2 * 30 * CopperOhmM / ohm, LengthM: 30}
	near(t, "same lead by area", p.LeadOhm(), ohm, 1e-12)
	r := Remedies(p)[0]
	thick := p.with(func(c *Problem) { c.Lead.AreaM2 = r.Value })
	if !r.Possible || r.Gauge || thick.leastMargin() < 1.5 {
		t.Errorf("area: %+v reaches %v", r, thick.leastMargin())
	}
	p.Lead = Lead{Kind: LeadMeasured, LoopOhm: ohm}
	r = Remedies(p)[0]
	if r.Kind != LowerLead || !r.Possible {
		t.Fatalf("measured: %+v", r)
	}
	p.Lead.LoopOhm = r.Value
	near(t, "margin at the lower lead", p.leastMargin(), 1.5, 1e-6)
}

func TestImpossibleRemediesSaySo(t *testing.T) {
	p := weak()
	p.Igniters[0].AllFireA = 500 // no battery through no lead at all
	for _, r := range Remedies(p) {
		switch r.Kind {
		case HigherVoltage:
			if !r.Possible {
				t.Error("a higher voltage always does")
			}
		case FewerMotors:
			// Leaving the hungry one out is not enough; the rest must fit too.
			if !r.Possible || r.Out[0] != 0 {
				t.Errorf("fewer motors: %+v, want motor 0 out", r)
			}
		default:
			if r.Possible || r.Margin != 0 {
				t.Errorf("remedy %d: %+v, want not possible", r.Kind, r)
			}
		}
	}
	if Remedies(alike(2)) != nil {
		t.Error("a good circuit needs no remedy")
	}
}

func TestMostSourceIsWhereTheMarginIsJustReached(t *testing.T) {
	p := weak()
	most := MostSourceOhm(p)
	p.Lead = Lead{Kind: LeadMeasured, LoopOhm: most - p.Battery.HighestInternalOhm - p.SwitchOhm - p.ContactOhm}
	near(t, "margin", p.leastMargin(), 1.5, 1e-9)
}

func TestFewerMotorsOfSixteen(t *testing.T) {
	p := weak()
	p.Igniters = append(p.Igniters, weak().Igniters...)
	p.Igniters = append(p.Igniters, weak().Igniters[:4]...)
	alone := fewerMotors(weak())
	if got := fewerMotors(p); got.Value != alone.Value {
		t.Errorf("of 16: got %v, of 6: %v; alike igniters, want the same", got.Value, alone.Value)
	}
}

func TestAdvice(t *testing.T) {
	kinds := func(p *Problem) map[AdviceKind]Advice {
		m := map[AdviceKind]Advice{}
		for _, a := range Advise(p) {
			m[a.Kind] = a
		}
		return m
	}
	p := alike(2)
	p.ContactOhm, p.Lead = 0.0213, Lead{Kind: LeadMeasured, LoopOhm: 0.8}
	if got := Advise(p); got != nil {
		t.Errorf("nothing to say, got %+v", got)
	}
	p.Igniters[0].Source = "lot card, 10 ms pulse, 2 Ah"
	p.Igniters[1].Source = p.Igniters[0].Source
	if got := Advise(p); len(got) != 1 || got[0].Kind != ShortSourcePulse || got[0].FoundS != 0.010 || got[0].LeastS != 0.020 {
		t.Errorf("short source pulse: got %+v", got)
	}
	p.Igniters[0].Source = "lot card, pulse of 0.03 s"
	p.Igniters[1].Source = p.Igniters[0].Source
	if got := Advise(p); got != nil {
		t.Errorf("30 ms is over 5 τ: got %+v", got)
	}
	p.PulseS = 0.015
	if _, ok := kinds(p)[ShortPulse]; !ok {
		t.Error("a firing pulse of 15 ms is under 5 τ = 20 ms")
	}
	p = alike(2)
	got := kinds(p)
	clad := p.with(func(c *Problem) { c.Lead = Lead{Kind: LeadMeasured, LoopOhm: 1.591 * p.LeadOhm()} })
	near(t, "margin if clad", got[MaybeClad].Margin, clad.leastMargin(), 1e-12)
	worse := p.with(func(c *Problem) { c.ContactOhm = 0.040 })
	near(t, "margin at twice the contacts", got[GuessedContacts].Margin, worse.leastMargin(), 1e-12)
}

func TestLooksGuessed(t *testing.T) {
	for ohm, want := range map[float64]bool{0: true, 0.02: true, 0.1: true, 0.005: true, 0.3: true, 1: true, 0.021: false, 0.0173: false, 0.15: false} {
		if got := looksGuessed(ohm); got != want {
			t.Errorf("%v: got %v, want %v", ohm, got, want)
		}
	}
}

func TestPulseNamed(t *testing.T) {
	for text, want := range map[string]float64{
		"50 ms pulse": 0.05, "5 s": 5, "tested 1.5 S, then 20ms": 0.02, "10 milliseconds": 0.01, "3 seconds": 3,
		"maker's data sheet": math.Inf(1), "2 samples": math.Inf(1), "sheet 3 size": math.Inf(1),
	} {
		if got, _ := PulseNamed(text); got != want {
			t.Errorf("%q: got %v, want %v", text, got, want)
		}
	}
}
