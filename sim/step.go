package sim

import "math"

// The equation of motion between breakpoints and events is smooth, and in the terms
// of section 3 of the model quadratic in the air speed u = v + w:
//
//	M(t) dv/dt = A(t) + Q(t) u² − K x − C v
//
// with M and A quadratic and Q linear in time. Its Taylor series follows from
// a recurrence: with u² = Σ q_n sⁿ and dv/dt = Σ a_n sⁿ,
//
//	M_0 a_n = A_n + Q_0 q_n + Q_1 q_{n−1} − K x_n − C v_n − M_1 a_{n−1} − M_2 a_{n−2}
//	v_{n+1} = a_n/(n+1),  x_{n+1} = v_n/(n+1)
//
// so every step carries its own dense output, and its order follows from the
// size of the terms: four or five between two points of a thrust curve, a dozen
// and more in the long coast. Method: Taylor series by recurrence; see Hairer,
// Nørsett, Wanner, Solving Ordinary Differential Equations I, section I.8 (from
// memory).
//
// Chosen by measurement, at 1e-8 on the stopping position of four motors of 25
// points with a chute and a brake: the plain Runge–Kutta 4 of the tests takes 35
// to 80 times as long (BenchmarkAgainstRK4). Over the same spans, at 1e-10, a
// method of order 8 in 11 stages takes twice as long (BenchmarkMethods), and has
// no dense output yet, which every event and every extreme needs. At a fixed
// order of 4 the method shows order 4 (TestOrderOfConvergence).

const (
	// termLeast ends a series, relative to the speed. A hundred steps of it stay
	// far inside 1e-8.
	termLeast = 1e-11
	orderFew  = 4 // the quadratic terms of A and M are always in
	// orderStart is the least order where the air speed begins near 0: the
	// first terms of u² vanish there, and with them some of the series.
	orderStart = 9
	loadLeast  = 1e-9 // hysteresis of unloading, over the weight
	speedLeast = 1e-9 // hysteresis of the air's direction, m/s
)

// step is one step: the polynomials in σ = (t − t_0)/h that describe it.
type step struct {
	h      float64
	degree int // of v and x; the acceleration has one less

	v, x, a, sq series // m/s, m, m/s², (m/s)²; sq is u²

	vEnd, xEnd, aEnd float64 // at σ = 1
	vBend, aBend     float64 // how far from the chord at most
	aMonotone        bool

	m       [3]float64 // mass of the vehicle
	inertia float64    // M_0 = m[0] + rotating mass + weights
	forward [2]float64 // Σ T cos θ
	up      [2]float64 // Σ T sin θ
	pitch   [2]float64 // pitching moment of thrust about the front contact
	yaw     [2]float64 // M_z
	yawSize [2]float64 // Σ |T cos θ y|
	guide   [2]float64 // G
	force   [3]float64 // A
	square  [2]float64 // Q
	air     float64    // signed ½ρ CdA
	mu      float64    // C_rr, brakes and beds on the wheels' load
}

