package tui

import (
	"fmt"
	"math"

	"holdline/arming"
	"holdline/checklist/prediction"
	"holdline/checklist/sheet/unit"
	"holdline/sim/circuit"
	"holdline/tui/canvas"
	"holdline/tui/limits"
	"holdline/tui/theme"
)

// verdict is the prediction's answer in a few words.
func (m *Model) verdict() (string, canvas.Style) {
	fc := &m.forecast
	switch {
	case m.frame.Computing > 0 && m.frame.Computing < 1:
		return fmt.Sprintf("computing, %.0f %%", 100*m.frame.Computing), theme.Lapsing
	case !fc.known:
		return "not computed yet", theme.Lapsing
	case fc.allGo:
		return fmt.Sprintf("all %d limits kept", len(fc.limits)), theme.Good
	}
	n := 0
	for _, l := range fc.limits {
		if !l.Pass {
			n++
		}
	}
	return fmt.Sprintf("NO: %d of %d limits passed", n, len(fc.limits)), theme.Bad
}

// drawRun is the predicted run in a few figures, then the limits, the tightest
// first.
func (m *Model) drawRun(c canvas.Canvas) {
	fc := &m.forecast
	w := c.Width()
	verdict, style := m.verdict()
	c.Put(0, 0, theme.Title, "PREDICTED RUN")
	c.PutRight(w, 0, style, canvas.Fit(verdict, w-14))
	y := 1
	row := func(name, value, note string) {
		if y >= c.Height() {
			return
		}
		c.Put(0, y, theme.Dim, name)
		c.Put(7, y, theme.Strong, value)
		c.Put(17, y, theme.Text, canvas.Fit(note, w-17))
		y++
	}
	sys := m.frame.Units
	in := func(v float64, si string) float64 {
		v, _ = limits.In(v, 1, si, sys)
		return v
	}
	if len(fc.stopping) > 0 {
		speed, stop := "", ""
		if fc.spread != nil {
			speed = fmt.Sprintf("P5–P95 %.1f to %.1f", in(fc.peaks.P05, "m/s"), in(fc.peaks.P95, "m/s"))
			stop = fmt.Sprintf("P5–P95 %.0f to %.0f", in(fc.spread.P05, "m"), in(fc.spread.P95, "m"))
		}
		row("speed", digits(fc.peakMps, "m/s", sys, 1), speed)
		row("rest", digits(fc.stopping[0].atM, "m", sys, 0), stop)
		row("worst", digits(fc.worst.atM, "m", sys, 0), fc.worst.name)
		if fc.run != nil {
			due := choose(sys == unit.US, "due", "must be") // short enough for the narrowest screen
			row("left", digits(fc.clearM-fc.worst.atM, "m", sys, 0),
				fmt.Sprintf("of %s, %s %s", digits(fc.clearM, "m", sys, 0), digits(fc.run.StopMarginM, "m", sys, 0), due))
		}
	}
	limits.Draw(c.Sub(0, y, w, c.Height()-y), limits.Tightest(fc.limits), sys)
}

// drawCases lists the what-if cases with the stopping position of each, and returns
// the rows it took.
func (m *Model) drawCases(c canvas.Canvas) int {
	fc := &m.forecast
	w := c.Width()
	c.Put(0, 0, theme.Title, "WHAT IF")
	c.PutRight(w, 0, theme.Dim, "left of strip")
	c.PutRight(w-16, 0, theme.Dim, "rest")
	c.PutRight(w-28, 0, theme.Dim, "top speed")
	if w >= 76 {
		c.PutRight(w-42, 0, theme.Dim, "front load")
	}
	if fc.run == nil {
		return 1
	}
	for i := range fc.run.Results {
		o := &fc.run.Results[i].Outcome
		y := i + 1
		left, style := fc.clearM-o.StopPositionM, theme.Text
		if left < 0 {
			style = theme.Bad
		}
		c.PutRight(w, y, style, digits(left, "m", m.frame.Units, 1))
		c.PutRight(w-16, y, style, digits(o.StopPositionM, "m", m.frame.Units, 1))
		c.PutRight(w-28, y, style, digits(o.PeakSpeedMps, "m/s", m.frame.Units, 1))
		if w >= 76 && o.MinFrontLoadFraction.Known {
			c.PutRight(w-42, y, style, fmt.Sprintf("%.0f %%", 100*o.MinFrontLoadFraction.Value))
		}
		c.Put(0, y, style, canvas.Fit(fc.run.Results[i].Case.Name, w-54))
	}
	return len(fc.run.Results) + 1
}

// drawCircuit is each igniter's reading in its band and its current. It returns
// the rows it took.
func (m *Model) drawCircuit(c canvas.Canvas) int {
	fc, f := &m.forecast, &m.frame
	w := c.Width()
	c.Put(0, 0, theme.Title, "CIRCUIT")
	if fc.circuit == nil || fc.circuit.Problem == nil || f.Plan == nil {
		c.Put(9, 0, theme.Dim, "not computed yet")
		return 1
	}
	p := fc.circuit.Problem
	c.PutRight(w, 0, theme.Dim, fmt.Sprintf("%.1f A in all, ×1.0 just fires", fc.circuit.TotalA))
	y := 1
	for k := 0; k < f.Plan.Motors && k < len(fc.circuit.Igniters) && y < c.Height(); k++ {
		m.drawIgniter(c.Sub(0, y, w, 1), k, circuit.ChannelBand(p, k), &fc.circuit.Igniters[k])
		y++
	}
	return y
}

// drawIgniter is one row: the reading as a dot in its band, in figures, and the
// worst-case current over the all-fire current.
func (m *Model) drawIgniter(c canvas.Canvas, k int, band circuit.Band, ig *prediction.CircuitIgniter) {
	f := &m.frame
	x := c.Put(0, 0, theme.Text, fmt.Sprintf("%2d ", k+1))
	var at *float64
	r := f.State.Box.Channel[k]
	text, style := "not read", theme.Dim
	if f.State.Box.Up && r.Kind != arming.OhmNotMeasured {
		text, style = ohms(r), theme.Strong
		if v := float64(r.Milliohm) / 1000; r.Kind == arming.OhmValue {
			at = &v
		}
	}
	gauge(c, x, 0, 13, band.LowOhm, band.HighOhm, at)
	x = c.Put(x+14, 0, style, text) + 1
	if f.Practice {
		x = c.Put(x, 0, theme.Hands, "PRACTICE") + 1
	}
	if c.Width()-x > 30 {
		c.Put(x, 0, theme.Dim, fmt.Sprintf("due %.2f to %.2f Ω", band.LowOhm, band.HighOhm))
	}
	c.PutRight(c.Width(), 0, theme.Text, fmt.Sprintf("%.2f A ×%.1f", ig.CurrentA, ig.Margin))
}

// gauge draws a band between two strokes with a value as a dot, inside or
// outside it.
func gauge(c canvas.Canvas, x, y, cells int, low, high float64, v *float64) {
	a, b := cells/4, cells-1-cells/4
	for i := 0; i < cells; i++ {
		sign := "┄"
		switch {
		case i == a:
			sign = "├"
		case i == b:
			sign = "┤"
		case i > a && i < b:
			sign = "─"
		}
		c.Put(x+i, y, theme.Rule, sign)
	}
	if v == nil || !(high > low) {
		return
	}
	style := theme.Stands
	if *v < low || *v > high {
		style = theme.Broken
	}
	at := float64(a) + float64(b-a)*(*v-low)/(high-low)
	c.Put(x+int(max(0, min(float64(cells-1), math.Round(at)))), y, style, "●")
}
