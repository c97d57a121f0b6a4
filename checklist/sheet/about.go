package sheet

import (
	"strings"

	"holdline/checklist"
	"holdline/checklist/sheet/unit"
	"holdline/sim"
)

// Sort is what kind of value a key takes.
type Sort int

// The sorts. The zero value is any text.
const (
	AnyText    Sort = iota
	Measure         // a number with a unit of the key's dimension
	Share           // a bare number or a percentage
	Rise            // a rise over run: a number, a percentage or an angle
	WholeCount      // a whole number
	YesNo           // true or false
	OneWord         // one of the key's words
	CurveName       // a curve file, or builtin: and a name
	KindName        // the name of a table [igniter.NAME]
	PostName        // one of crew.spotters
)

// About says what one key of a sheet is, for a form and for help.
type About struct {
	Table     string // "site", "motor", "firing.battery"; empty for the top of a sheet
	Name      string
	Label     string // a few words
	What      string // a sentence or two
	Sort      Sort
	Dimension unit.Dimension // of a Measure
	Words     []string       // of a OneWord
	Needed    bool
	Otherwise string // its value when it is left out, as one would write it; empty for nothing
	Kind      string // of a stop: the kinds that have it, empty for all
	Former    bool   // read from older sheets, and offered to nobody
}

// Forms says in words how a value is written.
func (a *About) Forms() string {
	switch a.Sort {
	case Measure:
		return unit.Expected(a.Dimension)
	case Share:
		return `a number, such as 0.45, or a percentage, such as "2 %"`
	case Rise:
		return `a rise over run, such as 0.002 or "0.2 %", or an angle, such as "0.5 deg"`
	case WholeCount:
		return "a whole number"
	case YesNo:
		return "true or false"
	case OneWord:
		return "one of " + strings.Join(a.Words, ", ")
	case CurveName:
		return `a curve file relative to the sheet, such as "curves/c.csv", or builtin: and a name`
	case KindName:
		return "the name of a table [igniter.NAME]"
	case PostName:
		return "one of the spotters' posts"
	}
	return "any text"
}

// Choices is every value that the key takes, for a key that takes one of few;
// nil for others. A form offers them.
func (a *About) Choices() []string {
	switch a.Sort {
	case OneWord:
		return a.Words
	case YesNo:
		return []string{"true", "false"}
	case CurveName:
		var out []string
		for _, name := range sim.BuiltinNames() {
			out = append(out, builtinPrefix+name)
		}
		return out
	}
	return nil
}

// Every key of a sheet, in the order in which a form shows them. A test
// compares it with what Parse reads.
var abouts = func() []About {
	var out []About
	for _, group := range [][]About{aboutTop, aboutSite, aboutVehicle, aboutGuide, aboutMotor, aboutIgniter, aboutFiring, aboutStop,
		aboutLimits, aboutSpread, aboutRest, aboutTimes} {
		out = append(out, group...)
	}
	return out
}()

func needed(table, name, label string, d unit.Dimension, what string) About {
	return About{Table: table, Name: name, Label: label, What: what, Sort: Measure, Dimension: d, Needed: true}
}

func optional(table, name, label string, d unit.Dimension, otherwise, what string) About {
	return About{Table: table, Name: name, Label: label, What: what, Sort: Measure, Dimension: d, Otherwise: otherwise}
}

func share(table, name, label, what string) About {
	return About{Table: table, Name: name, Label: label, What: what, Sort: Share, Needed: true}
}

func shareOr(table, name, label, otherwise, what string) About {
	return About{Table: table, Name: name, Label: label, What: what, Sort: Share, Otherwise: otherwise}
}

func words(table, name, label, what string) About {
	return About{Table: table, Name: name, Label: label, What: what, Needed: true}
}

var aboutTop = []About{words("", "title", "title", "What this firing is called, on screen and in the record.")}

