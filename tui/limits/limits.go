// Package limits draws the limits of a prediction: name, value, limit and what
// is left of each, the tightest first.
package limits

import (
	"fmt"
	"math"
	"sort"

	"holdline/checklist/prediction"
	"holdline/checklist/sheet/unit"
	"holdline/tui/canvas"
	"holdline/tui/theme"
)

// Counted reports a limit that is met or not, with nothing to be left over.
func Counted(l *prediction.Limit) bool {
	return l.Unit == "motors" || l.Unit == "bridges" || l.Unit == "cases airborne"
}

// Tightest returns the worst limit of each name, the passed ones first, then
// by how little is left of them.
func Tightest(limits []prediction.Limit) []prediction.Limit {
	share := func(l *prediction.Limit) float64 {
		switch {
		case math.IsNaN(l.Left):
			return math.Inf(1)
		case Counted(l) && l.Pass:
			return math.MaxFloat64
		}
		return l.Left / max(math.Abs(l.Limit), math.Abs(l.Value), 1e-12)
	}
	at := map[string]int{}
	var out []prediction.Limit
	for i := range limits {
		l := limits[i]
		k, seen := at[l.Name]
		switch {
		case !seen:
			at[l.Name] = len(out)
			out = append(out, l)
		case out[k].Pass && !l.Pass, out[k].Pass == l.Pass && share(&l) < share(&out[k]):
			out[k] = l
		}
	}
	sort.SliceStable(out, func(i, j int) bool {
		if out[i].Pass != out[j].Pass {
			return !out[i].Pass
		}
		return share(&out[i]) < share(&out[j])
	})
	return out
}

// Narrow is below how many columns a limit is its name and what is left alone.
const Narrow = 36

// Draw writes name, value, limit and what is left of each.
func Draw(c canvas.Canvas, limits []prediction.Limit, sys unit.System) {
	for y := 0; y < c.Height() && y < len(limits); y++ {
		drawRow(c.Sub(0, y, c.Width(), 1), &limits[y], sys)
	}
}

func drawRow(c canvas.Canvas, l *prediction.Limit, sys unit.System) {
	w := c.Width()
	sign, style := "●", theme.Good
	if !l.Pass {
		sign, style = "╱", theme.Bad
	}
	c.Put(0, 0, style, sign)
	left, none := Value(l, l.Left, sys), math.IsNaN(l.Value)
	switch {
	case none && l.Pass:
		left = "does not apply"
	case none:
		left = "NONE EXISTS"
	case Counted(l) && l.Pass:
		left = "met"
	case Counted(l):
		left = "NOT MET"
	case w >= Narrow:
		left += " left"
	}
	c.PutRight(w, 0, style, left)
	at := w - 14
	if w < Narrow {
		at = w - 1 - c.TextWidth(left)
	}
	if none && w >= Narrow {
		at-- // its words are wider
	}
	name := l.Name
	if w >= 64 {
		value := Value(l, l.Value, sys) + " " + Than(l) + " " + Value(l, l.Limit, sys)
		if none {
			value = "limit " + Value(l, l.Limit, sys)
		}
		c.PutRight(at, 0, theme.Text, value)
		at -= max(canvas.Width(value), 22) + 1
		if l.Case != "" {
			name += ": " + l.Case
		}
	} else if w >= Narrow && !none {
		value := Value(l, l.Value, sys)
		c.PutRight(at, 0, theme.Text, value)
		at -= canvas.Width(value) + 1
	}
	c.Put(2, 0, theme.Text, canvas.Fit(name, at-2))
}

// Than says on which side of its limit a value has to be.
func Than(l *prediction.Limit) string {
	if l.Value == l.Limit && l.Unit == "cases airborne" { // what is left tells nothing then
		return "≤"
	}
	if math.Abs(l.Left-(l.Value-l.Limit)) <= math.Abs(l.Left-(l.Limit-l.Value)) {
		return "≥"
	}
	return "≤"
}

// Value writes a value of a limit with its unit: shares and probabilities as per cent,
// short times in ms, small
// currents in mA, counts whole.
func Value(l *prediction.Limit, v float64, sys unit.System) string {
	switch {
	case math.IsNaN(v):
		return "none"
	case Counted(l):
		return fmt.Sprintf("%.0f", v)
	case l.Unit == "" && math.Abs(l.Limit) <= 1:
		return percent(v)
	case l.Unit == "s" && math.Abs(l.Limit) < 1:
		return fmt.Sprintf("%.0f ms", 1000*v)
	case l.Unit == "A" && math.Abs(l.Limit) < 0.1:
		return fmt.Sprintf("%.0f mA", 1000*v)
	}
	return quantity(v, max(math.Abs(l.Value), math.Abs(l.Limit)), l.Unit, sys)
}

func percent(v float64) string {
	switch v *= 100; {
	case math.Abs(v) >= 10:
		return fmt.Sprintf("%.1f %%", v)
	case math.Abs(v) >= 1:
		return fmt.Sprintf("%.2f %%", v)
	}
	return fmt.Sprintf("%.3f %%", v)
}

// Figure writes a value with a number of places that suits its size.
func Figure(v float64) string {
	switch a := math.Abs(v); {
	case math.IsNaN(v) || math.IsInf(v, 0):
		return "none"
	case a >= 100:
		return fmt.Sprintf("%.0f", v)
	case a >= 10:
		return fmt.Sprintf("%.1f", v)
	case a >= 0.1 || a == 0:
		return fmt.Sprintf("%.2f", v)
	}
	return fmt.Sprintf("%.2g", v)
}

// dimensions are those of the SI units that differ from what people in US
// units read.
var dimensions = map[string]unit.Dimension{"m": unit.Length, "m/s": unit.Speed, "m/s2": unit.Acceleration, "kg": unit.Mass, "N": unit.Force, "N*s": unit.Impulse}

// DimensionOf is the dimension of an SI unit, where people in US units read
// another one.
func DimensionOf(si string) (d unit.Dimension, known bool) {
	d, known = dimensions[si]
	return d, known
}

// In is a value of an SI unit in the unit in which people of a system read one
// of the size about, with that unit.
func In(v, about float64, si string, sys unit.System) (float64, string) {
	if d, ok := dimensions[si]; ok && sys == unit.US {
		if about == 0 {
			about = 1
		}
		u := unit.Preferred(about, d, sys)
		return u.Of(v), u.Name
	}
	if si == "m/s2" {
		si = "m/s²"
	}
	return v, si
}

// Quantity writes a value with its unit.
func Quantity(v float64, si string, sys unit.System) string { return quantity(v, v, si, sys) }

func quantity(v, about float64, si string, sys unit.System) string {
	v, si = In(v, about, si, sys)
	if si == "" {
		return Figure(v)
	}
	return Figure(v) + " " + si
}
