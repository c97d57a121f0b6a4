package tui

import (
	"fmt"
	"sort"

	"holdline/arming"
	"holdline/arming/circuit"
	"holdline/checklist/prediction"
	"holdline/tui/canvas"
	"holdline/tui/theme"
)

// verdict is the prediction's answer in a few words.
func (fc *forecast) verdict() (string, canvas.Style) {
	switch {
	case !fc.known:
		return "not computed yet", theme.Lapsing
	case fc.allGo:
		return "every limit is kept", theme.Good
	}
	n := 0
	for _, l := range fc.limits {
		if !l.Pass {
			n++
		}
	}
	return fmt.Sprintf("NO: %d of %d limits passed over", n, len(fc.limits)), theme.Bad
}

// tightest returns the limits, the passed ones first, then by how little is
// left of them.
func tightest(limits []prediction.Limit) []prediction.Limit {
	out := append([]prediction.Limit(nil), limits...)
	share := func(l *prediction.Limit) float64 {
		if l.Limit == 0 {
			return l.Left
		}
		return l.Left / l.Limit
	}
	sort.SliceStable(out, func(i, j int) bool {
		if out[i].Pass != out[j].Pass {
			return !out[i].Pass
		}
		return share(&out[i]) < share(&out[j])
	})
	return out
}

// drawLimits is the verdict and as many limits as there is room for, the
// tightest first.
func (fc *forecast) drawLimits(c canvas.Canvas) {
	verdict, style := fc.verdict()
	c.Put(0, 0, theme.Title, "LIMITS")
	c.Put(8, 0, style, canvas.Fit(verdict, c.Width()-8))
	drawLimitRows(c.Sub(0, 1, c.Width(), c.Height()-1), tightest(fc.limits), 0)
}

func (fc *forecast) drawLimitsFrom(c canvas.Canvas, from int) {
	c.Put(0, 0, theme.Title, "LIMITS")
	drawLimitRows(c.Sub(0, 1, c.Width(), c.Height()-1), fc.limits, min(from, max(0, len(fc.limits)-c.Height()+1)))
}

func (fc *forecast) drawCircuitLimits(c canvas.Canvas) {
	if fc.circuit != nil && c.Height() > 1 {
		drawLimitRows(c, fc.circuit.Limits, 0)
	}
}

// drawLimitRows writes name, value and what is left of each limit.
func drawLimitRows(c canvas.Canvas, limits []prediction.Limit, from int) {
	w := c.Width()
	for y := 0; y < c.Height() && from+y < len(limits); y++ {
		l := &limits[from+y]
		sign, style := "●", theme.Good
		if !l.Pass {
			sign, style = "╱", theme.Bad
		}
		left := "left " + quantity(l.Left, l.Unit)
		value := figure(l.Value)
		c.Put(0, y, style, sign)
		c.PutRight(w, y, style, left)
		at := w - 15
		c.PutRight(at, y, theme.Text, value)
		c.Put(2, y, theme.Text, canvas.Fit(l.Name, at-canvas.Width(value)-3))
	}
}

// drawCases lists what-if cases with where each comes to rest.
func (fc *forecast) drawCases(c canvas.Canvas, from int) {
	c.Put(0, 0, theme.Title, "CASES")
	c.PutRight(c.Width(), 0, theme.Dim, "comes to rest")
	from = min(from, max(0, len(fc.rests)-c.Height()+1))
	for y := 1; y < c.Height() && from+y-1 < len(fc.rests); y++ {
		r := fc.rests[from+y-1]
		style := theme.Text
		if r.atM > fc.clearM {
			style = theme.Bad
		}
		text := fmt.Sprintf("%.1f m", r.atM)
		c.PutRight(c.Width(), y, style, text)
		c.Put(0, y, style, canvas.Fit(r.name, c.Width()-len(text)-1))
	}
}

// drawCircuit is each igniter's reading in its band and its current. It returns
// the rows it took.
func (m *Model) drawCircuit(c canvas.Canvas) int {
	fc, f := &m.forecast, &m.frame
	if fc.circuit == nil || fc.circuit.Problem == nil || f.Plan == nil {
		c.Put(0, 0, theme.Dim, "circuit not computed yet")
		return 1
	}
	p := fc.circuit.Problem
	w := c.Width()
	c.Put(0, 0, theme.Title, canvas.Fit("CIRCUIT", w))
	c.PutRight(w, 0, theme.Dim, fmt.Sprintf("%.2f A in all", fc.circuit.TotalA))
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
	cells := 13
	for i := 0; i < cells; i++ {
		c.Put(x+i, 0, theme.Rule, "─")
	}
	c.Put(x+3, 0, theme.Rule, "├")
	c.Put(x+9, 0, theme.Rule, "┤")
	r := f.State.Box.Channel[k]
	if f.State.Box.Up && r.Kind == arming.OhmValue && band.HighOhm > band.LowOhm {
		v := float64(r.Milliohm) / 1000
		at := 3 + int(6*(v-band.LowOhm)/(band.HighOhm-band.LowOhm)+0.5)
		style := theme.Stands
		if v < band.LowOhm || v > band.HighOhm {
			style = theme.Broken
		}
		c.Put(x+max(0, min(cells-1, at)), 0, style, "●")
	}
	x += cells + 1
	text := "not read"
	if f.State.Box.Up {
		text = ohms(r)
	}
	if f.Practice {
		text += " PRACTICE"
	}
	x = c.Put(x, 0, theme.Text, text) + 1
	c.PutRight(c.Width(), 0, theme.Dim, fmt.Sprintf("%.2f A ×%.1f", ig.CurrentA, ig.Margin))
}
