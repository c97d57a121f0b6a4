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

// instant is the vehicle at an end of a short step.
type instant struct {
	v, x, mass           float64
	flow, forward, pitch [2]float64 // as in sums
	inv, u, a            float64    // 1/M, v + w, dv/dt
}

// short is a short step: the factors of the equation, and the ends and bounds of
// its series.
type short struct {
	added, sledgeN, drag, along float64 // M less the mass, −Q, g_a

	v, x, flow, aEnd float64 // where the slopes that it began with would bring it
	aLow, aHigh      float64
	turns            bool    // the acceleration may change its sign
	size, size1      float64 // of the bunch at its end
	rise, fall       float64 // how far it may take M a up and down
	tau              float64 // its length
	slopeMost        float64 // the steepest slope of the series of a, over its h
	oneWay           bool    // its knots bend Σ T z all up or all down, about the CG
}

// beginShort sets the factors of the equation.
func (r *Runner) beginShort(s *short) {
	e := &r.engaged
	s.added, s.sledgeN, s.drag = r.p.Vehicle.RotatingMassKg+e.weights, e.sledgeN, r.drag+e.chute
	s.along = GravityMps2 * (r.sinG + (r.rolling+e.brakeMu)*r.cosG)
}

// set sets i to the vehicle now. It sets one number at a time, see setThrust.
func (i *instant) set(r *Runner, s *short) {
	sum := &r.sum
	i.v, i.x, i.mass = r.v, r.x, sum.mass
	i.flow[0], i.flow[1] = sum.flow[0], sum.flow[1]
	i.forward[0], i.forward[1] = sum.forward[0], sum.forward[1]
	i.pitch[0], i.pitch[1] = sum.pitch[0], sum.pitch[1]
	i.inv = 1 / (i.mass + s.added)
	i.balance(r, s)
}

// balance sets the acceleration.
func (i *instant) balance(r *Runner, s *short) {
	i.u = i.v + r.wind
	i.a = (i.forward[0] - s.along*i.mass - s.sledgeN - s.drag*i.u*i.u) * i.inv
}

// series sets the ends of the series over h seconds, and reports whether it
// reaches the accuracy.
//
// It is Runner.expand for a vehicle under thrust, written so that a term waits
// for one product and one sum of the term before: with M_1 = −f_0, M_2 = −f_1
// over M_0 and v_n = h a_{n−1}/n,
//
//	a_n = a_{n−1} (2 Q u h/n + f_0) + Q Σ v_i v_{n−i} + f_1 a_{n−2} + A_n
func (r *Runner) series(s *short, i *instant, h float64) bool {
	q, hInv := -s.drag*i.inv, h*i.inv
	f0, f1 := hInv*i.flow[0], h*0.5*hInv*i.flow[1]
	lead := 2 * q * i.u * h
	a0 := i.a
	a1 := a0*(lead+f0) + (hInv*i.forward[1] + s.along*f0)
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
	s.v = i.v + (v1 + v2 + v3 + (v4 + v5 + v6))
	s.x = i.x + h*(i.v+v1*0.5+v2*(1.0/3)+(v3*0.25+v4*0.2+v5*(1.0/6)))
	s.flow = i.flow[0] + h*i.flow[1]
	aEnd := a0 + (a1 + a2 + a3 + (a4 + a5))
	s.aEnd = aEnd
	second, rest := math.Abs(a2), math.Abs(a3)+math.Abs(a4)+math.Abs(a5)
	slopeOff := 2*second + 5*rest
	least := r.least * (i.v + 0.1)
	least *= least
	small := 0.0625*i.u*i.u < v1*v1+v2*v2+v3*v3 // see orderStart
	if small || v6*v6+0.01*v5*v5 > least {
		more := higher{h: h, q: q, lead: lead, f0: f0, f1: f1, slopeOff: slopeOff, rest: rest}
		more.v[1], more.v[2], more.v[3], more.v[4], more.v[5], more.v[6] = v1, v2, v3, v4, v5, v6
		more.a[4], more.a[5] = a4, a5
		if !more.extend(s, small, least) {
			return false
		}
		aEnd, slopeOff, rest = s.aEnd, more.slopeOff, more.rest
	}
	s.slopeMost = (math.Abs(a1) + slopeOff) / h
	s.aLow, s.aHigh = a0, aEnd
	if aEnd < a0 {
		s.aLow, s.aHigh = aEnd, a0
	}
	if math.Abs(a1) < slopeOff {
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
	slopeOff, rest     float64 // Σ n |a_n| from n = 2, Σ |a_n| from n = 3
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
		m.slopeOff += float64(n) * math.Abs(a)
		m.rest += math.Abs(a)
		if v*v+0.01*m.v[n]*m.v[n] <= least && (!all || n+1 >= orderStart) {
			return true
		}
	}
	return false
}

