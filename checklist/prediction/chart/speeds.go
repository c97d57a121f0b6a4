package chart

import (
	"math"
	"slices"
)

// Speeds is the panel of the speed alone, in black and grey, for a page of a
// record: what was predicted and what was measured.
func (c Chart) Speeds(wide, high float64) *Scene {
	p := c.page(grey, Scene{Width: wide, Height: high}, 26, wide-6, wide-6)
	top, bottom := 18.0, high-21
	p.panels, p.bottom = [][2]float64{{top, bottom}}, bottom
	p.Write(p.run, p.size, true, Left, 0, 6, "Predicted speed over distance: line nominal, grey 5th to 95th percentile")
	p.ground()
	y := p.speeds(p.speedUnit.name, Point{2, top - 2})
	p.devices()
	if s := c.RestSpread; s != nil {
		p.Line(p.run, 2.2, nil, Point{p.x(s.P05M), bottom - 3}, Point{p.x(s.P95M), bottom - 3})
		p.Line(p.run, 0.8, nil, Point{p.x(s.P50M), bottom - 6.5}, Point{p.x(s.P50M), bottom - 0.5})
		p.Write(p.run, p.size, false, Left, p.left, bottom+17, "bar: rest, P5 to P95, tick P50")
	}
	p.measured(y)
	return &p.Scene
}

// measured marks what was measured: a triangle on the ground for the stopping
// position, a dashed line for the speed.
func (p *page) measured(y func(float64) float64) {
	end := p.x(p.ClearLengthM)
	if v := p.MeasuredRestM; v != nil {
		x := p.x(*v)
		p.Area(p.run, nil, 0, Point{x, p.bottom - 6}, Point{x + 5, p.bottom - 15}, Point{x - 5, p.bottom - 15})
		text := "measured " + inUnit(*v, p.lengthUnit)
		wide := TextWidth(text, p.size, true)
		at := x - 4
		if x < end { // not through the end of the strip
			at = min(at, end-3-wide)
		}
		p.onPaper(max(p.left+2, min(at, p.right-wide)), p.bottom-18, text)
	}
	if v := p.MeasuredMps; v != nil {
		p.Line(p.run, 0.8, []float64{4, 2}, Point{p.left, y(*v)}, Point{p.right, y(*v)})
		text := "measured " + inUnit(*v, p.speedUnit)
		p.onPaper(p.x(p.ClearLengthM-p.StopMarginM)-6-TextWidth(text, p.size, true), y(*v)+2, text)
	}
}

// inUnit is a measured value with at most two decimals.
func inUnit(v float64, u unit) string { return trimmed(math.Round(100*v/u.per)/100) + " " + u.name }

// onPaper writes text on a ground of its own, so that no line runs through it.
func (p *page) onPaper(x, y float64, text string) {
	w := TextWidth(text, p.size, true)
	p.Rect(paper, x-1, y-0.875*p.size, w+2, 1.125*p.size)
	p.Write(p.run, p.size, true, Left, x, y, text)
}

// speeds draws the nominal run and the spread of its speed in the first panel
// and returns the place of a value there.
func (p *page) speeds(name string, at Point) func(float64) float64 {
	top := 1.0
	for _, s := range p.Run {
		top = max(top, s.SpeedMps)
	}
	for _, b := range p.Band {
		top = max(top, b.HighMps)
	}
	if p.MeasuredMps != nil {
		top = max(top, *p.MeasuredMps)
	}
	y := p.scale(name, at, p.panels[0], 0, 1.06*top, p.speedUnit)
	var outline, run []Point
	for _, b := range p.Band {
		outline = append(outline, Point{p.x(b.PositionM), y(b.HighMps)})
	}
	for _, b := range slices.Backward(p.Band) {
		outline = append(outline, Point{p.x(b.PositionM), y(b.LowMps)})
	}
	p.Area(p.band, nil, 0, outline...)
	for _, s := range p.Run {
		run = append(run, Point{p.x(s.PositionM), y(s.SpeedMps)})
	}
	p.Line(p.run, p.size/5, nil, thin(run)...)
	return y
}
