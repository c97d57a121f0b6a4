package sim

import "math"

// Under thrust a dispersion's runs go in short steps of low order. Motors of a
// cluster that light milliseconds apart come to the points of their curves
// milliseconds apart: a bunch of knots, and a long stretch to the next. A step
// to every knot was most of the work. A bunch is passed in one step instead: the
// series goes on, with the slopes that it began with, to the last knot of the
// bunch, and the knots on the way are put in as a perturbation. A thrust that
// bends by β at a time τ before the end, with ρ of propellant for each newton
// second, changes the speed at the end by φ:
//
//	M φ′ = β τ + ρ β (g_a + a) τ²/2 + 2 Q u φ,  g_a = g (sin γ + C_rr cos γ)
//	φ = (β/M) (τ²/2 + τ³ (ρ (g_a + a)/6 + Q u/(3 M) + M′/(6 M)))
//
// everything on the right taken at the end, and the position by (β/M) τ³/6. The
// terms of τ⁴ are kept below the accuracy of a step by the length of the bunch.
// First order of perturbation of the same equation; derived here.
//
// A dispersion asks neither for the extremes of the acceleration nor for what
// lies between the ends of a step. Where a value that it does ask for might have
// an extreme inside, or an event might lie there, the general step is made.

const (
	bunchMostS = 0.05 // length of a bunch at most
	// bunchLeast is the error of one bunch over the speed at most.
	bunchLeast = 2e-10
	// shortRate is the length of a short step at most, over the time scale of
	// drag.
	shortRate = 0.15
	shortMost = 12 // order of a short step at most
)

// bunch is what the knots up to the end of a step change there.
type bunch struct {
	forward, flow, pitch    float64 // Σ β: what the slopes change by
	forward1, flow1, pitch1 float64 // Σ β τ
	forward2, flow2         float64 // Σ β τ²
	forward3, flow3         float64 // Σ β τ³
	size, size1             float64 // Σ |β|, Σ |β| τ of forward
}

// lastKnot returns the time of the last knot up to limitS, nextS for none.
func (r *Runner) lastKnot(limitS float64) float64 {
	lastS := r.nextS
	for i := range r.groups {
		g := &r.groups[i]
		for at, next := g.nextS, g.next; at <= limitS; at = g.lightS + g.knots[next].timeS {
			lastS = max(lastS, at)
			next++
		}
	}
	return lastS
}

// sumBunch sums the knots up to endS into r.bunch. It sums into variables of its
// own: copying a struct that was just written field by field makes the
// processor wait.
func (r *Runner) sumBunch(endS float64) {
	var forward, flow, pitch, forward1, flow1, pitch1, forward2, flow2, forward3, flow3, size, size1 float64
	for i := range r.groups {
		g := &r.groups[i]
		at, next := g.nextS, g.next
		for at <= endS {
			bend, tau := g.knots[next].bendNps, endS-at
			f, w, m := g.forward*bend, g.burn*bend, g.pitch*bend
			forward, flow, pitch, size = forward+f, flow+w, pitch+m, size+math.Abs(f)
			f, w, m = f*tau, w*tau, m*tau
			forward1, flow1, pitch1, size1 = forward1+f, flow1+w, pitch1+m, size1+math.Abs(f)
			f, w = f*tau, w*tau
			forward2, flow2 = forward2+f, flow2+w
			forward3, flow3 = forward3+f*tau, flow3+w*tau
			next++
			at = g.lightS + g.knots[next].timeS
		}
		g.thenS, g.then = at, next
	}
	b := &r.bunch
	b.forward, b.flow, b.pitch, b.size = forward, flow, pitch, size
	b.forward1, b.flow1, b.pitch1, b.size1 = forward1, flow1, pitch1, size1
	b.forward2, b.flow2 = forward2, flow2
	b.forward3, b.flow3 = forward3, flow3
}

// volley is a cluster whose motors all have one curve. Every bunch then is the
// same knot of each, as far apart as they light: its sums differ from bunch to
// bunch by the bend alone.
type volley struct {
	knots         []knot // of the curve; nil when there are several
	firstS, lastS float64
	each          bunch // for a bend of 1 N/s
}

