package tui

import (
	"fmt"
	"time"

	"holdline/arming"
	"holdline/tui/bigtext"
	"holdline/tui/canvas"
	"holdline/tui/theme"
)

// drawStage fills the middle with what the phase needs.
func (m *Model) drawStage(c canvas.Canvas) {
	switch m.frame.State.Phase {
	case arming.Count, arming.Window, arming.Run:
		m.drawFiring(c)
	case arming.Hold:
		m.drawHold(c)
	case arming.Wait:
		m.drawWait(c)
	case arming.MakeSafe:
		m.drawMakeSafe(c)
	case arming.Closed:
		m.drawClosed(c)
	default:
		m.drawWork(c)
	}
}

// drawWork is the cockpit's ordinary middle: the chain on the left, the step at
// hand and the limits on the right, more where there is room.
func (m *Model) drawWork(c canvas.Canvas) {
	w, h := c.Width(), c.Height()
	left := 38
	if w >= 120 {
		left = 46
	}
	m.drawChain(c.Sub(0, 0, left, h))
	divider(c, left, h)
	right := c.Sub(left+2, 0, w-left-2, h)
	if w >= 150 {
		third := 50
		m.drawSide(c.Sub(w-third, 0, third, h))
		divider(c, w-third-2, h)
		right = c.Sub(left+2, 0, w-left-third-5, h)
	}
	m.drawRight(right, w >= 150)
}

func divider(c canvas.Canvas, x, h int) {
	for y := 0; y < h; y++ {
		c.Put(x, y, theme.Rule, "│")
	}
}

func rule(c canvas.Canvas, y int) {
	for x := 0; x < c.Width(); x++ {
		c.Put(x, y, theme.Rule, "─")
	}
}

// drawRight is the step at hand above the limits.
func (m *Model) drawRight(c canvas.Canvas, sideShown bool) {
	h := c.Height()
	limits := len(m.forecast.limits) + 1
	step := max(9, h-limits-1)
	if m.form != nil || sideShown {
		step = h
	}
	step = min(step, h)
	m.drawStep(c.Sub(0, 0, c.Width(), step))
	if h-step >= 3 {
		rule(c.Sub(0, step, c.Width(), 1), 0)
		m.forecast.drawLimits(c.Sub(0, step+1, c.Width(), h-step-1))
	}
}

// drawSide is the third column of a wide screen: limits, circuit, people.
func (m *Model) drawSide(c canvas.Canvas) {
	h, w := c.Height(), c.Width()
	n := min(len(m.forecast.limits)+1, max(h/2, 4))
	m.forecast.drawLimits(c.Sub(0, 0, w, n))
	y := n
	if h-y > 4 {
		rule(c.Sub(0, y, w, 1), 0)
		y += 1 + m.drawCircuit(c.Sub(0, y+1, w, h-y-1))
	}
	if h-y > 3 {
		rule(c.Sub(0, y, w, 1), 0)
		m.drawPeople(c.Sub(0, y+1, w, h-y-1))
	}
}

// toZero writes the whole seconds to zero.
func toZero(s *arming.State) string {
	return fmt.Sprintf("%d", int((s.ToZero()+time.Second-1)/time.Second))
}

// drawFiring is COUNT, WINDOW and RUN: the chain in one row, the figures as
// large as they go, and what the hand at the button does.
func (m *Model) drawFiring(c canvas.Canvas) {
	f := &m.frame
	s := &f.State
	w, h := c.Width(), c.Height()
	m.drawChainLine(c.Sub(0, 0, w, 1))
	y := 2
	size := bigtext.Tall
	if h >= 18 {
		size = bigtext.Huge
	}
	word, note := "", ""
	switch s.Phase {
	case arming.Count:
		word, note = toZero(s), "to zero"
	case arming.Window:
		left := time.Duration(0)
		if s.WindowEnds > s.Now.Mono {
			left = s.WindowEnds - s.Now.Mono
		}
		word = fmt.Sprintf("%d", int((left+time.Second-1)/time.Second))
		note = "left of the window"
	default:
		word, note = fmt.Sprintf("%.1f", s.Now.Since(s.RunPressAt).Seconds()), "s since the press"
	}
	x := bigtext.Draw(c, 2, y, theme.Count, word, size)
	c.Put(x+1, y+bigtext.Rows(size)-1, theme.Dim, note)
	t := m.atHand()
	side := c.Sub(w/2, y, w-w/2, h-y-2)
	wr := writer{c: side}
	wr.text(theme.Title, t.head)
	wr.text(theme.Strong, t.ask)
	wr.text(theme.Dim, t.hint)
	wr.text(theme.Dim, t.who)
	if s.Phase == arming.Run && f.Sheet != nil {
		wr.text(theme.Strong, fmt.Sprintf("keep it pressed %.1f s at least", f.Sheet.Firing.PulseS))
	}
	if m.form != nil {
		m.drawForm(&wr)
	}
	if f.Plan.Mode != arming.ModeBox {
		wr.text(theme.Live, "The laptop cannot stop this firing. A second person's hand stays on the key.")
	}
	m.drawTrouble(&wr, t)
	stopBand(c.Sub(0, h-1, w, 1), "SPACE IS HOLD, for anyone, for any doubt")
}

// stopBand is a row across the width about HOLD.
func stopBand(c canvas.Canvas, text string) {
	c.Fill(theme.Stop)
	c.Put(max(0, (c.Width()-canvas.Width(text))/2), 0, theme.Stop, text)
}

