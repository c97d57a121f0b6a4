package export

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"

	"holdline/checklist/sheet/unit"
)

// us gives the unit in which people in the United States read a unit.
var us = map[string]string{"m": "ft", "m/s": "mph", "kg": "lb", "N": "lbf"}

// in returns a value and its unit in the page's system.
func (p *page) in(v float64, name string) (float64, string) {
	if other, ok := us[name]; ok && p.sys == unit.US {
		if u, ok := unit.Lookup(other); ok {
			return u.Of(v), other
		}
	}
	return v, name
}

func (p *page) value(v float64, name string) string {
	v, name = p.in(v, name)
	return strings.TrimSpace(short(v, 4) + " " + name)
}

func (p *page) maybe(v *float64, name string) string {
	if v == nil {
		return "–"
	}
	return p.value(*v, name)
}

func (p *page) band(b Band) string {
	if b.Low == nil || b.High == nil {
		return ""
	}
	low, name := p.in(*b.Low, b.Unit)
	high, _ := p.in(*b.High, b.Unit)
	return strings.TrimSpace(short(low, 4) + " to " + short(high, 4) + " " + name)
}

// short writes a number with so many significant digits and no exponent.
func short(v float64, digits int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "no value"
	}
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', digits, 64), 64)
	if err != nil || rounded == 0 {
		return "0"
	}
	return strconv.FormatFloat(rounded, 'f', -1, 64)
}

func share(v float64) string { return short(100*v, 4) + " %" }

// lasts writes an age.
func lasts(s float64) string {
	switch {
	case s >= 7200:
		return short(s/3600, 2) + " h"
	case s >= 120:
		return fmt.Sprintf("%.0f min", s/60)
	case s >= 10:
		return fmt.Sprintf("%.0f s", s)
	}
	return fmt.Sprintf("%.1f s", s)
}

func capital(text string) string {
	if text == "" {
		return ""
	}
	r := []rune(text)
	return string(unicode.ToUpper(r[0])) + string(r[1:])
}
