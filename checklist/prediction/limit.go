// Package prediction joins a run sheet, the run model and the firing circuit
// into the answers that people and programs read: the predicted run, the
// circuit's budget, and every limit with what is left of it.
//
// It is pure: no I/O, no clock, and the same answer for the same sheet and seed.
package prediction

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"holdline/checklist/sheet/unit"
)

// Limit is one requirement of the sheet, with the value that decides it.
type Limit struct {
	Name  string  `json:"name"`
	Case  string  `json:"case"` // the what-if case, motor or igniter that decides; "" when there is none
	Value float64 `json:"value"`
	Limit float64 `json:"limit"`
	Unit  string  `json:"unit"`
	// Left is how much is left before the limit is reached, in the limit's
	// unit; negative when it is passed.
	Left   float64 `json:"left"`
	Source string  `json:"source"` // where the limit comes from
	Pass   bool    `json:"pass"`
}

// unitBridges is the unit of a count of bridges.
const unitBridges = "bridges"

// sentence says value, limit and what is left, each written by show.
func (l Limit) sentence(show func(Limit, float64) string) string {
	switch {
	case l.Unit == unitMotors || l.Unit == unitBridges:
		return fmt.Sprintf("%.0f of %.0f", l.Value, l.Limit)
	case l.Unit == unitAirborne && l.Value == 0:
		return "in every case"
	case l.Unit == unitAirborne:
		return fmt.Sprintf("not in %.0f of the cases", l.Value)
	case finite(l.Value) == nil && l.Pass:
		return "does not apply, limit " + show(l, l.Limit)
	case finite(l.Value) == nil:
		return "none exists, limit " + show(l, l.Limit)
	}
	return fmt.Sprintf("%s, limit %s, left %s", show(l, l.Value), show(l, l.Limit), show(l, l.Left))
}

func plainName(l Limit) string { return l.Name }

// title is the limit's name with the case that decides it.
func (l Limit) title() string {
	if l.Case == "" {
		return l.Name
	}
	return l.Name + " (" + l.Case + ")"
}

// allPass reports limits that are all met.
func allPass(limits []Limit) bool {
	return !slices.ContainsFunc(limits, func(l Limit) bool { return !l.Pass })
}

// failed names the limits that are not met.
func failed(limits []Limit, name func(Limit) string) string {
	var names []string
	for _, l := range limits {
		if !l.Pass {
			names = append(names, name(l))
		}
	}
	return strings.Join(names, "; ")
}

// limit writes a limit with its source, its values by show.
func (t *text) limit(l Limit, show func(Limit, float64) string) {
	mark := "  ok "
	if !l.Pass {
		mark = "  NO "
	}
	t.wrap(mark, fmt.Sprintf("%s: %s; %s", l.title(), l.sentence(show), l.Source))
}

// plainValue writes a value of a limit in the limit's own unit, "none" for one
// that does not exist.
func plainValue(l Limit, v float64) string {
	if finite(v) == nil {
		return "none"
	}
	return strings.TrimRight(fmt.Sprintf("%.4g %s", v, l.Unit), " ")
}

// limitDimensions are the dimensions of the limits' units.
var limitDimensions = map[string]unit.Dimension{
	"m": unit.Length, "s": unit.Time, "N": unit.Force, "m/s2": unit.Acceleration,
}

// share is how much of the limit is left, for ordering.
func (l Limit) share() float64 {
	if finite(l.Left) == nil || l.Unit == unitMotors || l.Unit == unitBridges || l.Unit == unitAirborne {
		return math.Inf(1) // a count has no middle ground
	}
	return l.Left / max(math.Abs(l.Limit), math.Abs(l.Value), 1e-12)
}

// limitValue writes a value of a limit in the page's units.
func (t *text) limitValue(l Limit, v float64) string {
	switch d, known := limitDimensions[l.Unit]; {
	case finite(v) == nil:
		return plainValue(l, v)
	case l.Name == limitFrontLoad || l.Name == limitOverrun:
		return fmt.Sprintf("%.3g %%", 100*v)
	case known: // value, limit and what is left in one unit
		about := math.Abs(l.Limit)
		if finite(l.Value) != nil {
			about = max(about, math.Abs(l.Value))
		}
		return unit.FormatIn(v, unit.Preferred(about, d, t.sys), 3)
	}
	return plainValue(l, v)
}

// rounding is by what share a value may miss its limit and still meet it: 35 mA
// compared with a tenth of 0.35 A must not fail by the last bit.
const rounding = 1e-12

// atLeast is a limit that value must reach. A value that does not exist fails.
func atLeast(name, which string, value, limit float64, unit, source string) Limit {
	return Limit{name, which, value, limit, unit, value - limit, source, value >= limit-rounding*limit}
}

// atMost is a limit that value must not pass. A value that does not exist fails.
func atMost(name, which string, value, limit float64, unit, source string) Limit {
	return Limit{name, which, value, limit, unit, limit - value, source, value <= limit+rounding*limit}
}

// MarshalJSON writes a value that does not exist, here NaN or an infinity, as
// null.
func (l Limit) MarshalJSON() ([]byte, error) {
	return json.Marshal(struct {
		Name   string   `json:"name"`
		Case   string   `json:"case"`
		Value  *float64 `json:"value"`
		Limit  *float64 `json:"limit"`
		Unit   string   `json:"unit"`
		Left   *float64 `json:"left"`
		Source string   `json:"source"`
		Pass   bool     `json:"pass"`
	}{l.Name, l.Case, finite(l.Value), finite(l.Limit), l.Unit, finite(l.Left), l.Source, l.Pass})
}

// finite returns a pointer to v, nil when v is NaN or infinite: null in JSON.
func finite(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}
