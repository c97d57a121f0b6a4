package sim

import (
	"errors"
	"math"
	"slices"
)

// maxSteps ends a run that makes no progress to speak of, as a vehicle so light
// that drag or a line settles its speed within microseconds. A point of a curve
// takes four steps at most; what lies between them takes a hundred in an honest
// run.
const maxSteps = 50_000

// restAfterS is how long after the vehicle has come to rest the motor of a case
// "late, at rest" lights: long enough that rounding cannot light it while the
// last of the braking still acts on the axles.
const restAfterS = 1e-9

// Runner runs the cases of one problem. It keeps its buffers, so that a run
// allocates nothing; it must not be used by two goroutines at once.
type Runner struct {
	p Problem

	// Constants of the problem.
	sinG, cosG float64 // of the slope angle γ
	halfRho    float64 // ½ρ
	dragNominal,
	lift float64 // ½ρ CdA, ½ρ ClA
	pitchArm float64 // b cos γ − h sin γ
	liftArm  float64 // ℓ_w − x_L

	// What this run draws.
	name      string
	wind      float64
	mass0     float64
	drag      float64 // ½ρ CdA as drawn
	rolling   float64 // C_rr as drawn
	lights    []float64
	absent    []bool
	scale     []float64
	delay     []float64
	groups    []group
	devices   []device
	mayLift   bool // the wheels may be unloaded: lift, or thrust tilted up
	skipYaw   bool // dispersion does not ask for it
	lean      bool // dispersion: only rest, peak speed and front load are asked for; see stride
	stepsMost int
	least     float64                      // accuracy: the least term of a series over the speed
	visit     func(*Runner, float64) error // sees each span of time, nil for none
	firstS    float64                      // when the first motor lights
	burnoutS  float64

	// State.
	t, x, v  float64
	moving   bool
	starting bool // v = 0 and about to move
	unloaded bool // N is 0
	behind   bool // the air comes from behind: u < 0
	nextS    float64
	nextM    float64
	deviceS  float64 // the next known time of a device

	engaged engaged
	sum     sums
	step    step

	out        Outcome
	steps      int     // and waits
	minFront   float64 // axle load, N
	minYaw     float64
	peakMoment float64 // |M_z| on a guide, N·m
	started    bool
	tension    []Maybe
}

// NewRunner returns a Runner for p, or every fault of p. p may change afterwards.
func NewRunner(p *Problem) (*Runner, error) {
	if err := Validate(p); err != nil {
		return nil, err
	}
	r := &Runner{p: *p, least: termLeast}
	r.p.Motors, r.p.Stops = slices.Clone(p.Motors), slices.Clone(p.Stops)
	if p.Guide != nil {
		guide := *p.Guide
		r.p.Guide = &guide
	}
	v := &r.p.Vehicle
	gamma := math.Atan(p.SlopeRatio)
	r.sinG, r.cosG = math.Sincos(gamma)
	r.halfRho = p.Air.DensityKgM3 / 2
	r.dragNominal = r.halfRho * v.DragCoefficient * v.FrontalAreaM2
	r.lift = r.halfRho * v.LiftCoefficient * v.FrontalAreaM2
	r.pitchArm = (v.WheelbaseM-v.CGBehindFrontAxleM)*r.cosG - v.CGHeightM*r.sinG
	r.liftArm = v.WheelbaseM - v.LiftBehindFrontAxleM
	r.mayLift, r.stepsMost = r.lift > 0, maxSteps
	for i := range r.p.Motors {
		r.mayLift = r.mayLift || r.p.Motors[i].AngleRad > 0
		r.stepsMost += 4 * len(r.p.Motors[i].Curve.points)
	}
	r.lights = make([]float64, len(p.Motors))
	r.scale = make([]float64, len(p.Motors))
	r.groups = make([]group, 0, len(p.Motors))
	r.absent = make([]bool, len(p.Stops))
	r.delay = make([]float64, len(p.Stops))
	r.devices = make([]device, len(p.Stops))
	r.tension = make([]Maybe, len(p.Stops))
	return r, nil
}

// Run runs one case. Its error is an *UnfinishedError for a run still moving
// at the model's bounds; the Outcome then has what was seen up to there.
func (r *Runner) Run(c Case) (Outcome, error) {
	err := r.begin(c)
	if err == nil {
		err = r.run()
	}
	return r.out, err
}

