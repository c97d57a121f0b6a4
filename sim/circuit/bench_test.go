package circuit

import (
	"math"
	"math/rand/v2"
	"testing"
)

// alike returns n equal igniters of our own invention on a small battery.
func alike(n int) *Problem {
	p := &Problem{
		Battery:          Battery{VoltageV: 12.4, InternalOhm: 0.025, HighestInternalOhm: 0.040},
		Lead:             Lead{Kind: LeadGauge, Gauge: 18, LengthM: 20},
		LeadTemperatureC: 20, SwitchOhm: 0.010, ContactOhm: 0.020,
		PulseS: 1, Margin: 1.5, TestCurrentA: 0.001, MeterErrorOhm: 0.02,
		StaggerLimitS: 0.060, AllLightProbabilityLeast: 0.99,
	}
	for range n {
		p.Igniters = append(p.Igniters, Igniter{
			Kind: "std", ResistanceOhm: 0.8, Tolerance: 0.12, NoFireA: 0.15, AllFireA: 0.60,
			Source: "invented", TimeConstantS: 0.004, PressureMeanS: 0.035, PressureSpreadS: 0.008,
			BranchLead: Lead{Kind: LeadGauge, Gauge: 24, LengthM: 0.4},
		})
	}
	return p
}

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if math.Abs(got-want) > rel*max(math.Abs(want), 1e-12) {
		t.Errorf("%s: got %.12g, want %.12g", what, got, want)
	}
}

func TestBenchFiresAtTheNominalTimesWhateverTheSteps(t *testing.T) {
	p := alike(3)
	p.Igniters[1].TimeConstantS, p.Igniters[2].AllFireA = 0.011, 1.1
	p.Igniters[0].ShortProbability, p.Igniters[0].ShortOhm = 1, 0.05
	whole := NewBench(p, nil)
	whole.Advance(0.5, true)
	fine := NewBench(p, nil)
	for range 50000 {
		fine.Advance(1e-5, true)
	}
	for k := range p.Igniters {
		a, fired := whole.Fired(k)
		b, alsoFired := fine.Fired(k)
		if !fired || !alsoFired {
			t.Fatalf("bridge %d: fired %v and %v, want both", k, fired, alsoFired)
		}
		near(t, "firing time in steps", b, a, 1e-9)
	}
}

func TestBenchCoolsWhenOpen(t *testing.T) {
	p := alike(1)
	b := NewBench(p, nil)
	b.Advance(5e-6, true)
	hot := b.net.bridges[0].heat
	if hot <= 0 || hot >= 1 {
		t.Fatalf("heat after a short closing: got %v, want between 0 and 1", hot)
	}
	b.Advance(0.008, false)
	// dϑ/dt = −ϑ/τ with τ = 4 ms: two time constants.
	near(t, "heat after two time constants open", b.net.bridges[0].heat, hot*math.Exp(-2), 1e-12)
	if b.VoltageV() != 0 || b.BatteryV() != 12.4 {
		t.Errorf("open: bus %v V battery %v V, want 0 and 12.4", b.VoltageV(), b.BatteryV())
	}
	if _, fired := b.Fired(0); fired {
		t.Error("fired with too short a closing")
	}
}

func TestBenchVoltagesAndChannels(t *testing.T) {
	p := alike(2)
	b := NewBench(p, nil)
	b.Advance(0, true)
	amps := 12.4 / (p.SourceOhm() + p.BranchOhm(0)/2)
	near(t, "current", b.CurrentA(), amps, 1e-12)
	near(t, "battery under load", b.BatteryV(), 12.4-amps*0.025, 1e-12)
	near(t, "bus under load", b.VoltageV(), 12.4-amps*0.035, 1e-12)
	near(t, "channel from the hold line", b.Resistance(1), p.BranchOhm(1)+p.LeadOhm()+0.020, 1e-12)
	b.Advance(1, true)
	if !math.IsInf(b.Resistance(0), 1) || !math.IsInf(b.Resistance(1), 1) {
		t.Error("a fired bridge is not open")
	}
	near(t, "bus with all bridges open", b.VoltageV(), 12.4, 1e-12)
	light, _ := b.Lights(0)
	fires, _ := b.Fired(0)
	near(t, "light after the pressurisation", light-fires, 0.035, 1e-12)
}

func TestBenchFaults(t *testing.T) {
	p := alike(3)
	b := NewBench(p, nil)
	b.Break(0)
	b.ShortBridge(1, 0.05)
	b.AddOhm(2, 0.5)
	if !math.IsInf(b.Resistance(0), 1) {
		t.Error("a broken channel is not open")
	}
	near(t, "shorted channel", b.Resistance(1), p.BranchLeadOhm(1)+0.05+p.LeadOhm()+0.02, 1e-12)
	near(t, "bad joint", b.Resistance(2), p.BranchOhm(2)+0.5+p.LeadOhm()+0.02, 1e-12)
	b.Shunt(true)
	for k := range 3 {
		if ohm := b.Resistance(k); ohm != minShuntOhm {
			t.Errorf("channel %d behind the shunt: %v ohm, want %v", k, ohm, minShuntOhm)
		}
	}
	if v := JudgeCluster(p, minShuntOhm); v.Answer != AnswerShort {
		t.Errorf("cluster behind the shunt: %q", v.Answer)
	}
	b.Advance(1, true)
	if amps := 12.4 / (0.025 + 0.010 + 0.001); math.Abs(b.CurrentA()-amps) > 1e-9*amps {
		t.Errorf("current through the shunt: got %v A, want %v A", b.CurrentA(), amps)
	}
	for k := range 3 {
		if _, fired := b.Fired(k); fired {
			t.Errorf("bridge %d fired with the shunt on", k)
		}
	}
	b.Shunt(false)
	b.SetBattery(11.5, 0.2)
	b.Advance(0, true)
	near(t, "another battery under load", b.BatteryV(), 11.5-b.CurrentA()*0.2, 1e-12)
	b.Advance(1, true)
	for k, want := range []bool{false, false, true} {
		if _, fired := b.Fired(k); fired != want {
			t.Errorf("bridge %d: fired %v, want %v", k, fired, want)
		}
	}
}

func TestBenchWithDrawsIsOneDrawOfTheSampler(t *testing.T) {
	p := alike(4)
	lights := make([]float64, 4)
	NewSampler(p).Draw(rand.New(rand.NewPCG(7, 9)), lights)
	b := NewBench(p, rand.New(rand.NewPCG(7, 9)))
	b.Advance(p.PulseS, true)
	for k := range lights {
		light, fired := b.Lights(k)
		if !fired {
			t.Fatalf("bridge %d did not fire", k)
		}
		near(t, "light time", light, lights[k], 1e-12)
	}
}
