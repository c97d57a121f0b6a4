// Package sheet reads the run sheet: one TOML file that describes one firing,
// with its thrust curves.
//
// Values with a dimension are text with a unit, "1.42 kg" or "4 lb" (see
// checklist/sheet/unit); inside the program they are SI. Everything wrong with
// a sheet is reported together, each fault with file, line, column, key, what
// was found and what was expected ([Faults]).
//
// [Parse] is pure. [Load] reads the files at its edge.
//
// # Keys
//
// A key is written dotted, and tables of one name are counted from 1:
// "site.headwind", "motor[2].lateral", "igniter.bridge.no_fire". Fault and Set
// use the same form, and "motor 2" is the same motor everywhere.
//
// # What a sheet can and cannot do
//
// It can make the built-in limits and ages stricter, and add steps. Ages and
// waits outside their bounds, a current margin below 1.5, an igniter current
// without its source and a post nearer than the crew are refused.
package sheet

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"time"

	"holdline/checklist"
	"holdline/sim"
	"holdline/sim/circuit"
)

// Sheet is one firing, every value in SI. Optional values that were not given
// have their defaults.
type Sheet struct {
	Name   string   // as given to Parse: the file's path
	SHA256 [32]byte // of the sheet's bytes

	Title string
	Mark  string // written on the vehicle; empty when the sheet names none

	Site    Site
	Vehicle sim.Vehicle
	Guide   *sim.Guide // nil when the vehicle runs free

	Motors   []Motor
	Igniters map[string]circuit.Igniter // by name, without branch lead
	Firing   circuit.Problem            // without igniters and limits, see Circuit
	Stops    []sim.Stop

	Limits     Limits
	Spread     sim.Spread
	LateLightS float64 // delay of the motor-late cases

	Crew   Crew
	Posts  []Post
	Times  checklist.Times
	Radios []Radio
	Steps  []Step

	// Curves are the thrust curves that the motors use, each once, in the order
	// of first use.
	Curves []CurveFile

	// Notes are what is allowed but worth saying, in the order of the text.
	Notes []Note
}

// Site is the ground and the air.
type Site struct {
	Measured        sim.AirInput // what the sheet says of the air
	Air             sim.Air      // what follows from it
	HeadwindMps     float64      // negative is a tailwind
	WindRangeMps    float64
	SlopeRatio      float64 // rise over run, uphill positive
	ClearLengthM    float64 // start line to the end of the cleared strip
	ClearHalfWidthM float64
	CrewDistanceM   float64 // the nearest person to the vehicle or its path
}

// Motor is one installed motor. Its ignition delay is set by Run.
type Motor struct {
	sim.Motor
	CurveName  string // as the sheet writes it: a path or "builtin:NAME"
	Igniter    string // a key of Igniters
	BranchLead circuit.Lead
	Channel    int // of the ground box
}

// Limits are what the answers have to meet. Shares and probabilities are
// numbers from 0 to 1.
type Limits struct {
	StopMarginM         float64 // left over inside the cleared length
	ThrustToWeight      float64 // at most
	FrontLoad           float64 // least share of the front wheels' standing load
	YawMargin           float64 // at least
	StaggerS            float64 // at most, 95th percentile
	DecelerationMps2    float64 // at most
	OverrunProbability  float64 // at most
	AllLightProbability float64 // at least
}

// DefaultLimits are the limits of a sheet that names none: 20 m left, thrust
// to weight 10, front load 20 %, yaw margin 1.5, stagger 60 ms, deceleration
// 25 g0, overrun 0.1 %, all light 99 %. They are this project's choice.
func DefaultLimits() Limits {
	return Limits{
		StopMarginM:         20,
		ThrustToWeight:      10,
		FrontLoad:           0.20,
		YawMargin:           1.5,
		StaggerS:            0.060,
		DecelerationMps2:    25 * sim.GravityMps2,
		OverrunProbability:  0.001,
		AllLightProbability: 0.99,
	}
}