var aboutSite = []About{
	optional("site", "elevation", "elevation", unit.Length, "", "Above sea level. Needed unless the pressure is given."),
	optional("site", "pressure", "station pressure", unit.Pressure, "", "As read at the place, not reduced to sea level. Needed unless the elevation is given."),
	optional("site", "temperature", "temperature", unit.Temperature, "", "Of the air. Left out: the standard atmosphere's."),
	shareOr("site", "humidity", "humidity", "", "Relative. Left out: dry air."),
	optional("site", "headwind", "headwind", unit.Speed, "0 m/s", "Along the strip, against the vehicle; negative from behind."),
	optional("site", "wind_range", "wind range", unit.Speed, "0 m/s", "How far the wind may differ from the headwind. The strongest tailwind in it is one of the what-if cases."),
	{Table: "site", Name: "slope", Label: "slope", What: "Uphill positive.", Sort: Rise, Otherwise: "0 %"},
	needed("site", "clear_length", "cleared length", unit.Length, "From the start line to the end of the cleared strip. Every what-if run must stop inside it, with the stop margin left."),
	needed("site", "clear_half_width", "clear half width", unit.Length, "Cleared to each side of the path."),
	needed("site", "crew_distance", "crew distance", unit.Length, "The nearest person to the vehicle or its path."),
}

var aboutVehicle = []About{
	{Table: "vehicle", Name: "mark", Label: "mark", What: "What is written on the vehicle; asked for at the start line."},
	needed("vehicle", "mass", "mass", unit.Mass, "Ready to run, motors loaded. Weigh it."),
	optional("vehicle", "rotating_mass", "rotating mass", unit.Mass, "0 g", "The wheels' moment of inertia over their radius squared."),
	needed("vehicle", "frontal_area", "frontal area", unit.Area, "As seen from the front."),
	share("vehicle", "drag_coefficient", "drag coefficient", "On the frontal area."),
	shareOr("vehicle", "lift_coefficient", "lift coefficient", "0", "On the frontal area, up positive."),
	share("vehicle", "rolling_resistance", "rolling resistance", "Pull it on the flat with a spring scale: force over weight."),
	share("vehicle", "tyre_friction", "tyre friction", "Grip of the tyres sideways."),
	needed("vehicle", "wheelbase", "wheelbase", unit.Length, "From the front axle to the rear axle."),
	needed("vehicle", "cg_behind_front_axle", "CG behind front axle", unit.Length, "Of the centre of gravity, motors loaded."),
	needed("vehicle", "cg_height", "CG height", unit.Length, "Above the ground, as every height here."),
	needed("vehicle", "drag_height", "drag height", unit.Length, "Where the drag acts, above the ground."),
	optional("vehicle", "lift_behind_front_axle", "lift behind axle", unit.Length, "", "Where the lift acts. Left out: half the wheelbase."),
}

var aboutGuide = []About{
	{Table: "guide", Name: "kind", Label: "kind of guide", What: "What guides the vehicle.", Sort: OneWord, Words: []string{"wire", "rail"}, Needed: true},
	needed("guide", "drag", "guide drag", unit.Force, "Steady pull of the guide."),
	share("guide", "friction", "bearing friction", "Of the guide's bearings under side load."),
	needed("guide", "bearing_spacing", "bearing spacing", unit.Length, "Between the front and the rear bearing."),
	needed("guide", "height", "guide height", unit.Length, "Above the ground."),
	needed("guide", "rating", "bearing rating", unit.Force, "Side load that one bearing may carry."),
}