// advanceShort makes a short step, or several, and reports whether it did.
func (r *Runner) advanceShort() bool {
	e := &r.engaged
	if r.starting || e.k > 0 || e.fillRate > 0 || r.wind < 0 && r.behind {
		return false
	}
	r.sum.advance(r.t, true)
	if r.sum.forward[0] == 0 && r.sum.forward[1] == 0 {
		return false
	}
	var s short
	r.beginShort(&s)
	var ends [2]instant
	from, to := &ends[0], &ends[1]
	from.set(r, &s)
	if r.advanceVolley(&s, from, to) {
		return true
	}
	b := &r.bunch
	endS, limitS := r.nextS, min(r.nextS+bunchMostS, r.deviceS, MaxRunTimeS)
	if limitS >= r.anewS {
		limitS = math.Nextafter(r.anewS, 0)
	}
	inBunch := r.nextS <= limitS
	if inBunch {
		endS = r.fitBunch(&s, from, r.lastKnot(limitS))
	} else {
		*b = bunch{}
	}
	endS = min(endS, MaxRunTimeS)
	h := endS - r.t
	if s.drag*from.inv*from.u*h > shortRate || !r.series(&s, from, h) {
		return false
	}
	s.size, s.size1, s.rise, s.fall, s.tau = b.size, b.size1, 2*b.size1, 2*b.size1, endS-r.nextS
	to.pass(from, b, h)
	to.land(r, &s, b.forward2, b.forward3, b.flow3)
	if !r.holds(&s, from, to, h) || to.x >= r.watchM && !r.showShort(h, to.x, inBunch) {
		return false
	}
	r.take(to, endS)
	if inBunch {
		r.passBunch()
	}
	if r.nextS <= r.t {
		r.passTimes()
	}
	return true
}

// pass sets the sums to those of from, h seconds and a bunch later.
func (i *instant) pass(from *instant, b *bunch, h float64) {
	i.mass = from.mass - h*(from.flow[0]+h*from.flow[1]/2) - b.flow2/2
	i.flow[0], i.flow[1] = from.flow[0]+h*from.flow[1]+b.flow1, from.flow[1]+b.flow
	i.forward[0], i.forward[1] = from.forward[0]+h*from.forward[1]+b.forward1, from.forward[1]+b.forward
	i.pitch[0], i.pitch[1] = from.pitch[0]+h*from.pitch[1]+b.pitch1, from.pitch[1]+b.pitch
}

// land sets speed, position and acceleration at the end of a step, where the
// sums are set: those of the series and what the bunch changes.
func (i *instant) land(r *Runner, s *short, forward2, forward3, flow3 float64) {
	i.inv = 1 / (i.mass + s.added)
	onForward := -(2*s.drag*(s.v+r.wind) + s.flow) * i.inv
	i.v = s.v + i.inv*(forward2*0.5+(forward3*onForward+flow3*(s.along+s.aEnd))*(1.0/6))
	i.x = s.x + i.inv*forward3*(1.0/6)
	i.balance(r, s)
}

// take takes the vehicle to the end of a step.
func (r *Runner) take(i *instant, endS float64) {
	r.t, r.v, r.x = endS, i.v, i.x
	sum := &r.sum
	sum.t, sum.mass = endS, i.mass
	sum.flow[0], sum.flow[1] = i.flow[0], i.flow[1]
	sum.forward[0], sum.forward[1] = i.forward[0], i.forward[1]
	sum.pitch[0], sum.pitch[1] = i.pitch[0], i.pitch[1]
	r.peak(i, endS)
}

// peak takes the speed at the end of a step.
func (r *Runner) peak(i *instant, endS float64) {
	if i.v > r.out.PeakSpeedMps {
		r.out.PeakSpeedMps, r.out.PeakSpeedTimeS, r.out.PeakSpeedPositionM = i.v, endS, i.x
	}
}

// showShort shows visit the series of a short step that ends at endM, up to the
// first knot of the bunch. It reports whether what visit wants to see lies there
// and not in the bunch.
func (r *Runner) showShort(h, endM float64, inBunch bool) bool {
	r.setThrust(h)
	r.decide(r.v)
	r.setForces()
	r.expand(h)
	s := &r.step
	if s.h < h {
		return false
	}
	if inBunch {
		s.xEnd = s.x.at(s.degree, (r.nextS-r.t)/h)
	}
	return s.xEnd > r.watchM && r.visit(r, h) == nil && r.watchM > endM
}

// wrong bounds the error of a bunch, over τ³ of its length.
func (s *short) wrong(r *Runner, from *instant) float64 {
	q := s.drag * from.inv
	rate := q*from.u + from.flow[0]*from.inv
	jerk := math.Abs(from.forward[1]) * from.inv
	return s.size1 * from.inv * (rate*rate*(1.0/6) + q*0.25*math.Abs(from.a) + r.burnMost*(jerk+s.size*from.inv)*(1.0/6))
}

