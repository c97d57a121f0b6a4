package tui

import (
	"holdline/arming"
	"holdline/tui/canvas"
	"holdline/tui/theme"
)

// about says what each state is for, in one sentence.
var about = map[arming.Phase]string{
	arming.Setup:    "SETUP: the routine is answered step by step. Every answer is what somebody sees or reads, never the word checked.",
	arming.Proof:    "PROOF: key, permit and button are each seen open by the voltage behind them. No igniter is connected.",
	arming.Ready:    "READY: every gate stands. The firing officer arms, then the range officer's code within 30 s.",
	arming.Armed:    "ARMED: the key goes in now, then the count starts. Nobody stays here long.",
	arming.Count:    "COUNT: the screen's count is the count. Anyone may call HOLD; nobody touches the button before zero. At a pause of the sheet it stands until the firing officer goes on.",
	arming.Window:   "WINDOW: the button may be pressed, on the range officer's spoken go. The laptop cannot press it.",
	arming.Run:      "RUN: the button is pressed. Letting go ends it, and so does HOLD.",
	arming.Wait:     "WAIT: nobody goes forward until the clock has run in full. Every motor counts as live.",
	arming.MakeSafe: "MAKESAFE: one named person goes forward with the key and inspects motor by motor.",
	arming.Closed:   "CLOSED: the firing is over and the record is ended.",
	arming.Hold:     "HOLD: stopped, before any pulse. Only the range officer resumes; both arming acts are asked again.",
}

// drawHelpPage shows the keys of this state and what it is for.
func (m *Model) drawHelpPage(c canvas.Canvas) {
	f := &m.frame
	w := canvas.Pen{C: c}
	w.Text(theme.Title, "HELP")
	w.Text(theme.Strong, about[f.State.Phase])
	w.Text(theme.Text, "The laptop can stop a firing, it can never start one. If the screen stands still, the mark beside the clock no longer turns: let go, pull the key, battery off, everyone stays.")
	w.Y++
	rows := m.helpRows()
	m.scroll = min(m.scroll, max(0, len(rows)-max(1, c.Height()-w.Y)))
	for i := m.scroll; i < len(rows) && w.Y < c.Height(); i++ {
		c.Put(2, w.Y, theme.Key, rows[i].key)
		c.Put(helpCols, w.Y, theme.Text, canvas.Fit(rows[i].does, c.Width()-helpCols))
		w.Y++
	}
}

// helpCols is the width of the keys on the help page.
const helpCols = 18

// helpRows lists the keys that do something in this state.
func (m *Model) helpRows() []hint {
	f := &m.frame
	rows := []hint{holdHint(f.State.Phase), {"enter", "open the field of what is due, then send it"},
		{"tab, shift+tab", "choose something else that can be done now"}, {"esc", "back, close a field"}}
	if spaceIsHold(f.State.Phase) {
		rows = append(rows, hint{"_", "types a blank in a field, where the space bar is HOLD"})
	}
	if m.mayScrub() {
		rows = append(rows, hint{"x", "scrub: give the firing up, with a reason"})
	}
	if f.State.Phase == arming.Setup || f.State.Phase == arming.Ready || f.State.Phase == arming.Hold {
		rows = append(rows, hint{"w", "take the chosen answer back, with a reason"})
	}
	if f.State.Phase == arming.Setup {
		rows = append(rows, hint{"v", "let an advisory band pass: the range officer, with a reason"})
	}
	rows = append(rows, hint{"p", "predicted run: speed over distance, what-if cases, every limit"}, hint{"c", "circuit, igniter by igniter"},
		hint{"s", "the whole routine, step by step"}, hint{"o", "people by post"}, hint{"l", "log"}, hint{"g", "words of the trade as used here"},
		hint{"ctrl+c", "stop, then ask whether to leave; again to leave at once"}, hintOf(keyTheme), hint{"b", "bell on or off"})
	if m.cfg.Move != nil {
		if m.mayTour() {
			rows = append(rows, hint{"i", "the tour of this screen, from its beginning"})
		}
		rows = append(rows, hint{"F5 to F9", "PRACTICE: hands at the practice box, no part of the cockpit"})
	}
	return rows
}

// words are the trade's words as this cockpit uses them.
var words = []hint{
	{"HOLD", "stop. It means nothing else, and anyone may call it"},
	{"hold line", "nobody is beyond it unless the line is OPEN and they are named"},
	{"line", "OPEN: named people may be forward. CLOSED: all counted back. UNKNOWN: nobody has said"},
	{"pause", "the clock of the count stands where the sheet says so, until the firing officer goes on; planned, and no HOLD"},
	{"gate", "a group of answers that must stand before a firing; a contact of the chain"},
	{"permit", "the laptop's own contact in the firing loop: it can open it, and alone it fires nothing"},
	{"igniter", "a bridge wire that a current heats; it lights one motor"},
	{"bus", "the wire behind the button, to the igniters"},
	{"shunt", "a wire across the firing line, so that no stray current passes an igniter"},
	{"continuity", "a bridge measured with a current that cannot fire it"},
	{"pulse", "a time in which firing current may have flowed"},
	{"dark", "a motor that was seen not to light: it is LIVE"},
	{"LIVE", "may still light. Every motor is, until a person has inspected it"},
	{"stagger", "the time between the first motor to light and the last"},
	{"rest", "where the vehicle comes to a stop for good"},
	{"scrub", "give this firing up"},
	{"waive", "let an advisory limit pass: the range officer, with a reason"},
	{"spotter", "somebody at a post who says what is seen"},
}

func (m *Model) drawWordsPage(c canvas.Canvas) {
	w := canvas.Pen{C: c}
	w.Text(theme.Title, "WORDS")
	for i := min(m.scroll, len(words)-1); i < len(words) && w.Y < c.Height(); i++ {
		c.Put(0, w.Y, theme.Strong, words[i].key)
		for _, l := range canvas.Wrap(words[i].does, c.Width()-12) {
			c.Put(12, w.Y, theme.Text, l)
			w.Y++
		}
	}
}
