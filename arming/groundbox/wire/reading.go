package wire

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Kind says what a reading is worth.
type Kind uint8

// The zero value is no reading at all.
const (
	NotMeasured Kind = iota // 9.91E37 on the wire
	Measured
	Open // 9.9E37 on the wire: open circuit, or beyond the range
)

// String names the kind in the screen's words.
func (k Kind) String() string {
	switch k {
	case NotMeasured:
		return "not measured"
	case Measured:
		return "measured"
	case Open:
		return "open"
	}
	return "Kind(" + strconv.Itoa(int(k)) + ")"
}

// Levels of a node of the firing loop, V. Between them it is neither live nor
// dead, and nothing is measured.
const (
	LiveAboveV = 0.5
	DeadBelowV = 0.1
)

// The two numbers that stand for no number (SCPI-1999 volume 1, 7.2.1: 9.9E37
// is infinity, 9.91E37 is not a number).
const (
	openNumber        = 9.9e37
	notMeasuredNumber = 9.91e37
)

// Reading is one measured quantity, V or ohm. Value is 0 unless Kind is
// Measured. The zero value is not measured.
type Reading struct {
	Value float64
	Kind  Kind
}

// Of returns a measured reading; a value that is not finite is NotMeasured.
func Of(value float64) Reading {
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return Reading{}
	}
	return Reading{Value: value, Kind: Measured}
}

// Live reports a voltage that was measured and is above LiveAboveV, or beyond
// the range.
func (r Reading) Live() bool {
	return r.Kind == Open || r.Kind == Measured && math.Abs(r.Value) > LiveAboveV
}

// Dead reports a voltage that was measured and is below DeadBelowV.
func (r Reading) Dead() bool {
	return r.Kind == Measured && math.Abs(r.Value) < DeadBelowV
}

// String returns the value without a unit, or the kind's words.
func (r Reading) String() string {
	if r.Kind == Measured {
		return strconv.FormatFloat(r.Value, 'f', -1, 64)
	}
	return r.Kind.String()
}

// Text returns the reading as it goes over the wire.
func (r Reading) Text() string {
	switch r.Kind {
	case Measured:
		return strconv.FormatFloat(r.Value, 'G', -1, 64)
	case Open:
		return "9.9E37"
	}
	return "9.91E37"
}

// ParseReading reads one number of the box: decimal or exponent form, sign
// allowed, the decimal mark a point. 9.9E37 of either sign is Open, 9.91E37
// NotMeasured. Anything else above 1E30 is refused.
func ParseReading(text string) (Reading, error) {
	v, err := parseFloat(strings.TrimSpace(text))
	if err != nil {
		return Reading{}, err
	}
	a := math.Abs(v)
	switch {
	case near(a, notMeasuredNumber):
		return Reading{}, nil
	case near(a, openNumber):
		return Reading{Kind: Open}, nil
	case a > 1e30:
		return Reading{}, fmt.Errorf("wire: number %q is out of every range", clip(text))
	}
	return Of(v), nil
}

// near allows the digits that instruments add or leave out: the two special
// numbers lie a thousandth apart.
func near(a, b float64) bool { return math.Abs(a-b) < 1e-4*b }

// parseFloat is strconv.ParseFloat without its hexadecimal forms, underscores,
// infinities and NaN.
func parseFloat(text string) (float64, error) {
	if text == "" || len(text) > 40 {
		return 0, fmt.Errorf("wire: %q is not a number", clip(text))
	}
	for i := range len(text) {
		c := text[i]
		if (c < '0' || c > '9') && !strings.ContainsRune("+-.eE", rune(c)) {
			return 0, fmt.Errorf("wire: %q is not a number", clip(text))
		}
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, fmt.Errorf("wire: %q is not a number", clip(text))
	}
	return v, nil
}

// overloads are the spellings that instruments use instead of 9.9E37.
var overloads = map[string]bool{
	"OL": true, "O.L": true, "O.L.": true, "0L": true, "0.L": true, ".OL": true, "OVLD": true, "OVLOAD": true, "OVERLOAD": true,
	"OVER": true, "OFL": true, "OVERFLOW": true, "INF": true, "INFINITY": true, "OPEN": true,
}

// ParseMeterReading reads one number of a multimeter, which is less strict
// than a box: a decimal comma, a space between sign and number, the unit OHM,
// OHMS, Ω, V, VDC or V DC behind it, and the usual words for overload are taken
// as well. A unit with a prefix is refused, since M may be milli or mega.
func ParseMeterReading(text string) (Reading, error) {
	s := strings.ToUpper(strings.TrimSpace(text))
	for _, unit := range []string{"OHMS", "OHM", "Ω", "\u2126", "VDC", "V DC", "V"} {
		if cut, found := strings.CutSuffix(s, unit); found {
			s = strings.TrimSpace(cut)
			break
		}
	}
	sign := ""
	if s != "" && (s[0] == '+' || s[0] == '-') {
		sign, s = s[:1], strings.TrimSpace(s[1:])
	}
	if overloads[s] {
		return Reading{Kind: Open}, nil
	}
	if s == "NAN" {
		return Reading{}, nil
	}
	if strings.Count(s, ",") == 1 && !strings.Contains(s, ".") {
		s = strings.Replace(s, ",", ".", 1)
	}
	if s != "" && (s[0] == '+' || s[0] == '-') {
		return Reading{}, fmt.Errorf("wire: %q is not a number", clip(text))
	}
	return ParseReading(sign + s)
}

// clip keeps a quotation of outside text short.
func clip(s string) string {
	const most = 60
	if len(s) <= most {
		return s
	}
	return s[:most] + "…"
}
