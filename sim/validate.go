package sim

import (
	"errors"
	"fmt"
	"math"
)

// Bounds on how much a problem may have, far above any real vehicle.
const (
	MaxMotors = 64
	MaxStops  = 32
)

// checker collects faults.
type checker struct{ faults []error }

func (c *checker) fault(format string, args ...any) {
	c.faults = append(c.faults, fmt.Errorf("sim: "+format, args...))
}

// within reports a value outside [low, high], NaN and infinities included.
func (c *checker) within(what, unit string, value, low, high float64) {
	if !(value >= low && value <= high) {
		c.fault("%s is %g%s, expected %g to %g%s", what, value, unit, low, high, unit)
	}
}

// above reports a value that is not above 0 and at most high.
func (c *checker) above(what, unit string, value, high float64) {
	if !(value > 0 && value <= high) {
		c.fault("%s is %g%s, expected above 0 and at most %g%s", what, value, unit, high, unit)
	}
}

// Validate returns every fault of p joined, nil when there is none.
func Validate(p *Problem) error {
	var c checker
	c.within("air density", " kg/m3", p.Air.DensityKgM3, 0, 10)
	c.within("headwind", " m/s", p.HeadwindMps, -60, 60)
	c.within("wind range", " m/s", p.WindRangeMps, 0, 60)
	c.within("slope", "", p.SlopeRatio, -1, 1)
	c.above("clear length", " m", p.ClearLengthM, MaxRunLengthM)
	c.within("late light delay", " s", p.LateLightDelayS, 0, MaxRunTimeS)
	c.vehicle(&p.Vehicle)
	if p.Guide != nil {
		c.guide(p.Guide)
	}
	if len(p.Motors) == 0 || len(p.Motors) > MaxMotors {
		c.fault("%d motors, expected 1 to %d", len(p.Motors), MaxMotors)
	}
	propellantKg := 0.0
	for i := range p.Motors {
		c.motor(fmt.Sprintf("motor %d", i+1), &p.Motors[i])
		propellantKg += p.Motors[i].PropellantKg
	}
	if propellantKg >= p.Vehicle.MassKg {
		c.fault("propellant of all motors is %g kg, expected less than the vehicle's %g kg", propellantKg, p.Vehicle.MassKg)
	}
	if len(p.Stops) > MaxStops {
		c.fault("%d stopping devices, limit %d", len(p.Stops), MaxStops)
	}
	for i := range p.Stops {
		c.stop(fmt.Sprintf("stopping device %d %q", i+1, p.Stops[i].Name), &p.Stops[i])
	}
	c.spread(&p.Spread)
	if least := p.Vehicle.MassKg * (1 - drawLimit*p.Spread.Mass); propellantKg >= least && propellantKg < p.Vehicle.MassKg {
		c.fault("uncertainty: mass may be drawn down to %g kg, expected above the propellant's %g kg", least, propellantKg)
	}
	return errors.Join(c.faults...)
}

func (c *checker) vehicle(v *Vehicle) {
	c.above("vehicle mass", " kg", v.MassKg, 1000)
	c.within("rotating mass", " kg", v.RotatingMassKg, 0, 1000)
	c.within("frontal area", " m2", v.FrontalAreaM2, 0, 10)
	c.within("drag coefficient", "", v.DragCoefficient, 0, 10)
	c.within("lift coefficient", "", v.LiftCoefficient, -10, 10)
	c.within("rolling resistance", "", v.RollingResistance, 0, 2)
	c.within("tyre friction", "", v.TyreFriction, 0, 5)
	c.above("wheelbase", " m", v.WheelbaseM, 20)
	c.within("CG behind front axle", " m", v.CGBehindFrontAxleM, -20, 20)
	c.within("CG height", " m", v.CGHeightM, 0, 5)
	c.within("drag height", " m", v.DragHeightM, -5, 5)
	c.within("lift behind front axle", " m", v.LiftBehindFrontAxleM, -20, 20)
}

func (c *checker) guide(g *Guide) {
	if g.Kind != GuideWire && g.Kind != GuideRail {
		c.fault("guide: unknown kind %d, expected a wire or a rail", int(g.Kind))
	}
	c.within("guide drag", " N", g.DragN, 0, 1e5)
	c.within("guide friction", "", g.Friction, 0, 5)
	c.above("guide bearing spacing", " m", g.BearingSpacingM, 20)
	c.within("guide height", " m", g.HeightM, -5, 5)
	c.above("guide rating", " N", g.RatingN, 1e7)
}

