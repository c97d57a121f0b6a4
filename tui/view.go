package tui

import (
	"strings"

	"holdline/arming"
	"holdline/tui/bigtext"
	"holdline/tui/canvas"
	"holdline/tui/theme"
)

// The least size that shows all that matters.
const (
	leastW = 80
	leastH = 24
)

// View returns the screen, drawn anew when something has changed.
func (m *Model) View() string {
	if m.view == "" || m.changed {
		m.view, m.changed = m.drawn(), false
	}
	return m.view
}

// drawn draws the screen.
func (m *Model) drawn() string {
	c := canvas.Empty(m.canvas, m.w, m.h, m.cfg.ASCII, theme.Text)
	m.canvas = c
	switch {
	case m.w < leastW || m.h < leastH:
		m.drawSmall(c)
	default:
		m.draw(c)
	}
	return m.theme.View(c)
}

// drawSmall says what matters in any size: the state, HOLD, and what is amiss.
func (m *Model) drawSmall(c canvas.Canvas) {
	f := &m.frame
	y := 0
	line := func(s canvas.Style, text string) {
		for _, l := range canvas.Wrap(text, c.Width()) {
			c.Put(0, y, s, l)
			y++
		}
	}
	word := f.State.Phase.String()
	if c.Height() >= 9 && bigtext.Width(word, bigtext.Low) <= c.Width() {
		bigtext.Draw(c, 0, 0, theme.Strong, word, bigtext.Low)
		y = 4
	} else {
		line(theme.Strong, word)
	}
	if f.Practice {
		line(theme.Practice, practiceWord(f))
	}
	line(theme.Stop, holdHint(f.State.Phase).key+" = "+holdHint(f.State.Phase).does)
	line(theme.Live, f.heard())
	line(theme.Live, f.Loud)
	if f.State.Phase == arming.Count {
		line(theme.Count, toZero(&f.State)+" s to zero")
	}
	line(theme.Text, "line "+f.State.Line.String())
	line(theme.Text, m.pulse.String())
	line(theme.Dim, "window too small: make it 80 by 24")
}

// draw lays the screen out: the head, what the phase needs, the strip, the log
// and the keys. Everything below the head moves with the size.
func (m *Model) draw(c canvas.Canvas) {
	f := &m.frame
	w := c.Width()
	size := bigtext.Low
	if w >= 100 && c.Height() >= 30 {
		size = bigtext.Tall
	}
	top := bigtext.Rows(size)
	m.drawHead(c.Sub(0, 0, w, top+1), size)

	bottom := c.Height()
	keyRows := 2
	if c.Height() < 30 && m.cfg.Move != nil {
		keyRows = 1 // the other row is the hands'
	}
	next := func(rows int) canvas.Canvas {
		bottom -= rows
		return c.Sub(0, bottom, w, rows)
	}
	m.drawKeys(next(keyRows))
	if m.cfg.Move != nil {
		drawHands(next(1), f)
	}
	for _, text := range []string{f.Loud, f.heard()} {
		if text != "" {
			drawLoud(next(1), text)
		}
	}
	body := c.Sub(0, top+1, w, bottom-top-1)
	if m.page != pageMain {
		m.drawPage(body)
		return
	}
	logRows := m.logRows(body.Height())
	drawLog(body.Sub(0, body.Height()-logRows, w, logRows), f)
	body = body.Sub(0, 0, w, body.Height()-logRows)
	stripRows := 3
	if extra := body.Height() - 3 - stageRows(f.State.Phase); extra > 2 {
		stripRows += min(extra, 14)
	}
	m.drawStrip(body.Sub(0, body.Height()-stripRows, w, stripRows))
	stage := body.Sub(0, 0, w, body.Height()-stripRows)
	m.drawStage(stage)
	if m.touring() {
		m.drawTour(stage)
	}
}

// logRows says how much of the log there is room for.
func (m *Model) logRows(h int) int {
	switch {
	case h >= 40:
		return 6
	case h >= 30:
		return 4
	case h >= 22:
		return 3
	case m.frame.Loud != "", m.frame.heard() != "":
		return 0
	}
	return 1
}

// drawHead is the state in large letters, what is proved of the circuit, the
// line, and the row of readings.
func (m *Model) drawHead(c canvas.Canvas, size bigtext.Size) {
	f := &m.frame
	s := &f.State
	style := theme.Strong
	if s.Phase == arming.Hold {
		style = theme.Broken
	}
	x := bigtext.Draw(c, 0, 0, style, s.Phase.String(), size) + 1
	side := c.Sub(x, 0, c.Width()-x, c.Height()-1)
	w := side.Width()

	line := "line " + s.Line.String()
	lineStyle := theme.Stands
	if s.Line != arming.LineClosed {
		lineStyle = theme.Lapsing
	}
	side.PutRight(w, 0, lineStyle, line)
	side.Put(0, 0, theme.Strong, canvas.Fit(f.Title, w-len(line)-1))

	proved := w
	if f.Practice {
		side.PutRight(w, 1, theme.Practice, practiceWord(f))
		proved -= 1 + len(practiceWord(f))
	}
	if why := m.notSafe(); len(why) == 0 {
		side.Put(0, 1, theme.Proved, " SAFE ")
		side.Put(7, 1, theme.Dim, canvas.Fit("key out, battery off, permit open, bus dead", proved-7))
	} else {
		side.Put(0, 1, theme.Broken, canvas.Fit("NOT PROVED SAFE: "+strings.Join(why, ", "), proved))
	}

	beat := m.pulse.String()
	side.PutRight(w, 2, theme.Text, beat)
	mode := f.Box
	if m.pulse.link != "" {
		mode = m.pulse.link
	}
	side.Put(0, 2, theme.Dim, canvas.Fit(mode, w-canvas.Width(beat)-1))
	if side.Height() > 3 {
		side.Put(0, 3, theme.Dim, canvas.Fit(f.Box, w))
		side.Put(0, 4, theme.Dim, canvas.Fit(recordText(f), w))
	}
	m.drawReadings(c.Sub(0, c.Height()-1, c.Width(), 1))
}

