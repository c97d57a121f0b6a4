// Package prediction joins a run sheet, the run model and the firing circuit
// into the answers that people and programs read: the predicted run, the
// circuit's budget, and every limit with what is left of it.
//
// It is pure: no I/O, no clock, and the same answer for the same sheet and seed.
package prediction

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
