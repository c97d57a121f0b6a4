package tui

import (
	"fmt"

	"holdline/arming"
	"holdline/tui/canvas"
	"holdline/tui/strokes"
	"holdline/tui/theme"
)

// stop of the tour: what it explains and where that is. It is written beside
// it, never over it, and never over the head of the screen or its last rows.
type tourStop struct {
	title string
	where string // with an arrow
	left  bool   // stands on the left: what it explains is on the right
	text  []string
}

// tourStops are the stops, in order.
var tourStops = []tourStop{
	{"WELCOME: PRACTICE", "▲ above", false, []string{
		"An invented vehicle and a practice box: nothing real can fire.",
		"Top left is the state. SAFE beside it is never guessed but read. While all is alive the mark beside the clock turns."}},
	{"THE CHAIN", "◂ on the left", false, []string{
		"One line from the battery to the igniters. Each gate is a contact in it: ● carries it on, ○ breaks it.",
		"While one is open nothing can happen; the open one says why."}},
	{"THE STEP AT HAND", "▸ on the right", true, []string{
		"What is due, and who answers: the value that is seen, never 'ok'.",
		"enter opens its field and sends it, esc closes it, tab chooses another."}},
	{"THE STRIP", "▼ below", false, []string{
		"The ground to scale: crew ▲, start ┃, stops, rest ● with its spread, the worst single fault ◆, the end of the cleared length ┫.",
		"Once the sheet is predicted, p shows it at large."}},
	{"HOLD", "▼ the last row", false, []string{
		"Space is HOLD: anyone, at any doubt, in every state. It stops, and nobody asks why until later.",
		"Where nothing is armed yet, as now, it calls everyone back."}},
	{"THE LAPTOP NEVER FIRES", "◂ bottom left", false, []string{
		"It has one contact, the permit, and can only keep it open. A key and a button under a hand fire.",
		"Here F5 to F9 are those hands: yours, not the cockpit's."}},
	{"HOW TO LEAVE", "▼ the last row", false, []string{
		"ctrl+c stops first, then asks. ? shows the keys, g the words, i this tour.",
		"Then practise with surprises: holdline drill"}},
}

// mayTour reports whether the tour may stand on the screen: in practice alone,
// in SETUP, with nobody forward.
func (m *Model) mayTour() bool {
	return m.cfg.Move != nil && m.frame.Practice && m.frame.State.Phase == arming.Setup && m.frame.State.Line != arming.LineOpen
}

// touring reports whether a stop of the tour is on the screen now.
func (m *Model) touring() bool {
	return m.tour > 0 && m.mayTour() && m.form == nil && m.page == pageMain && m.w >= leastW && m.h >= leastH
}

// startTour begins the tour, where it may be.
func (m *Model) startTour() {
	if !m.mayTour() {
		m.said = "the tour is for practice, in SETUP with nobody forward"
		return
	}
	m.tour, m.page, m.scroll, m.chosen = 1, pageMain, 0, ""
}

// endTour ends it, and says that it need not come by itself again.
func (m *Model) endTour() {
	m.tour = 0
	if m.cfg.TourOver != nil {
		m.cfg.TourOver()
	}
}

// onTourKey takes the few keys of the tour; every other key does what it
// always does, the space bar before all.
func (m *Model) onTourKey(s strokes.Stroke) bool {
	switch {
	case !m.touring():
		return false
	case is(s, keyEnter), is(s, keyNext):
		if m.tour++; m.tour > len(tourStops) {
			m.endTour()
		}
	case is(s, keyPrev):
		m.tour = max(1, m.tour-1)
	case is(s, keyBack):
		m.endTour()
	default:
		return false
	}
	return true
}

// tourHints are the keys while the tour is on the screen.
func (m *Model) tourHints() []hint {
	out := []hint{holdHint(m.frame.State.Phase), {"enter", choose(m.tour < len(tourStops), "next", "end the tour")}}
	if m.tour > 1 {
		out = append(out, hint{"shift+tab", "back"})
	}
	if m.tour < len(tourStops) {
		out = append(out, hint{"esc", "end the tour"})
	}
	return append(out, hintOf(keyLeave))
}

// tourMost is how wide a stop is at most, so that it reads easily.
const tourMost = 72

// drawTour draws the present stop over the part of the middle that it does not
// explain.
func (m *Model) drawTour(c canvas.Canvas) {
	stop := &tourStops[min(m.tour, len(tourStops))-1]
	left := chainColumns(c.Width())
	part := c.Sub(left+1, 0, c.Width()-left-1, c.Height())
	if stop.left {
		part = c.Sub(0, 0, left-1, c.Height())
	}
	w := min(part.Width(), tourMost)
	lines := []string{}
	for i, t := range stop.text {
		if i > 0 {
			lines = append(lines, "")
		}
		lines = append(lines, canvas.Wrap(t, w-4)...)
	}
	h := min(len(lines)+5, part.Height())
	box := part.Sub(0, 0, w, h)
	box.Fill(theme.Text)
	box.Frame(theme.Practice)
	x := box.Put(2, 1, theme.Title, stop.title)
	box.PutRight(w-2, 1, theme.Strong, canvas.Fit(stop.where, w-3-x))
	for i, l := range lines {
		if 2+i < h-2 {
			box.Put(2, 2+i, theme.Text, l)
		}
	}
	x = box.Put(2, h-2, theme.Key, "enter") + 1
	x = box.Put(x, h-2, theme.Text, choose(m.tour < len(tourStops), "next", "ends it")) + 2
	if m.tour < len(tourStops) {
		x = box.Put(x, h-2, theme.Key, "esc") + 1
		box.Put(x, h-2, theme.Text, "ends it")
	}
	box.PutRight(w-2, h-2, theme.Dim, fmt.Sprintf("%d of %d", m.tour, len(tourStops)))
}
