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

	limits []prediction.Limit
	known  bool
	allGo  bool
	clearM float64
	crewM  float64
	stops  []place
	rests  []place // of the cases, the nominal one first
	worst  place
	trace  track
	spread *spread // nil until a dispersion exists
}

// place is something on the strip.
type place struct {
	name string
	atM  float64
}

// track is the nominal run, speed over distance.
type track struct{ posM, speedMps, lowMps, highMps []float64 }

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
	if f.Run != nil {
		fc.limits = append(fc.limits, f.Run.Limits...)
	}
	if f.Circuit != nil {
		fc.limits = append(fc.limits, f.Circuit.Limits...)
	}
	if f.Sheet == nil {
		return
	}
	fc.clearM, fc.crewM = f.Sheet.Site.ClearLengthM, f.Sheet.Site.CrewDistanceM
	for _, st := range f.Sheet.Stops {
		if !st.After {
			fc.stops = append(fc.stops, place{st.Name, st.AtM})
		}
	}
}
