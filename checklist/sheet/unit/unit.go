// Package unit reads quantities written with a unit, such as "2.1 lb", into SI
// values, and writes SI values back for people in metric or US customary
// units.
//
// Inside the program every value is in SI; this package is the edge at which
// units are converted. It knows the units of a run sheet and no others, each
// by one ASCII spelling. A value of one dimension is never accepted for
// another, and a bare number is never given a unit.
//
// Parse and ParseAs return a [*Error] for text that is not such a quantity;
// no function returns NaN or an infinity.
package unit

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
)

// Dimension is what a quantity measures.
type Dimension int

// The dimensions of a run sheet. The zero value is none of them. The SI unit
// of its values stands beside each.
const (
	Unknown      Dimension = iota
	Ratio                  // 1; written as a percentage
	Length                 // m
	Mass                   // kg
	Force                  // N
	Impulse                // N s
	Speed                  // m/s
	Pressure               // Pa
	Temperature            // K
	Time                   // s
	Current                // A
	Voltage                // V
	Resistance             // ohm
	Area                   // m2
	Stiffness              // N/m
	Damping                // N s/m
	Angle                  // rad
	Power                  // W
	Frequency              // Hz
	Acceleration           // m/s2
)

// dimensionNames are the name with its article and one example of each.
var dimensionNames = [...]struct{ name, example string }{
	Unknown:      {"no dimension", ""},
	Ratio:        {"a percentage", "2 %"},
	Length:       {"a length", "0.62 m"},
	Mass:         {"a mass", "1.42 kg"},
	Force:        {"a force", "400 N"},
	Impulse:      {"an impulse", "9.1 N*s"},
	Speed:        {"a speed", "2 m/s"},
	Pressure:     {"a pressure", "978 hPa"},
	Temperature:  {"a temperature", "18 degC"},
	Time:         {"a time", "0.5 s"},
	Current:      {"a current", "0.6 A"},
	Voltage:      {"a voltage", "12.4 V"},
	Resistance:   {"a resistance", "0.8 ohm"},
	Area:         {"an area", "0.012 m2"},
	Stiffness:    {"a stiffness", "900 N/m"},
	Damping:      {"a damping", "40 N*s/m"},
	Angle:        {"an angle", "2 deg"},
	Power:        {"a power", "0.1 W"},
	Frequency:    {"a frequency", "2.4 GHz"},
	Acceleration: {"an acceleration", "25 g0"},
}

// String is the dimension's name with its article: "a mass".
func (d Dimension) String() string {
	if d < 0 || int(d) >= len(dimensionNames) {
		return fmt.Sprintf("Dimension(%d)", int(d))
	}
	return dimensionNames[d].name
}

// Example is a quantity of that dimension as one would write it, unquoted;
// empty for a dimension that is none.
func (d Dimension) Example() string {
	if d < 0 || int(d) >= len(dimensionNames) {
		return ""
	}
	return dimensionNames[d].example
}

// Unit is one unit. A value of n units is n*mul/div + offset in SI. The
// factor is kept as a quotient because most are exact that way in decimals:
// 45 mm is 45/1000, which rounds once, and not 45*0.001, which rounds twice.
type Unit struct {
	Name      string
	Dimension Dimension

	mul, div, offset float64
}

// Exact factors of the customary units, by the international yard and pound
// agreement of 1959, and the standard acceleration of gravity.
//
// Source: NIST Special Publication 811 (2008), appendix B.8.
const (
	inchM    = 0.0254
	poundKg  = 0.45359237
	gravity  = 9.80665 // m/s2
	poundN   = poundKg * gravity
	mileM    = 1609.344
	nautical = 1852.0 // m
	inHgPa   = 3386.389
)

