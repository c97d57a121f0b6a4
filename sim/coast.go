package sim

import "math"

// Bounds of the closed form below: outside them its logarithm or its tangent
// would lose digits, and the series is as quick.
const (
	coastLeast = 1e-3 // b u²/a at the start
	coastMost  = 1e6
)

// coast passes a stretch without thrust in closed form, where it applies, and
// reports whether it did. With the mass constant and the air from ahead the
// air speed obeys du/dt = −a − b u², whose solution is
//
//	u = U tan(θ_0 − ω t),  U = √(a/b),  ω = √(a b),  tan θ_0 = u_0/U
//	x = x_0 − w t + (1/2b) ln((1 + tan²θ_0)/(1 + tan²θ))
//
// the coast-down with rolling and drag of any textbook. Speed, deceleration and
// axle loads are monotone in it, so that the extremes stand at its ends. A third
// of the time of a run went into the series of long coasts.
func (r *Runner) coast(limitS float64) (done bool, err error) {
	s := &r.step
	a, b := -s.force[0]/s.inertia, -s.square[0]/s.inertia
	u0 := r.v + r.wind
	if r.visit != nil || r.unloaded || r.mayLift && r.light(&r.sum, u0) || r.starting || r.wind < 0 || r.engaged.k > 0 || r.engaged.fillRate > 0 || s.m[1] != 0 ||
		s.forward != [2]float64{} || !(a > 0) || !(b*u0*u0 > coastLeast*a) || b*u0*u0 > coastMost*a {
		return false, nil
	}
	scale, omega := math.Sqrt(a/b), math.Sqrt(a*b)
	t0 := u0 / scale
	at := func(t float64) (x, u float64) {
		tau := math.Tan(omega * t)
		t1 := (t0 - tau) / (1 + t0*tau)
		return r.x - r.wind*t + math.Log1p((t0*t0-t1*t1)/(1+t1*t1))/(2*b), scale * t1
	}
	ts := r.wind / scale
	h := math.Atan((t0-ts)/(1+t0*ts)) / omega // until it stands still
	what := eventStop
	if h >= limitS-r.t {
		h, what = limitS-r.t, eventNone
	}
	x, u := at(h)
	if what == eventStop {
		u = r.wind
	}
	if x >= r.nextM {
		h = r.coastTo(at, h, a+b*u0*u0)
		_, u = at(h)
		x, what = r.nextM, eventEdge
	}
	r.gatherCoast(a, b, u0, u)
	if what == eventNone {
		r.t = limitS
	} else {
		r.t += h
	}
	r.x, r.v = x, max(u-r.wind, 0)
	switch what {
	case eventStop:
		r.v, r.moving = 0, false
		r.out.StopTimeS = r.t
	case eventEdge:
		return true, r.passEdges()
	}
	if r.t >= r.nextS {
		r.passTimes()
	}
	return true, nil
}

// coastNear is the step of Newton's method, as a share of the interval, after
// which a coast's next time is right to rounding: the error goes with its square,
// times at most the share of the speed that the interval takes.
const coastNear = 1e-8

// coastTo returns when the next position is reached, at most h, from
// where the deceleration now would bring it.
func (r *Runner) coastTo(at func(t float64) (x, u float64), h, decel float64) float64 {
	t := (r.nextM - r.x) / r.v
	if now := 2 * decel * (r.nextM - r.x); now < r.v*r.v {
		t = 2 * (r.nextM - r.x) / (r.v + math.Sqrt(r.v*r.v-now))
	}
	return newton(0, h, min(t, h), coastNear*h, false, func(t float64) (beyondM, speedMps float64) {
		x, u := at(t)
		return x - r.nextM, u - r.wind
	})
}

// gatherCoast takes the extremes of a coast from air speed u0 down to u1.
func (r *Runner) gatherCoast(a, b, u0, u1 float64) {
	s, e, v, o := &r.step, &r.engaged, &r.p.Vehicle, &r.out
	o.PeakDecelerationMps2 = max(o.PeakDecelerationMps2, a+b*u0*u0)
	if r.v > o.PeakSpeedMps {
		o.PeakSpeedMps, o.PeakSpeedTimeS, o.PeakSpeedPositionM = r.v, r.t, r.x
	}
	still := GravityMps2*r.pitchArm*s.m[0] - e.sledgeNm
	if g := r.p.Guide; g != nil {
		still -= s.guide[0] * g.HeightM
	}
	for _, u := range [2]float64{u0, u1} {
		square := u * u
		load := still + s.m[0]*(a+b*square)*v.CGHeightM - (s.air*v.DragHeightM+r.lift*r.liftArm)*square
		r.minFront = min(r.minFront, load/v.WheelbaseM)
	}
}
