package sim

import (
	"fmt"
	"math"
)

// Sample is one moment of a run: state, every force along the track in newtons
// (thrust forward, all others backward), and the axle loads.
type Sample struct {
	TimeS            float64
	PositionM        float64
	SpeedMps         float64
	AccelerationMps2 float64
	MassKg           float64

	ThrustN  float64
	DragN    float64
	RollingN float64
	GuideN   float64
	SlopeN   float64
	BrakeN   float64 // wheel brakes
	ChuteN   float64
	LineN    float64 // weighted and elastic lines, with the weights' friction
	BedN     float64

	FrontLoadN float64
	RearLoadN  float64
}

// Trace runs a case and shows it to visit: every everyS seconds, and both sides
// of every breakpoint and event. At rest the axle loads are those without
// acceleration and the backward forces what they would be at the first motion.
// An error of visit ends the run and is returned.
func (r *Runner) Trace(c Case, everyS float64, visit func(Sample) error) error {
	if !(everyS > 0) {
		return fmt.Errorf("sim: trace: interval is %g s, expected above 0", everyS)
	}
	if err := r.begin(c); err != nil {
		return err
	}
	r.visit = func(r *Runner, span float64) error {
		if err := visit(r.sample(0)); err != nil {
			return err
		}
		for k := math.Floor(r.t/everyS) + 1; k*everyS < r.t+span; k++ {
			if err := visit(r.sample(k*everyS - r.t)); err != nil {
				return err
			}
		}
		return visit(r.sample(span))
	}
	defer func() { r.visit = nil }()
	return r.run()
}

// sample returns the moment dt seconds into the span that is being passed.
func (r *Runner) sample(dt float64) Sample {
	s := &r.step
	smp := Sample{TimeS: min(r.t+dt, r.nextS), PositionM: r.x}
	sigma := dt // at rest the polynomials are in seconds
	if r.moving {
		sigma = 0
		if s.h > 0 {
			sigma = dt / s.h
		}
		smp.PositionM = s.x.at(s.degree, sigma)
		smp.SpeedMps = max(s.v.at(s.degree, sigma), 0)
		smp.AccelerationMps2 = s.a.at(s.degree-1, sigma)
	}
	v := &r.p.Vehicle
	smp.MassKg = quadratic(s.m).at(sigma)
	smp.ThrustN = s.forward[0] + s.forward[1]*sigma
	u := smp.SpeedMps + r.wind
	smp.DragN = r.drag * u * math.Abs(u)
	lift := r.lift * u * u
	load := max(smp.MassKg*GravityMps2*r.cosG-lift-s.up[0]-s.up[1]*sigma, 0)
	smp.RollingN = r.rolling * load
	smp.GuideN = s.guide[0] + s.guide[1]*sigma
	smp.SlopeN = smp.MassKg * GravityMps2 * r.sinG
	lineNm := r.sampleStops(&smp, load)
	guideM := 0.0
	if r.p.Guide != nil {
		guideM = r.p.Guide.HeightM
	}
	smp.FrontLoadN = (smp.MassKg*(GravityMps2*r.pitchArm-smp.AccelerationMps2*v.CGHeightM) +
		s.pitch[0] + s.pitch[1]*sigma - smp.DragN*v.DragHeightM - lift*r.liftArm - smp.GuideN*guideM - lineNm) / v.WheelbaseM
	smp.RearLoadN = load - smp.FrontLoadN
	return smp
}

// sampleStops adds the devices' forces and returns the lines' pitching moment.
func (r *Runner) sampleStops(smp *Sample, load float64) (lineNm float64) {
	u := max(smp.SpeedMps+r.wind, 0)
	for i := range r.devices {
		d := &r.devices[i]
		s := d.stop
		if d.state != acting && d.state != filling {
			continue
		}
		switch s.Kind {
		case WheelBrake:
			smp.BrakeN += s.Friction * s.BrakedShare * load
		case ArrestBed:
			smp.BedN += s.Friction * load
		case Chute:
			full := 1.0
			if d.state == filling {
				full = min(max((smp.TimeS-d.triggerS)/s.FillS, 0), 1)
			}
			smp.ChuteN += r.halfRho * s.DragAreaM2 * u * u * full
		case WeightedLine:
			force := s.Friction * s.MassKg * GravityMps2
			smp.LineN += force
			lineNm += force * s.HookHeightM
		case ElasticLine:
			force := s.StiffnessNpm*(smp.PositionM-s.AtM-s.SlackM) + s.DampingNspm*smp.SpeedMps
			smp.LineN += force
			lineNm += force * s.HookHeightM
		}
	}
	return lineNm
}
