package sim

import "math"

// A dispersion's runs pass several breakpoints in one step, a stride. Motors
// light milliseconds apart, so that a cluster comes to its breakpoints in
// bunches, and a step to every one of them was most of the work.
//
// In a stride the thrust is replaced by the straight line over time that has the
// same impulse, ∫ F dt, and the same first moment of it, ∫ F t dt; so is the flow
// of propellant. Speed and position at the end of the stride depend on the
// thrust through ∫ K F dt, where K is 1 but for drag, and changes slowly: what
// the line leaves out is the second moment, times the second derivative of K,
//
//	|δv| ≤ ½ (λ² + |λ′|) |δ∫ F t² dt|/M,  λ = 2 Q u/M
//
// For a bend of the thrust by β in the middle of the stride the second moment
// is off by β h⁴/192, and by less elsewhere. Derived here; that the runs agree
// with those of single steps is tested.
//
// A dispersion asks for the peak speed and the least front load, and those need
// the true thrust: a stride ends before the acceleration changes its sign, and
// the front load is taken at each breakpoint, between which it is nearly
// straight. A stride also ends before anything else can happen; what happens is
// left to the general step.

const (
	// strideMostS is how long a stride may last; strideReach is its share of the
	// span over which the series converges.
	strideMostS = 0.2
	strideReach = 0.25
	// strideTerm is the error of one stride at most, over the speed.
	strideTerm = 2e-7
	// strideLoad is the least load on the wheels, over the weight, at which a
	// stride does not ask whether they lift off.
	strideLoad = 0.01
	// strideSpeedMps is the least speed, of the vehicle and of the air, in a stride.
	strideSpeedMps = 0.01
)

// stride is the part of a stride that has been looked at so far.
type stride struct {
	t, tau    float64 // the time, and since the beginning
	u, a, x   float64 // air speed, acceleration and position, estimated
	loadNm    float64 // front axle load times the wheelbase
	sum       sums    // at t
	slope     float64 // of the net force
	bends     float64 // Σ |change of slope|
	force     moments
	flow      moments
	bendsMost float64 // bends times tau⁴ at most

	// Factors of the equation of motion and of the front axle load.
	added, along, steadyN, guide       float64 // M less the mass, g (sin γ + μ cos γ), steady forces, 2 μ_g/s_b
	gravityM, leverM, guideZ, steadyNm float64 // g (b cos γ − h sin γ), of u², guide height, steady moments
	curve                              float64 // bounds the curvature of the load, over a² + u da/dt
	anew, jump                         bool    // a breakpoint where sums are taken anew; one that may be a jump, not passed
}

// moments are ∫ F dt and ∫ F t dt from the beginning of a stride.
type moments struct{ zeroth, first float64 }

// add adds d seconds from tau on, over which the value begins at f and has slope.
func (m *moments) add(tau, d, f, slope float64) {
	part := d * (f + d*slope*0.5)
	m.zeroth += part
	m.first += tau*part + d*d*(f*0.5+d*slope*(1.0/3))
}

// line returns the straight line over h seconds with these moments.
func (m *moments) line(h float64) (start, slope float64) {
	mean := m.zeroth / h
	slope = (12*m.first/h - 6*m.zeroth) / (h * h)
	return mean - slope*h*0.5, slope
}