// LeastMargin is the least current margin that a sheet may ask for: worst-case
// current over the all-fire current.
//
// Source: 14 CFR part 417, appendix D (each of several initiators fired
// together gets at least 1.5 times its all-fire current).
const LeastMargin = 1.5

// Crew is who stands where.
type Crew struct {
	Spotters []string // posts, in the sheet's order
}

// Post is where a spotter stands.
type Post struct {
	Name      string  // one of Crew.Spotters
	DistanceM float64 // least distance to the path and to every predicted stopping position
}

// Radio is a transmitter near the vehicle.
type Radio struct {
	Name        string
	PowerW      float64
	FrequencyHz float64
	DistanceM   float64
}

// Step is a further checklist step of the sheet.
type Step struct {
	Phase    checklist.Phase
	Text     string
	Role     checklist.Role
	Expires  time.Duration // 0: does not age
	Optional bool          // may be passed over with a key
}

// CurveFile is one thrust curve and the bytes it was read from.
type CurveFile struct {
	Name   string // as the sheet writes it
	File   string // the path it was read from; empty for a built-in curve
	SHA256 [32]byte
	Curve  *sim.Curve
}

// Note is something allowed but worth saying.
type Note struct {
	Line, Column int
	Key          string
	Text         string
}

// Run is the run to predict. lights are the ignition delays of the motors in
// seconds after the button closes, +Inf for a misfire; nil lights every motor
// at 0. It panics when lights is neither nil nor one for each motor: that is a
// fault of the program.
func (s *Sheet) Run(lights []float64) *sim.Problem {
	if lights != nil && len(lights) != len(s.Motors) {
		panic(fmt.Sprintf("sheet: internal error: %d ignition delays for %d motors", len(lights), len(s.Motors)))
	}
	p := &sim.Problem{
		Air:             s.Site.Air,
		HeadwindMps:     s.Site.HeadwindMps,
		WindRangeMps:    s.Site.WindRangeMps,
		SlopeRatio:      s.Site.SlopeRatio,
		Vehicle:         s.Vehicle,
		LateLightDelayS: s.LateLightS,
		ClearLengthM:    s.Site.ClearLengthM,
		Spread:          s.Spread,
		Stops:           slices.Clone(s.Stops),
	}
	if s.Guide != nil {
		guide := *s.Guide
		p.Guide = &guide
	}
	for i, m := range s.Motors {
		motor := m.Motor
		motor.Circuit = m.circuitName()
		if lights != nil {
			motor.IgnitionDelayS = lights[i]
		}
		p.Motors = append(p.Motors, motor)
	}
	return p
}

// circuitName tells motors on unlike branches apart.
func (m Motor) circuitName() string {
	l := m.BranchLead
	if l.Kind == circuit.LeadNone {
		return strconv.Quote(m.Igniter)
	}
	return fmt.Sprintf("%q lead %d gauge %d area %x length %x loop %x", m.Igniter, l.Kind, l.Gauge,
		math.Float64bits(l.AreaM2), math.Float64bits(l.LengthM), math.Float64bits(l.LoopOhm))
}

// Circuit is the firing circuit, one igniter a motor in the sheet's order.
func (s *Sheet) Circuit() *circuit.Problem {
	p := s.Firing
	p.StaggerLimitS, p.AllLightProbabilityLeast = s.Limits.StaggerS, s.Limits.AllLightProbability
	for _, m := range s.Motors {
		igniter := s.Igniters[m.Igniter]
		igniter.BranchLead = m.BranchLead
		p.Igniters = append(p.Igniters, igniter)
	}
	return &p
}

// Channels are the box's channels of the motors, in the sheet's order.
func (s *Sheet) Channels() []int {
	out := make([]int, len(s.Motors))
	for i, m := range s.Motors {
		out[i] = m.Channel
	}
	return out
}

// Installed is the summed total impulse of all motors in newton seconds.
func (s *Sheet) Installed() float64 {
	sum := 0.0
	for _, m := range s.Motors {
		sum += m.Curve.TotalImpulseNs()
	}
	return sum
}
