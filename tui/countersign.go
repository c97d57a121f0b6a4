package tui

import (
	"strings"

	"holdline/arming"
	"holdline/checklist"
	"holdline/tui/canvas"
	"holdline/tui/theme"
)

// taskCounter is the range officer's signature beside the first one.
const taskCounter = "countersign"

// counterTasks offers the counter-signature on the closed record.
func counterTasks(f *Frame) []task {
	r := &f.Record
	if !r.Closed || r.Counter.Busy {
		return nil
	}
	t := task{id: taskCounter, head: "COUNTER-SIGNATURE", who: "range officer", step: -1,
		ask:  "Range officer: sign it too, with your own key?",
		kind: "a key file, agent, or no for later", done: r.Counter.By != "" || r.Counter.Declined}
	t.open = func() *form {
		fields := []field{{label: "key", ghost: "a key file, agent, or no"}}
		if r.Counter.Protects != "" {
			fields[0].text = r.Counter.Protects
			fields = append(fields, field{label: "passphrase", hidden: true, exact: true, ghost: "not shown"})
		}
		fm := &form{task: t.id, title: t.head, fields: fields}
		fm.at = len(fields) - 1
		return fm
	}
	return []task{t}
}

// sendCounter gives the key to the shell; the machine has no part in it.
func (m *Model) sendCounter(v []string) (arming.Event, string) {
	if m.cfg.CounterSign == nil {
		return nil, "there is no record to sign"
	}
	passphrase := ""
	if len(v) > 1 && !strings.EqualFold(v[0], "no") {
		passphrase = v[1]
	}
	m.cfg.CounterSign(v[0], passphrase)
	return nil, ""
}

// drawCounter is the counter-signature on the last screen.
func (m *Model) drawCounter(w *canvas.Pen) {
	r := &m.frame.Record.Counter
	switch {
	case r.Busy:
		w.Text(theme.Dim, "being counter-signed")
	case r.By != "":
		w.Text(theme.Stands, "counter-signed by "+r.By)
	case r.Declined:
		w.Text(theme.Dim, "not counter-signed: holdline countersign and this path do it at any time")
	}
	t := m.atHand()
	if t.id != taskCounter || t.done && m.form == nil {
		return
	}
	w.Text(theme.Strong, t.head+". "+t.ask)
	switch {
	case r.Protects != "":
		w.Text(theme.Lapsing, "that key has a passphrase: it is asked for now")
	case r.Fault != "":
		w.Text(theme.Broken, "not counter-signed: "+r.Fault)
	}
	if m.form != nil {
		m.drawForm(w)
		return
	}
	drawEnter(w, t.kind)
}

// drawSoFar is what a crew reads when it signs on: the holds and waivers of
// its firings so far, before they become a habit.
func (m *Model) drawSoFar(w *canvas.Pen, t task) {
	f := &m.frame
	if m.form != nil || f.SoFar == "" || t.step < 0 || f.Plan.Steps[t.step].Phase != checklist.Briefing || w.Left() < 3 {
		return
	}
	w.Y++
	room := w.Left()
	lines := canvas.Wrap(f.SoFar, w.C.Width())
	if len(lines) > room {
		lines = lines[:room]
		lines[room-1] = canvas.Fit(lines[room-1]+" …", w.C.Width())
	}
	for _, l := range lines {
		w.Line(theme.Lapsing, l)
	}
}
