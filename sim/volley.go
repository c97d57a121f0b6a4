package sim

import "math"

// volley is a cluster whose motors all have one curve and light within the
// length of a bunch. Every bunch then is the same knot of each of them, and they
// are as far apart as their light times: all that it changes is a bend times sums
// that stand for the whole run, and the sums over the motors behind it follow
// from the curve.
//
// With D and W the changes of thrust and, as a loss, of mass on the way, p = 2 Q u/M
// and f = −M′/M, the perturbation goes on from that of any bunch by the terms of
// τ⁴, and the square of the drag:
//
//	M φ′ = D + W (g_a + a) + W φ′ + 2 Q u φ + Q φ²
//	φ_4 = (1/M) (((−2 Q a − M″)/M + p² − 3 p f + 2 f²) Σ β τ⁴/24
//	      + ((g_a + a) (p − f) − a′) Σ ρ β τ⁴/24 + (1/M) ∫ W D dt)
//	φ_5 = (Q/M³) ∫ (∫ D dt)² dt
type volley struct {
	knots         []knot // of the curve; nil when this is no volley
	firstS, lastS float64
	spanS         float64 // between them
	stuck         int     // the knot that was too much for one step, −1 for none
	// For a bend of 1 N/s, at the end of a bunch; see bunch. both is ∫ W D dt, square
	// ∫ (∫ D dt)² dt.
	bunch
	forward4, flow4, both, square float64
}

// formVolley sets r.volley. Its motors are not tilted, so that each of them
// pushes forward.
func (r *Runner) formVolley() {
	y := &r.volley
	y.knots, y.stuck = nil, -1
	if len(r.groups) == 0 {
		return
	}
	y.firstS, y.lastS = math.Inf(1), math.Inf(-1)
	for i := range r.groups {
		g := &r.groups[i]
		if g.curve != r.groups[0].curve {
			return
		}
		y.firstS, y.lastS = min(y.firstS, g.lightS), max(y.lastS, g.lightS)
	}
	if y.spanS = y.lastS - y.firstS; y.spanS > bunchMostS {
		return
	}
	y.knots = r.groups[0].knots
	y.bunch, y.forward4, y.flow4, y.both, y.square = bunch{}, 0, 0, 0, 0
	for i := range r.groups {
		y.add(&r.groups[i], r.groups)
	}
	y.size, y.size1 = y.forward, y.forward1
	y.both -= y.forward2 * y.flow2 * 0.25 // what 1/M with W in it has already
}

// add adds a group to the sums of a bunch.
func (y *volley) add(g *group, all []group) {
	tau := y.lastS - g.lightS
	f, w, m := g.forward, g.burn, g.pitch
	y.forward, y.flow, y.pitch = y.forward+f, y.flow+w, y.pitch+m
	f, w, m = f*tau, w*tau, m*tau
	y.forward1, y.flow1, y.pitch1 = y.forward1+f, y.flow1+w, y.pitch1+m
	f, w = f*tau, w*tau
	y.forward2, y.flow2 = y.forward2+f, y.flow2+w
	f, w = f*tau, w*tau
	y.forward3, y.flow3 = y.forward3+f, y.flow3+w
	y.forward4, y.flow4 = y.forward4+f*tau, y.flow4+w*tau
	for i := range all {
		// From the later of the two on, d being how far the other is ahead.
		o := &all[i]
		d := y.lastS - o.lightS - tau
		s := max(-d, 0)
		// ∫ (s + d) s²/2 ds and ∫ (s + d)² s²/4 ds
		upper, lower := tau*tau*tau, s*s*s
		y.both += g.burn * o.forward * (upper*(tau*0.125+d*(1.0/6)) - lower*(s*0.125+d*(1.0/6)))
		y.square += g.forward * o.forward * (upper*(tau*(tau*0.05+d*0.125)+d*d*(1.0/12)) - lower*(s*(s*0.05+d*0.125)+d*d*(1.0/12)))
	}
}

// together returns the next knot of the volley, when it is the same for all its
// motors.
func (r *Runner) together() (next int, same bool) {
	if r.volley.knots == nil {
		return 0, false
	}
	next = r.groups[0].next
	for i := 1; i < len(r.groups); i++ {
		if r.groups[i].next != next {
			return 0, false
		}
	}
	return next, true
}

// advanceVolley takes a volley past as many bunches as it can, from the instant
// from, and reports whether it got anywhere.
func (r *Runner) advanceVolley(s *short, from, to *instant) bool {
	y := &r.volley
	next, same := r.together()
	if !same || next == y.stuck {
		return false
	}
	limitS, limitM := min(r.deviceS, MaxRunTimeS), min(r.nextM, r.watchM)
	t, first, steps := r.t, next, 0
	for ; ; steps++ {
		k := &y.knots[next]
		if !k.smooth {
			break
		}
		endS := y.lastS + k.timeS
		if endS >= limitS || y.firstS+y.knots[next+1].timeS <= endS {
			break
		}
		after, passed := next+1, r.passVolley(s, from, to, k, endS-t)
		if !passed && s.turns {
			endS, passed = r.passPeak(s, from, to, t, endS, y.firstS+k.timeS)
			after = next
		}
		if !passed {
			y.stuck = next
		}
		if !passed || to.x >= limitM {
			break
		}
		next = after
		r.peak(to, endS)
		from, to = to, from
		t = endS
	}
	if steps == 0 {
		return false
	}
	r.steps += steps - 1
	r.take(from, t)
	if next > first {
		r.passTogether(next)
	}
	return true
}