// stride makes a stride from what setThrust, decide and setForces have set, and
// reports whether it did.
func (r *Runner) stride() bool {
	s, e := &r.step, &r.engaged
	u := r.v + r.wind
	if !r.lean || r.visit != nil || r.starting || r.unloaded || e.k > 0 || r.v < strideSpeedMps || u < strideSpeedMps || r.behind {
		return false
	}
	limitS := min(r.t+strideReach*r.reach(strideMostS/strideReach), r.deviceS, MaxRunTimeS)
	if r.nextS > limitS {
		return false
	}
	w := stride{t: r.t, sum: r.sum, u: u, x: r.x}
	w.begin(r)
	for r.leg(&w, limitS) {
	}
	if w.tau == 0 {
		return false
	}
	mass, force := s.m, s.force
	if !r.expandStride(&w) {
		r.turnBack()
		s.m, s.force = mass, force // the general step goes on from here
		return false
	}
	r.t, r.v, r.x, r.sum = w.t, s.vEnd, s.xEnd, w.sum
	if r.v > r.out.PeakSpeedMps {
		r.out.PeakSpeedMps, r.out.PeakSpeedTimeS, r.out.PeakSpeedPositionM = r.v, r.t, r.x
	}
	if w.anew {
		r.sumGroups()
	}
	if r.nextS <= r.t {
		r.passTimes()
	}
	return true
}

// begin sets what stays the same in a stride, and what is true at its beginning.
func (w *stride) begin(r *Runner) {
	s, e, v := &r.step, &r.engaged, &r.p.Vehicle
	w.added = s.inertia - s.m[0]
	w.along = GravityMps2 * (r.sinG + s.mu*r.cosG)
	w.gravityM, w.leverM = GravityMps2*r.pitchArm, r.drag*v.DragHeightM+r.lift*r.liftArm
	w.steadyN, w.steadyNm = e.sledgeN, e.sledgeNm
	if g := r.p.Guide; g != nil {
		w.guide, w.guideZ = 2*g.Friction/g.BearingSpacingM, g.HeightM
		w.steadyN += g.DragN
		w.steadyNm += g.DragN * g.HeightM
	}
	drag := math.Abs(s.square[0])
	rate := 2 * drag / s.inertia
	w.curve = 2 * (math.Abs(w.leverM) + drag*v.CGHeightM)
	w.a = (s.force[0] + s.square[0]*w.u*w.u) / s.inertia
	w.bendsMost = 384 * strideTerm * (r.v + 0.1) * s.inertia / (rate*rate*w.u*w.u + rate*math.Abs(w.a))
	w.loadNm = w.frontAt(r, w.u)
	r.minFront = min(r.minFront, w.loadNm/v.WheelbaseM)
}

// leg goes on to the next breakpoint, or to where the moment on a guide changes
// its sign, and reports whether the stride may go on from there. It goes
// nowhere when what lies before it does not suit a stride.
func (r *Runner) leg(w *stride, limitS float64) bool {
	s, sum := &r.step, &w.sum
	endS, side := r.nextS, 0.0
	if w.guide > 0 {
		endS, side = w.toBalance(endS)
	}
	d := endS - w.t
	tau := w.tau + d
	f, slope := sum.forward[0]-side*sum.yaw[0]+s.mu*sum.up[0], sum.forward[1]-side*sum.yaw[1]+s.mu*sum.up[1]
	bends := w.bends
	if w.tau > 0 {
		bends += math.Abs(slope - w.slope)
	}
	if endS > limitS || bends*(tau*tau)*(tau*tau) > w.bendsMost {
		return false
	}
	flow, flowSlope, a := sum.flow[0], sum.flow[1], w.a
	sum.advance(endS, r.skipYaw)
	u := w.u + a*d
	w.a = (f + slope*d - w.steadyN - w.along*sum.mass + (s.square[0]+s.square[1]*tau)*u*u) / (sum.mass + w.added)
	u = w.u + d*(a+w.a)*0.5
	x := w.x + d*((u+w.u)*0.5-r.wind)
	loadNm := w.frontAt(r, u)
	if (a > 0) != (w.a > 0) || x+1e-3*(u*d) >= r.nextM || min(u, u-r.wind) < strideSpeedMps || r.mayLift && r.light(sum, u) ||
		w.mayDip(r, d, loadNm, max(a*a, w.a*w.a)+u*math.Abs(w.a-a)/d) {
		sum.advance(w.t, r.skipYaw)
		return false
	}
	w.force.add(w.tau, d, f, slope)
	w.flow.add(w.tau, d, flow, flowSlope)
	w.t, w.tau, w.u, w.x, w.slope, w.bends, w.loadNm = endS, tau, u, x, slope, bends, loadNm
	if loadNm < r.minFront*r.p.Vehicle.WheelbaseM {
		r.minFront = loadNm / r.p.Vehicle.WheelbaseM
	}
	if endS == r.nextS {
		r.passBreakpoints(w)
	}
	return !w.jump && endS < limitS
}