// setThrust sets mass, thrust and guide friction from the time now, as
// polynomials in seconds, valid for span seconds at most. It returns the span,
// shortened where a moment on a guide changes sign.
func (r *Runner) setThrust(span float64) float64 {
	s, sum := &r.step, &r.sum
	sum.advance(r.t, r.skipYaw)
	// One number at a time: copying pairs that were just written one by one makes
	// the processor wait.
	s.m[0], s.m[1], s.m[2] = sum.mass, -sum.flow[0], -sum.flow[1]/2
	s.forward[0], s.forward[1] = sum.forward[0], sum.forward[1]
	s.up[0], s.up[1] = sum.up[0], sum.up[1]
	s.pitch[0], s.pitch[1] = sum.pitch[0], sum.pitch[1]
	if !r.skipYaw {
		s.yaw[0], s.yaw[1] = sum.yaw[0], sum.yaw[1]
		s.yawSize[0], s.yawSize[1] = sum.yawSize[0], sum.yawSize[1]
	}
	if g := r.p.Guide; g != nil {
		yaw, yawSize := s.yaw, s.yawSize
		if end := yaw[0] + yaw[1]*span; yaw[0]*end < 0 {
			// A change of sign that rounds to now is behind us: a step of that
			// length would never end.
			if at := -yaw[0] / yaw[1]; at > 1e-12*span && r.t+at > r.t && at < span {
				span = at
			}
		}
		side := 2 * g.Friction / g.BearingSpacingM
		if yaw[0]+yaw[1]*span/2 < 0 {
			side = -side
		}
		s.guide[0], s.guide[1] = g.DragN+side*yaw[0], side*yaw[1]
		for _, moment := range [2]float64{yaw[0], yaw[0] + yaw[1]*span} {
			if math.Abs(moment) > yawNegligible*(yawSize[0]+max(yawSize[1]*span, 0)) {
				r.peakMoment = max(r.peakMoment, math.Abs(moment))
			}
		}
	}
	return span
}

// decide sets on which side the air comes from and whether the wheels carry
// anything, at speed v and with what setThrust has set.
func (r *Runner) decide(v float64) {
	s := &r.step
	u := v + r.wind
	if u > speedLeast {
		r.behind = false
	} else if u < -speedLeast {
		r.behind = true
	}
	if r.mayLift {
		weight := GravityMps2 * r.cosG * s.m[0]
		load, least := weight-r.lift*u*u-s.up[0], loadLeast*weight
		if load <= 0 {
			r.out.Airborne = true
		}
		if load > least {
			r.unloaded = false
		} else if load < -least {
			r.unloaded = true
		}
	}
}

// setForces sets the equation's A and Q in seconds from what setThrust and
// decide have set.
func (r *Runner) setForces() {
	s, e := &r.step, &r.engaged
	gCos, gSin := GravityMps2*r.cosG, GravityMps2*r.sinG
	s.inertia = s.m[0] + r.p.Vehicle.RotatingMassKg + e.weights
	s.air = r.drag
	s.square[0], s.square[1] = -r.drag-e.chute-(e.fillRate*r.t-e.fillStart), -e.fillRate
	if r.behind {
		s.air = -r.drag
		s.square[0], s.square[1] = r.drag, 0
	}
	s.mu = 0
	if !r.unloaded {
		s.mu = r.rolling + e.brakeMu
	}
	along := gSin + s.mu*gCos
	s.force[0] = s.forward[0] - s.guide[0] - along*s.m[0] + s.mu*s.up[0] - e.sledgeN + e.kx
	s.force[1] = s.forward[1] - s.guide[1] - along*s.m[1] + s.mu*s.up[1]
	s.force[2] = -along * s.m[2]
	s.square[0] += s.mu * r.lift
}

// reach returns a span over which the series converges well, at most span: a
// share of the time scale of drag, damping and stiffness, and no further than
// a vehicle slowing down can run.
func (r *Runner) reach(span float64) float64 {
	s, e := &r.step, &r.engaged
	u := math.Abs(r.v + r.wind)
	q := math.Abs(s.square[0]) + math.Abs(s.square[1])*span
	first, second := 2*q*u+e.c, q*math.Abs(s.force[0])+e.k*s.inertia
	span = min(span, reachShare*s.inertia/(first+math.Sqrt(second)))
	if r.v > 0 {
		net := s.force[0] + s.square[0]*u*u - e.k*r.x - e.c*r.v
		if net*span < -1.25*r.v*s.inertia {
			span = -1.25 * r.v * s.inertia / net
		}
	}
	return span
}

// reachShare is how much of the time scale a step spans; 0.3 and 0.5 take as long.
const reachShare = 0.4

