package tui

import (
	"math"
	"sort"

	"holdline/checklist/prediction"
	"holdline/checklist/sheet"
	"holdline/sim"
)

// forecast is what the panels draw of the predicted run and the circuit. This
// file alone reads the prediction.
type forecast struct {
	run     *prediction.Run
	circuit *prediction.Circuit
	sheet   *sheet.Sheet

	limits   []prediction.Limit
	known    bool
	allGo    bool
	clearM   float64
	crewM    float64
	stops    []device
	peaks    *prediction.Percentiles // of the speed
	stopping []place                 // positions of the cases, the nominal one first
	worst    place
	trace    track
	peakMps  float64
	spread   *prediction.StopQuantiles // of the stopping position; nil until a dispersion exists
}

// place is something on the strip.
type place struct {
	name string
	atM  float64
}

// device is a stopping device: where it begins to act on the nominal run, and
// how long it is, for a bed.
type device struct {
	place
	toM float64
}

// track is the nominal run, speed over distance, with its spread.
type track struct{ posM, speedMps, bandM, lowMps, highMps []float64 }

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
	}
	if f.Run != nil {
		fc.takeRun(f.Run)
	}
	if f.Sheet != nil {
		fc.takeStops(f.Sheet.Stops)
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
		fc.stopping = append(fc.stopping, at)
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
	if r.Dispersion.Runs > 0 {
		fc.spread, fc.peaks = &r.Dispersion.StopPositionM, &r.Dispersion.PeakSpeedMps
	}
}

// takeStops places the devices. One that a timer triggers acts where the
// nominal run is at that time, which a run that is not computed yet cannot
// tell.
func (fc *forecast) takeStops(stops []sim.Stop) {
	for _, st := range stops {
		d := device{place: place{st.Name, st.AtM}, toM: st.AtM + st.LengthM}
		if st.After {
			at, known := fc.whereAt(st.AfterS)
			if !known {
				continue
			}
			d.atM, d.toM = at, at
		}
		fc.stops = append(fc.stops, d)
	}
}

// whereAt returns where the nominal run is so many seconds after its first
// motor lit.
func (fc *forecast) whereAt(afterS float64) (float64, bool) {
	if fc.run == nil || len(fc.run.Path) == 0 {
		return 0, false
	}
	first := math.Inf(1)
	for _, m := range fc.run.Problem.Motors {
		first = min(first, m.IgnitionDelayS)
	}
	path := fc.run.Path
	k := sort.Search(len(path), func(i int) bool { return path[i].TimeS >= first+afterS })
	if k == len(path) {
		return 0, false
	}
	return path[k].PositionM, true
}
