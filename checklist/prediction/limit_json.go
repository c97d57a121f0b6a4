package prediction

import (
	"encoding/json"
	"math"
)

// MarshalJSON writes a value that does not exist, held as NaN or an infinity,
// as null.
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