// expand sets the series over h seconds, which it shortens when the highest
// order does not reach the accuracy.
func (r *Runner) expand(h float64) {
	s := &r.step
	s.scale(h)
	v, x, a, sq := &s.v, &s.x, &s.a, &s.sq
	elastic := r.engaged.k > 0
	u0 := r.v + r.wind
	inv := 1 / s.inertia
	k, c := r.engaged.k*inv, r.engaged.c*inv
	q0, q1 := s.square[0]*inv, s.square[1]*inv
	m1, m2 := s.m[1]*inv, s.m[2]*inv

	// The first terms stand alone: there A and M come in, and most steps need
	// few others. v[0] is not u[0], so the cross terms with u0 stand apart in
	// every square.
	v0, x0 := r.v, r.x
	sq0 := u0 * u0
	a0 := s.force[0]*inv + q0*sq0
	if elastic {
		a0 -= k*x0 + c*v0
	}
	if r.starting && a0 < 0 {
		a0 = 0 // it starts where the net force passes 0: only rounding is below
	}
	v1, x1 := h*a0, h*v0
	sq1 := 2 * u0 * v1
	a1 := s.force[1]*inv + q0*sq1 + q1*sq0 - m1*a0
	if elastic {
		a1 -= k*x1 + c*v1
	}
	v2, x2 := h*a1*0.5, h*v1*0.5
	sq2 := 2*u0*v2 + v1*v1
	a2 := s.force[2]*inv + q0*sq2 + q1*sq1 - m1*a1 - m2*a0
	if elastic {
		a2 -= k*x2 + c*v2
	}
	v3, x3 := h*a2*(1.0/3), h*v2*(1.0/3)
	sq3 := 2 * (u0*v3 + v1*v2)
	a3 := q0*sq3 + q1*sq2 - m1*a2 - m2*a1
	if elastic {
		a3 -= k*x3 + c*v3
	}
	v4, x4 := h*a3*0.25, h*v3*0.25
	v[0], v[1], v[2], v[3], v[4] = v0, v1, v2, v3, v4
	x[0], x[1], x[2], x[3], x[4] = x0, x1, x2, x3, x4
	a[0], a[1], a[2], a[3] = a0, a1, a2, a3
	sq[0], sq[1], sq[2], sq[3] = sq0, sq1, sq2, sq3

	least := r.least * (math.Abs(v0) + 0.1)
	few := orderFew
	if 0.0625*sq0 < v1*v1+v2*v2+v3*v3 {
		few = orderStart
	}
	s.further(recurrence{h, u0, q0, q1, m1, m2, k, c}, few, least*least)
}

// recurrence are the recurrence's factors, over M_0.
type recurrence struct{ h, u0, q0, q1, m1, m2, k, c float64 }

// further continues the series from its fourth order until its terms, squared,
// are below least, but to order few at the least.
func (s *step) further(f recurrence, few int, least float64) {
	v, x, a, sq := &s.v, &s.x, &s.a, &s.sq
	// The newest term stands in registers and apart from the sum over the older
	// ones: otherwise every order would wait for the whole of the one before.
	n := 4
	vNew, vOld := v[4], v[3]
	aOld, aOlder, sqOld := a[3], a[2], sq[3]
	lead := 2 * f.q0 * f.u0
	for n < maxOrder && (n < few || vNew*vNew+0.01*vOld*vOld >= least) {
		older, other := v[1]*vOld, 0.0
		i, j := 2, n-2
		for ; i+1 < j-1; i, j = i+2, j-2 {
			older += v[i&31] * v[j&31]
			other += v[(i+1)&31] * v[(j-1)&31]
		}
		if i < j {
			other += v[i&31] * v[j&31]
			i, j = i+1, j-1
		}
		older = 2 * (older + other)
		if i == j {
			older += v[i&31] * v[i&31]
		}
		next := lead*vNew + (f.q0*older + f.q1*sqOld - f.m2*aOlder - f.m1*aOld)
		if f.k > 0 {
			next -= f.k*x[n&31] + f.c*vNew
		}
		sqOld = 2*f.u0*vNew + older
		aOlder, aOld = aOld, next
		sq[n&31], a[n&31] = sqOld, next
		step := f.h * inverse[(n+1)&31]
		x[(n+1)&31] = step * vNew
		vOld, vNew = vNew, step*next
		v[(n+1)&31] = vNew
		n++
	}
	s.degree = n
	if last := vNew*vNew + 0.01*vOld*vOld; n == maxOrder && last > least {
		s.cut(0.95 * math.Pow(least/last, 0.5/maxOrder))
	} else {
		s.sum()
	}
}

