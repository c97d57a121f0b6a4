package sim

import "math"

// quadratic is c[0] + c[1] s + c[2] s² in seconds.
type quadratic [3]float64

func (c quadratic) at(s float64) float64 { return c[0] + s*(c[1]+s*c[2]) }

// roots returns the roots inside (low, high), in order; NaN for none.
func (c quadratic) roots(low, high float64) (first, second float64) {
	first, second = math.NaN(), math.NaN()
	if c[2] == 0 {
		if c[1] != 0 {
			first = -c[0] / c[1]
		}
	} else if d := c[1]*c[1] - 4*c[2]*c[0]; d >= 0 {
		q := -(c[1] + math.Copysign(math.Sqrt(d), c[1])) / 2
		first, second = q/c[2], c[0]/q
		if second < first {
			first, second = second, first
		}
	}
	if !(second > low && second < high) {
		second = math.NaN()
	}
	if !(first > low && first < high) {
		first, second = second, math.NaN()
	}
	return first, second
}

// wait passes the time at rest up to the next known time, or to the moment
// when the vehicle starts to move: net force above 0 with all engaged devices,
// and thrust.
func (r *Runner) wait() error {
	if r.nextS <= r.t {
		r.passTimes()
		return nil
	}
	limitS := r.nextS
	span := r.setThrust(limitS - r.t)
	s := &r.step
	gCos := GravityMps2 * r.cosG
	lift := r.lift * r.wind * r.wind
	load := quadratic{gCos*s.m[0] - lift - s.up[0], gCos*s.m[1] - s.up[1], gCos * s.m[2]}
	r.behind = r.wind < 0
	edges := [4]float64{0, span, span, span}
	if r.mayLift {
		if one, two := load.roots(0, span); !math.IsNaN(one) {
			edges[1] = one
			if !math.IsNaN(two) {
				edges[2] = two
			}
		}
	}
	for i := range 3 {
		low, high := edges[i], edges[i+1]
		if !(high > low) {
			continue
		}
		r.unloaded = r.mayLift && load.at((low+high)/2) <= 0
		if r.unloaded || load.at(low) <= 0 || load.at(high) <= 0 {
			r.out.Airborne = true
		}
		if at, found := r.startInside(low, high); found {
			if r.visit != nil && at > 0 {
				if err := r.visit(r, at); err != nil {
					return err
				}
			}
			r.t += at
			r.moving, r.starting, r.started = true, true, true
			return nil
		}
	}
	if r.visit != nil {
		if err := r.visit(r, span); err != nil {
			return err
		}
	}
	if span == limitS-r.t {
		r.t = limitS
		r.passTimes()
	} else {
		r.t += span
	}
	return nil
}

// startInside returns the first moment in [low, high) from which net force
// and thrust are above 0.
func (r *Runner) startInside(low, high float64) (at float64, found bool) {
	s := &r.step
	thrusting := false
	for i := range r.groups {
		g := &r.groups[i]
		if _, thrust, slope := g.at(r.t); thrust > 0 || slope > 0 {
			thrusting = true
		}
	}
	if !thrusting {
		return 0, false
	}
	r.setForces()
	w2 := r.wind * r.wind
	net := quadratic{s.force[0] + s.square[0]*w2 - r.engaged.k*r.x, s.force[1] + s.square[1]*w2, s.force[2]}
	// Rounding of the balance that stopped it must not start it again.
	least := 1e-12 * (s.m[0]*GravityMps2 + math.Abs(s.forward[0]) + r.engaged.k*r.x)
	value, slope := net.at(low), net[1]+2*net[2]*low
	if value > least || value >= -least && slope > 0 {
		return low, true
	}
	one, two := net.roots(low, high)
	for _, root := range [2]float64{one, two} {
		if slope := net[1] + 2*net[2]*root; !math.IsNaN(root) && slope > 0 {
			return root, true
		}
	}
	return 0, false
}
