// Package prediction joins a run sheet, the run model and the firing circuit
// into the answers that people and programs read: the predicted run, the
// circuit's budget, and every limit with what is left of it.
//
// It is pure: no I/O, no clock, and the same answer for the same sheet and seed.
package prediction

import "fmt"

// Limit is one requirement of the sheet held against the value that decides it.
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

// sentence says value, limit and what is left, each written by show. A count
// has no middle ground, and a value that does not exist leaves nothing.
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