// drawHold is what held, on the whole width.
func (m *Model) drawHold(c canvas.Canvas) {
	f := &m.frame
	s := &f.State
	w, h := c.Width(), c.Height()
	rows := 4
	if h >= 20 {
		rows = 7
	}
	band := c.Sub(0, 0, w, rows)
	band.Fill(theme.Stop)
	x := 2
	if rows == 7 {
		x = bigtext.Draw(band, 2, 1, theme.Stop, "HOLD", bigtext.Tall) + 2
	}
	text := writer{c: band.Sub(x, 0, w-x-1, rows)}
	if rows == 7 {
		text.y = 1
	}
	text.text(theme.Stop, "HOLD: "+s.HoldWhy)
	text.text(theme.Stop, fmt.Sprintf("for %s, from %s. The permit is off; both arming acts are asked again.", short(s.Now.Since(s.Entered)), s.HoldFrom))
	text.text(theme.Stop, "Called by: "+orElse(s.HoldCaller, "not said yet"))
	text.text(theme.Stop, "Only the range officer resumes: "+orElse(s.Crew.Range, "nobody has signed on"))
	left := 38
	m.drawTasks(c.Sub(0, rows+1, left, h-rows-1))
	divider(c.Sub(0, rows, w, h-rows), left, h-rows)
	m.drawStep(c.Sub(left+2, rows+1, w-left-2, h-rows-1))
}

// drawTasks lists what can be done now.
func (m *Model) drawTasks(c canvas.Canvas) {
	list, _ := tasks(&m.frame)
	hand := m.atHand()
	from := 0
	for i := range list {
		if list[i].id == hand.id && i >= c.Height() {
			from = i - c.Height() + 1
		}
	}
	for y := 0; y < c.Height() && from+y < len(list); y++ {
		t := &list[from+y]
		sign, style := "○", theme.Text
		if t.done {
			sign, style = "●", theme.Stands
		}
		if t.id == hand.id {
			c.Put(0, y, theme.Key, "▸")
			style = theme.Strong
		}
		c.Put(2, y, style, sign)
		c.Put(4, y, style, canvas.Fit(t.head, c.Width()-4))
	}
}

// drawWait is the wait as a clock that nothing shortens, with what it waits
// for.
func (m *Model) drawWait(c canvas.Canvas) {
	f := &m.frame
	s := &f.State
	w, h := c.Width(), c.Height()
	left := int((s.WaitLeft + time.Second - 1) / time.Second)
	clock := fmt.Sprintf("%d:%02d", left/60, left%60)
	x := bigtext.Draw(c, 1, 0, theme.Count, clock, bigtext.Tall) + 2
	side := writer{c: c.Sub(x, 0, w-x, 5)}
	side.text(theme.Broken, "NOBODY GOES FORWARD")
	stops := s.WaitStops(f.Plan)
	switch {
	case left == 0 && len(stops) == 0:
		side.text(theme.Strong, "The wait is over. The range officer may send one person forward.")
	case len(stops) == 0:
		side.text(theme.Text, "The wait runs. Key in, button, live bus, movement or a changed reading start it again.")
	default:
		side.text(theme.Text, "The wait does not run:")
		for _, why := range stops {
			side.text(theme.Strong, "· "+why)
		}
	}
	if f.Plan.WaitSpeed > 1 {
		side.text(theme.Practice, fmt.Sprintf("PRACTICE: the wait runs %d times as fast", f.Plan.WaitSpeed))
	}
	if s.HoldWhy != "" {
		side.text(theme.Dim, "began: "+s.HoldWhy)
	}
	rest := c.Sub(0, 6, w, h-6)
	m.drawAfter(rest)
}

// drawAfter is the vehicle from behind, what can be done, and the task at hand.
func (m *Model) drawAfter(c canvas.Canvas) {
	w, h := c.Width(), c.Height()
	left := 38
	rows := m.drawVehicle(c.Sub(0, 0, left, h))
	m.drawTasks(c.Sub(0, rows, left, h-rows))
	divider(c, left, h)
	m.drawStep(c.Sub(left+2, 0, w-left-2, h))
}

// drawMakeSafe is the phase in which one named person is forward.
func (m *Model) drawMakeSafe(c canvas.Canvas) {
	s := &m.frame.State
	w, h := c.Width(), c.Height()
	text := "Nobody is forward. Everybody stays behind the line."
	if gone := forwardNames(s); s.Line == arming.LineOpen && len(gone) > 0 {
		text = gone[0] + " is forward, alone, with the key. Everybody else stays."
	}
	if s.Line == arming.LineUnknown {
		text = "Nobody knows who is forward: everyone back, and count."
	}
	stopBand(c.Sub(0, 0, w, 1), text)
	m.drawAfter(c.Sub(0, 1, w, h-1))
}

// drawClosed says where the record is and how anyone can check it.
func (m *Model) drawClosed(c canvas.Canvas) {
	f := &m.frame
	w := writer{c: c.Sub(1, 1, c.Width()-2, c.Height()-1)}
	w.text(theme.Title, "THE FIRING IS OVER")
	r := f.Record
	w.text(theme.Text, fmt.Sprintf("record: %s, %d lines", orElse(r.Path, "none"), r.Lines))
	switch {
	case r.Fault != "":
		w.text(theme.Bad, "record fault: "+r.Fault)
	case r.Signed == "":
		w.text(theme.Lapsing, "not signed yet")
	default:
		w.text(theme.Stands, "signed by "+r.Signed)
	}
	if r.KeyNew != "" {
		w.text(theme.Text, "a signing key was made at "+r.KeyNew+": keep it, and tell others its public half")
	}
	if r.Path != "" {
		w.y++
		w.text(theme.Text, "to check chain, signature and replay:")
		w.text(theme.Strong, "holdline verify "+r.Path)
	}
	w.y++
	w.text(theme.Dim, "ctrl+c leaves")
}