var aboutMotor = append([]About{
	{Table: "motor", Name: "curve", Label: "thrust curve", Sort: CurveName, Needed: true,
		What: "A real firing takes the curve from the motor's certification sheet. Built-in curves are invented and no maker's motor."},
	needed("motor", "propellant", "propellant", unit.Mass, "By the motor's certification sheet."),
	needed("motor", "lateral", "lateral place", unit.Length, "To the right of the middle, seen from behind; negative to the left."),
	needed("motor", "height", "thrust height", unit.Length, "Of the thrust line at the centre of gravity, above the ground."),
	optional("motor", "angle", "thrust angle", unit.Angle, "0 deg", "Positive pushes up."),
	optional("motor", "nozzle_behind_front_axle", "nozzle behind axle", unit.Length, "", "Behind the front axle. Left out: the wheelbase."),
	{Table: "motor", Name: "igniter", Label: "kind of igniter", What: "The name of one of the tables of igniters.", Sort: KindName, Needed: true},
	{Table: "motor", Name: "channel", Label: "box channel", Sort: WholeCount,
		What: "Of the ground box, 1 to 16, another for each motor. Left out: the motor's place in the sheet."},
}, aboutLead("motor.branch_lead", "branch", "From the firing lead to this igniter. Left out altogether: none.")...)

// aboutLead is a lead, which is known in one of three ways.
func aboutLead(table, whose, what string) []About {
	return []About{
		{Table: table, Name: "gauge", Label: whose + " lead gauge", Sort: WholeCount, What: what + " Known by one of gauge, area and resistance."},
		optional(table, "area", whose+" lead area", unit.Area, "", what+" Of one conductor. Known by one of gauge, area and resistance."),
		optional(table, "resistance", whose+" lead loop", unit.Resistance, "", what+" The measured loop, out and back. Known by one of gauge, area and resistance."),
		optional(table, "length", whose+" lead length", unit.Length, "", what+" One way. It goes with a gauge or an area."),
	}
}

var aboutIgniter = []About{
	needed("igniter", "resistance", "bridge resistance", unit.Resistance, "Of the bridge wire, from the maker's data sheet."),
	share("igniter", "tolerance", "tolerance", "Three standard deviations of the resistance."),
	needed("igniter", "no_fire", "no-fire current", unit.Current, "Steady current at which one in a thousand fires."),
	needed("igniter", "all_fire", "all-fire current", unit.Current, "Steady current at which one in a thousand does not fire."),
	words("igniter", "source", "source", "Where the two currents come from. Never a guess."),
	needed("igniter", "time_constant", "time constant", unit.Time, "Of the bridge's heating."),
	needed("igniter.pressurisation", "mean", "pressurisation", unit.Time, "From the bridge's firing to thrust."),
	needed("igniter.pressurisation", "deviation", "its deviation", unit.Time, "One standard deviation of the pressurisation."),
	shareOr("igniter", "short_probability", "short probability", "0", "That a bridge stays shorted once it has fired."),
	optional("igniter", "short_resistance", "shorted resistance", unit.Resistance, "", "Of a shorted bridge. Needed with a short probability."),
}

var aboutFiring = append(append([]About{
	needed("firing.battery", "voltage", "battery voltage", unit.Voltage, "Open-circuit."),
	needed("firing.battery", "internal_resistance", "internal resistance", unit.Resistance, "Of the battery, as it usually is."),
	needed("firing.battery", "highest_internal_resistance", "highest internal", unit.Resistance, "Of the battery at its worst: cold, old, half empty."),
	optional("firing.battery", "highest_current", "highest current", unit.Current, "", "That the battery may give, by its maker. Left out: not looked at."),
}, aboutLead("firing.lead", "firing", "From the battery to the vehicle.")...),
	optional("firing", "lead_temperature", "lead temperature", unit.Temperature, "20 degC", "Of the leads: warm copper resists more."),
	needed("firing", "switch_resistance", "switch resistance", unit.Resistance, "Key, permit and button together."),
	needed("firing", "contact_resistance", "contact resistance", unit.Resistance, "Clips and plugs together."),
	needed("firing", "pulse", "pulse", unit.Time, "How long the button is kept pressed."),
	share("firing", "margin", "current margin", "Worst-case current over the all-fire current; 1.5 at least."),
	needed("firing", "test_current", "test current", unit.Current, "What the continuity meter puts through a bridge. Measure it."),
	optional("firing", "meter_error", "meter error", unit.Resistance, "0 ohm", "A bound."),
	About{Table: "firing", Name: "nulled", Label: "meter nulled", What: "True when the meter is nulled with the vehicle's end of the lead shorted.", Sort: YesNo, Otherwise: "false"},
)

