package circuit

import (
	"errors"
	"fmt"
	"math"
)

// Load is one loaded reading of a battery.
type Load struct {
	VoltageV float64
	CurrentA float64 // 0 for the rest voltage
}

// InternalResistance returns a battery's internal resistance in ohms from two
// loads, the second the heavier:
//
//	R = (U1 − U2)/(I2 − I1)
//
// The two-current method of IEC 61960: 0.2 C for 10 s, then 1 C for 1 s. A rest
// voltage serves as the first load, at I1 = 0.
func InternalResistance(light, heavy Load) (float64, error) {
	if !(light.CurrentA >= 0) || !(heavy.CurrentA > light.CurrentA) || math.IsInf(heavy.CurrentA, 1) {
		return 0, fmt.Errorf("circuit: internal resistance: currents %g A and %g A: the second must be the larger", light.CurrentA, heavy.CurrentA)
	}
	if !(heavy.VoltageV > 0) || !(light.VoltageV > heavy.VoltageV) || math.IsInf(light.VoltageV, 1) {
		return 0, fmt.Errorf("circuit: internal resistance: voltages %g V and %g V: the second must be the smaller, both above 0", light.VoltageV, heavy.VoltageV)
	}
	return (light.VoltageV - heavy.VoltageV) / (heavy.CurrentA - light.CurrentA), nil
}

const (
	// contradictionShare: a rest voltage further than this from the sheet's is
	// another battery, or this one in another state: 1 % for the meter and 1 %
	// for the sheet. Common practice, no source.
	contradictionShare = 0.02
	// stepError is the tolerance of the step-current method; the worst case
	// takes it. Source: a published abstract, read second hand.
	stepError = 0.05
)

// Measured is what was measured of the firing battery.
type Measured struct {
	VoltageV    float64 // at rest
	InternalOhm float64 // by two loads; 0 when not measured
}

// BatteryBudget is the current budget with what was measured of the battery.
type BatteryBudget struct {
	Problem  Problem // with the measured values in place of the sheet's
	Solution Solution
	Basis    string // which values it stands on, as people read it

	SheetVoltageV float64
	Contradicted  bool // the meter contradicts the sheet's voltage

	Weakest int     // igniter of the least margin
	Margin  float64 // its margin
	Needed  float64 // the margin it must reach
	// LeastVoltageV is the least rest voltage that would reach the margin, at
	// the internal resistance used.
	LeastVoltageV float64
	// MostTotalA is the battery's highest current, 0 when not given.
	MostTotalA float64

	Go     bool
	Reason string // why not, empty when Go
}

// ErrNoVoltage is returned by BudgetWith without a rest voltage.
var ErrNoVoltage = errors.New("circuit: battery budget: no rest voltage measured")

// BudgetWith returns the budget of p with the measured battery. The rest
// voltage takes the place of the sheet's. A measured internal resistance takes
// the place of both of the sheet's, with the method's 5 % added in the worst
// case; without one the sheet's highest counts, in the nominal circuit too. A
// sheet voltage that the meter contradicts is a no.
func BudgetWith(p *Problem, m Measured) (BatteryBudget, error) {
	if !(m.VoltageV > 0) || m.VoltageV > mostMagnitude {
		return BatteryBudget{}, ErrNoVoltage
	}
	if !(m.InternalOhm >= 0) || m.InternalOhm > mostMagnitude {
		return BatteryBudget{}, fmt.Errorf("circuit: battery budget: internal resistance %g ohm: must be above 0", m.InternalOhm)
	}
	b := BatteryBudget{Problem: *p, SheetVoltageV: p.Battery.VoltageV, Needed: p.RequiredMargin(), MostTotalA: p.Battery.HighestCurrentA}
	b.Problem.Igniters = append([]Igniter(nil), p.Igniters...)
	bat := &b.Problem.Battery
	bat.VoltageV = m.VoltageV
	if m.InternalOhm > 0 {
		bat.InternalOhm, bat.HighestInternalOhm = m.InternalOhm, m.InternalOhm*(1+stepError)
		b.Basis = fmt.Sprintf("measured: %.2f V at rest, %.1f mohm by two loads", m.VoltageV, 1e3*m.InternalOhm)
	} else {
		bat.InternalOhm = bat.HighestInternalOhm
		b.Basis = fmt.Sprintf("measured: %.2f V at rest; the sheet's highest internal resistance, %.1f mohm, for want of a loaded reading",
			m.VoltageV, 1e3*bat.HighestInternalOhm)
	}
	b.Solution = Solve(&b.Problem)
	b.LeastVoltageV = LeastVoltageV(&b.Problem)
	b.Contradicted = math.Abs(m.VoltageV-b.SheetVoltageV) > contradictionShare*b.SheetVoltageV
	b.Weakest = b.Solution.Weakest()
	if b.Weakest < 0 {
		b.Reason = "no motor"
		return b, nil
	}
	b.Margin = b.Solution.Igniters[b.Weakest].Margin
	b.Reason = b.fault()
	b.Go = b.Reason == ""
	return b, nil
}

// fault returns why the budget is a no, or nothing.
func (b *BatteryBudget) fault() string {
	sol := &b.Solution
	switch {
	case b.Contradicted:
		return fmt.Sprintf("the sheet says %.2f V, the meter %.2f V: more than %.0f %% apart",
			b.SheetVoltageV, b.Problem.Battery.VoltageV, 100*contradictionShare)
	case !(b.Margin >= b.Needed):
		return fmt.Sprintf("motor %d: current margin %.2f below %.2f: the battery must show at least %.2f V",
			b.Weakest+1, b.Margin, b.Needed, b.LeastVoltageV)
	case !sol.AllFire:
		_, firing := sol.SlowestFiringS()
		return fmt.Sprintf("only %d of %d bridges fire", firing, len(sol.Igniters))
	case b.Problem.PulseS < sol.RequiredPulseS():
		return fmt.Sprintf("pulse of %.3g s below the %.3g s needed", b.Problem.PulseS, sol.RequiredPulseS())
	case b.MostTotalA > 0 && sol.TotalA > b.MostTotalA:
		return fmt.Sprintf("total current %.1f A above the battery's %.1f A", sol.TotalA, b.MostTotalA)
	}
	return ""
}
