package circuit

// This file has what the firing circuit depends on: plain values in SI
// units, built from a run sheet by checklist/sheet. Nothing here computes.

// Problem is one firing circuit: a battery, one pair of firing leads, and
// igniters in parallel, each on its own branch lead.
type Problem struct {
	Battery          Battery
	Lead             Lead
	LeadTemperatureC float64 // of the firing lead and the branch leads
	SwitchOhm        float64 // whole loop, once
	ContactOhm       float64 // whole loop, once
	PulseS           float64
	Margin           float64 // worst-case current over the all-fire current, at least 1.5
	TestCurrentA     float64
	MeterErrorOhm    float64 // a bound: three standard deviations
	Nulled           bool    // meter nulled with the vehicle end shorted

	StaggerLimitS            float64 // limit of the 95th percentile of the stagger
	AllLightProbabilityLeast float64 // limit of the lower bound, 0 to 1

	Igniters []Igniter // one per motor, in the sheet's order
}

// Battery is the firing battery.
type Battery struct {
	VoltageV           float64 // open circuit
	InternalOhm        float64
	HighestInternalOhm float64
	HighestCurrentA    float64 // 0 when not given
}

// LeadKind says how a lead's resistance is known.
type LeadKind int

// The zero value is no lead at all, of resistance 0.
const (
	LeadNone LeadKind = iota
	LeadGauge
	LeadArea
	LeadMeasured
)

// Lead is a pair of copper conductors, or its measured loop resistance.
type Lead struct {
	Kind    LeadKind
	Gauge   int     // AWG, 0 to 40
	AreaM2  float64 // of one conductor
	LengthM float64 // one way
	LoopOhm float64 // measured, out and back
}

// Igniter is one bridge with its motor's pressurisation delay.
type Igniter struct {
	Kind             string // the sheet's name of it
	ResistanceOhm    float64
	Tolerance        float64 // three standard deviations, share of the resistance
	NoFireA          float64
	AllFireA         float64
	Source           string // where the two currents come from
	TimeConstantS    float64
	PressureMeanS    float64 // pressurisation delay
	PressureSpreadS  float64 // its standard deviation
	ShortProbability float64
	ShortOhm         float64
	BranchLead       Lead
}
