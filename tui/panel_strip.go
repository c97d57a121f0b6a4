package tui

import (
	"fmt"
	"math"

	"holdline/tui/canvas"
	"holdline/tui/chart"
	"holdline/tui/theme"
)

// ground maps metres from the start to columns.
type ground struct {
	fromM, toM float64
	w          int
}

func (g ground) col(m float64) int {
	if !(g.toM > g.fromM) {
		return 0
	}
	x := int(math.Round((m - g.fromM) / (g.toM - g.fromM) * float64(g.w-1)))
	return max(0, min(g.w-1, x))
}

// drawStrip is the ground to scale over the whole width: hold line and crew,
// start, devices, where the run comes to rest, the worst single fault, the end
// of the cleared strip. With more than three rows the speed stands above it on
// the same scale.
func (m *Model) drawStrip(c canvas.Canvas) {
	fc := &m.forecast
	w, h := c.Width(), c.Height()
	if fc.sheet == nil || fc.clearM <= 0 {
		c.Put(0, h-2, theme.Dim, "no sheet: the ground is not known")
		return
	}
	far := fc.clearM
	for _, r := range append([]place{fc.worst}, fc.rests...) {
		if r.atM > far && !math.IsInf(r.atM, 0) {
			far = min(r.atM, 1.5*fc.clearM)
		}
	}
	g := ground{fromM: -fc.crewM, toM: far * 1.02, w: w}
	if h > 5 {
		m.drawSpeed(c.Sub(0, 0, w, h-3), g)
	}
	fc.drawTrack(c.Sub(0, h-3, w, 3), g)
}

// mark is one thing on the strip.
type mark struct {
	atM   float64
	sign  string
	name  string
	scale string // under it
	style canvas.Style
}

// marks lists what stands on the strip, the most needed first: it keeps its
// label when two would cover each other.
func (fc *forecast) marks() []mark {
	out := []mark{
		{0, "┃", "start", "0", theme.Strong},
		{fc.clearM, "┫", "end", fmt.Sprintf("%.0f m", fc.clearM), theme.Strong},
	}
	if len(fc.rests) > 0 {
		r := fc.rests[0]
		out = append(out, mark{r.atM, "●", "rest", fmt.Sprintf("%.0f", r.atM), theme.Strong})
	}
	if fc.worst.name != "" {
		style := theme.Strong
		if fc.worst.atM > fc.clearM {
			style = theme.Bad
		}
		out = append(out, mark{fc.worst.atM, "◆", "worst", fmt.Sprintf("%.0f", fc.worst.atM), style})
	}
	for _, st := range fc.stops {
		out = append(out, mark{st.atM, "┬", st.name, fmt.Sprintf("%.0f", st.atM), theme.Text})
	}
	if fc.crewM > 0 {
		out = append(out, mark{-fc.crewM, "▲", "hold line, crew", fmt.Sprintf("−%.0f", fc.crewM), theme.Strong})
	}
	return out
}

// drawTrack draws names, ground and distances in three rows.
func (fc *forecast) drawTrack(c canvas.Canvas, g ground) {
	w := c.Width()
	start, end := g.col(0), g.col(fc.clearM)
	for x := 0; x < w; x++ {
		sign := "─"
		if x < start {
			sign = "┄"
		}
		if x > end {
			sign = "╌"
		}
		c.Put(x, 1, theme.Track, sign)
	}
	if fc.spread != nil {
		for x := g.col(fc.spread.p05M); x <= g.col(fc.spread.p999M); x++ {
			sign := "▒"
			if x > g.col(fc.spread.p95M) {
				sign = "░"
			}
			c.Put(x, 1, theme.Spread, sign)
		}
	}
	for k := len(fc.rests) - 1; k > 0; k-- {
		c.Put(g.col(fc.rests[k].atM), 1, theme.Text, "·")
	}
	var above, below []bool
	above, below = make([]bool, w), make([]bool, w)
	list := fc.marks()
	for k := len(list) - 1; k >= 0; k-- {
		c.Put(g.col(list[k].atM), 1, list[k].style, list[k].sign)
	}
	for _, mk := range list {
		label(c, above, g.col(mk.atM), 0, mk.style, mk.name)
		label(c, below, g.col(mk.atM), 2, theme.Dim, mk.scale)
	}
}

// label centres text at x where nothing stands yet, or leaves it out.
func label(c canvas.Canvas, taken []bool, x, y int, s canvas.Style, text string) {
	n := c.TextWidth(text)
	at := max(0, min(x-n/2, len(taken)-n))
	if n == 0 || n > len(taken) {
		return
	}
	for k := max(at-1, 0); k < min(at+n+1, len(taken)); k++ {
		if taken[k] {
			return
		}
	}
	for k := at; k < at+n; k++ {
		taken[k] = true
	}
	c.Put(at, y, s, text)
}

// drawSpeed is the speed over the distance, in braille, with its spread.
func (m *Model) drawSpeed(c canvas.Canvas, g ground) {
	t := &m.forecast.trace
	if len(t.posM) < 2 {
		return
	}
	top := m.forecast.peakMps
	for _, v := range t.highMps {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			top = max(top, v)
		}
	}
	p := chart.New(c.Width(), c.Height(), g.fromM, g.toM, 0, top*1.05)
	p.Line(t.bandM, t.lowMps, theme.Spread)
	p.Line(t.bandM, t.highMps, theme.Spread)
	p.Line(t.posM, t.speedMps, theme.Curve)
	p.Draw(c)
	c.Put(0, 0, theme.Dim, fmt.Sprintf("%.1f m/s", m.forecast.peakMps))
	c.Put(0, 1, theme.Dim, "speed over distance")
}
