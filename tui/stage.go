package tui

import (
	"cmp"
	"fmt"
	"strings"
	"time"

	"holdline/arming"
	"holdline/tui/bigtext"
	"holdline/tui/canvas"
	"holdline/tui/limits"
	"holdline/tui/theme"
)

// stageRows is how many rows the middle needs in a phase; the strip gets what
// is left.
func stageRows(p arming.Phase) int {
	switch p {
	case arming.Count, arming.Window, arming.Run:
		return 15
	case arming.Hold, arming.Wait, arming.MakeSafe, arming.Closed:
		return 20
	}
	return 24
}

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

// chainColumns is where the chain of the ordinary middle ends.
func chainColumns(w int) int {
	switch {
	case w >= 180:
		return 66
	case w >= 120:
		return 50
	}
	return 38
}

// drawWork is the cockpit's ordinary middle: the chain on the left, the step at
// hand and the predicted run on the right, more where there is room.
func (m *Model) drawWork(c canvas.Canvas) {
	w, h := c.Width(), c.Height()
	left := chainColumns(w)
	m.drawChain(c.Sub(0, 0, left-1, h))
	divider(c, left, h)
	if w < 150 {
		m.drawRight(c.Sub(left+2, 0, w-left-2, h))
		return
	}
	side := 58
	m.drawSide(c.Sub(w-side, 0, side, h))
	divider(c, w-side-2, h)
	mid := c.Sub(left+2, 0, w-left-side-5, h)
	step := 14
	m.drawStep(mid.Sub(0, 0, mid.Width(), step))
	rule(mid, step, theme.Rule)
	m.drawTasks(mid.Sub(0, step+1, mid.Width(), h-step-1))
}

func divider(c canvas.Canvas, x, h int) {
	for y := 0; y < h; y++ {
		c.Put(x, y, theme.Rule, "│")
	}
}

func rule(c canvas.Canvas, y int, s canvas.Style) { c.Put(0, y, s, strings.Repeat("─", c.Width())) }

// drawRight is the step at hand above the predicted run. The step takes what
// it needs.
func (m *Model) drawRight(c canvas.Canvas) {
	h := c.Height()
	used := m.drawStep(c)
	at := max(used, min(9, h-6), h-6-len(limits.Tightest(m.forecast.limits)))
	if h-at < 4 {
		return
	}
	rule(c, at, theme.Rule)
	m.drawRun(c.Sub(0, at+1, c.Width(), h-at-1))
}

// drawSide is the third column of a wide screen: run, circuit, people.
func (m *Model) drawSide(c canvas.Canvas) {
	h, w := c.Height(), c.Width()
	tail := m.frame.Plan.Motors + len(m.frame.Plan.Posts) + 8
	n := max(6, min(5+len(limits.Tightest(m.forecast.limits)), h-tail))
	m.drawRun(c.Sub(0, 0, w, n))
	y := n
	rule(c, y, theme.Rule)
	y += 1 + m.drawCircuit(c.Sub(0, y+1, w, h-y-1))
	y += m.drawTrace(c.Sub(0, y, w, min(2, h-y)))
	if h-y > 3 {
		rule(c, y, theme.Rule)
		m.drawPeople(c.Sub(0, y+1, w, h-y-1))
	}
}

// toZero writes the whole seconds to zero.
func toZero(s *arming.State) string {
	return fmt.Sprintf("%d", int((s.ToZero()+time.Second-1)/time.Second))
}

// clockFace is what the large figures show in COUNT, WINDOW and RUN: the
// figures, what they count, and the share that is left.
func clockFace(f *Frame) (figures, note string, share float64) {
	s := &f.State
	switch s.Phase {
	case arming.Count:
		note = "to zero"
		if s.Paused {
			note = "to zero: PAUSE"
		}
		return toZero(s), note, float64(s.ToZero()) / float64(max(f.Plan.Times.Count, 1))
	case arming.Window:
		left := max(0, s.WindowEnds-s.Now.Mono)
		return fmt.Sprintf("%d", int((left+time.Second-1)/time.Second)), "left of the window", float64(left) / float64(max(f.Plan.Times.Window, 1))
	}
	since := s.Now.Since(s.RunPressAt).Seconds()
	share = 1
	if f.Sheet != nil && f.Sheet.Firing.PulseS > 0 {
		share = max(0, 1-since/f.Sheet.Firing.PulseS)
	}
	return fmt.Sprintf("%.1f", since), "s pressed", share
}

