package report

import (
	"encoding/json"

	"holdline/arming"
	"holdline/arming/record/export"
	"holdline/sim"
)

// predictionLine is what is read of a line with an accepted prediction: the
// answers of predict and circuit as they are printed, and the chart.
type predictionLine struct {
	Basis   string `json:"basis"`
	Predict struct {
		Go    bool `json:"go"`
		Cases []struct {
			Name          string       `json:"name"`
			Kind          sim.CaseKind `json:"kind"`
			StopPositionM float64      `json:"stop_position_m"`
			PeakSpeedMps  float64      `json:"peak_speed_m_s"`
		} `json:"cases"`
		Dispersion struct {
			Runs           int           `json:"runs"`
			PeakSpeedMps   export.Spread `json:"peak_speed_m_s"`
			StopPositionM  export.Spread `json:"stop_position_m"`
			OverrunUpper95 *float64      `json:"overrun_probability_upper95"`
		} `json:"dispersion"`
		Limits []export.Limit `json:"limits"`
	} `json:"predict"`
	Circuit struct {
		Go       bool `json:"go"`
		Igniters []struct {
			Motor      int      `json:"motor"`
			WorstCaseA *float64 `json:"worst_case_current_a"`
			Margin     *float64 `json:"margin"`
			LightsS    *float64 `json:"lights_at_s"`
		} `json:"igniters"`
		Dispersion struct {
			AllLight    *float64 `json:"all_light_probability"`
			AllLightLow *float64 `json:"all_light_probability_lower95"`
		} `json:"dispersion"`
		Limits []export.Limit `json:"limits"`
	} `json:"circuit"`
	Chart *export.Chart `json:"chart"`
}

// prediction takes a line with an accepted prediction; the last one counts.
func (w *walk) prediction(body []byte) {
	var l predictionLine
	if json.Unmarshal(body, &l) != nil || len(l.Predict.Cases) == 0 {
		w.d.Notes = append(w.d.Notes, export.Note{At: stamp(w.at), Text: "a prediction was accepted; its line cannot be read"})
		return
	}
	w.accepted++
	nominal, d := l.Predict.Cases[0], l.Predict.Dispersion
	f := &export.Forecast{At: stamp(w.at), Go: l.Predict.Go && l.Circuit.Go, Basis: l.Basis, Runs: d.Runs, Accepted: w.accepted,
		RestM: d.StopPositionM, SpeedMps: d.PeakSpeedMps, Overrun: d.OverrunUpper95, AllLight: l.Circuit.Dispersion.AllLight,
		AllLow: l.Circuit.Dispersion.AllLightLow, Limits: append(append([]export.Limit{}, l.Predict.Limits...), l.Circuit.Limits...), Chart: drawable(l.Chart)}
	f.RestM.Nominal, f.SpeedMps.Nominal = nominal.StopPositionM, nominal.PeakSpeedMps
	for _, c := range l.Predict.Cases[1:] {
		if far := c.StopPositionM; (sim.Case{Kind: c.Kind}).SingleFault() && (f.WorstM == nil || far > *f.WorstM) {
			f.WorstCase, f.WorstM = c.Name, &far
		}
	}
	w.d.Forecast = f
	w.d.Igniters = w.d.Igniters[:0]
	for _, g := range l.Circuit.Igniters {
		w.d.Igniters = append(w.d.Igniters, export.Igniter{Motor: g.Motor, WorstA: g.WorstCaseA, Margin: g.Margin, LightsS: g.LightsS})
	}
}

// mostDrawn bounds what a chart may hold, in metres and metres a second: no
// replay vouches for the figures of a prediction.
const mostDrawn = 1e5

// drawable returns a chart that can be drawn, nil for one that cannot.
func drawable(c *export.Chart) *export.Chart {
	if c == nil || c.ClearLengthM <= 0 || len(c.Speed) > mostPoints || len(c.Band) > mostPoints {
		return nil
	}
	values := []float64{c.ClearLengthM, c.StopMarginM}
	for _, p := range c.Speed {
		values = append(values, p.DistanceM, p.SpeedMps)
	}
	for _, b := range c.Band {
		values = append(values, b.DistanceM, b.P05Mps, b.P95Mps)
	}
	for _, v := range values {
		if v < -mostDrawn || v > mostDrawn {
			return nil
		}
	}
	return c
}

// mostPoints is how many points a chart may have.
const mostPoints = 10000

// circuitReadings puts the readings that were taken beside what was computed.
func (w *walk) circuitReadings(p *arming.Plan) {
	rows := map[int]export.Igniter{}
	for _, g := range w.d.Igniters {
		rows[g.Motor] = g
	}
	w.d.Igniters = w.d.Igniters[:0]
	for m := 1; m <= p.Motors; m++ {
		row := rows[m]
		row.Motor = m
		for _, c := range w.d.Checks {
			if c.Step == arming.StepContinuity(m) {
				row.ReadingOhm, row.Band = c.Value, c.Band
			}
		}
		w.d.Igniters = append(w.d.Igniters, row)
	}
}
