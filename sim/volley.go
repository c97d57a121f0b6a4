package sim

import "math"

// volley is a cluster whose motors all have one curve and light within the
// length of a bunch. Every bunch then is the same knot of each of them, and they
// are as far apart as their light times: all that it changes is a bend times sums
// that stand for the whole run, and the sums over the motors behind it follow
// from the curve.
//
// With D and W the changes of thrust and, as a loss, of mass on the way, the
// perturbation goes on from that of any bunch by the terms of τ⁴:
//
//	M φ′ = D + W (g_a + a) + W φ′ + 2 Q u φ + Q φ²
//	φ_4 = (1/M) (−(2 Q a + M″)/M Σ β τ⁴/24 − a′ Σ ρ β τ⁴/24 + (1/M) ∫ W D dt)
type volley struct {
	knots         []knot // of the curve; nil when this is no volley
	firstS, lastS float64
	spanS         float64 // between them
	// For a bend of 1 N/s, at the end of a bunch; see bunch. both is ∫ W D dt.
	bunch
	forward4, flow4, both float64
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
	y.bunch, y.forward4, y.flow4, y.both = bunch{}, 0, 0, 0
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
		// ∫ (s + δ) s²/2 ds, s from the later of the two on
		o := &all[i]
		ahead := y.lastS - o.lightS - tau // δ
		integral := func(s float64) float64 { return s * s * s * (s*0.125 + ahead*(1.0/6)) }
		y.both += g.burn * o.forward * (integral(tau) - integral(max(-ahead, 0)))
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
// from, and reports whether it passed one.
func (r *Runner) advanceVolley(s *short, from, to *instant) bool {
	next, same := r.together()
	if !same {
		return false
	}
	y := &r.volley
	limitS, limitM := min(r.deviceS, MaxRunTimeS), min(r.nextM, r.watchM)
	t, first := r.t, next
	for {
		k := &y.knots[next]
		if !k.smooth {
			break
		}
		endS := y.lastS + k.timeS
		if endS >= limitS || y.firstS+y.knots[next+1].timeS <= endS || !r.passVolley(s, from, to, k, endS-t) || to.x >= limitM {
			break
		}
		r.peak(to, endS)
		from, to = to, from
		t = endS
		next++
	}
	if next == first {
		return false
	}
	r.take(from, t)
	at := y.knots[next].timeS
	for i := range r.groups {
		g := &r.groups[i]
		g.next, g.nextS = next, g.lightS+at
	}
	r.nextS = min(y.firstS+at, r.deviceS)
	if y.knots[next-1].anew {
		r.anewS = math.Inf(1) // that was the last
	}
	r.steps += next - first - 1
	return true
}

// passVolley takes a volley past the knot k in a step of h seconds, and reports
// whether it may.
func (r *Runner) passVolley(s *short, from, to *instant, k *knot, h float64) bool {
	y := &r.volley
	bend := k.bendNps
	size := math.Abs(bend)
	s.size, s.size1 = size*y.size, size*y.size1
	if r.wrongVolley(s, from) > bunchLeast*(from.v+0.1) || s.drag*from.inv*from.u*h > shortRate || !r.series(s, from, h) {
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
	onForward, onFlow := -(2*s.drag*u+s.flow)*inv, s.along+a
	jerk := (from.forward[1] + s.flow*onFlow - 2*s.drag*u*a) * inv
	to.v = s.v + bend*inv*(y.forward2*0.5+(y.forward3*onForward+y.flow3*onFlow)*(1.0/6)+
		((2*s.drag*a+from.flow[1])*inv*y.forward4-jerk*y.flow4)*(1.0/24)+bend*inv*y.both)
	to.x = s.x + bend*inv*(y.forward3*(1.0/6)+(y.forward4*onForward+y.flow4*onFlow)*(1.0/24))
	to.balance(r, s)
	return r.holds(s, from, to, h)
}

// wrongVolley bounds the error of the bunch.
func (r *Runner) wrongVolley(s *short, from *instant) float64 {
	tau, q := r.volley.spanS, s.drag*from.inv
	rate := q*from.u + from.flow[0]*from.inv
	jerk := (math.Abs(from.forward[1]) + s.size) * from.inv
	return tau * tau * tau * s.size1 * from.inv * (rate*rate*(1.0/6) + tau*jerk*(q*0.1+r.burnMost*rate))
}