// formVolley sets r.volley. Its motors are not tilted, so that each of them
// pushes forward.
func (r *Runner) formVolley() {
	y := &r.volley
	y.knots = nil
	if len(r.groups) == 0 {
		return
	}
	y.firstS, y.lastS = math.Inf(1), math.Inf(-1)
	for i := range r.groups {
		if r.groups[i].curve != r.groups[0].curve {
			return
		}
		y.firstS, y.lastS = min(y.firstS, r.groups[i].lightS), max(y.lastS, r.groups[i].lightS)
	}
	y.knots, y.each = r.groups[0].knots, bunch{}
	b := &y.each
	for i := range r.groups {
		g := &r.groups[i]
		tau := y.lastS - g.lightS
		f, w, m := g.forward, g.burn, g.pitch
		b.forward, b.flow, b.pitch = b.forward+f, b.flow+w, b.pitch+m
		f, w, m = f*tau, w*tau, m*tau
		b.forward1, b.flow1, b.pitch1 = b.forward1+f, b.flow1+w, b.pitch1+m
		f, w = f*tau, w*tau
		b.forward2, b.flow2 = b.forward2+f, b.flow2+w
		b.forward3, b.flow3 = b.forward3+f*tau, b.flow3+w*tau
	}
	b.size, b.size1 = b.forward, b.forward1
}

// sumVolley sums the next bunch of a volley into r.bunch and returns its end. It
// reports whether there is one, ends by limitS, and holds no other knot.
func (r *Runner) sumVolley(limitS float64) (endS float64, found bool) {
	y := &r.volley
	if y.knots == nil {
		return 0, false
	}
	next := r.groups[0].next
	for i := 1; i < len(r.groups); i++ {
		if r.groups[i].next != next {
			return 0, false
		}
	}
	endS = y.lastS + y.knots[next].timeS
	if endS > limitS || y.firstS+y.knots[next+1].timeS <= endS {
		return 0, false
	}
	bend, after := y.knots[next].bendNps, y.knots[next+1].timeS
	b, e := &r.bunch, &y.each
	b.forward, b.flow, b.pitch, b.size = bend*e.forward, bend*e.flow, bend*e.pitch, math.Abs(bend)*e.size
	b.forward1, b.flow1, b.pitch1, b.size1 = bend*e.forward1, bend*e.flow1, bend*e.pitch1, math.Abs(bend)*e.size1
	b.forward2, b.flow2 = bend*e.forward2, bend*e.flow2
	b.forward3, b.flow3 = bend*e.forward3, bend*e.flow3
	for i := range r.groups {
		g := &r.groups[i]
		g.then, g.thenS = next+1, g.lightS+after
	}
	return endS, true
}

// short is a short step: the equation at its start, and the ends and bounds of
// its series.
type short struct {
	inertia, inv, u, q, along float64 // M, 1/M, v + w, Q/M, g_a
	a0, aEnd                  float64
	aLow, aHigh               float64
	slope, slopeOff           float64 // of a at the start, and how far it may go from it, over the step
	v, x                      float64 // at the end
}

// startShort sets the equation from the sums.
func (r *Runner) startShort() (s short) {
	e := &r.engaged
	s.inertia = r.sum.mass + r.p.Vehicle.RotatingMassKg + e.weights
	s.inv = 1 / s.inertia
	s.u = r.v + r.wind
	s.q = -(r.drag + e.chute) * s.inv
	s.along = GravityMps2 * (r.sinG + (r.rolling+e.brakeMu)*r.cosG)
	s.a0 = (r.sum.forward[0]-s.along*r.sum.mass-e.sledgeN)*s.inv + s.q*s.u*s.u
	return s
}

