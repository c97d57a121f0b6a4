package sim

import (
	"math"
	"math/rand/v2"
	"path/filepath"
	"testing"
)

// plain returns a vehicle of massKg with constant thrust, no air, no rolling
// and no propellant used: what a closed form needs is then added.
func plain(t *testing.T, massKg, thrustN, burnS float64) *Problem {
	t.Helper()
	curve, err := NewCurve([]Point{{0, thrustN}, {burnS, thrustN}})
	if err != nil {
		t.Fatal(err)
	}
	return &Problem{
		ClearLengthM: 1000,
		Vehicle:      Vehicle{MassKg: massKg, WheelbaseM: 0.6, CGBehindFrontAxleM: 0.3, CGHeightM: 0.05, TyreFriction: 0.7},
		Motors:       []Motor{{Curve: curve, HeightM: 0.05, NozzleBehindFrontAxleM: 0.6}},
	}
}

func nominal(t *testing.T, p *Problem) (Outcome, *Runner) {
	t.Helper()
	r, err := NewRunner(p)
	if err != nil {
		t.Fatal(err)
	}
	o, err := r.Run(Cases(p)[0])
	if err != nil {
		t.Fatal(err)
	}
	return o, r
}

// Boost v = v_t tanh(a_0 t/v_t), x = (v_t²/a_0) ln cosh(a_0 t/v_t); coast with
// rolling and drag x = (m/2c) ln(1 + c v_0²/R), t = (m/√(Rc)) atan(v_0 √(c/R)).
// The numbers are a worked case computed in Python from these formulas and
// checked there against its own Runge–Kutta.
func TestBoostAndCoastClosedForms(t *testing.T) {
	p := plain(t, 2, 60, 1.5)
	p.Air.DensityKgM3 = 1.225
	p.Vehicle.DragCoefficient, p.Vehicle.FrontalAreaM2, p.Vehicle.RollingResistance = 0.4, 0.01, 0.05
	o, _ := nominal(t, p)
	close(t, "burnout speed", o.BurnoutSpeedMps.Value, 43.102202, 2e-8)
	close(t, "burnout position", o.BurnoutPositionM.Value, 32.757865, 2e-8)
	close(t, "coast time", o.StopTimeS-1.5, 46.360626, 2e-8)
	close(t, "coast distance", o.StopPositionM-o.BurnoutPositionM.Value, 706.17282, 2e-8)
	// and the formulas themselves to the last digits
	c, rolling := 0.5*1.225*0.4*0.01, 0.05*2*GravityMps2
	vt, a0 := math.Sqrt((60-rolling)/c), (60-rolling)/2
	v0 := vt * math.Tanh(a0*1.5/vt)
	close(t, "tanh", o.BurnoutSpeedMps.Value, v0, 1e-10)
	close(t, "ln cosh", o.BurnoutPositionM.Value, vt*vt/a0*math.Log(math.Cosh(a0*1.5/vt)), 1e-10)
	close(t, "coast distance", o.StopPositionM-o.BurnoutPositionM.Value, 2/(2*c)*math.Log1p(c*v0*v0/rolling), 1e-10)
	close(t, "coast time", o.StopTimeS-1.5, 2/math.Sqrt(rolling*c)*math.Atan(v0*math.Sqrt(c/rolling)), 1e-10)
	close(t, "peak acceleration", o.PeakAccelerationMps2, a0, 1e-12)
	close(t, "peak deceleration", o.PeakDecelerationMps2, (rolling+c*v0*v0)/2, 1e-10)
}

// Track coast-down in the form of 40 CFR 1066.301, F = A + B V + C V², with B
// set to 0 as 1066.310 allows and 86.529-98 has it: the speed at every moment of the coast is v(t) = √(A/C) tan(atan(v_0 √(C/A)) − t √(AC)/m).
func TestCoastDownForm(t *testing.T) {
	p := plain(t, 1.4, 40, 1)
	p.Air.DensityKgM3 = 1.17 // the reference density of that regulation
	p.Vehicle.DragCoefficient, p.Vehicle.FrontalAreaM2, p.Vehicle.RollingResistance = 0.5, 0.02, 0.03
	o, r := nominal(t, p)
	a, c := 0.03*1.4*GravityMps2, 0.5*1.17*0.5*0.02
	start := math.Atan(o.BurnoutSpeedMps.Value * math.Sqrt(c/a))
	samples := 0
	err := r.Trace(Cases(p)[0], 0.25, func(s Sample) error {
		if s.TimeS > 1 && s.SpeedMps > 0.01 {
			samples++
			close(t, "speed in the coast", s.SpeedMps, math.Sqrt(a/c)*math.Tan(start-(s.TimeS-1)*math.Sqrt(a*c)/1.4), 1e-9)
		}
		return nil
	})
	if err != nil || samples < 20 {
		t.Errorf("%d samples, error %v", samples, err)
	}
}

