package circuit

import (
	"math"
	"math/bits"
	"testing"

	"pgregory.net/rapid"
)

// drawProblem draws a circuit that Validate accepts.
func drawProblem(t *rapid.T) *Problem {
	span := func(name string, low, high float64) float64 { return rapid.Float64Range(low, high).Draw(t, name) }
	lead := func(name string) Lead {
		switch rapid.IntRange(0, 2).Draw(t, name) {
		case 0:
			return Lead{Kind: LeadGauge, Gauge: rapid.IntRange(10, 30).Draw(t, name), LengthM: span(name, 0.1, 40)}
		case 1:
			return Lead{Kind: LeadArea, AreaM2: span(name, 0.1e-6, 4e-6), LengthM: span(name, 0.1, 40)}
		default:
			return Lead{Kind: LeadMeasured, LoopOhm: span(name, 0.001, 5)}
		}
	}
	internal := span("internal", 0.001, 1)
	p := &Problem{
		Battery:          Battery{VoltageV: span("volts", 1, 40), InternalOhm: internal, HighestInternalOhm: internal * span("highest", 1, 3)},
		Lead:             lead("lead"),
		LeadTemperatureC: span("temperature", -20, 60),
		SwitchOhm:        span("switch", 0, 0.1), ContactOhm: span("contacts", 0, 0.1),
		PulseS: span("pulse", 0.001, 3), Margin: 1.5, TestCurrentA: 0.001,
		MeterErrorOhm: span("meter error", 0, 0.1), Nulled: rapid.Bool().Draw(t, "nulled"),
		StaggerLimitS: 0.06, AllLightProbabilityLeast: 0.99,
	}
	for range rapid.IntRange(1, 6).Draw(t, "motors") {
		noFire := span("no-fire", 0.02, 1)
		ig := Igniter{
			ResistanceOhm: span("bridge", 0.1, 5), Tolerance: span("tolerance", 0, 0.5), Source: "drawn",
			NoFireA: noFire, AllFireA: noFire * span("ratio", 1.1, 6), TimeConstantS: span("tau", 1e-4, 0.1),
			PressureMeanS: span("pressurisation", 0.001, 0.2), PressureSpreadS: span("deviation", 0, 0.05),
		}
		if rapid.Bool().Draw(t, "branch") {
			ig.BranchLead = lead("branch lead")
		}
		if rapid.Bool().Draw(t, "shorts") {
			ig.ShortOhm = span("short", 0.001, 1)
			ig.ShortProbability = rapid.SampledFrom([]float64{0, 0.2, 1}).Draw(t, "short probability")
		}
		p.Igniters = append(p.Igniters, ig)
	}
	if err := Validate(p); err != nil {
		t.Fatalf("drew a problem with faults: %v", err)
	}
	return p
}

// ulps allows for rounding only.
const ulps = 1e-12

func TestMoreSourceResistanceNeverRaisesACurrent(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t)
		before := Solve(p)
		more := Solve(p.with(func(c *Problem) { c.ContactOhm += rapid.Float64Range(0, 5).Draw(t, "more") }))
		for k := range before.Igniters {
			a, b := before.Igniters[k], more.Igniters[k]
			if b.CurrentA > a.CurrentA*(1+ulps) || b.WorstCaseA > a.WorstCaseA*(1+ulps) {
				t.Fatalf("igniter %d: %v A and %v A rose to %v A and %v A", k, a.CurrentA, a.WorstCaseA, b.CurrentA, b.WorstCaseA)
			}
		}
	})
}

func TestAnotherIgniterNeverRaisesAFirstCurrent(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, other := drawProblem(t), drawProblem(t)
		before := Solve(p)
		more := Solve(p.with(func(c *Problem) { c.Igniters = append(c.Igniters, other.Igniters[0]) }))
		for k := range before.Igniters {
			a, b := before.Igniters[k], more.Igniters[k]
			if b.CurrentA > a.CurrentA*(1+ulps) || b.WorstCaseA > a.WorstCaseA*(1+ulps) {
				t.Fatalf("igniter %d: %v A rose to %v A", k, a.CurrentA, b.CurrentA)
			}
		}
	})
}

func TestPermutingMotorsPermutesTheAnswer(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t)
		order := make([]int, len(p.Igniters))
		for i := range order {
			order[i] = i
		}
		order = rapid.Permutation(order).Draw(t, "order")
		permuted := p.with(func(c *Problem) {
			for i, k := range order {
				c.Igniters[i] = p.Igniters[k]
			}
		})
		a, b := Solve(p), Solve(permuted)
		if len(a.Events) != len(b.Events) || a.AllFire != b.AllFire {
			t.Fatalf("events: %d and %d, all fire %v and %v", len(a.Events), len(b.Events), a.AllFire, b.AllFire)
		}
		for i, k := range order {
			x, y := a.Igniters[k], b.Igniters[i]
			for _, pair := range [][2]float64{{x.CurrentA, y.CurrentA}, {x.Margin, y.Margin}, {x.FiresS, y.FiresS}, {x.IgnitionDelayS, y.IgnitionDelayS}} {
				if pair[0] != pair[1] && !(math.Abs(pair[0]-pair[1]) <= 1e-9*math.Abs(pair[0])) {
					t.Fatalf("motor %d: %v became %v", k, x, y)
				}
			}
		}
	})
}