// series sets the ends of the series over h seconds, and reports whether it
// reaches the accuracy.
//
// It is Runner.expand for a vehicle under thrust, written so that a term waits
// for one product and one sum of the term before: with M_1 = −f_0, M_2 = −f_1
// over M_0 and v_n = h a_{n−1}/n,
//
//	a_n = a_{n−1} (2 Q u h/n + f_0) + Q Σ v_i v_{n−i} + f_1 a_{n−2} + A_n
func (r *Runner) series(s *short, h float64) bool {
	q := s.q
	f0, f1 := h*s.inv*r.sum.flow[0], h*h*s.inv*0.5*r.sum.flow[1]
	lead := 2 * q * s.u * h
	a0 := s.a0
	a1 := a0*(lead+f0) + (h*s.inv*r.sum.forward[1] + s.along*f0)
	v1 := h * a0
	a2 := a1*(lead*0.5+f0) + (q*v1*v1 + f1*(a0+s.along))
	v2 := (h * 0.5) * a1
	a3 := a2*(lead*(1.0/3)+f0) + (2*q*v1*v2 + f1*a1)
	v3 := (h * (1.0 / 3)) * a2
	a4 := a3*(lead*0.25+f0) + (q*(2*v1*v3+v2*v2) + f1*a2)
	v4 := (h * 0.25) * a3
	a5 := a4*(lead*0.2+f0) + (2*q*(v1*v4+v2*v3) + f1*a3)
	v5 := (h * 0.2) * a4
	v6 := (h * (1.0 / 6)) * a5
	s.v = r.v + (v1 + v2 + v3 + (v4 + v5 + v6))
	s.x = r.x + h*(r.v+v1*0.5+v2*(1.0/3)+(v3*0.25+v4*0.2+v5*(1.0/6)))
	s.aEnd = a0 + (a1 + a2 + a3 + (a4 + a5))
	second, rest := math.Abs(a2), math.Abs(a3)+math.Abs(a4)+math.Abs(a5)
	s.slope, s.slopeOff = a1, 2*second+5*rest
	least := r.least * (r.v + 0.1)
	least *= least
	small := 0.0625*s.u*s.u < v1*v1+v2*v2+v3*v3 // see orderStart
	if small || v6*v6+0.01*v5*v5 > least {
		more := higher{h: h, q: q, lead: lead, f0: f0, f1: f1}
		more.v = [shortMost + 1]float64{1: v1, 2: v2, 3: v3, 4: v4, 5: v5, 6: v6}
		more.a = [shortMost]float64{4: a4, 5: a5}
		if !more.extend(s, small, least) {
			return false
		}
		rest += more.rest
	}
	s.aLow, s.aHigh = min(a0, s.aEnd), max(a0, s.aEnd)
	if math.Abs(a1) < s.slopeOff {
		bend := 0.25*second + rest
		s.aLow, s.aHigh = s.aLow-bend, s.aHigh+bend
	}
	return true
}

// higher are the terms of a short step beyond order 6, which few of them need.
type higher struct {
	h, q, lead, f0, f1 float64
	v                  [shortMost + 1]float64
	a                  [shortMost]float64
	rest               float64 // Σ |a_n|
}

// extend continues the series to order shortMost at most, and reports whether
// it reaches the accuracy. all asks for every term.
func (m *higher) extend(s *short, all bool, least float64) bool {
	for n := 6; n < shortMost; n++ {
		cross := 0.0
		for i := 1; i < n; i++ {
			cross += m.v[i] * m.v[n-i]
		}
		a := m.a[n-1]*(m.lead*inverse[n]+m.f0) + (m.q*cross + m.f1*m.a[n-2])
		v := m.h * inverse[n+1] * a
		m.a[n], m.v[n+1] = a, v
		s.v += v
		s.x += m.h * m.v[n] * inverse[n+1]
		s.aEnd += a
		s.slopeOff += float64(n) * math.Abs(a)
		m.rest += math.Abs(a)
		if v*v+0.01*m.v[n]*m.v[n] <= least && (!all || n+1 >= orderStart) {
			return true
		}
	}
	return false
}

// advanceShort makes one short step, and reports whether it did.
func (r *Runner) advanceShort() bool {
	e := &r.engaged
	if r.starting || e.k > 0 || e.fillRate > 0 || r.wind < 0 && r.behind {
		return false
	}
	r.sum.advance(r.t, true)
	if r.sum.forward[0] == 0 && r.sum.forward[1] == 0 {
		return false
	}
	s := r.startShort()
	b := &r.bunch
	endS, limitS := r.nextS, min(r.nextS+bunchMostS, r.deviceS, MaxRunTimeS)
	if limitS >= r.anewS {
		limitS = math.Nextafter(r.anewS, 0)
	}
	inBunch := r.nextS <= limitS
	if inBunch {
		endS = r.fitBunch(&s, limitS)
	} else {
		*b = bunch{}
	}
	endS = min(endS, MaxRunTimeS)
	h := endS - r.t
	if -s.q*s.u*h > shortRate || !r.series(&s, h) {
		return false
	}
	return r.endShort(&s, b, endS, h, inBunch)
}