// drawFiring is COUNT, WINDOW and RUN: the chain in one row, the figures as
// large as they go, and what the hand at the button does.
func (m *Model) drawFiring(c canvas.Canvas) {
	f := &m.frame
	w, h := c.Width(), c.Height()
	m.drawChainLine(c.Sub(0, 0, w, 1))
	size := bigtext.Tall
	if h >= 13 {
		size = bigtext.Huge
	}
	figures, note, share := clockFace(f)
	y := 2
	x := bigtext.Draw(c, 2, y, theme.Count, figures, size)
	c.Put(x+1, y+bigtext.Rows(size)-1, theme.Dim, note)
	under := y + bigtext.Rows(size) + 1
	if under < h-1 {
		c.Put(2, under, theme.Curve, bar(share, w/2-6))
	}
	t := m.atHand()
	wr := canvas.Pen{C: c.Sub(w/2, y, w-w/2, h-y-2)}
	wr.Text(theme.Title, t.head)
	wr.Text(theme.Strong, t.ask)
	if f.State.Phase == arming.Run && f.Sheet != nil {
		wr.Text(theme.Strong, fmt.Sprintf("%.1f s at least.", f.Sheet.Firing.PulseS))
	}
	wr.Text(theme.Dim, t.who)
	wr.Text(theme.Dim, t.hint)
	m.drawHand(&wr, t)
	if m.form != nil {
		m.drawForm(&wr)
	}
	if f.Plan.Mode != arming.ModeBox {
		wr.Text(theme.Live, "The laptop cannot stop this firing. A second person's hand stays on the key.")
	}
	m.drawTrouble(&wr)
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
	rows := 5
	if h >= 18 {
		rows = 7
	}
	band := c.Sub(0, 0, w, rows)
	band.Fill(theme.Stop)
	top := (rows - 5) / 2
	x := bigtext.Draw(band, 2, top, theme.Stop, "HOLD", bigtext.Tall) + 2
	text := canvas.Pen{C: band.Sub(x, top, w-x-1, 5)}
	text.Text(theme.Stop, "What held: "+s.HoldWhy)
	text.Text(theme.Stop, fmt.Sprintf("Since %s, for %s, from %s", m.since(s.Entered), short(s.Now.Since(s.Entered)), s.HoldFrom))
	text.Text(theme.Stop, "Dropped: the permit and both arming acts")
	text.Text(theme.Stop, "Called by: "+cmp.Or(s.HoldCaller, "not said yet"))
	text.Text(theme.Stop, "Resumes: only the range officer, "+cmp.Or(s.Crew.Range, "not signed on"))
	m.drawBelow(c.Sub(0, rows+1, w, h-rows-1), nil)
}

// since writes the wall time of a moment of the record.
func (m *Model) since(at arming.Instant) string {
	s := &m.frame.State
	return m.frame.Wall.Add(at.Wall - s.Now.Wall).Format("15:04:05")
}

// drawBelow is the list of what can be done on the left, under what top draws
// there, and the task at hand on the right.
func (m *Model) drawBelow(c canvas.Canvas, top func(canvas.Canvas) int) {
	w, h := c.Width(), c.Height()
	left := 40
	if w >= 120 {
		left = 58
	}
	rows := 0
	if top != nil {
		rows = top(c.Sub(0, 0, left, h))
	}
	m.drawTasks(c.Sub(0, rows, left, h-rows))
	divider(c, left, h)
	m.drawStep(c.Sub(left+2, 0, w-left-2, h))
}

// drawTasks lists what can be done now.
func (m *Model) drawTasks(c canvas.Canvas) {
	all, hand := m.list, m.atHand()
	list := make([]task, 0, len(all))
	at := 0
	for _, t := range all {
		if t.motor > 0 { // stands with its fate
			continue
		}
		if t.id == hand.id {
			at = len(list)
		}
		list = append(list, t)
	}
	from := max(0, min(at-c.Height()/2, len(list)-c.Height()))
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
		c.Put(4, y, style, canvas.Fit(t.head, min(c.Width()-4, 26)))
		if c.Width() > 44 && t.step >= 0 {
			m.drawTaskNote(c, y, t)
		}
	}
}

// drawTaskNote is the answer of a step beside its name.
func (m *Model) drawTaskNote(c canvas.Canvas, y int, t *task) {
	f := &m.frame
	st, e := &f.Plan.Steps[t.step], &f.State.Evidence[t.step]
	if e.Present {
		text := answerText(st, e, f.Units)
		mark := practiceMark(f, st)
		c.Put(31, y, theme.Dim, canvas.Fit(text, c.Width()-32-len(mark))+mark)
	}
}