// units is every unit that is read, in the order in which they are named to
// people.
var units = []Unit{
	{"%", Ratio, 1, 100, 0},
	{"m", Length, 1, 1, 0},
	{"cm", Length, 1, 100, 0},
	{"mm", Length, 1, 1000, 0},
	{"km", Length, 1000, 1, 0},
	{"ft", Length, 12 * inchM, 1, 0},
	{"in", Length, inchM, 1, 0},
	{"yd", Length, 36 * inchM, 1, 0},
	{"mi", Length, mileM, 1, 0},
	{"kg", Mass, 1, 1, 0},
	{"g", Mass, 1, 1000, 0},
	{"lb", Mass, poundKg, 1, 0},
	{"oz", Mass, poundKg, 16, 0},
	{"N", Force, 1, 1, 0},
	{"lbf", Force, poundN, 1, 0},
	{"N*s", Impulse, 1, 1, 0},
	{"lbf*s", Impulse, poundN, 1, 0},
	{"m/s", Speed, 1, 1, 0},
	{"km/h", Speed, 10, 36, 0},
	{"mph", Speed, mileM, 3600, 0},
	{"ft/s", Speed, 12 * inchM, 1, 0},
	{"kn", Speed, nautical, 3600, 0},
	{"Pa", Pressure, 1, 1, 0},
	{"hPa", Pressure, 100, 1, 0},
	{"kPa", Pressure, 1000, 1, 0},
	{"inHg", Pressure, inHgPa, 1, 0},
	{"psi", Pressure, poundN, inchM * inchM, 0},
	{"degC", Temperature, 1, 1, 273.15},
	{"degF", Temperature, 5, 9, 273.15 - 32*5.0/9},
	{"K", Temperature, 1, 1, 0},
	{"s", Time, 1, 1, 0},
	{"ms", Time, 1, 1000, 0},
	{"min", Time, 60, 1, 0},
	{"A", Current, 1, 1, 0},
	{"mA", Current, 1, 1000, 0},
	{"V", Voltage, 1, 1, 0},
	{"mV", Voltage, 1, 1000, 0},
	{"ohm", Resistance, 1, 1, 0},
	{"mohm", Resistance, 1, 1000, 0},
	{"m2", Area, 1, 1, 0},
	{"cm2", Area, 1, 1e4, 0},
	{"mm2", Area, 1, 1e6, 0},
	{"ft2", Area, 144 * inchM * inchM, 1, 0},
	{"in2", Area, inchM * inchM, 1, 0},
	{"N/m", Stiffness, 1, 1, 0},
	{"lbf/in", Stiffness, poundN, inchM, 0},
	{"N*s/m", Damping, 1, 1, 0},
	{"deg", Angle, math.Pi, 180, 0},
	{"W", Power, 1, 1, 0},
	{"mW", Power, 1, 1000, 0},
	{"Hz", Frequency, 1, 1, 0},
	{"kHz", Frequency, 1e3, 1, 0},
	{"MHz", Frequency, 1e6, 1, 0},
	{"GHz", Frequency, 1e9, 1, 0},
	{"m/s2", Acceleration, 1, 1, 0},
	{"g0", Acceleration, gravity, 1, 0},
}

var byName = func() map[string]*Unit {
	m := make(map[string]*Unit, len(units))
	for i := range units {
		m[units[i].Name] = &units[i]
	}
	return m
}()

// Units is every unit of a dimension, in the order in which they are named to
// people, or every unit of all for Unknown. The caller owns the slice.
func Units(d Dimension) []Unit {
	var out []Unit
	for _, u := range units {
		if d == Unknown || u.Dimension == d {
			out = append(out, u)
		}
	}
	return out
}

// Lookup finds a unit by its exact spelling.
func Lookup(name string) (Unit, bool) {
	u, ok := byName[name]
	if !ok {
		return Unit{}, false
	}
	return *u, true
}

// SI converts n of the unit to SI.
func (u Unit) SI(n float64) float64 { return n*u.mul/u.div + u.offset }

// Of converts an SI value to the unit.
func (u Unit) Of(si float64) float64 { return (si - u.offset) * u.div / u.mul }

// Quantity is a value in SI with its dimension and the unit it was written in.
type Quantity struct {
	SI   float64
	Unit Unit
}

// Error says why text is not the quantity wanted. Found and Expected are
// phrases without a full stop.
type Error struct {
	Found, Expected string
}

func (e *Error) Error() string {
	return "unit: found " + e.Found + ", expected " + e.Expected
}

// Parse reads a quantity: a number with an optional sign and exponent, spaces
// or none, and a unit. The error is a *Error.
func Parse(text string) (Quantity, error) {
	return parse(text, "a number and a unit, such as \"1.42 kg\"")
}