// toBalance returns when the moment on the guide changes its sign, at most endS,
// and the guide's friction per moment until then.
func (w *stride) toBalance(endS float64) (untilS, side float64) {
	yaw, slope, span := w.sum.yaw[0], w.sum.yaw[1], endS-w.t
	side = w.guide
	if yaw+slope*span*0.5 < 0 {
		side = -side
	}
	if yaw*(yaw+slope*span) < 0 {
		if at := w.t - yaw/slope; at > w.t && at < endS {
			return at, math.Copysign(side, yaw)
		}
	}
	return endS, side
}

// frontAt returns the front axle load times the wheelbase; see frontLoad.
func (w *stride) frontAt(r *Runner, u float64) float64 {
	sum := &w.sum
	return sum.mass*(w.gravityM-w.a*r.p.Vehicle.CGHeightM) + sum.pitch[0] - w.leverM*u*u - w.steadyNm - w.guide*w.guideZ*math.Abs(sum.yaw[0])
}

// mayDip reports whether the front load may have a new least value inside a leg
// of d seconds, by more than rounds away. Between breakpoints it is straight but
// for the square of the air speed, whose second derivative is 2 (a² + u da/dt).
func (w *stride) mayDip(r *Runner, d, loadNm, square float64) bool {
	dip := w.curve * square * d * d / 8
	return dip > 1e-6*w.sum.mass*GravityMps2*r.p.Vehicle.WheelbaseM && min(loadNm, w.loadNm)-dip < r.minFront*r.p.Vehicle.WheelbaseM
}

// light reports whether the wheels carry so little that they might lift off.
func (r *Runner) light(sum *sums, u float64) bool {
	weight := GravityMps2 * r.cosG * sum.mass
	return weight-r.lift*u*u-sum.up[0] < strideLoad*weight
}

// passBreakpoints passes the breakpoints at the end of a leg, but for one where
// the thrust may jump.
func (r *Runner) passBreakpoints(w *stride) {
	next := r.deviceS
	for i := range r.groups {
		g := &r.groups[i]
		for g.nextS <= w.t {
			k := &g.breakpoints[g.next]
			if k.jump {
				w.jump = true
				break
			}
			w.anew = w.anew || k.anew
			w.sum.bend(g, k.bendNps)
			g.pass()
		}
		next = min(next, g.nextS)
	}
	r.nextS = next
}

// expandStride sets the series over the stride, and reports whether it is what
// the legs promised.
func (r *Runner) expandStride(w *stride) bool {
	s := &r.step
	start, slope := w.flow.line(w.tau)
	s.m[1], s.m[2] = -start, -slope*0.5
	start, slope = w.force.line(w.tau)
	s.force[0], s.force[1], s.force[2] = start-w.steadyN-w.along*s.m[0], slope-w.along*s.m[1], -w.along*s.m[2]
	r.expand(w.tau)
	return s.h == w.tau && s.vEnd > 0 && s.xEnd < r.nextM
}

// turnBack takes the breakpoints back that a stride passed in vain.
func (r *Runner) turnBack() {
	r.nextS = r.deviceS
	for i := range r.groups {
		g := &r.groups[i]
		for g.next > 0 && g.lightS+g.breakpoints[g.next-1].timeS > r.t {
			g.next--
		}
		g.nextS = g.lightS + g.breakpoints[g.next].timeS
		r.nextS = min(r.nextS, g.nextS)
	}
}