// drawWait is the wait as a clock that nothing shortens, with what it waits
// for.
func (m *Model) drawWait(c canvas.Canvas) {
	s := &m.frame.State
	w, h := c.Width(), c.Height()
	left := int((s.WaitLeft + time.Second - 1) / time.Second)
	clock := fmt.Sprintf("%d:%02d", left/60, left%60)
	x := bigtext.Draw(c, 1, 0, theme.Count, clock, bigtext.Tall) + 3
	c.Put(1, 5, theme.Curve, bar(float64(s.WaitLeft)/float64(max(m.frame.Plan.Times.Wait, 1)), max(x-4, 5)))
	side := canvas.Pen{C: c.Sub(x, 0, w-x, 6)}
	m.drawWaitText(&side, left)
	m.drawBelow(c.Sub(0, 7, w, h-7), m.drawVehicle)
}

func (m *Model) drawWaitText(side *canvas.Pen, left int) {
	f := &m.frame
	s := &f.State
	side.Text(theme.Live, " NOBODY GOES FORWARD ")
	stops := s.WaitStops(f.Plan)
	switch {
	case left == 0 && len(stops) == 0:
		side.Text(theme.Strong, "The wait is over. The range officer may send one person forward.")
	case len(stops) == 0:
		side.Text(theme.Strong, "The wait runs.")
		side.Text(theme.Dim, "Key in, button, live bus, a changed reading or anything seen starts it again.")
	default:
		side.Text(theme.Strong, "The wait does not run:")
		for _, why := range stops {
			side.Text(theme.Broken, "· "+why)
		}
	}
	if f.Plan.WaitSpeed > 1 {
		side.Text(theme.Practice, fmt.Sprintf("PRACTICE: the clock runs %d times as fast", f.Plan.WaitSpeed))
	}
	if s.HoldWhy != "" {
		side.Text(theme.Dim, "from full since "+m.since(s.Entered)+": "+s.HoldWhy)
	}
	m.drawPulse(side)
}

// drawPulse is how long the button was kept pressed against the sheet's pulse
//
func (m *Model) drawPulse(w *canvas.Pen) {
	if m.pressed <= 0 || m.frame.Sheet == nil {
		return
	}
	due := m.frame.Sheet.Firing.PulseS
	text := fmt.Sprintf("pressed %.1f s, the sheet asks %.1f s", m.pressed.Seconds(), due)
	if m.frame.Practice {
		text += " PRACTICE"
	}
	if m.pressed.Seconds() < due {
		w.Text(theme.Broken, text+": any motor may be starved")
		return
	}
	w.Text(theme.Dim, text)
}

// drawMakeSafe is the phase in which one named person is forward.
func (m *Model) drawMakeSafe(c canvas.Canvas) {
	s := &m.frame.State
	w, h := c.Width(), c.Height()
	text := "Nobody is forward. Everybody stays behind the line."
	if gone := s.ForwardNames(); s.Line == arming.LineOpen && len(gone) > 0 {
		text = gone[0] + " is FORWARD, alone, with the key. Everybody else stays."
	}
	if s.Line == arming.LineUnknown {
		text = "Nobody knows who is forward: everyone back, and count."
	}
	stopBand(c.Sub(0, 0, w, 1), text)
	m.drawBelow(c.Sub(0, 2, w, h-2), m.drawVehicle)
}

// drawClosed says where the record is and how anyone can check it.
func (m *Model) drawClosed(c canvas.Canvas) {
	f := &m.frame
	leave := "ctrl+c leaves"
	if f.Drill != nil {
		leave += ", and tells how the drill went"
	}
	c.PutRight(c.Width(), 0, theme.Text, leave)
	w := canvas.Pen{C: c.Sub(1, 0, c.Width()-2, c.Height())}
	w.Text(theme.Title, "THE FIRING IS OVER")
	r := f.Record
	switch {
	case r.Fault != "":
		w.Text(theme.Bad, "record fault: "+r.Fault)
	case r.Signed == "":
		w.Text(theme.Lapsing, fmt.Sprintf("%d lines, not signed yet", r.Lines))
	default:
		w.Text(theme.Stands, fmt.Sprintf("%d lines, closed and signed by %s", r.Lines, r.Signed))
	}
	if r.Path == "" {
		w.Text(theme.Bad, "no record")
		return
	}
	for _, text := range waived(f) {
		w.Text(theme.Lapsing, text)
	}
	m.drawCounter(&w)
	w.Text(theme.Dim, "The record. holdline verify and this path check its chain, signature and replay:")
	w.Text(theme.Strong, r.Path)
	if r.KeyNew != "" {
		w.Y++
		w.Text(theme.Dim, "A signing key was made on first use. Keep it, and give others its public half:")
		w.Text(theme.Text, r.KeyNew)
	}
}
