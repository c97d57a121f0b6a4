package sim

type event int

const (
	eventNone event = iota
	eventStop
	eventAir  // the air's direction changes
	eventLoad // the wheels are unloaded, or loaded again
	eventEdge // a position that matters
)

// findEvent cuts the step off at the first event inside it.
func (r *Runner) findEvent() event {
	s := &r.step
	what := eventNone
	if at, found := r.stopInside(); found {
		s.cut(at)
		what = eventStop
	}
	if r.wind < 0 {
		// u against its hysteresis, positive on the side where it is now
		sign := 1.0
		if r.behind {
			sign = -1
		}
		c := s.v
		c[0] += r.wind
		if at, found := c.leaves(s.degree, sign, speedLeast); found {
			s.cut(at)
			what = eventAir
		}
	}
	if r.mayLift {
		sign := 1.0
		if r.unloaded {
			sign = -1
		}
		var c series
		r.wheelLoad(&c)
		if at, found := c.leaves(s.degree-1, sign, loadLeast*s.m[0]*GravityMps2*r.cosG); found {
			s.cut(at)
			what = eventLoad
		}
	}
	if s.xEnd >= r.nextM {
		c := s.x
		c[0] -= r.nextM
		if c[0] < 0 {
			s.cut(c.crossing(s.degree, 0, 1))
			what = eventEdge
		}
	}
	if what == eventLoad {
		r.out.Airborne = true
	}
	return what
}

// leaves returns where sign·polynomial falls below −least.
func (c *series) leaves(degree int, sign, least float64) (sigma float64, found bool) {
	if sign < 0 {
		for n := 0; n <= degree; n++ {
			c[n] = -c[n]
		}
	}
	c[0] += least
	if min(c[0], c.end(degree))-c.bend(degree) > 0 {
		return 0, false
	}
	if c[0] < 0 {
		c[0] = 0
	}
	return c.firstBelow(degree)
}

// stopInside returns where the speed falls to 0.
func (r *Runner) stopInside() (sigma float64, found bool) {
	s := &r.step
	if !r.starting {
		if min(s.v[0], s.vEnd)-s.vBend > 0 {
			return 0, false
		}
		return s.v.firstBelow(s.degree)
	}
	// The speed begins at 0: look at v/σ, or v/σ² when the acceleration does too.
	c, degree := s.v, s.degree
	for degree > 1 && c[0] == 0 {
		copy(c[:], c[1:])
		degree--
	}
	if min(c[0], c.end(degree))-c.bend(degree) > 0 {
		return 0, false
	}
	if c[0] < 0 {
		return 0, true
	}
	return c.firstBelow(degree)
}

// wheelLoad sets c to m g cos γ − L − Σ T sin θ, of the acceleration's degree.
func (r *Runner) wheelLoad(c *series) {
	s := &r.step
	gCos := GravityMps2 * r.cosG
	for n := 0; n < s.degree; n++ {
		c[n] = -r.lift * s.sq[n]
	}
	for n := range s.m {
		c[n] += gCos * s.m[n]
	}
	c[0] -= s.up[0]
	c[1] -= s.up[1]
}
