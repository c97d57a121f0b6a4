package prediction

import "math"

// chartPoints is how many points of the nominal run a Chart keeps at least.
const chartPoints = 120

// Chart is the predicted speed over the distance, short enough to stand in a
// record: what a page needs to draw the run again without the sheet.
type Chart struct {
	ClearLengthM float64      `json:"clear_length_m"`
	StopMarginM  float64      `json:"stop_margin_m"`
	Speed        []ChartPoint `json:"speed"` // nominal run, in order of time
	Band         []ChartBand  `json:"band"`  // spread of the speed, in order of distance
}

// ChartPoint is one place of the nominal run.
type ChartPoint struct {
	DistanceM float64 `json:"distance_m"`
	SpeedMps  float64 `json:"speed_m_s"`
}

// ChartBand is the 5th and 95th percentile of the speed at a distance.
type ChartBand struct {
	DistanceM float64 `json:"distance_m"`
	P05Mps    float64 `json:"p05_m_s"`
	P95Mps    float64 `json:"p95_m_s"`
}

// Chart returns the run's chart. Values are rounded to a millimetre and a
// millimetre a second; a point is left out when neither its distance nor its
// speed has moved by a chartPoints-th of the whole since the last one kept.
func (r *Run) Chart() Chart {
	c := Chart{ClearLengthM: thousandth(r.ClearLengthM), StopMarginM: thousandth(r.StopMarginM),
		Speed: []ChartPoint{}, Band: []ChartBand{}}
	far, fast := 0.0, 0.0
	for _, s := range r.Path {
		far, fast = max(far, s.PositionM), max(fast, s.SpeedMps)
	}
	for i, s := range r.Path {
		p := ChartPoint{thousandth(s.PositionM), thousandth(s.SpeedMps)}
		if n := len(c.Speed); n > 0 && i < len(r.Path)-1 && s.SpeedMps != fast {
			last := c.Speed[n-1]
			if math.Abs(s.PositionM-last.DistanceM) < far/chartPoints && math.Abs(s.SpeedMps-last.SpeedMps) < fast/chartPoints {
				continue
			}
		}
		c.Speed = append(c.Speed, p)
	}
	for _, b := range r.Draws.Band {
		c.Band = append(c.Band, ChartBand{thousandth(b.DistanceM), thousandth(b.P05), thousandth(b.P95)})
	}
	return c
}

func thousandth(v float64) float64 { return math.Round(v*1000) / 1000 }
