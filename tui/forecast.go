package tui

import (
	"holdline/checklist/prediction"
	"holdline/checklist/sheet"
)

// forecast is what the panels draw of the predicted run and the circuit. This
// file alone reads the prediction.
type forecast struct {
	run     *prediction.Run
	circuit *prediction.Circuit
	sheet   *sheet.Sheet

	limits  []prediction.Limit
	known   bool
	allGo   bool
	clearM  float64
	crewM   float64
	stops   []place
	rests   []place // of the cases, the nominal one first
	worst   place
	trace   track
	peakMps float64
	spread  *spread // nil until a dispersion exists
}

// place is something on the strip.
type place struct {
	name string
	atM  float64
}

// track is the nominal run, speed over distance, with its spread.
type track struct{ posM, speedMps, bandM, lowMps, highMps []float64 }

// spread is where the run comes to rest, by share of the draws.
type spread struct{ p05M, p50M, p95M, p999M float64 }

// predictedGo reports whether every limit of run and circuit is kept.
func predictedGo(f *Frame) bool { return f.Run != nil && f.Circuit != nil && f.Run.Go && f.Circuit.Go }

// update works the frame's prediction out anew when it is another one.
func (fc *forecast) update(f *Frame) {
	if fc.run == f.Run && fc.circuit == f.Circuit && fc.sheet == f.Sheet {
		return
	}
	*fc = forecast{run: f.Run, circuit: f.Circuit, sheet: f.Sheet}
	fc.known, fc.allGo = f.Run != nil && f.Circuit != nil, predictedGo(f)
	if f.Sheet != nil {
		fc.clearM, fc.crewM = f.Sheet.Site.ClearLengthM, f.Sheet.Site.CrewDistanceM
		for _, st := range f.Sheet.Stops {
			if !st.After {
				fc.stops = append(fc.stops, place{st.Name, st.AtM})
			}
		}
	}
	if f.Run != nil {
		fc.takeRun(f.Run)
	}
	if f.Circuit != nil {
		fc.limits = append(fc.limits, f.Circuit.Limits...)
	}
}

// takeRun takes what the strip and the chart show of a predicted run.
func (fc *forecast) takeRun(r *prediction.Run) {
	fc.limits = append(fc.limits, r.Limits...)
	for i := range r.Results {
		c := &r.Results[i]
		at := place{c.Case.Name, c.Outcome.StopPositionM}
		fc.rests = append(fc.rests, at)
		if c.Case.SingleFault() && (fc.worst.name == "" || at.atM > fc.worst.atM) {
			fc.worst = at
		}
	}
	for i := range r.Path {
		fc.trace.posM = append(fc.trace.posM, r.Path[i].PositionM)
		fc.trace.speedMps = append(fc.trace.speedMps, r.Path[i].SpeedMps)
		fc.peakMps = max(fc.peakMps, r.Path[i].SpeedMps)
	}
	for _, b := range r.Draws.Band {
		fc.trace.bandM = append(fc.trace.bandM, b.DistanceM)
		fc.trace.lowMps = append(fc.trace.lowMps, b.P05)
		fc.trace.highMps = append(fc.trace.highMps, b.P95)
	}
	if q := r.Dispersion.StopPositionM; r.Dispersion.Runs > 0 {
		fc.spread = &spread{q.P05, q.P50, q.P95, q.P999}
	}
}
