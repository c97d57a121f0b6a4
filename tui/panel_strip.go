package tui

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"holdline/tui/canvas"
	"holdline/tui/chart"
	"holdline/tui/limits"
	"holdline/tui/theme"
)

// ground maps metres from the start to columns.
type ground struct {
	fromM, toM float64
	w          int
}

// col returns the column of a place, at the edge for what lies beyond.
func (g ground) col(m float64) int {
	if !(g.toM > g.fromM) {
		return 0
	}
	x := math.Round((m - g.fromM) / (g.toM - g.fromM) * float64(g.w-1))
	return int(max(0, min(float64(g.w-1), x)))
}

// ground chooses the part of the field that is drawn: from the crew to a
// little beyond whatever reaches furthest of the strip's end, the spread and
// every single fault. What lies further is named at the edge.
func (m *Model) ground(w int) ground {
	fc := &m.forecast
	far := max(fc.clearM, fc.worst.atM, m.measuredM)
	if fc.spread != nil {
		far = max(far, fc.spread.P999)
	}
	return ground{fromM: -fc.crewM * 1.06, toM: min(far, 3*fc.clearM) * 1.08, w: w}
}

// drawStrip is the ground to scale over the whole width: hold line and crew,
// start, devices, the stopping position, the worst single fault, the end
// of the cleared strip. With more than three rows the speed stands above it on
// the same scale.
func (m *Model) drawStrip(c canvas.Canvas) {
	fc := &m.forecast
	w, h := c.Width(), c.Height()
	if fc.sheet == nil || fc.clearM <= 0 {
		c.Put(0, h-2, theme.Dim, "no sheet: the ground is not known")
		return
	}
	g := m.ground(w)
	if h > 5 {
		m.drawSpeed(c.Sub(0, 0, w, h-3), g)
	}
	m.drawTrack(c.Sub(0, h-3, w, 3), g)
}

// mark is one thing on the strip.
type mark struct {
	atM   float64
	sign  string
	names []string // the long one first; the first that fits is shown
	scale string   // under it
	style canvas.Style
	nameM float64 // how far beyond the place its name stands
}

// marks lists what stands on the strip, the most needed first: it keeps its
// label when two would cover each other.
func (m *Model) marks() []mark {
	fc := &m.forecast
	metres := func(v float64) string { // without the unit, which stands at the end of the strip
		v, _ = limits.In(v, 1, "m", m.frame.Units)
		return fmt.Sprintf("%.0f", v)
	}
	out := []mark{
		{0, "┃", []string{"start"}, "0", theme.Strong, 0},
		{fc.clearM, "┫", []string{"end of strip", "end"}, digits(fc.clearM, "m", m.frame.Units, 0), theme.Strong, 0},
	}
	if m.measuredM > 0 && m.frame.State.ResultIn {
		mk := mark{m.measuredM, "▼", []string{"measured"}, metres(m.measuredM), theme.Strong, 0}
		if m.frame.Practice {
			mk.scale += " PRACTICE"
		}
		out = append(out, mk)
	}
	if len(fc.stopping) > 0 {
		r := fc.stopping[0]
		out = append(out, mark{r.atM, "●", []string{"rest"}, metres(r.atM), theme.Strong, 0})
	}
	if fc.worst.name != "" {
		style := theme.Strong
		if fc.worst.atM > fc.clearM {
			style = theme.Bad
		}
		out = append(out, mark{fc.worst.atM, "◆", []string{"worst: " + fc.worst.name, "worst fault", "worst"}, metres(fc.worst.atM), style, 0})
	}
	if fc.crewM > 0 {
		out = append(out, mark{-fc.crewM, "▲", []string{"hold line, crew", "crew"}, "−" + metres(fc.crewM), theme.Strong, 0})
	}
	for _, st := range fc.stops {
		out = append(out, mark{st.atM, "┬", []string{st.name, lastWord(st.name)}, metres(st.atM), theme.Text, 0})
		if st.toM > st.atM { // a bed is named over its middle
			out[len(out)-1].nameM = (st.toM - st.atM) / 2
		}
	}
	return out
}