const (
	triggered = "wheel-brake chute"
	lying     = "weighted-line elastic-line arrest-bed"
	lines     = "weighted-line elastic-line"
)

var aboutStop = []About{
	words("stop", "name", "name", "What the crew calls the device."),
	{Table: "stop", Name: "kind", Label: "kind", What: "Which keys belong to the device follows from it.", Sort: OneWord, Words: stopWords(), Needed: true},
	ofKind(triggered, optional("stop", "after", "acts after", unit.Time, "", "How long after the first motor lights. Either this or a place.")),
	ofKind(triggered, optional("stop", "at", "acts at", unit.Length, "", "A place on the strip. Either this or a time.")),
	ofKind(lying, needed("stop", "at", "lies at", unit.Length, "From the start line.")),
	ofKind(triggered, optional("stop", "delay", "delay", unit.Time, "0 s", "From the trigger to the first effect: servo travel, a charge.")),
	ofKind("chute", needed("stop", "area", "drag area", unit.Area, "Drag coefficient times area of the open chute.")),
	ofKind("chute", needed("stop", "fill_time", "fill time", unit.Time, "Until it is open.")),
	ofKind("wheel-brake", share("stop", "friction", "brake friction", "Of the braked wheels on the ground.")),
	ofKind("wheel-brake", share("stop", "braked_share", "braked share", "Of the weight that stands on braked wheels.")),
	ofKind("arrest-bed", needed("stop", "length", "length", unit.Length, "Of the bed.")),
	ofKind("arrest-bed", share("stop", "friction", "bed friction", "Retarding force over weight in the bed.")),
	ofKind("weighted-line", needed("stop", "mass", "mass", unit.Mass, "That the line drags along.")),
	ofKind("weighted-line", share("stop", "ground_friction", "ground friction", "Of that mass on the ground.")),
	ofKind("elastic-line", needed("stop", "slack", "slack", unit.Length, "Before the line pulls.")),
	ofKind(lines, needed("stop", "stiffness", "stiffness", unit.Stiffness, "Of the line.")),
	ofKind("elastic-line", needed("stop", "damping", "damping", unit.Damping, "Of the line.")),
	ofKind(lines, needed("stop", "hook_height", "hook height", unit.Length, "Above the ground.")),
	ofKind(lines, needed("stop", "rating", "line rating", unit.Force, "Tension that the line may carry.")),
}

func ofKind(kind string, a About) About {
	a.Kind = kind
	return a
}

func stopWords() []string {
	var out []string
	for _, k := range stopKinds {
		out = append(out, k.word)
	}
	return out
}

var aboutLimits = []About{
	optional("limits", "stop_margin", "stop margin", unit.Length, "20 m", "Left over inside the cleared length, any single fault included."),
	shareOr("limits", "thrust_to_weight", "thrust to weight", "10", "At most."),
	shareOr("limits", "front_load", "front load", "20 %", "Least share of the front wheels' standing load."),
	shareOr("limits", "yaw_margin", "yaw margin", "1.5", "Free running: grip over what the thrust's offset needs, at least."),
	optional("limits", "stagger", "stagger", unit.Time, "60 ms", "First motor to last, at most, in 95 of 100 firings."),
	optional("limits", "deceleration", "deceleration", unit.Acceleration, "25 g0", "At most."),
	shareOr("limits", "overrun_probability", "overrun probability", "0.1 %", "At most."),
	shareOr("limits", "all_light_probability", "all light", "99 %", "Probability that every motor lights, at least."),
}