// inverse is 1/n.
var inverse = func() (inv series) {
	for n := 1; n < len(inv); n++ {
		inv[n] = 1 / float64(n)
	}
	return inv
}()

// scale takes the polynomials of setThrust and setForces from seconds to σ.
func (s *step) scale(h float64) {
	s.h = h
	s.m[1] *= h
	s.m[2] *= h * h
	s.forward[1] *= h
	s.up[1] *= h
	s.pitch[1] *= h
	s.yaw[1] *= h
	s.yawSize[1] *= h
	s.guide[1] *= h
	s.force[1] *= h
	s.force[2] *= h * h
	s.square[1] *= h
}

// cut ends the step at σ = share.
func (s *step) cut(share float64) {
	h := s.h * share
	s.scale(share)
	s.h = h
	s.v.shrink(s.degree, share)
	s.x.shrink(s.degree, share)
	s.a.shrink(s.degree-1, share)
	s.sq.shrink(s.degree-1, share)
	s.sum()
}

// sum sets the ends of the series and the bounds of what lies between them.
func (s *step) sum() {
	v, x, a := &s.v, &s.x, &s.a
	n := s.degree
	vEnd, xEnd := v[n], x[n]
	vBend, aBend, aEnd, aSlope := math.Abs(v[n]), 0.0, 0.0, 0.0
	for n--; n > 2; n-- {
		vEnd += v[n]
		xEnd += x[n]
		aEnd += a[n]
		size := math.Abs(a[n])
		vBend += math.Abs(v[n])
		aBend += size
		aSlope += float64(n) * size
	}
	second := math.Abs(a[2])
	s.vEnd = vEnd + v[2] + v[1] + v[0]
	s.xEnd = xEnd + x[2] + x[1] + x[0]
	s.aEnd = aEnd + a[2] + a[1] + a[0]
	s.vBend = vBend + 0.25*math.Abs(v[2])
	s.aBend = aBend + 0.25*second
	s.aMonotone = math.Abs(a[1]) >= aSlope+2*second
}

// advance makes one step of a moving vehicle.
func (r *Runner) advance() error {
	if r.t >= MaxRunTimeS {
		return r.unfinished()
	}
	if r.nextS <= r.t {
		r.passTimes()
		return nil
	}
	s := &r.step
	limitS := min(r.nextS, MaxRunTimeS)
	span := r.setThrust(limitS - r.t)
	r.decide(r.v)
	r.setForces()
	if done, err := r.coast(limitS); done {
		return err
	}
	if r.stride() {
		return nil
	}
	h := r.reach(span)
	r.expand(h)
	what := r.findEvent()
	r.gather()
	if r.visit != nil {
		if err := r.visit(r, s.h); err != nil {
			return err
		}
	}
	if what == eventNone && s.h == limitS-r.t {
		r.t = limitS
	} else if end := r.t + s.h; end > r.t {
		r.t = end
	} else {
		r.t = math.Nextafter(r.t, limitS) // an event within the last digit of the time: it would come for ever
	}
	r.v, r.x = max(s.vEnd, 0), s.xEnd
	r.starting = false
	switch what {
	case eventStop:
		r.v, r.moving = 0, false
		r.out.StopTimeS = r.t
	case eventAir:
		r.behind = !r.behind
	case eventLoad:
		r.unloaded = !r.unloaded
	case eventEdge:
		r.x = r.nextM
		return r.passEdges()
	}
	if r.t >= r.nextS {
		r.passTimes()
	}
	return nil
}
