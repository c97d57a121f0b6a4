package tui

import (
	"fmt"

	"holdline/arming"
	"holdline/checklist"
	"holdline/tui/canvas"
	"holdline/tui/theme"
)

// writer writes wrapped lines one under the other.
type writer struct {
	c canvas.Canvas
	y int
}

func (w *writer) text(s canvas.Style, text string) {
	for _, l := range canvas.Wrap(text, w.c.Width()) {
		if w.y < w.c.Height() {
			w.c.Put(0, w.y, s, l)
		}
		w.y++
	}
}

func (w *writer) left() int { return w.c.Height() - w.y }

// drawStep is the step at hand as challenge and response; a refusal and what
// would mend it stand at the same place.
func (m *Model) drawStep(c canvas.Canvas) {
	f := &m.frame
	t := m.atHand()
	w := writer{c: c}
	if t.head == "" && m.form == nil {
		w.text(theme.Dim, "nothing is due")
		m.drawTrouble(&w, t)
		return
	}
	title := t.head
	if m.form != nil {
		title = m.form.title
	}
	place := m.placeText(t)
	c.PutRight(c.Width(), 0, theme.Dim, place)
	c.Put(0, 0, theme.Title, canvas.Fit(title, c.Width()-len(place)-1))
	w.y = 1
	if m.form != nil && m.form.task != t.id {
		m.drawForm(&w)
		m.drawTrouble(&w, t)
		return
	}
	if t.who != "" {
		w.text(theme.Dim, t.who+" answers")
	}
	w.text(theme.Strong, t.ask)
	if m.form == nil {
		w.text(theme.Dim, t.hint)
		m.drawAnswer(&w, t)
	} else {
		m.drawForm(&w)
	}
	m.drawTrouble(&w, t)
	if m.form == nil && t.open != nil && w.left() > 0 {
		x := c.Put(0, w.y, theme.Key, "enter")
		c.Put(x+1, w.y, theme.Text, canvas.Fit(orElse(t.kind, "answer"), c.Width()-x-1))
		w.y++
	}
	_ = f
}

// placeText says where in the routine the task stands.
func (m *Model) placeText(t task) string {
	if t.step < 0 || m.frame.Plan == nil {
		return ""
	}
	n := 0
	for i := range m.frame.Plan.Steps {
		if m.frame.Plan.Steps[i].Phase <= checklist.Poll {
			n++
		}
	}
	return fmt.Sprintf("step %d of %d", t.step+1, n)
}

// drawAnswer is the answer that stands, its band and how long it is good for.
func (m *Model) drawAnswer(w *writer, t task) {
	f := &m.frame
	if t.step < 0 {
		return
	}
	st, e := &f.Plan.Steps[t.step], &f.State.Evidence[t.step]
	if st.Kind == checklist.KindMeasured {
		w.reading(f, st)
	}
	if e.Present {
		w.text(theme.Stands, "● "+answerText(st, e)+practiceMark(f, st))
		if st.Kind == checklist.KindQuantity || st.Kind == checklist.KindMeasured {
			w.text(theme.Dim, "accepted: "+bandText(st.Band))
		}
	}
	if st.Expires > 0 {
		left := f.State.Left(f.Plan, t.step)
		if e.Present && left < arming.MaxAge {
			w.text(theme.Dim, "good for "+short(left)+" more of "+short(st.Expires))
		} else if !e.Present {
			w.text(theme.Dim, "good for "+short(st.Expires))
		}
	}
}

// practiceMark puts the word beside a reading.
func practiceMark(f *Frame, st *checklist.Step) string {
	if f.Practice && (st.Kind == checklist.KindQuantity || st.Kind == checklist.KindMeasured) {
		return " PRACTICE"
	}
	return ""
}

// reading shows what the box reads for a measured step, in its band.
func (w *writer) reading(f *Frame, st *checklist.Step) {
	b := &f.State.Box
	text := "battery " + volts(b.Battery)
	switch {
	case !b.Up:
		text = "no fresh answer from the box"
	case st.Motor > 0:
		text = fmt.Sprintf("lead %d reads %s", st.Motor, ohms(b.Channel[st.Motor-1]))
	case st.ID == arming.StepDead:
		text = "bus " + volts(b.Bus)
	}
	if f.Practice {
		text += " PRACTICE"
	}
	w.text(theme.Text, text)
	w.text(theme.Dim, "accepted: "+bandText(st.Band))
}

// answerText is an answer in one line.
func answerText(st *checklist.Step, e *arming.Evidence) string {
	text := e.Words
	switch st.Kind {
	case checklist.KindQuantity, checklist.KindMeasured:
		text = quantity(e.Value, st.Band.Unit) + ", " + e.Means.String()
	case checklist.KindSecret:
		text = "entered, not shown"
	}
	if e.Waived {
		text += ", WAIVED: " + e.Words
	}
	if e.By != "" && e.By != text {
		text += ", " + e.By
	}
	return text
}

func (m *Model) drawForm(w *writer) {
	if m.form.note != "" {
		w.text(theme.Text, m.form.note)
	}
	if w.left() < len(m.form.fields) {
		w.y = max(1, w.c.Height()-len(m.form.fields)-1)
	}
	w.y = m.form.draw(w.c, w.y, m.blankTypes())
	if m.form.wrong != "" {
		w.text(theme.Broken, m.form.wrong)
	}
}

// drawTrouble is the last refusal, with what would mend it, and a word about
// the last key.
func (m *Model) drawTrouble(w *writer, t task) {
	r := m.frame.Refusal
	if r.Why != "" && (m.form == nil || m.form.wrong == "") {
		w.text(theme.Broken, "refused: "+r.Why)
		if r.Mend != "" {
			w.text(theme.Strong, "→ "+r.Mend)
		}
	}
	if m.said != "" {
		w.text(theme.Lapsing, m.said)
	}
}
