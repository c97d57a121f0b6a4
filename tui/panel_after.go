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
	if c.Height() >= n+10 && f.Sheet != nil && len(f.Sheet.Motors) == n {
		rows = m.drawBehind(c.Sub(1, 0, c.Width()-2, 5)) + 1
	}
	hand := m.atHand()
	for k := 0; k < n && rows < c.Height(); k++ {
		m.drawFate(c, rows, k, hand.motor == k+1)
		rows++
	}
	return rows + 1
}

// drawFate is one motor in words, with what its channel reads.
func (m *Model) drawFate(c canvas.Canvas, y, k int, hand bool) {
	f := &m.frame
	sign, style := fateSign(f.State.Fate[k])
	if hand {
		c.Put(0, y, theme.Key, "▸")
	}
	x := c.Put(1, y, style, fmt.Sprintf("%s%d", sign, k+1)) + 1
	x = c.Put(x, y, style, canvas.Fit(f.State.Fate[k].String(), c.Width()-x)) + 2
	r := f.State.Box.Channel[k]
	if !f.State.Box.Up || r.Kind == arming.OhmNotMeasured {
		return
	}
	text := "open: no evidence"
	if r.Kind == arming.OhmValue {
		text = "conducts, " + ohms(r)
	}
	if f.Practice {
		text += " PRACTICE"
	}
	if x+canvas.Width(text) <= c.Width() {
		c.Put(x, y, theme.Dim, text)
	}
}

// fateSign gives each fate a shape of its own.
func fateSign(fate arming.Fate) (string, canvas.Style) {
	switch fate {
	case arming.FateInspected:
		return "○", theme.Stands
	case arming.FateSaidLit:
		return "◆", theme.Lapsing
	case arming.FateMisfire:
		return "●", theme.Live
	}
	return "?", theme.Live
}

// drawBehind places the motors to scale across the vehicle, seen from behind:
// the body between its rear wheels on the ground.
func (m *Model) drawBehind(c canvas.Canvas) int {
	f := &m.frame
	w, h := c.Width(), c.Height()
	half, low, high := 0.02, math.Inf(1), math.Inf(-1)
	for _, mo := range f.Sheet.Motors {
		half = max(half, 1.25*math.Abs(mo.LateralM))
		low, high = min(low, mo.HeightM), max(high, mo.HeightM)
	}
	a, b := 4, w-5
	c.Sub(a, 0, b-a+1, h).Frame(theme.Track)
	rule(c, h-1, theme.Track)
	for y := h - 3; y < h-1; y++ {
		c.Put(a-3, y, theme.Track, "▐█▌")
		c.Put(b+1, y, theme.Track, "▐█▌")
	}
	c.Put(a+2, 0, theme.Dim, " from behind ")
	for k, mo := range f.Sheet.Motors {
		x := w/2 + int(math.Round(mo.LateralM/half*float64(w/2-8)))
		y := (h - 1) / 2
		if high > low {
			y = h - 2 - int(math.Round((mo.HeightM-low)/(high-low)*float64(h-3)))
		}
		sign, style := fateSign(f.State.Fate[k])
		c.Put(x-1, max(y, 1), style, fmt.Sprintf("%s%d", sign, k+1))
	}
	return h
}
