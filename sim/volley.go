package sim

import "math"

// volley is a cluster whose motors all have one curve and light within the
// length of a bunch. Every bunch then is the same knot of each of them, and they
// are as far apart as their light times: all that it changes is a bend times sums
// that stand for the whole run, and the sums over the motors behind it follow
// from the curve.
type volley struct {
	knots         []knot // of the curve; nil when this is no volley
	firstS, lastS float64
	bunch         // for a bend of 1 N/s, at the end of a bunch
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
	if y.lastS-y.firstS > bunchMostS {
		return
	}
	y.knots = r.groups[0].knots
	var b bunch
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
	y.bunch = b
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
	limitS, limitM := min(r.deviceS, r.anewS, MaxRunTimeS), min(r.nextM, r.watchM)
	t, first := r.t, next
	for {
		k, after := &y.knots[next], &y.knots[next+1]
		endS := y.lastS + k.timeS
		if endS >= limitS || y.firstS+after.timeS <= endS || !r.passVolley(s, from, to, k, endS-t) || to.x >= limitM {
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
	r.steps += next - first - 1
	return true
}

// passVolley takes a volley past the knot k in a step of h seconds, and reports
// whether it may.
func (r *Runner) passVolley(s *short, from, to *instant, k *knot, h float64) bool {
	y := &r.volley
	size, tau := math.Abs(k.bendNps), y.lastS-y.firstS
	s.size, s.size1 = size*y.size, size*y.size1
	if tau*tau*tau*s.wrong(r, from) > bunchLeast*(from.v+0.1) || s.drag*from.inv*from.u*h > shortRate || !r.series(s, from, h) {
		return false
	}
	thrust, slope := k.thrustN, k.slopeNps
	to.mass = r.mass0 - (y.flow*k.impulseNs + y.flow1*thrust + y.flow2*0.5*slope)
	to.flow[0], to.flow[1] = y.flow*thrust+y.flow1*slope, y.flow*slope
	to.forward[0], to.forward[1] = y.forward*thrust+y.forward1*slope, y.forward*slope
	to.pitch[0], to.pitch[1] = y.pitch*thrust+y.pitch1*slope, y.pitch*slope
	to.land(r, s, k.bendNps*y.forward2, k.bendNps*y.forward3, k.bendNps*y.flow3)
	return r.holds(s, from, to, h)
}