// Rocket equation, no drag: Δv = (I/m_p) ln(m_0/(m_0 − m_p)), propellant in
// proportion to impulse.
func TestRocketEquation(t *testing.T) {
	p := plain(t, 1, 50, 1.2)
	p.Motors[0].PropellantKg = 0.35
	p.Stops = []Stop{{Name: "brake", Kind: WheelBrake, AtM: 200, Friction: 0.8, BrakedShare: 1}}
	o, _ := nominal(t, p)
	close(t, "speed at burnout", o.BurnoutSpeedMps.Value, 60/0.35*math.Log(1/0.65), 1e-11)
	// then the brake alone: x = v²/(2 μ g)
	close(t, "rest", o.StopPositionM, 200+math.Pow(o.BurnoutSpeedMps.Value, 2)/(2*0.8*GravityMps2), 1e-11)
}

// Momentum exchange with a weighted line, then the sledge's friction alone:
// v⁺ = v⁻ m/(m + m_w), a = μ_w m_w g/(m + m_w).
func TestMomentumExchange(t *testing.T) {
	p := plain(t, 1.5, 30, 1)
	p.Stops = []Stop{{Name: "sack", Kind: WeightedLine, AtM: 40, MassKg: 0.9, Friction: 0.6, StiffnessNpm: 800}}
	o, _ := nominal(t, p)
	v := 20.0
	after := v * 1.5 / 2.4
	slowing := 0.6 * 0.9 * GravityMps2 / 2.4
	close(t, "rest", o.StopPositionM, 40+after*after/(2*slowing), 1e-11)
	close(t, "tension", o.PeakLineTensionN.Value, v*math.Sqrt(800*1.5*0.9/2.4), 1e-11)
	close(t, "deceleration without the jerk", o.PeakDecelerationMps2, slowing, 1e-11)
}

// Elastic line. Undamped, the energy says ½ m v² = ½ k d² + R d. Damped, the
// motion m d″ + c d′ + k d + R = 0 has the decaying sine; its first standstill
// is found here by bisection on its speed.
func TestElasticLine(t *testing.T) {
	p := plain(t, 1.2, 36, 1)
	p.Vehicle.RollingResistance = 0.04
	p.Stops = []Stop{{Name: "cord", Kind: ElasticLine, AtM: 25, SlackM: 2, StiffnessNpm: 30}}
	rolling := 0.04 * 1.2 * GravityMps2
	v0 := (36 - rolling) / 1.2
	speed := math.Sqrt(v0*v0 - 2*rolling/1.2*(27-v0/2)) // at the end of the slack
	o, _ := nominal(t, p)
	d := (-rolling + math.Sqrt(rolling*rolling+30*1.2*speed*speed)) / 30
	close(t, "undamped rest", o.StopPositionM, 27+d, 1e-11)
	close(t, "undamped tension", o.PeakLineTensionN.Value, 30*d, 1e-10)
	close(t, "stored energy", o.StoredLineEnergyJ.Value, 30*d*d/2, 1e-10)

	p.Stops[0].DampingNspm = 3
	o, _ = nominal(t, p)
	gamma := 3 / (2 * 1.2)
	omega := math.Sqrt(30/1.2 - gamma*gamma)
	rest := -rolling / 30 // where spring and rolling balance
	position := func(t float64) (d, v float64) {
		a, b := -rest, (speed-gamma*rest)/omega
		sin, cos := math.Sincos(omega * t)
		decay := math.Exp(-gamma * t)
		return rest + decay*(a*cos+b*sin), decay * ((b*omega-gamma*a)*cos - (a*omega+gamma*b)*sin)
	}
	low, high := 0.0, math.Pi/omega
	for range 100 {
		if mid := (low + high) / 2; func() float64 { _, v := position(mid); return v }() > 0 {
			low = mid
		} else {
			high = mid
		}
	}
	d, _ = position(low)
	close(t, "damped rest", o.StopPositionM, 27+d, 1e-10)
	peak := 0.0
	for i := range 200_001 {
		at, v := position(low * float64(i) / 200_000)
		peak = max(peak, 30*at+3*v)
	}
	close(t, "damped tension", o.PeakLineTensionN.Value, peak, 1e-9)
}

