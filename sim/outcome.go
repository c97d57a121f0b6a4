package sim

import (
	"encoding/json"
	"fmt"
)

// Maybe is a value that may not exist. The zero value does not, and reads null
// in JSON.
type Maybe struct {
	Value float64
	Known bool
}

// Some returns a value that exists.
func Some(value float64) Maybe { return Maybe{Value: value, Known: true} }

// MarshalJSON returns the number, or null when it does not exist.
func (m Maybe) MarshalJSON() ([]byte, error) {
	if !m.Known {
		return []byte("null"), nil
	}
	return json.Marshal(m.Value)
}

// UnmarshalJSON reads a number or null.
func (m *Maybe) UnmarshalJSON(data []byte) error {
	*m = Maybe{}
	if string(data) == "null" {
		return nil
	}
	m.Known = true
	return json.Unmarshal(data, &m.Value)
}

// String returns the number, or "none".
func (m Maybe) String() string {
	if !m.Known {
		return "none"
	}
	return fmt.Sprintf("%g", m.Value)
}

// Outcome is what is reported of one run. Extremes, front load and yaw count
// only while the vehicle moves, with both one-sided values at every jump.
type Outcome struct {
	PeakSpeedMps       float64 `json:"peak_speed_m_s"` // 0 when it never moves, like the next two
	PeakSpeedTimeS     float64 `json:"peak_speed_time_s"`
	PeakSpeedPositionM float64 `json:"peak_speed_position_m"`

	BurnoutTimeS     Maybe `json:"burnout_time_s"` // end of the last lit curve; unknown when no motor lights
	BurnoutPositionM Maybe `json:"burnout_position_m"`
	BurnoutSpeedMps  Maybe `json:"burnout_speed_m_s"`

	StopPositionM float64 `json:"stop_position_m"`
	StopTimeS     float64 `json:"stop_time_s"` // at rest for good from here; 0 when it never moves

	PeakAccelerationMps2 float64 `json:"peak_acceleration_m_s2"`
	PeakDecelerationMps2 float64 `json:"peak_deceleration_m_s2"`

	// MinFrontLoadFraction is the least front axle load over the one standing
	// without thrust; at or below 0 the nose is up. Unknown when it never moves,
	// or when the front axle carries nothing even at rest.
	MinFrontLoadFraction Maybe `json:"min_front_load_fraction"`
	MinYawMargin         Maybe `json:"min_yaw_margin"` // unknown on a guide or without a yawing moment
	GuideMargin          Maybe `json:"guide_margin"`   // unknown without a guide or a yawing moment
	PeakLineTensionN     Maybe `json:"peak_line_tension_n"`
	StoredLineEnergyJ    Maybe `json:"stored_line_energy_j"`
	Airborne             bool  `json:"airborne"` // the wheels carried nothing at some moment
}

// CaseResult is a what-if case with its outcome.
type CaseResult struct {
	Case    Case
	Outcome Outcome
	// LineTensionN is the peak tension of each stopping device that is a line,
	// in the problem's order; unknown for the others and for a line that did
	// not act. Its rating is judged by the caller.
	LineTensionN []Maybe
	// ActsAtM is where the vehicle was when each device began to act; unknown
	// for one that did not.
	ActsAtM []Maybe
}

// UnfinishedError is a run that was still moving at the model's bounds.
type UnfinishedError struct {
	Case      string
	TimeS     float64
	PositionM float64
	SpeedMps  float64
	Steps     int     // set when the run took too many steps instead
	StepS     float64 // the last of them
}

func (e *UnfinishedError) Error() string {
	if e.Steps > 0 {
		return fmt.Sprintf("sim: run %q: not finished after %d steps, at %.6g s and %.6g m, the last of them %.2g s long: expected more mass for its drag and its lines",
			e.Case, e.Steps, e.TimeS, e.PositionM, e.StepS)
	}
	bound := fmt.Sprintf("%d s", MaxRunTimeS)
	if e.PositionM >= MaxRunLengthM {
		bound = fmt.Sprintf("%d km", MaxRunLengthM/1000)
	}
	return fmt.Sprintf("sim: run %q: still moving after %s: %.5g m/s at %.6g s and %.6g m", e.Case, bound, e.SpeedMps, e.TimeS, e.PositionM)
}

// The bounds of a run. One that is still moving there has no answer.
const (
	MaxRunTimeS   = 600
	MaxRunLengthM = 20_000
)
