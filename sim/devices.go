package sim

import "math"

type deviceState int

const (
	waiting  deviceState = iota // for its position
	counting                    // triggered or timed, until triggerS
	filling                     // a chute, until fullS
	acting
	finished // absent, or a bed left behind
)

type device struct {
	stop     *Stop
	state    deviceState
	triggerS float64
	fullS    float64
	actsAtM  Maybe   // where it began to act
	edgeM    float64 // the next position that matters, +Inf for none
}

// engaged is the sum of the devices that act now.
type engaged struct {
	brakeMu   float64 // Σ μ c of wheel brakes + μ of beds, on the wheels' load
	chute     float64 // ½ρ Σ CdA of full chutes
	fillRate  float64 // ½ρ Σ CdA/t_f of filling ones: adds fillRate·t − fillStart
	fillStart float64
	weights   float64 // Σ m_w picked up
	sledgeN   float64 // Σ μ_w m_w g
	sledgeNm  float64 // Σ μ_w m_w g z_h
	k, kx     float64 // Σ k, Σ k (x_s + slack) of taut elastic lines
	c         float64
	kz, kxz   float64 // the same times hook height
	cz        float64
}

// schedule sets the next position and the next time that matter to a device.
func (r *Runner) schedule() {
	r.deviceS, r.nextM = math.Inf(1), MaxRunLengthM
	for i := range r.devices {
		d := &r.devices[i]
		switch d.state {
		case counting:
			r.deviceS = min(r.deviceS, d.triggerS)
		case filling:
			r.deviceS = min(r.deviceS, d.fullS)
		}
		r.nextM = min(r.nextM, d.edgeM)
	}
}

// passTriggers engages the devices that are due, and ends the filling of chutes.
func (r *Runner) passTriggers() {
	for i := range r.devices {
		d := &r.devices[i]
		if d.state == counting && d.triggerS <= r.t {
			d.state, d.actsAtM = acting, Some(r.x)
			if d.stop.Kind == Chute && d.stop.FillS > 0 {
				d.state, d.fullS = filling, d.triggerS+d.stop.FillS
			}
		}
		if d.state == filling && d.fullS <= r.t {
			d.state = acting
		}
	}
	r.sumEngaged()
	r.schedule()
}

// passEdges does what is due at the position now: triggers, lines, edges of beds.
func (r *Runner) passEdges() error {
	if r.x >= MaxRunLengthM {
		return r.unfinished()
	}
	for i := range r.devices {
		d := &r.devices[i]
		for d.edgeM <= r.x {
			switch {
			case d.stop.Kind == WheelBrake || d.stop.Kind == Chute:
				d.state, d.triggerS, d.edgeM = counting, r.t+r.delay[i], math.Inf(1)
			case d.stop.Kind == ArrestBed && d.state == waiting:
				d.state, d.actsAtM, d.edgeM = acting, Some(r.x), d.stop.AtM+d.stop.LengthM
			case d.stop.Kind == ArrestBed:
				d.state, d.edgeM = finished, math.Inf(1)
			case d.stop.Kind == WeightedLine:
				r.pickUp(i)
				d.state, d.actsAtM, d.edgeM = acting, Some(r.x), math.Inf(1)
			default:
				d.state, d.actsAtM, d.edgeM = acting, Some(r.x), math.Inf(1)
			}
		}
	}
	r.sumEngaged()
	r.schedule()
	r.passTimes() // a trigger without delay acts at once
	return nil
}

// pickUp exchanges momentum with the weights of line i:
//
//	v⁺ = v⁻ M/(M + m_w),  peak tension = v⁻ √(k M m_w/(M + m_w))
//
// M being everything that moves already.
func (r *Runner) pickUp(i int) {
	s := r.devices[i].stop
	r.sum.advance(r.t, r.skipYaw)
	inertia := r.sum.mass + r.p.Vehicle.RotatingMassKg + r.engaged.weights
	both := inertia + s.MassKg
	r.tension[i] = Some(r.v * math.Sqrt(s.StiffnessNpm*inertia*s.MassKg/both))
	r.v *= inertia / both
	r.engaged.weights += s.MassKg
}

// sumEngaged sums the devices that act.
func (r *Runner) sumEngaged() {
	e := engaged{}
	for i := range r.devices {
		d := &r.devices[i]
		s := d.stop
		switch {
		case d.state == filling:
			rate := r.halfRho * s.DragAreaM2 / s.FillS
			e.fillRate += rate
			e.fillStart += rate * d.triggerS
		case d.state != acting:
		case s.Kind == WheelBrake:
			e.brakeMu += s.Friction * s.BrakedShare
		case s.Kind == ArrestBed:
			e.brakeMu += s.Friction
		case s.Kind == Chute:
			e.chute += r.halfRho * s.DragAreaM2
		case s.Kind == WeightedLine:
			e.weights += s.MassKg
			force := s.Friction * s.MassKg * GravityMps2
			e.sledgeN += force
			e.sledgeNm += force * s.HookHeightM
		case s.Kind == ElasticLine:
			k, kx := s.StiffnessNpm, s.StiffnessNpm*(s.AtM+s.SlackM)
			e.k, e.kx, e.c = e.k+k, e.kx+kx, e.c+s.DampingNspm
			e.kz, e.kxz, e.cz = e.kz+k*s.HookHeightM, e.kxz+kx*s.HookHeightM, e.cz+s.DampingNspm*s.HookHeightM
		}
	}
	r.engaged = e
}