// begin prepares the run of a case. For a motor late at rest that takes the
// run in which the motor is silent.
func (r *Runner) begin(c Case) error {
	if err := r.check(c); err != nil {
		return err
	}
	r.prepare(c)
	if c.Kind != CaseMotorLateAtRest || math.IsInf(r.p.Motors[c.Motor-1].IgnitionDelayS, 1) {
		return nil
	}
	r.lights[c.Motor-1] = math.Inf(1)
	if err := r.run(); err != nil {
		return err
	}
	restS := r.out.StopTimeS
	r.prepare(c)
	r.lights[c.Motor-1] = restS + restAfterS
	return nil
}

func (r *Runner) check(c Case) error {
	r.out = Outcome{}
	var faults checker
	if c.IgnitionDelayS != nil && len(c.IgnitionDelayS) != len(r.p.Motors) {
		faults.fault("case %q: %d light times, expected %d", c.Name, len(c.IgnitionDelayS), len(r.p.Motors))
	}
	if c.Absent != nil && len(c.Absent) != len(r.p.Stops) {
		faults.fault("case %q: %d marks of absent devices, expected %d", c.Name, len(c.Absent), len(r.p.Stops))
	}
	for i, light := range c.IgnitionDelayS {
		if !math.IsInf(light, 1) && !(light >= 0 && light <= 2*MaxRunTimeS) {
			faults.fault("case %q: light time of motor %d is %g s, expected 0 to %d s, or +Inf for silent", c.Name, i+1, light, 2*MaxRunTimeS)
		}
	}
	if !(math.Abs(c.HeadwindMps) <= 120) {
		faults.fault("case %q: headwind is %g m/s, expected -120 to 120 m/s", c.Name, c.HeadwindMps)
	}
	if c.Kind == CaseMotorLateAtRest && (c.Motor < 1 || c.Motor > len(r.p.Motors)) {
		faults.fault("case %q: motor %d, expected 1 to %d", c.Name, c.Motor, len(r.p.Motors))
	}
	return errors.Join(faults.faults...)
}

// RunAll runs cases in their order.
func (r *Runner) RunAll(cases []Case) ([]CaseResult, error) {
	results := make([]CaseResult, len(cases))
	var c checker
	for i := range cases {
		outcome, err := r.Run(cases[i])
		if err != nil {
			c.faults = append(c.faults, err)
		}
		results[i] = CaseResult{Case: cases[i], Outcome: outcome, LineTensionN: slices.Clone(r.tension)}
		for j := range r.devices {
			results[i].ActsAtM = append(results[i].ActsAtM, r.devices[j].actsAtM)
		}
	}
	if len(c.faults) > 0 {
		return nil, errors.Join(c.faults...)
	}
	return results, nil
}

// prepare sets the draws of a run to c with everything else nominal.
func (r *Runner) prepare(c Case) {
	r.name, r.wind = c.Name, c.HeadwindMps
	r.mass0, r.drag, r.rolling = r.p.Vehicle.MassKg, r.dragNominal, r.p.Vehicle.RollingResistance
	for i := range r.lights {
		r.lights[i], r.scale[i] = r.p.Motors[i].IgnitionDelayS, 1
	}
	copy(r.lights, c.IgnitionDelayS)
	for i := range r.absent {
		r.absent[i], r.delay[i] = false, r.p.Stops[i].DelayS
	}
	copy(r.absent, c.Absent)
}

// run makes one run from what prepare or a draw has set.
func (r *Runner) run() error {
	r.reset()
	if err := r.passEdges(); err != nil {
		return err
	}
	r.passTimes()
	for r.steps = 0; r.steps < r.stepsMost; r.steps++ {
		if r.moving {
			if err := r.advance(); err != nil {
				r.finish()
				return err
			}
			continue
		}
		if r.exhausted() {
			r.finish()
			return nil
		}
		if err := r.wait(); err != nil {
			return err
		}
	}
	r.finish()
	return &UnfinishedError{Case: r.name, TimeS: r.t, PositionM: r.x, SpeedMps: r.v, Steps: r.steps, StepS: r.lastStepS()}
}

