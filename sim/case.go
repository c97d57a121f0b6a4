package sim

import (
	"fmt"
	"math"
	"slices"
)

// CaseKind is what a what-if case asks.
type CaseKind string

// The kinds of case, in the order in which Cases lists them.
const (
	CaseNominal         CaseKind = "nominal"
	CaseMotorSilent     CaseKind = "motor-silent"
	CaseMotorLate       CaseKind = "motor-late"
	CaseMotorLateAtRest CaseKind = "motor-late-at-rest"
	CaseStopAbsent      CaseKind = "stop-absent"
	CaseAllStopsAbsent  CaseKind = "all-stops-absent"
	CaseTailwind        CaseKind = "tailwind"
)

// Case is one way in which a run may go.
type Case struct {
	Name  string
	Kind  CaseKind
	Motor int // the motor concerned, counted from 1; 0 for none
	Stop  int // the stopping device concerned, counted from 1; 0 for none

	IgnitionDelayS []float64 // ignition delay of each motor, +Inf for silent; nil: the motors' own
	Absent         []bool    // stopping devices that are absent; nil: none
	HeadwindMps    float64
}

// SingleFault reports whether one thing has gone wrong in the case: a motor, a
// device or the wind. All devices absent is more than that.
func (c Case) SingleFault() bool {
	switch c.Kind {
	case CaseMotorSilent, CaseMotorLate, CaseMotorLateAtRest, CaseStopAbsent, CaseTailwind:
		return true
	}
	return false
}

// Cases returns the what-if cases of p: nominal, each motor silent, late, and
// late at rest, each stopping device absent, all absent, and the tailwind.
// Motors alike stand once, for the lowest-numbered: the same in everything but
// their number, or mirrored left to right when the whole set is its own mirror
// image. A motor that never fires (IgnitionDelayS +Inf) misfires in every case.
//
// The late motor of a late-at-rest case has IgnitionDelayS +Inf; Run lights it at the
// StopTimeS of the run in which it is silent.
func Cases(p *Problem) []Case {
	lights := make([]float64, len(p.Motors))
	for i, m := range p.Motors {
		lights[i] = m.IgnitionDelayS
	}
	with := func(i int, lightS float64) []float64 {
		changed := slices.Clone(lights)
		changed[i] = lightS
		return changed
	}
	cases := []Case{{Name: "nominal", Kind: CaseNominal, IgnitionDelayS: lights, HeadwindMps: p.HeadwindMps}}
	motors := distinctMotors(p.Motors)
	for _, i := range motors {
		cases = append(cases, Case{
			Name: fmt.Sprintf("motor %d silent", i+1), Kind: CaseMotorSilent, Motor: i + 1,
			IgnitionDelayS: with(i, math.Inf(1)), HeadwindMps: p.HeadwindMps,
		})
	}
	for _, i := range motors {
		cases = append(cases, Case{
			Name: fmt.Sprintf("motor %d late", i+1), Kind: CaseMotorLate, Motor: i + 1,
			IgnitionDelayS: with(i, lights[i]+p.LateLightDelayS), HeadwindMps: p.HeadwindMps,
		})
	}
	for _, i := range motors {
		cases = append(cases, Case{
			Name: fmt.Sprintf("motor %d late, at rest", i+1), Kind: CaseMotorLateAtRest, Motor: i + 1,
			IgnitionDelayS: with(i, math.Inf(1)), HeadwindMps: p.HeadwindMps,
		})
	}
	all := make([]bool, len(p.Stops))
	for i, stop := range p.Stops {
		absent := make([]bool, len(p.Stops))
		absent[i], all[i] = true, true
		cases = append(cases, Case{
			Name: "without " + stop.Name, Kind: CaseStopAbsent, Stop: i + 1,
			IgnitionDelayS: lights, Absent: absent, HeadwindMps: p.HeadwindMps,
		})
	}
	return append(cases,
		Case{Name: "without any stop", Kind: CaseAllStopsAbsent, IgnitionDelayS: lights, Absent: all, HeadwindMps: p.HeadwindMps},
		Case{Name: "strongest tailwind", Kind: CaseTailwind, IgnitionDelayS: lights, HeadwindMps: p.HeadwindMps - p.WindRangeMps})
}

// distinctMotors returns the indices of the motors that stand for themselves
// and for all motors like them.
func distinctMotors(motors []Motor) []int {
	mirrored := mirrorsItself(motors)
	var distinct []int
	for i := range motors {
		alike := slices.ContainsFunc(distinct, func(j int) bool {
			return alike(&motors[i], &motors[j], 1) || mirrored && alike(&motors[i], &motors[j], -1)
		})
		if !alike {
			distinct = append(distinct, i)
		}
	}
	return distinct
}

// alike reports whether two motors differ in nothing, with the second's lateral
// offset times side.
func alike(a, b *Motor, side float64) bool {
	return sameCurve(a.Curve, b.Curve) && a.PropellantKg == b.PropellantKg && a.LateralM == side*b.LateralM &&
		a.HeightM == b.HeightM && a.AngleRad == b.AngleRad && a.NozzleBehindFrontAxleM == b.NozzleBehindFrontAxleM &&
		a.Circuit == b.Circuit && (a.IgnitionDelayS == b.IgnitionDelayS || math.Abs(a.IgnitionDelayS-b.IgnitionDelayS) < 1e-9)
}

func sameCurve(a, b *Curve) bool { return a == b || slices.Equal(a.points, b.points) }

// mirrorsItself reports whether the set of motors is the same seen in a mirror:
// every kind of motor stands as often on the left as on the right.
func mirrorsItself(motors []Motor) bool {
	for i := range motors {
		here, there := 0, 0
		for j := range motors {
			if alike(&motors[i], &motors[j], 1) {
				here++
			}
			if alike(&motors[i], &motors[j], -1) {
				there++
			}
		}
		if here != there {
			return false
		}
	}
	return true
}

// ThrustToWeight returns the peak of all motors' thrust, lit together, over the
// weight of the vehicle ready to run. p must be valid.
func ThrustToWeight(p *Problem) float64 {
	var curves []*Curve
	var count []float64
	for i := range p.Motors {
		at := slices.IndexFunc(curves, func(c *Curve) bool { return sameCurve(c, p.Motors[i].Curve) })
		if at < 0 {
			at = len(curves)
			curves, count = append(curves, p.Motors[i].Curve), append(count, 0)
		}
		count[at]++
	}
	peakN := 0.0
	for _, c := range curves {
		for _, point := range c.points {
			before, after := 0.0, 0.0
			for j, other := range curves {
				b, a := other.thrustAround(point.TimeS)
				before, after = before+count[j]*b, after+count[j]*a
			}
			peakN = max(peakN, before, after)
		}
	}
	return peakN / (p.Vehicle.MassKg * GravityMps2)
}

// thrustAround returns the thrust in newtons just before and just after timeS.
func (c *Curve) thrustAround(timeS float64) (before, after float64) {
	k, exact := slices.BinarySearchFunc(c.points, timeS, func(p Point, t float64) int {
		switch {
		case p.TimeS < t:
			return -1
		case p.TimeS > t:
			return 1
		}
		return 0
	})
	switch last := len(c.points) - 1; {
	case exact:
		before, after = c.points[k].ThrustN, c.points[k].ThrustN
		if k == 0 {
			before = 0
		}
		if k == last {
			after = 0
		}
	case k > 0 && k <= last:
		p := c.points[k-1]
		before = p.ThrustN + c.slopeNps[k-1]*(timeS-p.TimeS)
		after = before
	}
	return before, after
}
