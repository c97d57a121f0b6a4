package tui

import (
	"fmt"

	"github.com/charmbracelet/bubbles/key"

	"holdline/arming"
	"holdline/checklist"
	"holdline/checklist/prediction"
	"holdline/tui/canvas"
	"holdline/tui/limits"
	"holdline/tui/theme"
)

// page is one of the screens.
type page int

// The pages. The zero value is the cockpit itself.
const (
	pageMain page = iota
	pageRun
	pageCircuit
	pagePeople
	pageLog
	pageSteps
	pageHelp
	pageWords
)

// pages are those beside the cockpit, each with the key that turns to it.
var pages = map[page]struct {
	key  key.Binding
	draw func(*Model, canvas.Canvas)
}{
	pageRun:     {keyRun, (*Model).drawRunPage},
	pageCircuit: {keyCircuit, (*Model).drawCircuitPage},
	pagePeople:  {keyPeople, (*Model).drawPeoplePage},
	pageLog:     {keyLog, (*Model).drawLogPage},
	pageSteps:   {keySteps, (*Model).drawStepsPage},
	pageHelp:    {keyHelp, (*Model).drawHelpPage},
	pageWords:   {keyWords, (*Model).drawWordsPage},
}

// drawPage fills everything between head and keys with another page. A form
// that is open stands at its lower end.
func (m *Model) drawPage(c canvas.Canvas) {
	body := c
	if m.form != nil {
		rows := min(len(m.form.fields)+4, c.Height())
		body = c.Sub(0, 0, c.Width(), c.Height()-rows)
		low := canvas.Pen{C: c.Sub(1, c.Height()-rows, c.Width()-2, rows)}
		rule(c.Sub(0, c.Height()-rows, c.Width(), 1), 0, theme.Rule)
		low.Y = 1
		low.Text(theme.Title, m.form.title)
		m.drawForm(&low)
	}
	pages[m.page].draw(m, body)
}

// drawRunPage is the prediction: speed over distance, the what-if cases, every
// limit with its source. It scrolls under its title.
func (m *Model) drawRunPage(c canvas.Canvas) {
	fc := &m.forecast
	w, h := c.Width(), c.Height()
	verdict, style := m.verdict()
	c.Put(0, 0, theme.Title, "PREDICTED RUN")
	c.PutRight(w, 0, style, verdict)
	chart := max(8, min(h/2, 18))
	total := chart + 6 + len(fc.stopping) + len(fc.limits)
	if fc.run != nil {
		total += len(fc.run.Notes) + 1
	}
	long := canvas.New(w, total, c.ASCII())
	m.drawStrip(long.Sub(0, 0, w, chart))
	y := chart + 1
	y += m.drawCases(long.Sub(0, y, w, total-y)) + 1
	long.Put(0, y, theme.Title, "LIMITS")
	limits.Draw(long.Sub(0, y+1, w, len(fc.limits)), fc.limits, m.frame.Units)
	if fc.run != nil {
		for i, note := range fc.run.Notes {
			long.Put(0, y+len(fc.limits)+2+i, theme.Dim, canvas.Fit(note, w))
		}
	}
	top := 1
	if how := m.changeSheet(); how != "" {
		c.Put(0, 1, theme.Text, canvas.Fit(how, w))
		top = 2
	}
	m.scroll = min(m.scroll, max(0, total-(h-1-top)))
	c.Sub(0, top, w, h-1-top).Copy(long, m.scroll)
	if more := total - (h - 1 - top) - m.scroll; more > 0 {
		c.Put(0, h-1, theme.Dim, fmt.Sprintf("↓ %d more rows: cases, then every limit", more))
	}
}

// drawCircuitPage is the firing circuit, igniter by igniter, with the live
// voltages and its limits.
func (m *Model) drawCircuitPage(c canvas.Canvas) {
	w, h := c.Width(), c.Height()
	y := m.drawCircuit(c) + 1
	y += m.drawTrace(c.Sub(0, y, w, 2)) + 1
	if cc := m.forecast.circuit; cc != nil {
		limits.Draw(c.Sub(0, y, w, h-y), cc.Limits, m.frame.Units)
		y += len(cc.Limits) + 1
		for _, r := range cc.Remedies {
			if r.Possible && y < h {
				c.Put(0, y, theme.Text, canvas.Fit("remedy: "+prediction.RemedyText(r, m.frame.Units), w))
				y++
			}
		}
	}
}

