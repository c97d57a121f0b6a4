package prediction

import (
	"math"

	"holdline/checklist/sheet"
	"holdline/sim"
	"holdline/sim/circuit"
)

// Names and units that the text knows.
const (
	limitStop      = "stop inside the cleared length"
	unitMotors     = "motors"
	unitAirborne   = "cases airborne"
	limitOverrun   = "overrun probability, 95 % upper bound"
	limitFrontLoad = "front load"
	limitStagger   = "stagger, 95th percentile"
	limitAllLight  = "all motors light, lower bound"
)

const (
	sourceStrip  = "the sheet: cleared length less the stop margin"
	sourceRating = "the sheet: its rating"
	sourceWheels = "wheels that carry nothing neither brake nor steer"
)

// runLimits are the requirements of the run, each with what decides it. Single
// faults have to meet them like the nominal run; all devices absent has not.
func runLimits(s *sheet.Sheet, r *Run, fired *circuit.Solution) []Limit {
	var limits []Limit
	strip := s.Site.ClearLengthM - s.Limits.StopMarginM
	r.gates(func(c *sim.CaseResult) {
		limits = append(limits, atMost(limitStop, c.Case.Name, c.Outcome.StopPositionM, strip, "m", sourceStrip))
	})
	limits = append(limits,
		atMost(limitOverrun, "", r.Dispersion.OverrunUpper95, s.Limits.OverrunProbability, "", sourceSheet))
	limits = append(limits, firingLimits(s, r, fired)...)
	limits = append(limits, loadLimits(s, r)...)
	return append(limits, distanceLimits(s, r)...)
}

// firingLimits are those of the motors and their ignition.
func firingLimits(s *sheet.Sheet, r *Run, fired *circuit.Solution) []Limit {
	_, firing := fired.SlowestFiringS()
	misfire := ""
	for k := len(fired.Igniters) - 1; k >= 0; k-- {
		if math.IsInf(fired.Igniters[k].FiresS, 1) {
			misfire = motorName(k)
		}
	}
	limits := []Limit{
		atLeast("every motor fires", misfire, float64(firing), float64(len(s.Motors)), unitMotors, sourceModel),
		atMost("thrust to weight", "", r.ThrustToWeight, s.Limits.ThrustToWeight, "", sourceSheet),
	}
	if !r.LightAtZero {
		stagger := math.NaN()
		if q := r.Dispersion.StaggerS; q != nil {
			stagger = q.P95
		}
		limits = append(limits, atMost(limitStagger, "", stagger, s.Limits.StaggerS, "s", sourceSheet))
	}
	return limits
}

// loadLimits are those of wheels, guide, lines and deceleration.
func loadLimits(s *sheet.Sheet, r *Run) []Limit {
	front, where := r.least(func(c *sim.CaseResult) sim.Maybe { return c.Outcome.MinFrontLoadFraction })
	limits := []Limit{atLeast(limitFrontLoad, where, front, s.Limits.FrontLoad, "", sourceSheet)}
	airborne, first := 0, ""
	r.gates(func(c *sim.CaseResult) {
		if c.Outcome.Airborne {
			if airborne == 0 {
				first = c.Case.Name
			}
			airborne++
		}
	})
	limits = append(limits, atMost("wheels on the ground", first, float64(airborne), 0, unitAirborne, sourceWheels))
	if s.Guide == nil {
		yaw, where := r.least(func(c *sim.CaseResult) sim.Maybe { return c.Outcome.MinYawMargin })
		limit := atLeast("yaw margin", where, yaw, s.Limits.YawMargin, "", sourceSheet)
		limit.Pass = limit.Pass || math.IsNaN(yaw) // no case has a moment to balance
		limits = append(limits, limit)
	} else {
		margin, where := r.least(func(c *sim.CaseResult) sim.Maybe { return c.Outcome.GuideMargin })
		load := 0.0
		if margin > 0 {
			load = s.Guide.RatingN / margin
		}
		limits = append(limits, atMost("side load of a guide bearing", where, load, s.Guide.RatingN, "N", sourceRating))
	}
	slowing, where := r.worst(func(c *sim.CaseResult) sim.Maybe { return sim.Some(c.Outcome.PeakDecelerationMps2) })
	limits = append(limits, atMost("deceleration", where, slowing, s.Limits.DecelerationMps2, "m/s2", sourceSheet))
	for i, stop := range s.Stops {
		if stop.Kind != sim.WeightedLine && stop.Kind != sim.ElasticLine {
			continue
		}
		tension, where := r.worst(func(c *sim.CaseResult) sim.Maybe { return c.LineTensionN[i] })
		if where == "" {
			tension = 0 // it acts in no case
		}
		limits = append(limits, atMost("tension of "+stop.Name, where, tension, stop.RatingN, "N", sourceRating))
	}
	return limits
}

// distanceLimits compare the crew's distance and the strip's half width with
// what the rocket codes ask for.
func distanceLimits(s *sheet.Sheet, r *Run) []Limit {
	propellantKg := 0.0
	for _, m := range s.Motors {
		propellantKg += m.PropellantKg
	}
	crewM, crewSource := borrowedCrewDistanceM(r.ImpulseNs, s.Vehicle.MassKg, propellantKg, len(s.Motors))
	halfM, halfSource := borrowedHalfWidthM(r.ImpulseNs)
	if beyondTables(r.ImpulseNs) {
		crewM, halfM = math.NaN(), math.NaN() // no table covers it: never enough
	}
	return []Limit{
		atLeast("crew distance", "", s.Site.CrewDistanceM, crewM, "m", crewSource),
		atLeast("clear half width", "", s.Site.ClearHalfWidthM, halfM, "m", halfSource),
	}
}
