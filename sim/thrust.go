package sim

import "math"

// group is one or several motors with the same curve and ignition delay: they act
// as one, their geometry summed into weights of the curve's thrust.
type group struct {
	curve  *Curve
	lightS float64

	forward, up, pitch, yaw, yawSize float64 // per newton of the curve
	burn                             float64 // propellant per newton second of the curve, kg/(N·s)

	breakpoints []breakpoint // of the curve
	next        int          // the breakpoint to come; the curve is in the segment before it
	nextS       float64
}

// groupMotors sums motors with one curve and one ignition delay. A device timed
// after the first motor that lights never triggers when none does.
func (r *Runner) groupMotors() {
	r.groups = r.groups[:0]
	r.firstS, r.burnoutS = math.Inf(1), math.Inf(-1)
	v := &r.p.Vehicle
	for i := range r.p.Motors {
		m := &r.p.Motors[i]
		light := r.lights[i]
		if math.IsInf(light, 1) {
			continue
		}
		r.firstS = min(r.firstS, light)
		r.burnoutS = max(r.burnoutS, light+m.Curve.burnTimeS)
		var g *group
		for j := range r.groups {
			if r.groups[j].curve == m.Curve && r.groups[j].lightS == light {
				g = &r.groups[j]
				break
			}
		}
		if g == nil {
			r.groups = append(r.groups, group{curve: m.Curve, lightS: light, breakpoints: m.Curve.breakpoints, nextS: light + m.Curve.breakpoints[0].timeS})
			g = &r.groups[len(r.groups)-1]
		}
		forward, up := r.scale[i], 0.0
		if m.AngleRad != 0 {
			sin, cos := math.Sincos(m.AngleRad)
			forward, up = r.scale[i]*cos, r.scale[i]*sin
		}
		g.forward += forward
		g.up += up
		g.pitch += forward*m.HeightM - up*(v.WheelbaseM-m.NozzleBehindFrontAxleM)
		g.yaw += forward * m.LateralM
		g.yawSize += math.Abs(forward * m.LateralM)
		g.burn += m.PropellantKg / m.Curve.totalNs
	}
}

// at returns the impulse that the group's curve has delivered, its thrust and
// the slope of it.
func (g *group) at(t float64) (impulseNs, thrustN, slopeNps float64) {
	c := g.curve
	switch g.next {
	case 0:
		return 0, 0, 0
	case len(c.points):
		return c.totalNs, 0, 0
	}
	point := c.points[g.next-1]
	slopeNps = c.slopeNps[g.next-1]
	dt := t - (g.lightS + point.TimeS)
	thrustN = point.ThrustN + slopeNps*dt
	if thrustN < 0 {
		thrustN = 0 // rounding at a point of no thrust
	}
	return c.impulseNs[g.next-1] + dt*(point.ThrustN+thrustN)/2, thrustN, slopeNps
}

// pass takes the group past its next breakpoint, which it returns.
func (g *group) pass() *breakpoint {
	k := &g.breakpoints[g.next]
	g.next++
	g.nextS = g.lightS + g.breakpoints[g.next].timeS
	return k
}

// sums are mass and thrust of all groups at t, each with its slope. They are
// carried from step to step, because between two points of one curve the
// others only go on; they are summed anew where a group begins or ends, so that
// no rounding is left after the last, and beside steep slopes.
type sums struct {
	t, mass                                float64
	flow, forward, up, pitch, yaw, yawSize [2]float64
}

// advance takes the sums to time t, without the yawing moments if skipYaw.
func (s *sums) advance(t float64, skipYaw bool) {
	dt := t - s.t
	if dt == 0 {
		return
	}
	s.t = t
	s.mass -= dt * (s.flow[0] + dt*s.flow[1]/2)
	s.flow[0] += dt * s.flow[1]
	s.forward[0] += dt * s.forward[1]
	s.up[0] += dt * s.up[1]
	s.pitch[0] += dt * s.pitch[1]
	if !skipYaw {
		s.yaw[0] += dt * s.yaw[1]
		s.yawSize[0] += dt * s.yawSize[1]
	}
}

// add adds thrust and slope of a group.
func (s *sums) add(g *group, thrustN, slopeNps float64) {
	s.flow[0] += g.burn * thrustN
	s.forward[0] += g.forward * thrustN
	s.up[0] += g.up * thrustN
	s.pitch[0] += g.pitch * thrustN
	s.yaw[0] += g.yaw * thrustN
	s.yawSize[0] += g.yawSize * thrustN
	s.bend(g, slopeNps)
}

// bend adds to the slopes what a group's thrust bends by.
func (s *sums) bend(g *group, bendNps float64) {
	s.flow[1] += g.burn * bendNps
	s.forward[1] += g.forward * bendNps
	s.up[1] += g.up * bendNps
	s.pitch[1] += g.pitch * bendNps
	s.yaw[1] += g.yaw * bendNps
	s.yawSize[1] += g.yawSize * bendNps
}

// sumGroups sums all groups anew.
func (r *Runner) sumGroups() {
	r.sum = sums{t: r.t, mass: r.mass0}
	for i := range r.groups {
		g := &r.groups[i]
		impulse, thrust, slope := g.at(r.t)
		r.sum.mass -= g.burn * impulse
		r.sum.add(g, thrust, slope)
	}
}
