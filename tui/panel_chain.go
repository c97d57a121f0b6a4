package tui

import (
	"fmt"
	"strings"
	"time"

	"holdline/arming"
	"holdline/tui/canvas"
	"holdline/tui/theme"
)

// hardware is one of the contacts in the firing loop itself.
type hardware struct {
	name  string
	state arming.Contact
}

// loop lists the hardware contacts in the order in which current passes them.
// Without a box there is no permit, and nobody reads the others.
func loop(f *Frame) []hardware {
	b := &f.State.Box
	if f.Plan.Mode != arming.ModeBox {
		key := arming.ContactUnknown
		if f.State.SaidLately(f.Plan, arming.FactKeyOut) {
			key = arming.ContactOpen
		}
		return []hardware{{"key", key}, {"button", arming.ContactUnknown}}
	}
	if !b.Up {
		return []hardware{{"key", 0}, {"permit", 0}, {"button", 0}}
	}
	return []hardware{{"key", b.Key}, {"permit", b.Permit}, {"button", button(b)}}
}

// drawChain is the series line from the battery to the igniters: every gate a
// contact in it, solid to the first open one and dashed beyond.
func (m *Model) drawChain(c canvas.Canvas) {
	f := &m.frame
	if f.Plan == nil {
		return
	}
	links := f.State.Chain(f.Plan)
	y := 0
	rows := len(links) + 2
	if f.Plan.Mode != arming.ModeBox {
		rows++
	}
	if c.Height() >= rows {
		c.Put(1, 0, theme.Stands, "┏━ battery")
		if f.State.Box.Up && f.Plan.Mode == arming.ModeBox {
			drawReading(c, 12, 0, f, volts(f.State.Box.Battery))
		}
		y++
	}
	passes := true
	spare := c.Height() - rows
	for i := range links {
		y = m.drawLink(c, y, &links[i], passes, spare > 0)
		if !links[i].Stands && passes {
			passes, spare = false, spare-1
		}
	}
	drawLoop(c, y, f, passes)
	if f.Plan.Mode != arming.ModeBox {
		c.Put(1, y+1, theme.Live, canvas.Fit("the laptop cannot stop this firing", c.Width()-1))
	}
}

// drawReading writes something read, with the word that it is practice.
func drawReading(c canvas.Canvas, x, y int, f *Frame, text string) {
	x = c.Put(x, y, theme.Text, text) + 1
	if f.Practice {
		c.Put(x, y, theme.Hands, "PRACTICE")
	}
}

// drawLink draws one gate and returns the row after it. The first open one
// breaks the line and says why, on a row of its own where there is room.
func (m *Model) drawLink(c canvas.Canvas, y int, l *arming.Link, passes, room bool) int {
	w := c.Width()
	name := l.Gate.String()
	if l.Stands && w > 56 {
		m.drawEvidence(c.Sub(30, y, w-44, 1), l)
	}
	switch {
	case l.Stands:
		sign, signStyle, style := "┊●", theme.Dim, theme.Dim
		if passes {
			sign, signStyle, style = "┣●", theme.Stands, theme.Text
		}
		c.Put(1, y, signStyle, sign)
		c.Put(4, y, style, canvas.Fit(name, w-16))
		drawAge(c, y, l)
	case passes:
		c.Put(1, y, theme.Broken, "┗╱")
		x := c.Put(4, y, theme.Broken, canvas.Fit(strings.ToUpper(name), w-5))
		count := fmt.Sprintf("%d of %d", l.Done, l.Steps)
		c.PutRight(w, y, theme.Broken, count)
		switch why := whyText(l.Why); {
		case room:
			y++
			c.Put(1, y, theme.Dim, "┊")
			c.Put(4, y, theme.Text, canvas.Fit(why, w-4))
		case w-x-2-len(count) >= canvas.Width(why):
			c.Put(x+1, y, theme.Text, why)
		}
	default:
		c.Put(1, y, theme.Dim, "┊○")
		c.Put(4, y, theme.Dim, canvas.Fit(name, w-13))
		c.PutRight(w, y, theme.Dim, fmt.Sprintf("%d of %d", l.Done, l.Steps))
	}
	return y + 1
}