// Arrest bed and a chute at once full, each alone.
func TestBedAndChute(t *testing.T) {
	p := plain(t, 1, 20, 1)
	p.Stops = []Stop{{Name: "sand", Kind: ArrestBed, AtM: 30, LengthM: 500, Friction: 0.5}}
	o, _ := nominal(t, p)
	close(t, "bed", o.StopPositionM, 30+400/(2*0.5*GravityMps2), 1e-11)

	p.Air.DensityKgM3 = 1.2
	p.Vehicle.RollingResistance = 0.05
	p.Stops = []Stop{{Name: "chute", Kind: Chute, After: true, AfterS: 1, DragAreaM2: 0.06}}
	o, _ = nominal(t, p)
	rolling, c := 0.05*GravityMps2, 0.5*1.2*0.06
	v := 20 - rolling
	close(t, "chute", o.StopPositionM, v/2+1/(2*c)*math.Log1p(c*v*v/rolling), 1e-10)
	close(t, "chute's deceleration", o.PeakDecelerationMps2, rolling+c*v*v, 1e-10)
}

// A lit motor too weak to move the vehicle leaves it at rest with nulls.
func TestWithoutMotion(t *testing.T) {
	p := plain(t, 10, 5, 1)
	p.Vehicle.RollingResistance = 0.2
	o, _ := nominal(t, p)
	want := Outcome{BurnoutTimeS: Some(1), BurnoutPositionM: Some(0), BurnoutSpeedMps: Some(0)}
	if o != want {
		t.Errorf("got %+v, want %+v", o, want)
	}
}

// Thrust straight up of more than the weight unloads the wheels, at rest too.
func TestUnloadedWheels(t *testing.T) {
	p := plain(t, 1, 30, 1)
	p.Vehicle.RollingResistance = 1.9
	p.Motors[0].AngleRad = 0.9
	o, _ := nominal(t, p)
	if !o.Airborne {
		t.Errorf("thrust of 30 sin 0.9 = 23.5 N on 9.8 N: got %+v", o)
	}
	// no load, no rolling: v = T cos θ t/m until burnout
	close(t, "burnout speed", o.BurnoutSpeedMps.Value, 30*math.Cos(0.9), 1e-11)
	p.Motors[0].AngleRad = -0.3
	if o, _ := nominal(t, p); o.Airborne {
		t.Errorf("thrust pressing down: got %+v", o)
	}
}

// Nose up by leverage: N_f = m g b/ℓ − m a h/ℓ + T z/ℓ with a = T/m is below 0
// when T (h − z) > m g b.
func TestNoseUp(t *testing.T) {
	p := plain(t, 1, 40, 0.5)
	p.Vehicle.CGHeightM, p.Motors[0].HeightM = 0.15, 0.02
	p.Stops = []Stop{{Name: "brake", Kind: WheelBrake, AtM: 20, Friction: 0.5, BrakedShare: 1}}
	o, _ := nominal(t, p)
	close(t, "front load fraction", o.MinFrontLoadFraction.Value, 1-40*0.13/(GravityMps2*0.3), 1e-11)
	if o.MinFrontLoadFraction.Value >= 0 {
		t.Errorf("got %v, want below 0", o.MinFrontLoadFraction)
	}
	// CG behind the rear axle: the fraction does not exist, and that is said
	p.Vehicle.CGBehindFrontAxleM = 0.7
	o, _ = nominal(t, p)
	if o.MinFrontLoadFraction.Known || len(Notes(p)) != 1 {
		t.Errorf("got %v and notes %q", o.MinFrontLoadFraction, Notes(p))
	}
}

// Energy over a whole run: work of thrust = work of every other force + what
// the line's jerk takes + kinetic energy carried off with the propellant. The
// forces are those of Trace, evaluated apart from the integrator, the integrals
// Gauss–Legendre over each of its steps.
func TestEnergyBalance(t *testing.T) {
	nodes := [5][2]float64{{0, 128.0 / 225}, {0.5384693101056831, 0.47862867049936647}, {-0.5384693101056831, 0.47862867049936647},
		{0.906179845938664, 0.23692688505618908}, {-0.906179845938664, 0.23692688505618908}}
	rng := rand.New(rand.NewPCG(11, 1))
	checked := 0
	for n := range 25 {
		p := randomProblem(rng, n%5 == 4)
		r, err := NewRunner(p)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := r.Run(Cases(p)[0]); err != nil {
			continue
		}
		var thrust, lost, carried, jerk, kinetic float64
		r.visit = func(r *Runner, span float64) error {
			if !r.moving {
				return nil
			}
			inertia := func(s Sample) float64 { return s.MassKg + p.Vehicle.RotatingMassKg + r.engaged.weights }
			begin, end := r.sample(0), r.sample(span)
			jerk += kinetic - inertia(begin)*begin.SpeedMps*begin.SpeedMps/2
			kinetic = inertia(end) * end.SpeedMps * end.SpeedMps / 2
			parts := 8.0
			for part := range 8 {
				for _, node := range nodes {
					dt := span / parts * (float64(part) + (node[0]+1)/2)
					weight := span / parts * node[1] / 2
					s := r.sample(dt)
					thrust += weight * s.ThrustN * s.SpeedMps
					lost += weight * s.SpeedMps * (s.DragN + s.RollingN + s.GuideN + s.SlopeN + s.BrakeN + s.ChuteN + s.LineN + s.BedN)
					flow := -(r.step.m[1] + 2*r.step.m[2]*dt/span) / r.step.h
					carried += weight * flow * s.SpeedMps * s.SpeedMps / 2
				}
			}
			return nil
		}
		r.prepare(Cases(p)[0])
		err = r.run()
		r.visit = nil
		if err != nil {
			t.Fatal(err)
		}
		if r.started {
			checked++
		}
		if residual := thrust - lost - carried - jerk - kinetic; math.Abs(residual) > 1e-9*max(thrust, 1) {
			t.Errorf("problem %d: %.3g J of %.6g J do not balance (lost %g, carried %g, jerk %g, left %g)", n, residual, thrust, lost, carried, jerk, kinetic)
		}
		if jerk < -1e-9*max(thrust, 1) {
			t.Errorf("problem %d: lines gave %g J", n, -jerk)
		}
	}
	if checked < 20 {
		t.Errorf("only %d runs moved", checked)
	}
}