// fitBunch returns up to which knot before endS the perturbation is accurate
// enough, and sums them.
func (r *Runner) fitBunch(s *short, from *instant, endS float64) float64 {
	tolerance := bunchLeast * (r.v + 0.1)
	for {
		r.sumBunch(endS)
		tau := endS - r.nextS
		s.size, s.size1 = r.bunch.size, r.bunch.size1
		wrong := tau * tau * tau * s.wrong(r, from)
		if wrong <= tolerance || tau == 0 {
			return endS
		}
		endS = r.lastKnot(r.nextS + 0.9*tau*math.Sqrt(math.Sqrt(tolerance/wrong)))
	}
}

// holds reports whether a short step holds no event and no extreme between its
// ends, and takes the front axle load.
//
// With m a from the equation, κ = m/M, the front axle load times the wheelbase is
//
//	F = m (G + h_g κ g_a) + Σ T (z − h_g κ) + (h_g κ Q − D_1 z_D) u² − Σ B (z_h − h_g κ)
//	G = g (b cos γ − h_g sin γ),  D_1 = ½ρ CdA,  Q here of vehicle and chutes
//
// in which thrust and acceleration, nearly all of them, have cancelled: each
// part is bounded from below by itself. Mass and κ only fall.
func (r *Runner) holds(s *short, from, to *instant, h float64) bool {
	// The bunch acts near the end alone.
	near := s.tau * s.slopeMost
	s.aLow = min(s.aLow, s.aEnd-near-s.fall*to.inv)
	s.aHigh = max(s.aHigh, s.aEnd+near+s.rise*to.inv)
	vLow, vHigh, off := from.v, to.v, s.tau*s.size1*to.inv
	if vHigh < vLow {
		vLow, vHigh = vHigh, vLow
	}
	vLow, vHigh = vLow-off, vHigh+off
	s.turns = s.aLow < 0 && s.aHigh > 0
	if s.turns || vLow <= 0 || r.wind < 0 && vLow+r.wind <= speedLeast || to.x >= r.nextM {
		return false
	}
	p := &r.p.Vehicle
	high, share := p.CGHeightM, from.mass*from.inv
	highTo := high * to.mass * to.inv
	thrust := from.pitch[0] - high*share*from.forward[0]
	if slope := from.pitch[1] - high*share*from.forward[1]; slope < 0 {
		thrust += h * slope
	}
	ground := s.along * to.mass * highTo
	if s.along < 0 {
		ground = s.along * from.mass * high * share
	}
	square, u := highTo*s.drag-r.drag*p.DragHeightM, vHigh+r.wind
	if square > 0 {
		u = vLow + r.wind
	}
	bound := to.mass*GravityMps2*r.pitchArm + ground + thrust - (r.leverMost+high*(1-share))*s.size1 +
		square*u*u + highTo*s.sledgeN - r.engaged.sledgeNm
	return bound >= r.minFront*p.WheelbaseM || r.frontEnds(s, from, to, h, vHigh+r.wind)
}

// frontEnds takes the front axle load at the ends of a short step, and reports
// whether it is monotone between them. Of the F above
//
//	F′ = −m′ (h_g (1 − κ) a − G − h_g κ g_a) + Σ T′ (z − h_g κ) + 2 (h_g κ Q − D_1 z_D) u a
//
// is bounded by its value at the start and by how far each factor goes.
func (r *Runner) frontEnds(s *short, from, to *instant, h, uHigh float64) bool {
	p := &r.p.Vehicle
	high, gravity, lever := p.CGHeightM, GravityMps2*r.pitchArm, r.drag*p.DragHeightM
	flow, flowOff := from.flow[0], h*math.Abs(from.flow[1])+r.burnMost*s.size1
	aMost, aOff := max(math.Abs(s.aLow), math.Abs(s.aHigh)), s.aHigh-s.aLow
	share := from.mass * from.inv
	shareOff := (from.mass - to.mass) * from.inv
	square, along := high*share*s.drag-lever, math.Abs(s.along)
	slope := flow*(high*(1-share)*from.a-gravity-high*share*s.along) + from.pitch[1] - high*share*from.forward[1] + 2*square*from.u*from.a
	off := flowOff*(high*(1-share)*aMost+gravity+high*share*along) + flow*high*(1-share)*aOff +
		2*math.Abs(square)*(uHigh*aOff+h*aMost*aMost) +
		high*shareOff*((flow+flowOff)*(aMost+along)+math.Abs(from.forward[1])+s.size+2*s.drag*uHigh*aMost)
	bends := (r.leverMost + high*(1-share)) * s.size
	if math.Abs(slope) <= off+bends && !(s.oneWay && slope > off) {
		return false
	}
	start := from.mass*(gravity-high*from.a) + from.pitch[0] - lever*from.u*from.u
	end := to.mass*(gravity-high*to.a) + to.pitch[0] - lever*to.u*to.u
	r.minFront = min(r.minFront, (min(start, end)-r.engaged.sledgeNm)/p.WheelbaseM)
	return true
}

// passBunch takes the motors past the knots of a bunch.
func (r *Runner) passBunch() {
	next := r.deviceS
	for i := range r.groups {
		g := &r.groups[i]
		at := g.thenS
		g.next, g.nextS = g.then, at
		if at < next {
			next = at
		}
	}
	r.nextS = next
}