// lastStepS returns the length of the last step of a moving vehicle.
func (r *Runner) lastStepS() float64 {
	if !r.moving {
		return 0
	}
	return r.step.h
}

func (r *Runner) reset() {
	r.t, r.x, r.v = 0, 0, 0
	r.moving, r.starting, r.unloaded, r.started = false, false, false, false
	r.behind = r.wind < 0
	r.engaged = engaged{}
	r.out = Outcome{}
	r.minFront, r.minYaw, r.peakMoment = math.Inf(1), math.Inf(1), 0
	r.groupMotors()
	r.sumGroups()
	for i := range r.devices {
		r.tension[i] = Maybe{}
		d := &r.devices[i]
		s := &r.p.Stops[i]
		*d = device{stop: s, triggerS: math.Inf(1), fullS: math.Inf(1), edgeM: math.Inf(1)}
		switch {
		case r.absent[i]:
			d.state = finished
		case s.After:
			d.state, d.triggerS = counting, r.firstS+s.AfterS+r.delay[i]
		case s.Kind == ElasticLine:
			d.edgeM = s.AtM + s.SlackM
		default:
			d.edgeM = s.AtM
		}
	}
	r.schedule()
}

// exhausted reports whether no thrust is still to come.
func (r *Runner) exhausted() bool {
	for i := range r.groups {
		if g := &r.groups[i]; g.next < len(g.curve.points) {
			return false
		}
	}
	return true
}

// passTimes does what is due at the time now: breakpoints of curves, triggers, full
// chutes.
func (r *Runner) passTimes() {
	r.sum.advance(r.t, r.skipYaw)
	if r.deviceS <= r.t {
		r.passTriggers()
	}
	anew := false
	next := r.deviceS
	for i := range r.groups {
		g := &r.groups[i]
		for g.nextS <= r.t {
			k := g.pass()
			if anew = anew || k.anew; !anew {
				r.sum.bend(g, k.bendNps)
			}
		}
		if g.nextS < next {
			next = g.nextS
		}
	}
	r.nextS = next
	if anew {
		r.sumGroups()
	}
	if r.t == r.burnoutS {
		r.out.BurnoutTimeS, r.out.BurnoutPositionM, r.out.BurnoutSpeedMps = Some(r.t), Some(r.x), Some(r.v)
	}
}

func (r *Runner) unfinished() error {
	return &UnfinishedError{Case: r.name, TimeS: r.t, PositionM: r.x, SpeedMps: r.v}
}

// finish turns what was gathered into the reported values.
func (r *Runner) finish() {
	o := &r.out
	o.StopPositionM = r.x
	if front := r.mass0 * GravityMps2 * r.pitchArm / r.p.Vehicle.WheelbaseM; r.started && front > 0 && !math.IsInf(r.minFront, 1) {
		o.MinFrontLoadFraction = Some(r.minFront / front)
	}
	if r.p.Guide == nil && !math.IsInf(r.minYaw, 1) {
		o.MinYawMargin = Some(r.minYaw)
	}
	if r.p.Guide != nil && r.peakMoment > 0 {
		o.GuideMargin = Some(r.p.Guide.RatingN * r.p.Guide.BearingSpacingM / r.peakMoment)
	}
	storedJ, taut := 0.0, false
	for i := range r.devices {
		d := &r.devices[i]
		if r.tension[i].Known && (!o.PeakLineTensionN.Known || r.tension[i].Value > o.PeakLineTensionN.Value) {
			o.PeakLineTensionN = r.tension[i]
		}
		if d.stop.Kind == ElasticLine && d.state == acting {
			stretch := r.x - (d.stop.AtM + d.stop.SlackM)
			storedJ += d.stop.StiffnessNpm * stretch * stretch / 2
			taut = true
		}
	}
	if taut {
		o.StoredLineEnergyJ = Some(storedJ)
	}
}

// StandingFrontLoadN returns the front axle load in newtons at rest without
// thrust: what the front load fraction is a fraction of. p must be valid.
func StandingFrontLoadN(p *Problem) float64 {
	v := &p.Vehicle
	sin, cos := math.Sincos(math.Atan(p.SlopeRatio))
	return v.MassKg * GravityMps2 * ((v.WheelbaseM-v.CGBehindFrontAxleM)*cos - v.CGHeightM*sin) / v.WheelbaseM
}