// endShort takes a short step of h seconds to its end, and reports whether it
// may. inBunch says that the knots up to there are in b.
func (r *Runner) endShort(s *short, b *bunch, endS, h float64, inBunch bool) bool {
	drag := r.drag + r.engaged.chute
	inv := 1 / (s.inertia - h*(r.sum.flow[0]+h*r.sum.flow[1]/2) - b.flow2/2)
	onForward := -(2*drag*(s.v+r.wind) + r.sum.flow[0] + h*r.sum.flow[1]) * inv
	v := s.v + inv*(b.forward2/2+(b.forward3*onForward+b.flow3*(s.along+s.aEnd))/6)
	x := s.x + inv*b.forward3/6
	if !r.holds(s, b, h, inv, v, x) {
		return false
	}
	if x >= r.watchM && !r.showShort(h, inBunch) {
		return false
	}
	r.t, r.v, r.x = endS, v, x
	if v > r.out.PeakSpeedMps {
		r.out.PeakSpeedMps, r.out.PeakSpeedTimeS, r.out.PeakSpeedPositionM = v, endS, x
	}
	if inBunch {
		r.passBunch(b)
	}
	if r.nextS <= r.t {
		r.passTimes()
	}
	return true
}

// showShort shows visit the series of a short step, where what it wants to see
// lies before the first knot of the bunch.
func (r *Runner) showShort(h float64, inBunch bool) bool {
	r.setThrust(h)
	r.decide(r.v)
	r.setForces()
	r.expand(h)
	s := &r.step
	if inBunch && s.x.at(s.degree, (r.nextS-r.t)/h) <= r.watchM || s.h < h {
		return false
	}
	return r.visit(r, h) == nil
}

// fitBunch returns up to which knot, by limitS, the perturbation is accurate
// enough, and sums them.
func (r *Runner) fitBunch(s *short, limitS float64) float64 {
	b := &r.bunch
	q := math.Abs(s.q)
	rate := q*math.Abs(s.u) + r.sum.flow[0]*s.inv
	onForward := rate*rate/6 + q*math.Abs(s.a0)/4
	jerk := math.Abs(r.sum.forward[1]) * s.inv
	tolerance := bunchLeast * (r.v + 0.1)
	endS, volley := r.sumVolley(limitS)
	if !volley {
		endS = r.lastKnot(limitS)
		r.sumBunch(endS)
	}
	for {
		tau := endS - r.nextS
		wrong := tau * tau * tau * b.size1 * s.inv * (onForward + r.burnMost*(jerk+b.size*s.inv)/6)
		if wrong <= tolerance || tau == 0 {
			return endS
		}
		endS = r.lastKnot(r.nextS + 0.9*tau*math.Sqrt(math.Sqrt(tolerance/wrong)))
		r.sumBunch(endS)
	}
}

// holds reports whether a short step holds no event and no extreme between its
// ends, and takes the front axle load. inv is 1/M at the end, v and x speed and
// position there.
//
// With m a from the equation, κ = m/M, the front axle load times the wheelbase is
//
//	F = m (G + h_g κ g_a) + Σ T (z − h_g κ) + (h_g κ Q − D_1 z_D) u² − Σ B (z_h − h_g κ)
//	G = g (b cos γ − h_g sin γ),  D_1 = ½ρ CdA,  Q here of vehicle and chutes
//
// in which thrust and acceleration, nearly all of them, have cancelled: each
// part is bounded from below by itself.
func (r *Runner) holds(s *short, b *bunch, h, inv, v, x float64) bool {
	// Twice what the knots do, for the higher terms.
	off := 2 * b.size1 * inv
	s.aLow, s.aHigh = s.aLow-off, s.aHigh+off
	off *= h
	vLow, vHigh := min(r.v, v)-off, max(r.v, v)+off
	if s.aLow < 0 && s.aHigh > 0 || vLow <= 0 || r.wind < 0 && vLow+r.wind <= speedLeast || x >= r.nextM {
		return false
	}
	p, sum := &r.p.Vehicle, &r.sum
	high, gravity := p.CGHeightM, GravityMps2*r.pitchArm
	burnt := h*(sum.flow[0]+h*sum.flow[1]/2) + math.Abs(b.flow2)
	mass := sum.mass - burnt
	share := sum.mass * s.inv // κ, which falls with the mass
	highFrom, highTo := high*share, high*mass*s.inv
	thrust, thrustSlope := sum.pitch[0]-highFrom*sum.forward[0], sum.pitch[1]-highFrom*sum.forward[1]
	ground := s.along * mass * highTo
	if s.along < 0 {
		ground = s.along * sum.mass * highFrom
	}
	square := highTo*(r.drag+r.engaged.chute) - r.drag*p.DragHeightM
	u := vHigh + r.wind
	if square > 0 {
		u = vLow + r.wind
	}
	bound := mass*gravity + ground + min(thrust, thrust+h*thrustSlope) - 2*(r.leverMost+high*(1-share))*b.size1 +
		square*u*u + highTo*r.engaged.sledgeN - r.engaged.sledgeNm
	return bound >= r.minFront*p.WheelbaseM || r.frontEnds(s, b, h, inv, v, vHigh+r.wind)
}