// drawEvidence is the newest answer that a gate rests on.
func (m *Model) drawEvidence(c canvas.Canvas, l *arming.Link) {
	f := &m.frame
	newest := -1
	for i := range f.Plan.Steps {
		e := &f.State.Evidence[i]
		if f.Plan.Steps[i].Gate == l.Gate && e.Present && (newest < 0 || e.At.Mono >= f.State.Evidence[newest].At.Mono) {
			newest = i
		}
	}
	if newest < 0 {
		return
	}
	st := &f.Plan.Steps[newest]
	mark := practiceMark(f, st)
	c.Put(0, 0, theme.Dim, canvas.Fit(answerText(st, &f.State.Evidence[newest], f.Units), c.Width()-len(mark))+mark)
}

// whyText leaves out the step's own name, which the gate's says already.
func whyText(why string) string {
	if _, after, found := strings.Cut(why, ": "); found {
		return after
	}
	return why
}

// liveOf is the longest age of evidence that is renewed by the box all the
// time; its bar would only flicker. Nothing typed or said ages so fast.
const liveOf = 5 * time.Second

// drawAge is how long the shortest answer of a gate still lasts, as a bar that
// shrinks.
func drawAge(c canvas.Canvas, y int, l *arming.Link) {
	w := c.Width()
	if l.Left == arming.MaxAge || l.Of <= 0 {
		c.PutRight(w, y, theme.Dim, fmt.Sprintf("%d of %d", l.Done, l.Steps))
		return
	}
	share := float64(l.Left) / float64(l.Of)
	style := theme.Stands
	if l.Of <= liveOf { // renewed by every answer of the box
		c.PutRight(w, y, theme.Stands, "live")
		return
	}
	if share < 0.25 {
		style = theme.Lapsing
	}
	left := short(l.Left)
	c.PutRight(w, y, theme.Dim, left)
	c.PutRight(w-7, y, style, bar(share, 5))
}

// drawLoop is the last row of the chain: the hardware contacts as they stand.
func drawLoop(c canvas.Canvas, y int, f *Frame, passes bool) {
	x := 1
	if passes {
		x = c.Put(x, y, theme.Stands, "┗")
	} else {
		x = c.Put(x, y, theme.Dim, "┊")
	}
	x = drawContacts(c, x, y, f, passes, "")
	if f.Practice && x+9 <= c.Width() {
		c.PutRight(c.Width(), y, theme.Hands, "PRACTICE")
	}
}

// drawContacts draws the contacts of the loop and the end of the line, with
// what it leads to.
func drawContacts(c canvas.Canvas, x, y int, f *Frame, passes bool, to string) int {
	for _, h := range loop(f) {
		x = drawContact(c, x, y, h, &passes)
	}
	if passes {
		return c.Put(x, y, theme.Live, "━▶"+to)
	}
	return c.Put(x, y, theme.Dim, "┄▷"+to)
}

// drawContact draws a contact of the loop: a stroke that stands off the line
// while it is open, a dot on it while it is closed.
func drawContact(c canvas.Canvas, x, y int, h hardware, passes *bool) int {
	mark, line, style := "╱", "┄", theme.Dim
	if *passes {
		line, style = "━", theme.Stands
	}
	x = c.Put(x, y, style, line)
	switch h.state {
	case arming.ContactClosed:
		mark = "●"
	case arming.ContactUnknown:
		mark = "?"
	}
	if h.state != arming.ContactClosed && *passes {
		*passes, style = false, theme.Broken
	}
	x = c.Put(x, y, style, mark)
	return c.Put(x, y, theme.Text, h.name)
}

// drawChainLine is the chain in one row, for the count.
func (m *Model) drawChainLine(c canvas.Canvas) {
	f := &m.frame
	if f.Plan == nil {
		return
	}
	passes := true
	x := c.Put(0, 0, theme.Dim, "battery")
	for _, l := range f.State.Chain(f.Plan) {
		mark, style := "━●", theme.Stands
		if !l.Stands {
			mark = "━╱"
		}
		switch {
		case !passes:
			mark, style = strings.Replace(mark, "━", "┄", 1), theme.Dim
		case !l.Stands:
			passes, style = false, theme.Broken
		}
		x = c.Put(x, 0, style, mark)
	}
	x = drawContacts(c, x, 0, f, passes, " igniters")
	if f.Practice {
		c.Put(x+1, 0, theme.Hands, "PRACTICE")
	}
}