// Between events with u > 1 a bridge only warms; and every event is in order.
func TestHeatNeverFallsWhileDrivenAboveThreshold(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t)
		sol := Solve(p)
		fired := uint32(0)
		for i := 1; i < len(sol.Events); i++ {
			before, now := sol.Events[i-1], sol.Events[i]
			if now.TimeS < before.TimeS || now.TimeS > p.PulseS {
				t.Fatalf("event %d at %v s, after %v s, pulse %v s", i, now.TimeS, before.TimeS, p.PulseS)
			}
			if now.Fired == 0 || now.Fired&fired != 0 {
				t.Fatalf("event %d fires set %b, already fired %b", i, now.Fired, fired)
			}
			for k := range p.Igniters {
				ig := &p.Igniters[k]
				drive := before.CurrentA[k] * before.CurrentA[k] / (ig.NoFireA * ig.AllFireA)
				if fired&(1<<k) == 0 && drive > 1 && now.Heat[k] < before.Heat[k] {
					t.Fatalf("event %d: bridge %d cooled from %v to %v at u = %v", i, k, before.Heat[k], now.Heat[k], drive)
				}
				if now.Heat[k] < 0 || now.Heat[k] > 1 {
					t.Fatalf("event %d: bridge %d has heat %v", i, k, now.Heat[k])
				}
			}
			fired |= now.Fired
		}
		_, firing := sol.SlowestFiringS()
		if bits.OnesCount32(fired) != firing || sol.AllFire != (firing == len(p.Igniters)) {
			t.Fatalf("events fire %d, igniters %d, all fire %v", bits.OnesCount32(fired), firing, sol.AllFire)
		}
	})
}

// The heat of each bridge follows its own equation: stepping it in small steps
// between events, with the currents the events name, lands on the event's heat.
func TestHeatObeysItsEquation(t *testing.T) {
	for _, name := range referenceNames {
		p := referenceProblem(name)
		sol := Solve(p)
		for i := 1; i < len(sol.Events); i++ {
			before, now := sol.Events[i-1], sol.Events[i]
			for k := range p.Igniters {
				ig := &p.Igniters[k]
				if before.Heat[k] == 1 {
					continue
				}
				u := before.CurrentA[k] * before.CurrentA[k] / (ig.NoFireA * ig.AllFireA)
				const steps = 2000 // classical fourth-order steps of dϑ/dt = (u − ϑ)/τ
				h, heat := (now.TimeS-before.TimeS)/steps, before.Heat[k]
				f := func(x float64) float64 { return (u - x) / ig.TimeConstantS }
				for range steps {
					k1 := f(heat)
					k2 := f(heat + h/2*k1)
					k3 := f(heat + h/2*k2)
					k4 := f(heat + h*k3)
					heat += h / 6 * (k1 + 2*k2 + 2*k3 + k4)
				}
				near(t, "heat of case "+name, now.Heat[k], heat, 1e-9)
			}
		}
	}
}

// The source's and the branches' power balance, whatever the circuit.
func TestKirchhoffHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t)
		sol := Solve(p)
		sum := 0.0
		for k, ig := range sol.Igniters {
			sum += ig.CurrentA
			if v := ig.CurrentA * p.BranchOhm(k); math.Abs(v-sol.BusV) > 1e-9*sol.BusV {
				t.Fatalf("branch %d: %v V, bus %v V", k, v, sol.BusV)
			}
		}
		if math.Abs(sum*sol.SourceOhm+sol.BusV-p.Battery.VoltageV) > 1e-9*p.Battery.VoltageV {
			t.Fatalf("loop: %v A through %v ohm and %v V, battery %v V", sum, sol.SourceOhm, sol.BusV, p.Battery.VoltageV)
		}
	})
}

// The bench, closed for the pulse, fires what the solution fires.
func TestBenchAgreesWithTheSolution(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t)
		sol := Solve(p)
		b := NewBench(p, nil)
		for b.net.timeS < p.PulseS {
			b.Advance(min(p.PulseS*rapid.Float64Range(0.01, 1).Draw(t, "step"), p.PulseS-b.net.timeS), true)
		}
		for k := range p.Igniters {
			at, fired := b.Fired(k)
			want := sol.Igniters[k].FiresS
			// A firing within rounding of the pulse's end may fall either way.
			if math.Abs(want-p.PulseS) < 1e-9 || math.Abs(at-p.PulseS) < 1e-9 {
				continue
			}
			if fired != !math.IsInf(want, 1) || (fired && math.Abs(at-want) > 1e-7*want) {
				t.Fatalf("bridge %d: bench %v (%v s), solution %v s", k, fired, at, want)
			}
		}
	})
}

// Every remedy that is possible reaches the margin by its own account.
func TestRemediesReachTheMargin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t)
		good := p.leastMargin() >= p.RequiredMargin()
		remedies := Remedies(p)
		if good != (remedies == nil) {
			t.Fatalf("margin %v, remedies %+v", p.leastMargin(), remedies)
		}
		for _, r := range remedies {
			if r.Possible && !(r.Margin >= p.RequiredMargin()) {
				t.Fatalf("remedy %+v reaches only %v", r, r.Margin)
			}
			if math.IsNaN(r.Value) || math.IsInf(r.Value, 0) {
				t.Fatalf("remedy %+v", r)
			}
		}
	})
}