// sameOutcome wants two outcomes equal to a relative tolerance, nulls exactly.
func sameOutcome(t *testing.T, what string, got, want Outcome, tolerance float64) {
	t.Helper()
	g, w := fields(t, got), fields(t, want)
	for key, value := range w {
		number, isNumber := value.(float64)
		other, isOther := g[key].(float64)
		if !isNumber || !isOther {
			if g[key] != value {
				t.Errorf("%s: %s: got %v, want %v", what, key, g[key], value)
			}
		} else if off(other, number, 1e-3) > tolerance {
			t.Errorf("%s: %s: got %.12g, want %.12g", what, key, other, number)
		}
	}
}

func TestMirroredVehicleRunsAlike(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	for range 20 {
		p := randomProblem(rng, false)
		q := *p
		q.Motors = append([]Motor(nil), p.Motors...)
		for i := range q.Motors {
			q.Motors[i].LateralM = -q.Motors[i].LateralM
		}
		got, _ := runOrError(t, &q)
		want, _ := runOrError(t, p)
		sameOutcome(t, "mirrored", got, want, 1e-9)
	}
}

func runOrError(t *testing.T, p *Problem) (Outcome, error) {
	t.Helper()
	r, err := NewRunner(p)
	if err != nil {
		t.Fatal(err)
	}
	return r.Run(Cases(p)[0])
}

func TestSplittingACurveChangesNothing(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 1))
	for range 20 {
		p := randomProblem(rng, false)
		q := *p
		q.Motors = append([]Motor(nil), p.Motors...)
		for i := range q.Motors {
			points := p.Motors[i].Curve.Points()
			at := 1 + rng.IntN(len(points)-1)
			a, b := points[at-1], points[at]
			share := 0.1 + 0.8*rng.Float64()
			split := append(append([]Point(nil), points[:at]...), Point{
				a.TimeS + share*(b.TimeS-a.TimeS), a.ThrustN + share*(b.ThrustN-a.ThrustN)})
			curve, err := NewCurve(append(split, points[at:]...))
			if err != nil {
				t.Fatal(err)
			}
			q.Motors[i].Curve = curve
		}
		got, _ := runOrError(t, &q)
		want, _ := runOrError(t, p)
		sameOutcome(t, "split", got, want, 1e-8)
	}
}

// Without wind, slope and devices more drag never lengthens the run. (With a
// tailwind or a line of fixed length it may.)
func TestMoreDragNeverLengthensTheRun(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 1))
	for range 30 {
		p := randomProblem(rng, false)
		p.HeadwindMps, p.SlopeRatio, p.Stops, p.Vehicle.LiftCoefficient = 0, 0, nil, 0
		q := *p
		q.Vehicle.DragCoefficient *= 1 + rng.Float64()
		more, err1 := runOrError(t, &q)
		less, err2 := runOrError(t, p)
		if err1 != nil || err2 != nil {
			t.Fatal(err1, err2)
		}
		if more.StopPositionM > less.StopPositionM*(1+1e-12) {
			t.Errorf("more drag: got %g m, want at most %g m", more.StopPositionM, less.StopPositionM)
		}
	}
}

// Lighting everything later, with devices at positions only, shifts times and
// nothing else.
func TestLaterLightShiftsTimesOnly(t *testing.T) {
	p := readProblem(t, filepath.Join(referenceDir, "run", "03"))
	want, _ := nominal(t, p)
	for i := range p.Motors {
		p.Motors[i].IgnitionDelayS = 0.75
	}
	got, _ := nominal(t, p)
	got.PeakSpeedTimeS -= 0.75
	got.StopTimeS -= 0.75
	got.BurnoutTimeS.Value -= 0.75
	sameOutcome(t, "later", got, want, 1e-9)
}