// ParseAs reads a quantity of one dimension. Its value is in that dimension's
// SI unit. The error is a *Error that says what was found and what was
// expected.
func ParseAs(text string, d Dimension) (float64, error) {
	want := Expected(d)
	q, err := parse(text, want)
	if err != nil {
		return 0, err
	}
	if q.Unit.Dimension != d {
		return 0, &Error{fmt.Sprintf("%s, %s", quote(text), q.Unit.Dimension), want}
	}
	return q.SI, nil
}

// Expected says in words how a quantity of a dimension is written.
func Expected(d Dimension) string {
	var names []string
	for _, u := range Units(d) {
		names = append(names, u.Name)
	}
	if len(names) == 1 {
		return fmt.Sprintf("%s, such as %q", d, d.Example())
	}
	return fmt.Sprintf("%s, such as %q (units: %s)", d, d.Example(), strings.Join(names, " "))
}

func parse(text, want string) (Quantity, error) {
	s := strings.Trim(text, " ")
	digits := number.FindString(s)
	if digits == "" {
		return Quantity{}, &Error{quote(text) + ", which does not begin with a number", want}
	}
	value, err := strconv.ParseFloat(digits, 64)
	if err != nil || math.IsInf(value, 0) {
		return Quantity{}, &Error{quote(text) + ", a number too large", want}
	}
	name := strings.TrimLeft(s[len(digits):], " ")
	switch {
	case name == "":
		return Quantity{}, &Error{quote(text) + ", without a unit", want}
	case name[0] == ',':
		return Quantity{}, &Error{quote(text) + ", with a comma", want + "; decimals take a point"}
	}
	u, ok := Lookup(name)
	if !ok {
		found := fmt.Sprintf("%s, with the unknown unit %s", quote(text), quote(name))
		if near := nearest(name); near != "" {
			want += fmt.Sprintf("; %q is meant?", near)
		}
		return Quantity{}, &Error{found, want}
	}
	si := u.SI(value)
	if math.IsInf(si, 0) {
		return Quantity{}, &Error{quote(text) + ", a number too large", want}
	}
	return Quantity{SI: si, Unit: u}, nil
}

// number is the decimal number at the start of a quantity. An e that no digits
// follow is not an exponent.
var number = regexp.MustCompile(`^[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?`)

// respelled are spellings that people use for units of the table.
var respelled = map[string]string{
	"\u03a9": "ohm", "\u2126": "ohm", "R": "ohm", "m\u03a9": "mohm", "m\u2126": "mohm", "°C": "degC", "°F": "degF", "C": "degC", "F": "degF",
	"°": "deg", "m²": "m2", "cm²": "cm2", "mm²": "mm2", "m^2": "m2", "m/s²": "m/s2", "m/s^2": "m/s2",
	"Ns": "N*s", "N·s": "N*s", "N s": "N*s", "kph": "km/h", "kmh": "km/h", "knots": "kn", "kt": "kn",
	"sec": "s", "second": "s", "seconds": "s", "minute": "min", "minutes": "min", "metre": "m",
	"meter": "m", "metres": "m", "meters": "m", "feet": "ft", "foot": "ft", "inch": "in", "inches": "in",
	"gram": "g", "grams": "g", "lbs": "lb", "pound": "lb", "pounds": "lb", "ounce": "oz", "ounces": "oz",
	"mbar": "hPa", "mb": "hPa", "percent": "%", "\"": "in", "'": "ft", "G": "g0", "sqft": "ft2", "sqin": "in2",
	"amp": "A", "amps": "A", "volt": "V", "volts": "V", "degrees": "deg", "ohms": "ohm",
}

// nearest is the unit most likely meant by an unknown name, empty when none
// is near.
func nearest(name string) string {
	if u, ok := respelled[name]; ok {
		return u
	}
	for _, u := range units {
		if strings.EqualFold(u.Name, name) {
			return u.Name
		}
	}
	return ""
}

// quote quotes outside text, cut to a length that fits a message.
func quote(s string) string {
	const most = 40
	if r := []rune(s); len(r) > most {
		return strconv.Quote(string(r[:most])) + "…"
	}
	return strconv.Quote(s)
}
