package prediction

import (
	"encoding/json"
	"math"
	"testing"

	"holdline/sim"
)

// The chart is thin, keeps both ends and the peak, and stays within a
// chartPoints-th of the run that it was taken from.
func TestChartKeepsTheShapeOfTheRun(t *testing.T) {
	r := &Run{ClearLengthM: 200, StopMarginM: 10}
	const n = 5000
	for i := range n + 1 {
		x := 150 * float64(i) / n
		r.Path = append(r.Path, sim.Sample{PositionM: x, SpeedMps: 40 * math.Sin(math.Pi*x/150)})
	}
	for i := range 61 {
		r.Draws.Band = append(r.Draws.Band, sim.BandPoint{DistanceM: float64(i), P05: 1, P50: 2, P95: 3})
	}
	c := r.Chart()
	if len(c.Speed) < chartPoints/2 || len(c.Speed) > 4*chartPoints {
		t.Fatalf("%d points", len(c.Speed))
	}
	first, last := c.Speed[0], c.Speed[len(c.Speed)-1]
	if first.DistanceM != 0 || last.DistanceM != 150 {
		t.Errorf("from %v to %v, want 0 to 150", first, last)
	}
	peak := 0.0
	for i, p := range c.Speed {
		peak = max(peak, p.SpeedMps)
		if want := 40 * math.Sin(math.Pi*p.DistanceM/150); math.Abs(p.SpeedMps-want) > 0.001+1e-9 {
			t.Errorf("point %d: %v at %v, want %v", i, p.SpeedMps, p.DistanceM, want)
		}
		if i > 0 && p.DistanceM-c.Speed[i-1].DistanceM > 150.0/chartPoints+0.1 {
			t.Errorf("a hole of %v m before point %d", p.DistanceM-c.Speed[i-1].DistanceM, i)
		}
	}
	if peak != 40 {
		t.Errorf("peak %v, want 40", peak)
	}
	if len(c.Band) != 61 || c.Band[60] != (ChartBand{60, 1, 3}) {
		t.Errorf("band %v", c.Band[len(c.Band)-1])
	}
	body, err := json.Marshal(c)
	if err != nil || len(body) > 64<<10 {
		t.Errorf("%d bytes, %v: a line of a record takes less", len(body), err)
	}
}

func TestChartOfARunThatDoesNotMove(t *testing.T) {
	c := (&Run{Path: []sim.Sample{{}, {TimeS: 1}}}).Chart()
	if len(c.Speed) == 0 || c.Band == nil {
		t.Errorf("%+v", c)
	}
}