// frontEnds takes the front axle load at the ends of a short step, and reports
// whether it is monotone between them. Of the F above
//
//	F′ = −m′ (h_g (1 − κ) a − G − h_g κ g_a) + Σ T′ (z − h_g κ) + 2 (h_g κ Q − D_1 z_D) u a
//
// is bounded by its value at the start and by how far each factor goes.
func (r *Runner) frontEnds(s *short, b *bunch, h, inv, v, uHigh float64) bool {
	p, sum := &r.p.Vehicle, &r.sum
	high, gravity, lever := p.CGHeightM, GravityMps2*r.pitchArm, r.drag*p.DragHeightM
	drag := r.drag + r.engaged.chute
	flow, flowOff := sum.flow[0], h*math.Abs(sum.flow[1])+2*r.burnMost*b.size1
	aMost, aOff := max(math.Abs(s.aLow), math.Abs(s.aHigh)), s.aHigh-s.aLow
	share := sum.mass * s.inv
	shareOff := (h*(flow+flowOff) + math.Abs(b.flow2)) * s.inv
	square := high*share*drag - lever
	slope := flow*(high*(1-share)*s.a0-gravity-high*share*s.along) + sum.pitch[1] - high*share*sum.forward[1] + 2*square*s.u*s.a0
	off := flowOff*(high*(1-share)*aMost+gravity+high*share*math.Abs(s.along)) + flow*high*(1-share)*aOff +
		(r.leverMost+high*(1-share))*b.size + 2*math.Abs(square)*(uHigh*aOff+h*aMost*aMost) +
		high*shareOff*((flow+flowOff)*(aMost+math.Abs(s.along))+math.Abs(sum.forward[1])+b.size+2*drag*uHigh*aMost)
	if math.Abs(slope) <= off {
		return false
	}
	moment := sum.pitch[0] - r.engaged.sledgeNm
	start := sum.mass*(gravity-high*s.a0) + moment - lever*s.u*s.u
	mass := 1/inv - (s.inertia - sum.mass)
	u := v + r.wind
	a := (sum.forward[0]+h*sum.forward[1]+b.forward1-s.along*mass-r.engaged.sledgeN)*inv - drag*inv*u*u
	end := mass*(gravity-high*a) + moment + h*sum.pitch[1] + b.pitch1 - lever*u*u
	r.minFront = min(r.minFront, start/p.WheelbaseM, end/p.WheelbaseM)
	return true
}

// passBunch takes sums and motors past the knots of a bunch.
func (r *Runner) passBunch(b *bunch) {
	s := &r.sum
	s.advance(r.t, true)
	s.mass -= b.flow2 / 2
	s.flow[0] += b.flow1
	s.flow[1] += b.flow
	s.forward[0] += b.forward1
	s.forward[1] += b.forward
	s.pitch[0] += b.pitch1
	s.pitch[1] += b.pitch
	r.nextS = r.deviceS
	for i := range r.groups {
		g := &r.groups[i]
		g.next, g.nextS = g.then, g.thenS
		r.nextS = min(r.nextS, g.nextS)
	}
}
