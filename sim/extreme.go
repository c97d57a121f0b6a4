package sim

import "math"

// yawNegligible is the share of the motors' moments below which they count as
// balanced.
const yawNegligible = 1e-9

// gather takes the extremes of the step into the outcome. Most steps cannot
// have a new extreme; bounds on the polynomials show it without a search.
func (r *Runner) gather() {
	s, o := &r.step, &r.out
	aLow, aHigh := s.a[0], s.aEnd
	if aLow > aHigh {
		aLow, aHigh = aHigh, aLow
	}
	if !s.aMonotone {
		if aHigh+s.aBend > o.PeakAccelerationMps2 {
			o.PeakAccelerationMps2 = s.a.largestSince(s.degree-1, aHigh, o.PeakAccelerationMps2, 1)
		}
		if s.aBend-aLow > o.PeakDecelerationMps2 {
			o.PeakDecelerationMps2 = s.a.largestSince(s.degree-1, -aLow, o.PeakDecelerationMps2, -1)
		}
		aLow, aHigh = aLow-s.aBend, aHigh+s.aBend
	} else {
		if aHigh > o.PeakAccelerationMps2 {
			o.PeakAccelerationMps2 = aHigh
		}
		if -aLow > o.PeakDecelerationMps2 {
			o.PeakDecelerationMps2 = -aLow
		}
	}
	vHigh := max(s.v[0], s.vEnd)
	if aLow < 0 && aHigh > 0 {
		vHigh += s.vBend
	}
	if vHigh > o.PeakSpeedMps {
		r.gatherSpeed(aLow >= 0 || aHigh <= 0)
	}
	r.gatherLoads()
	if r.engaged.k > 0 {
		r.gatherTension()
	}
}

// largestSince returns the largest of sign·polynomial on [0, 1] and best; ends
// is its larger end.
func (c *series) largestSince(degree int, ends, best, sign float64) float64 {
	best = max(best, ends)
	rest := 0.0
	for n := 2; n <= degree; n++ {
		rest += float64(n) * math.Abs(c[n])
	}
	if math.Abs(c[1]) >= rest {
		return best // monotone: the linear term outweighs the rest
	}
	_, value := c.largest(degree, 0, 1, sign)
	return max(best, sign*value)
}

func (r *Runner) gatherSpeed(monotone bool) {
	s, o := &r.step, &r.out
	sigma, value := 0.0, s.v[0]
	if s.vEnd > value {
		sigma, value = 1, s.vEnd
	}
	if !monotone {
		sigma, value = s.v.largest(s.degree, 0, 1, 1)
	}
	if value > o.PeakSpeedMps {
		o.PeakSpeedMps = value
		o.PeakSpeedTimeS = r.t + sigma*s.h
		o.PeakSpeedPositionM = s.xEnd
		if sigma < 1 {
			o.PeakSpeedPositionM = s.x.at(s.degree, sigma)
		}
	}
}

// gatherTension takes each taut line's k d + c v.
func (r *Runner) gatherTension() {
	s := &r.step
	for i := range r.devices {
		d := &r.devices[i]
		if d.stop.Kind != ElasticLine || d.state != acting {
			continue
		}
		var c series
		for n := 0; n <= s.degree; n++ {
			c[n] = d.stop.StiffnessNpm*s.x[n] + d.stop.DampingNspm*s.v[n]
		}
		c[0] -= d.stop.StiffnessNpm * (d.stop.AtM + d.stop.SlackM)
		peak := max(r.tension[i].Value, 0)
		if ends := max(c[0], c.end(s.degree)); ends+c.bend(s.degree) > peak {
			peak = c.largestSince(s.degree, ends, peak, 1)
		}
		r.tension[i] = Some(peak)
	}
}

// gatherLoads takes the front axle load and the yaw margin.
func (r *Runner) gatherLoads() {
	s := &r.step
	var front series
	r.frontLoad(&front)
	degree := s.degree - 1
	if low := min(front[0], front.end(degree)); low-front.bend(degree) < r.minFront {
		r.minFront = -front.largestSince(degree, -low, -r.minFront, -1)
	}
	turns := max(math.Abs(s.yaw[0]), math.Abs(s.yaw[0]+s.yaw[1])) > s.yawLeast()
	if turns && !r.skipYaw && r.p.Guide == nil && r.minYaw > 0 {
		r.gatherYaw(&front)
	}
}