func (m *Model) drawPeoplePage(c canvas.Canvas) {
	c.Put(0, 0, theme.Title, "PEOPLE")
	m.drawPeople(c.Sub(0, 2, c.Width(), c.Height()-2))
}

// drawPeople lists who is signed on and where they are.
func (m *Model) drawPeople(c canvas.Canvas) {
	f := &m.frame
	if f.Plan == nil {
		return
	}
	s := &f.State
	y := 0
	row := func(role, name, note string) {
		if y >= c.Height() {
			return
		}
		x := c.Put(0, y, theme.Dim, canvas.Fit(role, 22))
		style := theme.Text
		if name == "" {
			name, style = "nobody signed on", theme.Lapsing
		}
		x = c.Put(max(x+1, 23), y, style, canvas.Fit(name, c.Width()-24)) + 2
		c.Put(x, y, theme.Strong, canvas.Fit(note, c.Width()-x))
		y++
	}
	forward := func(name string) string {
		for _, n := range s.Crew.Forward {
			if name != "" && fold(n) == fold(name) {
				if fold(s.Crew.KeyWith) == fold(name) {
					return "FORWARD, has the key"
				}
				return "FORWARD"
			}
		}
		if name != "" && fold(s.Crew.KeyWith) == fold(name) {
			return "has the key"
		}
		return ""
	}
	row("firing officer", s.Crew.Firing, forward(s.Crew.Firing))
	row("range officer", s.Crew.Range, forward(s.Crew.Range))
	for k, post := range f.Plan.Posts {
		if k < len(s.Crew.Spotter) {
			row("spotter, "+post, s.Crew.Spotter[k], forward(s.Crew.Spotter[k]))
		}
	}
	for _, n := range s.Crew.HookUp {
		if n != "" {
			row("hook-up person", n, forward(n))
		}
	}
	row("line", s.Line.String(), "")
	for _, n := range s.ForwardNames() {
		row("forward", n, "")
	}
}

// drawLogPage is everything that happened, the newest first.
func (m *Model) drawLogPage(c canvas.Canvas) {
	f := &m.frame
	c.Put(0, 0, theme.Title, "LOG")
	c.PutRight(c.Width(), 0, theme.Dim, fmt.Sprintf("%d lines in the record", f.Record.Lines))
	m.scroll = min(m.scroll, max(0, len(f.Log)-1))
	for y := 0; y+2 < c.Height(); y++ {
		k := len(f.Log) - 1 - m.scroll - y
		if k < 0 {
			return
		}
		drawLogLine(c, y+2, f, f.Log[k])
	}
}

// drawStepsPage is the whole routine; tab goes through it and enter answers.
func (m *Model) drawStepsPage(c canvas.Canvas) {
	f := &m.frame
	if f.Plan == nil {
		return
	}
	c.Put(0, 0, theme.Title, "THE ROUTINE")
	hand := m.atHand()
	at := max(hand.step, 0)
	rows := c.Height() - 2
	from := max(0, min(at-rows/2, len(f.Plan.Steps)-rows))
	for y := 0; y < rows && from+y < len(f.Plan.Steps); y++ {
		m.drawStepRow(c, y+2, from+y, hand.step)
	}
}

func (m *Model) drawStepRow(c canvas.Canvas, y, i, hand int) {
	f := &m.frame
	w := c.Width()
	st, e := &f.Plan.Steps[i], &f.State.Evidence[i]
	stands, why := f.State.Stands(f.Plan, i)
	sign, style := "○", theme.Text
	if stands {
		sign, style = "●", theme.Stands
	}
	if i == hand {
		c.Put(0, y, theme.Key, "▸")
	}
	c.Put(2, y, style, sign)
	c.Put(4, y, style, canvas.Fit(headOf(st), 24))
	note := why
	if e.Present && stands {
		note = answerText(st, e, f.Units) + practiceMark(f, st)
	}
	if st.Phase > checklist.Poll {
		note = st.Challenge
	}
	left := ""
	if l := f.State.Left(f.Plan, i); e.Present && l < arming.MaxAge {
		left = short(l)
	}
	c.PutRight(w, y, theme.Dim, left)
	c.Put(29, y, theme.Dim, canvas.Fit(note, w-30-len(left)))
}
