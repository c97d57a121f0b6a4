package main

import (
	"fmt"
	"math"
	"slices"

	"holdline/checklist/prediction"
	"holdline/checklist/prediction/chart"
	"holdline/sim"
)

// pictureOf is the picture of a predicted run.
func pictureOf(r *prediction.Run, us bool) chart.Chart {
	d := r.Dispersion
	c := chart.Chart{
		Title: r.Title, Answer: r.Verdict(), US: us,
		Source: fmt.Sprintf("sheet %s, %d runs, seed %d, holdline %s", r.SheetSHA256, d.Runs, d.Seed, version),

		ClearLengthM: r.ClearLengthM, StopMarginM: r.StopMarginM, FrontLimitN: r.FrontLimitN,
		RestSpread: &chart.Spread{
			P05M: d.StopPositionM.P05, P50M: d.StopPositionM.P50, P95M: d.StopPositionM.P95, P999M: d.StopPositionM.P999,
		},
		Devices: devices(r),
	}
	for _, s := range r.Path {
		c.Run = append(c.Run, chart.Sample{
			PositionM: s.PositionM, SpeedMps: s.SpeedMps, FrontLoadN: s.FrontLoadN, RearLoadN: s.RearLoadN,
		})
	}
	for _, b := range r.Draws.Band {
		c.Band = append(c.Band, chart.Band{PositionM: b.DistanceM, LowMps: b.P05, HighMps: b.P95})
	}
	for _, result := range r.Results {
		rest := chart.Rest{Case: result.Case.Name, AtM: result.Outcome.StopPositionM}
		switch result.Case.Kind {
		case sim.CaseNominal:
			rest.Kind = chart.Nominal
		case sim.CaseAllStopsAbsent:
			rest.Kind = chart.AllAbsent
		}
		c.Rests = append(c.Rests, rest)
	}
	return c
}

// devices are the stopping devices that begin to act in the nominal run, each
// where it does.
func devices(r *prediction.Run) []chart.Device {
	first := slices.Min(r.Results[0].Case.IgnitionDelayS)
	var out []chart.Device
	for _, stop := range r.Problem.Stops {
		triggerS := math.Inf(1)
		if stop.After {
			triggerS = first + stop.AfterS
		}
		for _, s := range r.Path {
			if !stop.After && math.IsInf(triggerS, 1) && s.PositionM >= stop.AtM {
				triggerS = s.TimeS
			}
			if s.TimeS >= triggerS+stop.DelayS {
				out = append(out, chart.Device{Name: stop.Name, AtM: s.PositionM})
				break
			}
		}
	}
	return out
}
