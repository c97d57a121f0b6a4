package export

import (
	"math"
)

// chartFrame is a chart's place on a page and its scales.
type chartFrame struct {
	*layout
	left, right, top, bottom float64
	farM, fastMps            float64
	strip                    float64 // where the margin before the strip's end begins
}

func (f *chartFrame) x(m float64) float64 {
	return f.left + (f.right-f.left)*min(max(m/f.farM, 0), 1)
}

func (f *chartFrame) y(v float64) float64 {
	return f.bottom - (f.bottom-f.top)*min(max(v/f.fastMps, 0), 1)
}

// Sizes of the chart's type.
const (
	chartType  = 6.2
	chartLines = 0.4
)

// chart draws the predicted speed over the distance with its spread, the
// cleared length, and what was measured. It is drawn in black, white and grey:
// shape, dash and words carry the meaning.
func (l *layout) chart(c Chart, x, y, wide, high float64) {
	f := &chartFrame{layout: l, left: x + 26, right: x + wide - 6, top: y + 18, bottom: y + high - 21}
	f.scale(c)
	f.ground(c)
	f.axes()
	f.band(c)
	var run [][2]float64
	for _, p := range c.Speed {
		run = append(run, [2]float64{f.x(p.DistanceM), f.y(p.SpeedMps)})
	}
	f.path(run, 1.2, nil, -1)
	f.restSpread()
	f.measured()
	l.text(x, y+6, "Predicted speed over distance: line nominal, grey 5th to 95th percentile", chartType, true)
}

func (f *chartFrame) scale(c Chart) {
	f.farM, f.fastMps = 1.12*c.ClearLengthM, 1
	for _, p := range c.Speed {
		f.farM, f.fastMps = max(f.farM, 1.05*p.DistanceM), max(f.fastMps, 1.1*p.SpeedMps)
	}
	for _, b := range c.Band {
		f.fastMps = max(f.fastMps, 1.1*b.P95Mps)
	}
	if v := f.rest(); v != nil {
		f.farM = max(f.farM, 1.08**v)
	}
	if v := f.speed(); v != nil {
		f.fastMps = max(f.fastMps, 1.1**v)
	}
}

func (f *chartFrame) path(points [][2]float64, width float64, dash []float64, fill float64) {
	if len(points) > 1 {
		f.ops = append(f.ops, op{page: f.pages, points: points, width: width, dash: dash, fill: fill})
	}
}

func (f *chartFrame) line(x1, y1, x2, y2, width float64, dash ...float64) {
	f.path([][2]float64{{x1, y1}, {x2, y2}}, width, dash, -1)
}

// ground is the end of the cleared strip and the margin before it.
func (f *chartFrame) ground(c Chart) {
	end, from := f.x(c.ClearLengthM), f.x(c.ClearLengthM-c.StopMarginM)
	f.strip = from
	if c.StopMarginM > 0 {
		f.path([][2]float64{{from, f.top}, {end, f.top}, {end, f.bottom}, {from, f.bottom}}, 0, nil, 0.92)
	}
	f.line(end, f.top-4, end, f.bottom, 1.6)
	label := "end of the cleared strip " + f.value(c.ClearLengthM, "m")
	f.text(min(end-f.m.width(label, chartType, true)/2, f.right-f.m.width(label, chartType, true)), f.top-6, label, chartType, true)
}

func (f *chartFrame) axes() {
	f.line(f.left, f.top, f.left, f.bottom, 0.6)
	f.line(f.left, f.bottom, f.right, f.bottom, 0.6)
	perM, unitM := f.in(1, "m")
	for _, t := range steps(f.farM * perM) {
		at := f.x(t / perM)
		f.line(at, f.bottom, at, f.bottom+2.5, chartLines)
		label := short(t, 6)
		f.text(at-f.m.width(label, chartType, false)/2, f.bottom+9, label, chartType, false)
	}
	f.text(f.right-f.m.width("distance, "+unitM, chartType, false), f.bottom+17, "distance, "+unitM, chartType, false)
	perV, unitV := f.in(1, "m/s")
	for _, t := range steps(f.fastMps * perV) {
		at := f.y(t / perV)
		f.line(f.left-2.5, at, f.left, at, chartLines)
		f.line(f.left, at, f.right, at, 0.15, 1, 2)
		label := short(t, 6)
		f.text(f.left-4-f.m.width(label, chartType, false), at+2, label, chartType, false)
	}
	f.text(f.left-24, f.top-6, unitV, chartType, false)
}

func (f *chartFrame) band(c Chart) {
	if len(c.Band) < 2 {
		return
	}
	var outline [][2]float64
	for _, b := range c.Band {
		outline = append(outline, [2]float64{f.x(b.DistanceM), f.y(b.P95Mps)})
	}
	for i := len(c.Band) - 1; i >= 0; i-- {
		outline = append(outline, [2]float64{f.x(c.Band[i].DistanceM), f.y(c.Band[i].P05Mps)})
	}
	f.path(outline, 0.3, nil, 0.78)
}

// restSpread is a bar under the run: where it comes to rest, P5 to P95.
func (f *chartFrame) restSpread() {
	s := f.Forecast.RestM
	y := f.bottom - 3
	f.line(f.x(s.P05), y, f.x(s.P95), y, 2.2)
	f.line(f.x(s.P50), y-3.5, f.x(s.P50), y+2.5, 0.8)
	f.text(f.left, f.bottom+17, "bar: rest, P5 to P95, tick P50", chartType, false)
}

// measured marks what was measured: a black triangle on the ground for the
// rest, a dashed line for the speed.
func (f *chartFrame) measured() {
	if v := f.rest(); v != nil {
		x := f.x(*v)
		f.path([][2]float64{{x, f.bottom - 6}, {x + 5, f.bottom - 15}, {x - 5, f.bottom - 15}}, 0.5, nil, 0)
		label := "measured " + f.value(*v, "m")
		wide := f.m.width(label, chartType, true)
		at, end := x-4, f.x(f.Forecast.Chart.ClearLengthM)
		if x < end { // not through the strip's end
			at = min(at, end-3-wide)
		}
		f.label(math.Max(f.left+2, min(at, f.right-wide)), f.bottom-18, label)
	}
	if v := f.speed(); v != nil {
		y := f.y(*v)
		f.line(f.left, y, f.right, y, 0.8, 4, 2)
		label := "measured " + f.value(*v, "m/s")
		f.label(f.strip-6-f.m.width(label, chartType, true), y+2, label)
	}
}

// label is a text on white, so that no line runs through it.
func (f *chartFrame) label(x, y float64, text string) {
	f.area(x-1.5, y-chartType*0.85, f.m.width(text, chartType, true)+3, chartType*1.1, 1)
	f.text(x, y, text, chartType, true)
}

// steps are round numbers from 0 to far, about six of them.
func steps(far float64) []float64 {
	if !(far > 0) || math.IsInf(far, 0) {
		return nil
	}
	power := math.Pow(10, math.Floor(math.Log10(far/6)))
	step := 10 * power
	for _, k := range []float64{1, 2, 5} {
		if k*power >= far/6 {
			step = k * power
			break
		}
	}
	var out []float64
	for i := 0.0; i*step <= far; i++ {
		out = append(out, i*step)
	}
	return out
}