// notSafe is the proof that allows the word SAFE.
func (m *Model) notSafe() []string {
	if m.frame.Plan == nil {
		return []string{"no plan"}
	}
	return m.frame.State.NotSafe(m.frame.Plan)
}

func recordText(f *Frame) string {
	switch {
	case f.Record.Fault != "":
		return "record: " + f.Record.Fault
	case f.Record.Path == "":
		return ""
	}
	return "record " + f.Record.Path
}

// drawReadings is the row of what the box reads, or says that none does.
func (m *Model) drawReadings(c canvas.Canvas) {
	f := &m.frame
	c.Fill(theme.Bar)
	x := 0
	if f.Practice {
		x = c.Put(0, 0, theme.Practice, practiceWord(f)) + 2
	}
	c.Put(x, 0, theme.Bar, canvas.Fit(readings(f, c.Width()-x), c.Width()-x))
}

func readings(f *Frame, w int) string {
	b := &f.State.Box
	if f.Plan == nil || f.Plan.Mode != arming.ModeBox {
		return "no permit contact: the laptop cannot stop this firing"
	}
	if !b.Up {
		return "no fresh answer from the box: nothing is known of key, permit, button or bus"
	}
	parts := []string{"key " + keyWord(b.Key), "permit " + b.Permit.String(), "button " + button(b).String(),
		"battery " + volts(b.Battery), "bus " + volts(b.Bus)}
	text := strings.Join(parts, " · ")
	if canvas.Width(text) > w {
		text = strings.Join(parts, "  ")
	}
	return text
}

func keyWord(c arming.Contact) string {
	switch c {
	case arming.ContactOpen:
		return "out"
	case arming.ContactClosed:
		return "in"
	}
	return "unknown"
}

// drawKeys is the row of what the keys do now.
func (m *Model) drawKeys(c canvas.Canvas) {
	x, y := 0, 0
	for i, h := range m.hints() {
		need := canvas.Width(h.key) + 1 + canvas.Width(h.does)
		if x+need > c.Width() {
			x, y = 0, y+1
			if y >= c.Height() {
				return
			}
		}
		style := theme.Key
		if i == 0 && h.key == "space" {
			style = theme.Stop
		}
		x = c.Put(x, y, style, h.key) + 1
		x = c.Put(x, y, theme.Text, h.does) + 2
	}
}

func drawLoud(c canvas.Canvas, text string) {
	c.Fill(theme.Live)
	c.Put(1, 0, theme.Live, canvas.Fit(text, c.Width()-2))
}

// drawHands is the strip of the practice box's hands, which are no part of the
// cockpit.
func drawHands(c canvas.Canvas, f *Frame) {
	x := c.Put(0, 0, theme.Practice, choose(f.Drill != nil, practiceWord(f), "PRACTICE hands")) + 1
	if f.Hands == nil {
		return
	}
	h := f.Hands
	for _, k := range []struct{ key, name, is string }{
		{"F5", "key", choose(h.KeyIn, "in", "out")},
		{"F6", "battery", choose(h.Battery, "on", "off")},
		{"F7", "igniters", choose(h.Igniters, "on", "off")},
		{"F8", "shunt", choose(h.Shunt, "on", "off")},
		{"F9", "button", choose(h.Button, "DOWN", "")},
	} {
		if c.Width() < 90 && k.key == "F7" {
			k.name = "leads"
		}
		x = c.Put(x, 0, theme.Hands, k.key+" "+k.name+" "+k.is) + 1
	}
}

func choose(is bool, yes, no string) string {
	if is {
		return yes
	}
	return no
}

// drawLog is the newest of what happened, the newest first.
func drawLog(c canvas.Canvas, f *Frame) {
	for y := 0; y < c.Height() && y < len(f.Log); y++ {
		drawLogLine(c, y, f, f.Log[len(f.Log)-1-y])
	}
}

func drawLogLine(c canvas.Canvas, y int, f *Frame, l LogLine) {
	w := c.Width()
	if f.Practice {
		c.PutRight(w, y, theme.Hands, practiceWord(f))
		w -= 1 + len(practiceWord(f))
	}
	style := theme.Text
	if l.Loud {
		style = theme.Broken
	}
	x := c.Put(0, y, theme.Dim, l.Wall.Format("15:04:05")) + 1
	c.Put(x, y, style, canvas.Fit(l.Text, w-x))
}