// passTogether takes the motors of a volley to the knot next.
func (r *Runner) passTogether(next int) {
	y := &r.volley
	at := y.knots[next].timeS
	for i := range r.groups {
		g := &r.groups[i]
		g.next, g.nextS = next, g.lightS+at
	}
	r.nextS = min(y.firstS+at, r.deviceS)
	if y.knots[next-1].anew {
		r.anewS = math.Inf(1) // that was the last
	}
}

// passPeak goes to the greatest speed before endS, where the series that was
// just made turns from speeding up to slowing down, and a little beyond, so that
// nothing above it lies in the next step. It reports whether it found it before
// the next knot.
func (r *Runner) passPeak(s *short, from, to *instant, t, endS, knotS float64) (atS float64, found bool) {
	h, a := endS-t, s.aEnd
	if !(from.a > 0 && a < 0) {
		return 0, false
	}
	near := h * from.a / (from.a - a)
	if !r.series(s, from, near) {
		return 0, false
	}
	// The root of the parabola through the three.
	before, after := (s.aEnd-from.a)/near, (a-s.aEnd)/(h-near)
	slope := (before*(h-near) + after*near) / h
	atS = t + (near-s.aEnd/slope)*(1+peakBeyond)
	h = atS - t
	if !(h > 0 && atS < knotS) || !r.series(s, from, h) || s.aLow != s.aEnd || s.aEnd > 0 || s.aEnd*s.aEnd > -slope*bunchLeast*(from.v+0.1) {
		return 0, false
	}
	s.aLow, s.aEnd, s.size, s.size1, s.rise, s.fall, s.tau = 0, 0, 0, 0, 0, 0, 0
	var none bunch
	to.pass(from, &none, h)
	to.land(r, s, 0, 0, 0)
	return atS, r.holds(s, from, to, h)
}

// bunchPlace is the error of one bunch over the position at most: the position is
// taken one term less far than the speed.
const bunchPlace = 3e-9

// peakBeyond is how far beyond the greatest speed a step to it goes, over its length.
const peakBeyond = 1e-6

// passVolley takes a volley past the knot k in a step of h seconds, and reports
// whether it may.
func (r *Runner) passVolley(s *short, from, to *instant, k *knot, h float64) bool {
	y := &r.volley
	s.turns = false
	bend := k.bendNps
	size := math.Abs(bend)
	s.size, s.size1 = size*y.size, size*y.size1
	s.oneWay, s.tau, s.rise, s.fall = r.leverLeast >= 0, y.spanS, 2*s.size1, 0.1*s.size1
	if bend < 0 {
		s.rise, s.fall = s.fall, s.rise
	}
	if r.wrongVolley(s, from, size) > bunchLeast*(from.v+0.1) || s.drag*from.inv*from.u*h > shortRate || !r.series(s, from, h) {
		return false
	}
	thrust, slope := k.thrustN, k.slopeNps
	to.mass = r.mass0 - (y.flow*k.impulseNs + y.flow1*thrust + y.flow2*0.5*slope)
	to.flow[0], to.flow[1] = y.flow*thrust+y.flow1*slope, y.flow*slope
	to.forward[0], to.forward[1] = y.forward*thrust+y.forward1*slope, y.forward*slope
	to.pitch[0], to.pitch[1] = y.pitch*thrust+y.pitch1*slope, y.pitch*slope
	inv := 1 / (to.mass + s.added)
	to.inv = inv
	a, u := s.aEnd, s.v+r.wind
	p, f := -2*s.drag*u*inv, s.flow*inv
	onForward, onFlow := p-f, s.along+a
	jerk := (from.forward[1]+s.flow*onFlow)*inv + p*a
	bend *= inv
	fourth := y.forward4*(((2*s.drag*a+from.flow[1])*inv+p*p)*(1.0/24)+f*(f*(1.0/12)-p*0.125)) +
		y.flow4*(onFlow*onForward-jerk)*(1.0/24)
	both := bend * (y.both - s.drag*inv*y.square)
	to.v = s.v + bend*(y.forward2*0.5+(y.forward3*onForward+y.flow3*onFlow)*(1.0/6)+fourth+both)
	to.x = s.x + bend*(y.forward3*(1.0/6)+(y.forward4*(onForward-f)+y.flow4*onFlow)*(1.0/24))
	if 0.2*y.spanS*math.Abs(bend)*(math.Abs(fourth)+math.Abs(both)) > bunchPlace*(to.x+0.01) {
		return false
	}
	to.balance(r, s)
	return r.holds(s, from, to, h)
}

// wrongVolley bounds the error of the bunch: the next terms of each kind.
func (r *Runner) wrongVolley(s *short, from *instant, size float64) float64 {
	y := &r.volley
	inv, tau := from.inv, y.spanS
	q := s.drag * inv
	rate := q*from.u + from.flow[0]*inv
	jerk, second, fourth := math.Abs(from.forward[1])*inv, size*inv*y.forward2, size*inv*y.forward4
	return tau * (fourth*(jerk*(q*(1.0/60)+r.burnMost*rate*0.05)+rate*rate*(rate+r.burnMost*(math.Abs(s.along)+math.Abs(from.a)))*(1.0/3)) +
		second*rate*tau*(0.05*q*second+0.125*r.burnMost*s.size1*inv))
}