var aboutSpread = []About{
	shareOr("uncertainty", "thrust_lot", "thrust of the lot", "0 %", "This lot of motors against the curve, one standard deviation."),
	shareOr("uncertainty", "thrust_motor", "thrust of a motor", "0 %", "One motor against its lot, one standard deviation."),
	shareOr("uncertainty", "drag", "drag", "0 %", "One standard deviation."),
	shareOr("uncertainty", "rolling", "rolling resistance", "0 %", "One standard deviation."),
	shareOr("uncertainty", "mass", "mass", "0 %", "One standard deviation."),
	optional("uncertainty", "wind", "wind", unit.Speed, "0 m/s", "One standard deviation."),
	optional("uncertainty", "stop_delay", "delay of a device", unit.Time, "0 s", "One standard deviation."),
	shareOr("uncertainty", "motor_silent", "motor silent", "0 %", "Probability for each motor, for causes outside the circuit."),
	shareOr("uncertainty", "stop_fails", "device fails", "0 %", "Probability for each stopping device."),
}

var aboutRest = []About{
	needed("late_light", "delay", "late by", unit.Time, "How late a late motor is in the what-if cases."),
	{Table: "crew", Name: "spotters", Label: "post", What: "A spotter's post, by name.", Needed: true},
	{Table: "post", Name: "name", Label: "post", What: "Where the spotter stands.", Sort: PostName, Needed: true},
	needed("post", "distance", "distance", unit.Length, "Least distance to the path and to every predicted rest; no nearer than the crew distance."),
	words("radio", "name", "name", "What the crew calls the transmitter."),
	needed("radio", "power", "power", unit.Power, "That it sends."),
	needed("radio", "frequency", "frequency", unit.Frequency, "That it sends on."),
	needed("radio", "distance", "distance", unit.Length, "From the vehicle; checked against a table of least distances."),
	{Table: "step", Name: "phase", Label: "phase", What: "Where in the routine the step stands.", Sort: OneWord, Words: stepWords(), Needed: true},
	words("step", "text", "text", "The step as it is read out."),
	{Table: "step", Name: "role", Label: "who answers", What: "Who answers it.", Sort: OneWord, Words: named(stepRoles), Needed: true},
	optional("step", "expires", "lasts", unit.Time, "", "How long the answer is good for. Left out: it does not age."),
	{Table: "step", Name: "optional", Label: "optional", What: "True when the crew may pass it over with a key; the record shows it then.", Sort: YesNo, Otherwise: "false"},
	{Table: "step", Name: "gate", Label: "gate", What: "Of sheets from before: every step stands in the way until it is answered, unless it is optional.", Sort: YesNo, Otherwise: "false", Former: true},
}

var aboutTimes = func() []About {
	b := checklist.Bounds().Default
	otherwise := func(t interface{ Seconds() float64 }) string { return unit.Format(t.Seconds(), unit.Time, unit.Metric) }
	return []About{
		optional("times", "range_clear", "range clear", unit.Time, otherwise(b.RangeClear), "How long the answer that the range is clear is good for."),
		optional("times", "spotter", "spotters", unit.Time, otherwise(b.Spotter), "How long a spotter's answer is good for."),
		optional("times", "typed", "readings", unit.Time, otherwise(b.Typed), "How long a reading by meter or typed is good for."),
		optional("times", "weather", "radios and storm", unit.Time, otherwise(b.Weather), "How long the answers about radios and storm are good for."),
		optional("times", "armed", "armed", unit.Time, otherwise(b.Armed), "The longest stay in ARMED."),
		optional("times", "count", "count", unit.Time, otherwise(b.Count), "How long the count is."),
		optional("times", "window", "window", unit.Time, otherwise(b.Window), "How long the window is open."),
		optional("times", "wait", "wait", unit.Time, otherwise(b.Wait), "Nobody goes forward before it is over."),
		needed("pause", "at", "at", unit.Time, "Before zero. The count stands there until the firing officer goes on."),
	}
}()