// drawTrack draws names, ground and distances in three rows.
func (m *Model) drawTrack(c canvas.Canvas, g ground) {
	fc := &m.forecast
	w := c.Width()
	start, end := g.col(0), g.col(fc.clearM)
	along := func(from, to int, s canvas.Style, sign string) {
		c.Put(from, 1, s, strings.Repeat(sign, max(0, to-from+1)))
	}
	along(0, w-1, theme.Track, "╌")
	along(0, end, theme.Track, "─")
	along(0, start-1, theme.Track, "┄")
	for _, st := range fc.stops {
		if st.toM > st.atM {
			along(g.col(st.atM), g.col(st.toM), theme.Track, "═")
		}
	}
	if fc.spread != nil {
		along(g.col(fc.spread.P05), g.col(fc.spread.P999), theme.Spread, "░")
		along(g.col(fc.spread.P05), g.col(fc.spread.P95), theme.Spread, "▒")
	}
	for k := len(fc.stopping) - 1; k > 0; k-- {
		if fc.stopping[k].atM <= g.toM {
			c.Put(g.col(fc.stopping[k].atM), 1, theme.Text, "·")
		}
	}
	above, below := make([]bool, w), make([]bool, w)
	list := m.marks()
	for k := len(list) - 1; k >= 0; k-- {
		c.Put(g.col(list[k].atM), 1, list[k].style, list[k].sign)
	}
	for _, mk := range list {
		label(c, above, g.col(mk.atM+mk.nameM), 0, mk.style, mk.names...)
		label(c, below, g.col(mk.atM), 2, theme.Dim, mk.scale)
	}
	for k := range fc.stopping {
		if r := fc.stopping[k]; r.atM > g.toM {
			c.Put(w-1, 1, theme.Bad, "▶")
			at := digits(r.atM, "m", m.frame.Units, 0)
			label(c, below, w-1, 2, theme.Dim, r.name+" "+at, at)
		}
	}
}

// lastWord shortens a device's name to its kind: "tail chute" to "chute".
func lastWord(name string) string {
	return name[strings.LastIndexByte(name, ' ')+1:]
}

// label centres the first text that fits at x where nothing stands yet, or
// leaves all out.
func label(c canvas.Canvas, taken []bool, x, y int, s canvas.Style, texts ...string) {
	for _, text := range texts {
		n := c.TextWidth(text)
		at := max(0, min(x-n/2, len(taken)-n))
		if n == 0 || n > len(taken) || slices.Contains(taken[max(at-1, 0):min(at+n+1, len(taken))], true) {
			continue
		}
		for k := at; k < at+n; k++ {
			taken[k] = true
		}
		c.Put(at, y, s, text)
		return
	}
}

// drawSpeed is the speed over the distance, in braille, with its spread.
func (m *Model) drawSpeed(c canvas.Canvas, g ground) {
	fc := &m.forecast
	t := &fc.trace
	if len(t.posM) < 2 {
		return
	}
	top := fc.peakMps
	for _, v := range t.highMps {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			top = max(top, v)
		}
	}
	p := chart.New(c.Width(), c.Height(), g.fromM, g.toM, 0, top*1.05)
	p.Column(fc.clearM, theme.Rule)
	p.Line(t.bandM, t.lowMps, theme.Spread)
	p.Line(t.bandM, t.highMps, theme.Spread)
	p.Line(t.posM, t.speedMps, theme.Curve)
	p.Draw(c)
	c.Put(0, 0, theme.Curve, digits(fc.peakMps, "m/s", m.frame.Units, 1))
	c.Put(0, 1, theme.Dim, "speed over distance")
	if fc.spread != nil && c.Height() > 3 {
		c.Put(0, 2, theme.Dim, "spread P5 to P95")
	}
}
