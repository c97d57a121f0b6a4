package unit

import (
	"math"
	"strconv"
)

// System is the set of units in which values are shown to people.
type System int

// The systems. The zero value is metric.
const (
	Metric System = iota
	US            // US customary
)

// step is one unit of a ladder and the least absolute SI value it is used for.
type step struct {
	name  string
	least float64
}

// ladders name, for each dimension and system, the units to show a value in,
// largest first. The last one is used for all that is smaller and for 0. nil
// for US customary is the metric one.
var ladders = map[Dimension][2][]step{
	Ratio:        {{{"%", 0}}, nil},
	Length:       {{{"km", 10e3}, {"m", 1}, {"mm", 0}}, {{"mi", 10 * mileM}, {"ft", 12 * inchM}, {"in", 0}}},
	Mass:         {{{"kg", 1}, {"g", 0}}, {{"lb", poundKg}, {"oz", 0}}},
	Force:        {{{"N", 0}}, {{"lbf", 0}}},
	Impulse:      {{{"N*s", 0}}, {{"lbf*s", 0}}},
	Speed:        {{{"m/s", 0}}, {{"mph", 0}}},
	Pressure:     {{{"hPa", 0}}, {{"inHg", 0}}},
	Temperature:  {{{"degC", 0}}, {{"degF", 0}}},
	Time:         {{{"min", 120}, {"s", 1}, {"ms", 0}}, nil},
	Current:      {{{"A", 0.1}, {"mA", 0}}, nil},
	Voltage:      {{{"V", 0.1}, {"mV", 0}}, nil},
	Resistance:   {{{"ohm", 0.1}, {"mohm", 0}}, nil},
	Area:         {{{"m2", 0.1}, {"cm2", 1e-4}, {"mm2", 0}}, {{"ft2", 144 * inchM * inchM}, {"in2", 0}}},
	Stiffness:    {{{"N/m", 0}}, {{"lbf/in", 0}}},
	Damping:      {{{"N*s/m", 0}}, nil},
	Angle:        {{{"deg", 0}}, nil},
	Power:        {{{"W", 0.1}, {"mW", 0}}, nil},
	Frequency:    {{{"GHz", 1e9}, {"MHz", 1e6}, {"kHz", 1e3}, {"Hz", 0}}, nil},
	Acceleration: {{{"g0", 2 * gravity}, {"m/s2", 0}}, {{"g0", 0}}},
}

// Preferred is the unit in which a system shows an SI value of that size, so
// that a table can keep one unit for a column. The zero Unit for a dimension
// that is none.
func Preferred(si float64, d Dimension, sys System) Unit {
	pair, ok := ladders[d]
	if !ok {
		return Unit{}
	}
	ladder := pair[0]
	if sys == US && pair[1] != nil {
		ladder = pair[1]
	}
	for _, s := range ladder {
		if math.Abs(si) >= s.least && (si != 0 || s.least == 0) {
			return *byName[s.name]
		}
	}
	return *byName[ladder[len(ladder)-1].name]
}

// Format writes an SI value for people with four significant digits and a unit
// of the system that fits its size, in the spelling that Parse reads: "1.42 kg",
// "3.131 lb". A value that is NaN or infinite is "no value".
func Format(si float64, d Dimension, sys System) string {
	if si == 0 {
		// Nothing is gained by calling zero metres millimetres.
		return FormatIn(si, Preferred(1, d, sys), 4)
	}
	return FormatIn(si, Preferred(si, d, sys), 4)
}

// FormatIn writes an SI value in one unit with so many significant digits,
// without trailing zeros and never with an exponent. A value that is NaN or
// infinite is "no value".
func FormatIn(si float64, u Unit, significant int) string {
	v := u.Of(si)
	if math.IsNaN(v) || math.IsInf(v, 0) || u.Name == "" {
		return "no value"
	}
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', significant, 64), 64)
	if err != nil {
		return "no value"
	}
	if rounded == 0 {
		rounded = 0 // never "-0"
	}
	return strconv.FormatFloat(rounded, 'f', -1, 64) + " " + u.Name
}

// customary are the units that people who read US units know as they stand.
var customary = map[string]bool{"ft": true, "in": true, "yd": true, "mi": true, "lb": true, "oz": true, "lbf": true, "lbf*s": true, "mph": true,
	"ft/s": true, "kn": true, "inHg": true, "psi": true, "degF": true, "ft2": true, "in2": true, "lbf/in": true, "g0": true}

// In is the text of a quantity in a system of units: as it is written where
// its readers know the unit, else converted. Text that is no quantity stays.
func In(text string, sys System) string {
	q, err := Parse(text)
	if err != nil || sys != US || customary[q.Unit.Name] {
		return text
	}
	if ladders[q.Unit.Dimension][1] == nil {
		return text
	}
	return Format(q.SI, q.Unit.Dimension, sys)
}
