package tui

import (
	"fmt"
	"math"

	"holdline/arming"
	"holdline/tui/canvas"
	"holdline/tui/theme"
)

// drawVehicle draws the vehicle from behind with its motors in place and says
// each one's fate in words. It returns the rows it took.
func (m *Model) drawVehicle(c canvas.Canvas) int {
	f := &m.frame
	if f.Plan == nil || !f.State.Hooked {
		return 0
	}
	n := f.Plan.Motors
	rows := 0
	if c.Height() >= n+7 && f.Sheet != nil && len(f.Sheet.Motors) == n {
		rows = m.drawBehind(c.Sub(0, 0, c.Width(), 5))
	}
	for k := 0; k < n && rows < c.Height(); k++ {
		sign, style := fateSign(f.State.Fate[k])
		x := c.Put(0, rows, style, fmt.Sprintf("%s motor %d", sign, k+1)) + 1
		x = c.Put(x, rows, style, f.State.Fate[k].String()) + 1
		if r := f.State.Box.Channel[k]; f.State.Box.Up && r.Kind != arming.OhmNotMeasured && x+8 < c.Width() {
			text := ohms(r)
			if f.Practice {
				text += " PRACTICE"
			}
			if x+canvas.Width(text) <= c.Width() {
				c.Put(x, rows, theme.Dim, text)
			}
		}
		rows++
	}
	return rows + 1
}

func fateSign(fate arming.Fate) (string, canvas.Style) {
	switch fate {
	case arming.FateInspected:
		return "○", theme.Stands
	case arming.FateSaidLit:
		return "◆", theme.Lapsing
	case arming.FateDark:
		return "●", theme.Live
	}
	return "?", theme.Live
}

// drawBehind places the motors to scale across the vehicle, seen from behind.
func (m *Model) drawBehind(c canvas.Canvas) int {
	f := &m.frame
	w, h := c.Width(), c.Height()
	half, low, high := 0.02, math.Inf(1), math.Inf(-1)
	for _, mo := range f.Sheet.Motors {
		half = max(half, 1.3*math.Abs(mo.LateralM))
		low, high = min(low, mo.HeightM), max(high, mo.HeightM)
	}
	for x := 0; x < w; x++ {
		c.Put(x, h-1, theme.Track, "─")
	}
	c.Put(2, h-2, theme.Track, "●")
	c.Put(w-3, h-2, theme.Track, "●")
	for k, mo := range f.Sheet.Motors {
		x := w/2 + int(math.Round(mo.LateralM/half*float64(w/2-6)))
		y := h - 3
		if high > low {
			y = h - 3 - int(math.Round((mo.HeightM-low)/(high-low)*float64(h-3)))
		}
		sign, style := fateSign(f.State.Fate[k])
		c.Put(x-1, max(y, 0), style, fmt.Sprintf("%s%d", sign, k+1))
	}
	c.Put(0, 0, theme.Dim, "from behind")
	return h
}
