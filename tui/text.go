package tui

import (
	"fmt"
	"math"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"holdline/arming"
	"holdline/checklist"
	"holdline/checklist/sheet/unit"
	"holdline/tui/limits"
)

// lower lets a sentence begin small.
func lower(text string) string {
	r, n := utf8.DecodeRuneInString(text)
	return string(unicode.ToLower(r)) + text[n:]
}

// short writes a length of time in few characters.
func short(d time.Duration) string {
	switch {
	case d < 0:
		return "0 s"
	case d < 100*time.Second:
		return fmt.Sprintf("%d s", int(d/time.Second))
	case d < 100*time.Minute:
		return fmt.Sprintf("%d min", int(d/time.Minute))
	}
	return fmt.Sprintf("%d h", int(d/time.Hour))
}

// volts writes a voltage as read.
func volts(v arming.Volt) string {
	if v.Level == arming.LevelUnknown {
		return "not read"
	}
	return fmt.Sprintf("%.2f V", float64(v.Millivolt)/1000)
}

// ohms writes a resistance as read.
func ohms(o arming.Ohm) string {
	switch o.Kind {
	case arming.OhmOpen:
		return "open"
	case arming.OhmValue:
		return fmt.Sprintf("%.2f Ω", float64(o.Milliohm)/1000)
	}
	return "not measured"
}

// button says how the two poles of the button read together.
func button(b *arming.Box) arming.Contact {
	switch {
	case b.Pole1 == arming.ContactOpen && b.Pole2 == arming.ContactOpen:
		return arming.ContactOpen
	case b.Pole1 == arming.ContactClosed || b.Pole2 == arming.ContactClosed:
		return arming.ContactClosed
	}
	return arming.ContactUnknown
}

// bandText writes the range that is accepted.
func bandText(b checklist.Band, sys unit.System) string {
	switch {
	case math.IsInf(b.High, 1):
		return "at least " + limits.Quantity(b.Low, b.Unit, sys)
	case math.IsInf(b.Low, -1):
		return "at most " + limits.Quantity(b.High, b.Unit, sys)
	}
	about := max(math.Abs(b.Low), math.Abs(b.High))
	low, _ := limits.In(b.Low, about, b.Unit, sys)
	high, in := limits.In(b.High, about, b.Unit, sys)
	text := limits.Figure(low) + " to " + limits.Figure(high)
	if in == "" {
		return text
	}
	return text + " " + in
}

// digits writes a value of the ground with n digits after the point: lengths in
// one unit whatever their size.
func digits(v float64, si string, sys unit.System, n int) string {
	v, in := limits.In(v, 1, si, sys)
	return fmt.Sprintf("%.*f %s", n, v, in)
}

// bar draws a share from 0 to 1 in n cells.
func bar(share float64, n int) string {
	full := int(math.Ceil(share*float64(n) - 1e-9))
	full = max(0, min(n, full))
	return strings.Repeat("▰", full) + strings.Repeat("▱", n-full)
}