func (c *checker) motor(what string, m *Motor) {
	if m.Curve == nil {
		c.fault("%s: it has no thrust curve", what)
	}
	c.within(what+": propellant", " kg", m.PropellantKg, 0, 1000)
	c.within(what+": lateral offset", " m", m.LateralM, -5, 5)
	c.within(what+": height", " m", m.HeightM, -5, 5)
	c.within(what+": thrust angle", " rad", m.AngleRad, -math.Pi/3, math.Pi/3)
	c.within(what+": nozzle behind front axle", " m", m.NozzleBehindFrontAxleM, -20, 20)
	if !math.IsInf(m.IgnitionDelayS, 1) {
		c.within(what+": light time", " s", m.IgnitionDelayS, 0, MaxRunTimeS)
	}
}

func (c *checker) stop(what string, s *Stop) {
	timed := s.Kind == WheelBrake || s.Kind == Chute
	switch {
	case s.After && !timed:
		c.fault("%s: it has a trigger time, expected a position", what)
	case s.After:
		c.within(what+": trigger time", " s", s.AfterS, 0, MaxRunTimeS)
	default:
		c.within(what+": position", " m", s.AtM, 0, MaxRunLengthM)
	}
	if timed {
		c.within(what+": delay", " s", s.DelayS, 0, MaxRunTimeS)
	}
	switch s.Kind {
	case WheelBrake:
		c.within(what+": friction", "", s.Friction, 0, 5)
		c.within(what+": braked share", "", s.BrakedShare, 0, 1)
	case Chute:
		c.above(what+": area", " m2", s.DragAreaM2, 100)
		c.within(what+": fill time", " s", s.FillS, 0, MaxRunTimeS)
	case WeightedLine:
		c.above(what+": mass", " kg", s.MassKg, 1e4)
		c.within(what+": ground friction", "", s.Friction, 0, 5)
		c.line(what, s)
	case ElasticLine:
		c.within(what+": slack", " m", s.SlackM, 0, MaxRunLengthM)
		c.within(what+": damping", " N·s/m", s.DampingNspm, 0, 1e6)
		c.line(what, s)
	case ArrestBed:
		c.above(what+": length", " m", s.LengthM, MaxRunLengthM)
		c.within(what+": friction", "", s.Friction, 0, 5)
	default:
		c.fault("%s: unknown kind %d", what, int(s.Kind))
	}
}

func (c *checker) line(what string, s *Stop) {
	c.above(what+": stiffness", " N/m", s.StiffnessNpm, 1e8)
	c.within(what+": hook height", " m", s.HookHeightM, -5, 5)
	c.within(what+": rating", " N", s.RatingN, 0, 1e7)
}

func (c *checker) spread(s *Spread) {
	share := func(what string, value float64) {
		if !(value >= 0 && value < 0.25) {
			c.fault("uncertainty: %s is %g, expected 0 or more and below 0.25", what, value)
		}
	}
	share("thrust of the lot", s.ThrustLot)
	share("thrust of each motor", s.ThrustMotor)
	share("drag", s.Drag)
	share("rolling", s.Rolling)
	share("mass", s.Mass)
	c.within("uncertainty: wind", " m/s", s.WindMps, 0, 15)
	c.within("uncertainty: stop delay", " s", s.StopDelayS, 0, MaxRunTimeS)
	c.within("uncertainty: probability of a silent motor", "", s.MotorSilent, 0, 1)
	c.within("uncertainty: probability of a failed device", "", s.StopFails, 0, 1)
}

// Notes returns what is allowed but a reader should know: a centre of gravity
// outside the wheelbase. p must be valid.
func Notes(p *Problem) []string {
	var notes []string
	v := &p.Vehicle
	gamma := math.Atan(p.SlopeRatio)
	switch b := v.WheelbaseM - v.CGBehindFrontAxleM; {
	case v.CGBehindFrontAxleM < 0:
		notes = append(notes, "the centre of gravity is ahead of the front axle: the rear axle carries nothing at rest")
	case b*math.Cos(gamma)-v.CGHeightM*math.Sin(gamma) <= 0:
		notes = append(notes, "the centre of gravity is at or behind the rear axle: the front axle carries nothing at rest, so no front load fraction exists")
	}
	return notes
}