// frontLoad sets c to the front axle load in newtons, of the acceleration's degree:
//
//	N_f ℓ_w = m g (b cos γ − h sin γ) − m a h + Σ T (cos θ z − sin θ (ℓ_w − x_n))
//	          − D z_D − L (ℓ_w − x_L) − G z_g − Σ B_line z_h
func (r *Runner) frontLoad(c *series) {
	s, e, v := &r.step, &r.engaged, &r.p.Vehicle
	inv := 1 / v.WheelbaseM
	lever := (s.air*v.DragHeightM + r.lift*r.liftArm) * inv
	h := v.CGHeightM * inv
	m0, m1, m2 := h*s.m[0], h*s.m[1], h*s.m[2]
	degree := s.degree - 1
	c[0] = -lever*s.sq[0] - m0*s.a[0]
	c[1] = -lever*s.sq[1] - m0*s.a[1] - m1*s.a[0]
	for n := 2; n <= degree; n++ {
		c[n] = -lever*s.sq[n] - m0*s.a[n] - m1*s.a[n-1] - m2*s.a[n-2]
	}
	gravity := GravityMps2 * r.pitchArm * inv
	c[0] += gravity*s.m[0] + (s.pitch[0]-e.sledgeNm)*inv
	c[1] += gravity*s.m[1] + s.pitch[1]*inv
	c[2] += gravity * s.m[2]
	if g := r.p.Guide; g != nil {
		c[0] -= s.guide[0] * g.HeightM * inv
		c[1] -= s.guide[1] * g.HeightM * inv
	}
	if e.k > 0 {
		for n := 0; n <= degree; n++ {
			c[n] -= (e.kz*s.x[n] + e.cz*s.v[n]) * inv
		}
		c[0] += e.kxz * inv
	}
}

// gatherYaw takes the least yaw margin μ_t min(N_f, N_r) ℓ_w/|M_z|, loads below
// 0 counting as 0.
func (r *Runner) gatherYaw(front *series) {
	s := &r.step
	var rear series
	if !r.unloaded {
		r.wheelLoad(&rear)
	}
	for n := 0; n < s.degree; n++ {
		rear[n] -= front[n]
	}
	low, high := 0.0, 1.0
	if end := s.yaw[0] + s.yaw[1]; s.yaw[0]*end < 0 {
		zero := -s.yaw[0] / s.yaw[1]
		r.yawBetween(front, &rear, low, zero)
		low = zero
	}
	r.yawBetween(front, &rear, low, high)
}

// yawBetween looks at a part of the step in which the moment keeps its sign.
// The least ratio N/|M| is found by Dinkelbach's method: with ρ the ratio at
// the last place, the least of N − ρ|M| gives the next place.
func (r *Runner) yawBetween(front, rear *series, low, high float64) {
	s := &r.step
	grip := r.p.Vehicle.TyreFriction * r.p.Vehicle.WheelbaseM
	m0, m1 := s.yaw[0], s.yaw[1]
	if m0+m1*(low+high)/2 < 0 {
		m0, m1 = -m0, -m1
	}
	degree := s.degree - 1
	for _, load := range [2]*series{front, rear} {
		for _, sigma := range [2]float64{low, high} {
			r.yawAt(load.at(degree, sigma), m0+m1*sigma, s.yawLeast(), grip)
		}
		for range 50 {
			if r.minYaw <= 0 || math.IsInf(r.minYaw, 1) {
				break
			}
			c := *load
			ratio := r.minYaw / grip
			c[0] -= ratio * m0
			c[1] -= ratio * m1
			sigma, value := c.largest(degree, low, high, -1)
			before := r.minYaw
			if value >= 0 {
				break
			}
			r.yawAt(load.at(degree, sigma), m0+m1*sigma, s.yawLeast(), grip)
			if r.minYaw >= before*(1-1e-13) {
				break
			}
		}
	}
}

// yawLeast returns the moment above which the motors are not balanced, measured
// on their largest moments of the step: at the end of a burn both go to zero.
func (s *step) yawLeast() float64 { return yawNegligible * (s.yawSize[0] + max(s.yawSize[1], 0)) }

func (r *Runner) yawAt(loadN, momentNm, leastNm, grip float64) {
	if momentNm > leastNm && momentNm > 0 {
		r.minYaw = min(r.minYaw, grip*max(loadN, 0)/momentNm)
	}
}
