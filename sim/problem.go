package sim

// This file has what a run depends on: plain values in SI units, built from
// a run sheet by checklist/sheet. Nothing here computes.

// Problem is one run to predict: air, ground, vehicle, motors with their light
// times, and stopping devices.
type Problem struct {
	Air          Air     // the air it runs in, from AirInput.Air
	HeadwindMps  float64 // positive against the vehicle
	WindRangeMps float64 // how far the wind may differ, >= 0
	SlopeRatio   float64 // rise over run, uphill positive: γ = atan(SlopeRatio)

	Vehicle Vehicle
	Guide   *Guide // nil when the vehicle runs free
	Motors  []Motor
	Stops   []Stop

	LateLightDelayS float64 // added to a motor's own ignition delay in a motor-late case
	ClearLengthM    float64 // start line to the end of the cleared strip

	Spread Spread // one standard deviation of what is uncertain
}

// AirInput is what is known of the air. A nil pointer is a value that was not
// measured. ElevationM or PressurePa is required.
type AirInput struct {
	ElevationM    *float64 // geopotential, m
	PressurePa    *float64 // station pressure
	TemperatureK  *float64
	HumidityRatio *float64 // relative humidity, 0 to 1
}

// Air is the air the vehicle meets.
type Air struct {
	DensityKgM3  float64
	TemperatureK float64
	PressurePa   float64
}

// Vehicle is the vehicle ready to run, motors loaded.
type Vehicle struct {
	MassKg               float64
	RotatingMassKg       float64 // wheel inertia over radius squared
	FrontalAreaM2        float64
	DragCoefficient      float64 // on the frontal area
	LiftCoefficient      float64 // on the frontal area, up positive
	RollingResistance    float64
	TyreFriction         float64
	WheelbaseM           float64
	CGBehindFrontAxleM   float64
	CGHeightM            float64
	DragHeightM          float64
	LiftBehindFrontAxleM float64
}

// GuideKind is what a guided vehicle runs along.
type GuideKind int

// The guides. The zero value is not a guide.
const (
	GuideUnknown GuideKind = iota
	GuideWire
	GuideRail
)

// Guide is a wire or a rail that keeps the vehicle straight.
type Guide struct {
	Kind            GuideKind
	DragN           float64 // steady drag f_0
	Friction        float64 // μ_g on the bearings' side load
	BearingSpacingM float64
	HeightM         float64
	RatingN         float64 // side load one bearing may carry
}

// Motor is one installed motor.
type Motor struct {
	Curve                  *Curve
	PropellantKg           float64
	LateralM               float64 // right positive, seen from behind looking forward
	HeightM                float64 // thrust line above ground at the CG station
	AngleRad               float64 // positive tilts the force up
	NozzleBehindFrontAxleM float64
	IgnitionDelayS         float64 // ignition delay; +Inf for a motor that stays silent
	// Circuit names the igniter and branch lead. Motors are alike only when
	// their Circuit is equal too.
	Circuit string
}

// StopKind is a kind of stopping device.
type StopKind int

// The stopping devices. The zero value is none of them.
const (
	StopUnknown StopKind = iota
	WheelBrake
	Chute
	WeightedLine
	ElasticLine
	ArrestBed
)

// Stop is a stopping device. Fields that its kind does not use are zero.
type Stop struct {
	Name string
	Kind StopKind

	AtM    float64 // position that triggers it, or where a line or bed begins
	AfterS float64 // time since the first motor that lights
	After  bool    // true: AfterS triggers; false: AtM does
	DelayS float64 // wheel-brake and chute

	Friction     float64 // wheel-brake μ, arrest-bed μ_bed, weighted-line μ_w
	BrakedShare  float64 // wheel-brake
	DragAreaM2   float64 // chute CdA
	FillS        float64 // chute
	MassKg       float64 // weighted-line
	StiffnessNpm float64 // both lines
	SlackM       float64 // elastic-line
	DampingNspm  float64 // elastic-line
	HookHeightM  float64 // both lines
	RatingN      float64 // both lines; 0 when not given
	LengthM      float64 // arrest-bed
}

// Spread is the uncertainty of a run: one standard deviation each, as a share
// of the value where no unit is named, and probabilities.
type Spread struct {
	ThrustLot   float64
	ThrustMotor float64
	Drag        float64
	Rolling     float64
	Mass        float64
	WindMps     float64
	StopDelayS  float64
	MotorSilent float64 // probability for each motor
	StopFails   float64 // probability for each device
}
