package tui

import (
	"cmp"
	"fmt"
	"strings"

	"holdline/arming"
	"holdline/checklist"
	"holdline/checklist/sheet/unit"
	"holdline/tui/canvas"
	"holdline/tui/limits"
	"holdline/tui/theme"
)

// drawStep is the step at hand as challenge and response; a refusal and its
// remedy stand at the same place. It returns the rows it took.
func (m *Model) drawStep(c canvas.Canvas) int {
	t := m.atHand()
	w := canvas.Pen{C: c}
	if t.head == "" && m.form == nil {
		w.Text(theme.Strong, m.nothingDue())
		w.Text(theme.Dim, "tab shows what else can be done")
		m.drawTrouble(&w)
		return w.Y
	}
	title, place := t.head, m.placeText(t)
	if m.form != nil {
		title = m.form.title
	}
	c.PutRight(c.Width(), 0, theme.Dim, place)
	c.Put(0, 0, theme.Title, canvas.Fit(title, c.Width()-len(place)-1))
	w.Y = 1
	if m.form != nil && m.form.task != t.id {
		m.drawForm(&w)
		m.drawTrouble(&w)
		return w.Y
	}
	if t.who != "" {
		w.Text(theme.Dim, t.who+":")
	}
	w.Text(theme.Strong, t.ask)
	if m.form == nil {
		m.drawPrompt(&w, t)
	} else {
		m.drawHand(&w, t)
		m.drawForm(&w)
	}
	m.drawFallen(&w, t)
	m.drawTrouble(&w)
	m.drawSoFar(&w, t)
	m.drawWaived(&w)
	if m.form == nil && m.stranger() && w.Left() > 4 {
		w.Y++
		m.drawNewcomer(&w)
	}
	return w.Y
}

// drawNewcomer says how to begin.
func (m *Model) drawNewcomer(w *canvas.Pen) {
	if m.frame.Drill != nil {
		w.Text(theme.Practice, "A drill")
		w.Text(theme.Text, "Surprises will come. What you would hear stands on a row of its own: DRILL, heard. HOLD is yours alone to call. The row of F5 to F9 is your hands.")
		return
	}
	w.Text(theme.Practice, "New here?")
	w.Text(theme.Text, "enter opens the field of what is due, enter sends it. ? shows every key, g the words, p the predicted run. The row that says PRACTICE hands is you at the practice box, no part of the cockpit.")
}

// nothingDue says what the screen waits for when no hand has to do anything.
func (m *Model) nothingDue() string {
	f := &m.frame
	if f.Plan == nil {
		return "No firing has begun."
	}
	if i := f.State.Cursor(f.Plan); f.State.Phase == arming.Setup && i >= 0 && waitsForReading(f, i) {
		_, why := f.State.Stands(f.Plan, i)
		return headOf(&f.Plan.Steps[i]) + " waits for a reading: " + why
	}
	if f.State.Phase == arming.Setup {
		if b := f.State.Blockers(f.Plan); len(b) > 0 {
			return "Waiting: " + b[0].Why
		}
	}
	return "Nothing is due."
}

// stranger reports a practice firing in which nobody has signed on yet.
func (m *Model) stranger() bool {
	return m.cfg.Move != nil && !m.touring() && m.frame.State.Crew.Firing == "" && m.frame.State.Phase == arming.Setup
}

// drawPrompt is what a good answer says, the answer that stands, and what
// enter opens.
func (m *Model) drawPrompt(w *canvas.Pen, t task) {
	// The hint gives way to what cannot be missing: the key and a refusal.
	hint := canvas.Wrap(t.hint, w.C.Width())
	if room := w.Left() - 1 - m.troubleRows(w.C.Width()); len(hint) <= room {
		w.Text(theme.Dim, t.hint)
	}
	m.drawAnswer(w, t)
	m.drawHand(w, t)
	m.drawAdvisory(w, t)
	if t.open != nil && w.Left() > 0 {
		drawEnter(w, cmp.Or(t.kind, "answer"))
	}
}

// drawEnter is the row of the key that opens a field, with what is typed there.
func drawEnter(w *canvas.Pen, kind string) {
	x := w.C.Put(0, w.Y, theme.Key, "enter")
	w.C.Put(x+1, w.Y, theme.Text, canvas.Fit(kind, w.C.Width()-x-1))
	w.Y++
}

// drawHand says which hand of the practice box is wanted now, and what the
// instruments show that nobody has who practises.
func (m *Model) drawHand(w *canvas.Pen, t task) {
	if text := m.seenInPractice(t); text != "" {
		w.Text(theme.Hands, "PRACTICE eyes: "+text)
	}
	if text := m.handWanted(t); text != "" {
		w.Text(theme.Hands, "PRACTICE hands: "+text)
	}
}

// seenInPractice stands in for vehicle, scale, wind and meter, which a practice
// firing does not have. Without it nobody could answer honestly.
func (m *Model) seenInPractice(t task) string {
	f := &m.frame
	if m.cfg.Move == nil || f.Sheet == nil || f.Hands == nil {
		return ""
	}
	if t.step < 0 {
		return m.seenAfter(t)
	}
	if f.State.Evidence[t.step].Present {
		return ""
	}
	st := &f.Plan.Steps[t.step]
	shows := func(what string, v float64) string { return what + " " + limits.Quantity(v, st.Band.Unit, f.Units) }
	switch {
	case st.Match != "":
		return "it says " + st.Match
	case st.Kind != checklist.KindQuantity:
		return ""
	case st.Whole:
		return m.countSeen(st)
	case st.ID == "mass":
		return shows("the scale shows", f.Sheet.Vehicle.MassKg)
	case st.ID == "wind" && f.Drill != nil && f.Drill.WindMps != nil:
		return shows("the wind meter shows", *f.Drill.WindMps)
	case st.ID == "wind":
		return shows("the wind meter shows", f.Sheet.Site.HeadwindMps)
	case st.ID == "stray-current":
		return shows("the meter shows", 0.002)
	}
	return shows("the instrument shows", (st.Band.Low+st.Band.High)/2)
}

// seenAfter is what could be seen of the practice vehicle after the press. The
// run itself is not simulated: its result is the prediction's middle.
func (m *Model) seenAfter(t task) string {
	f := &m.frame
	lit := map[int]bool{}
	var names []string
	for _, k := range f.Hands.Lit {
		lit[k] = true
		names = append(names, fmt.Sprint(k))
	}
	switch {
	case t.id == "observe" && len(names) == 0:
		return "no motor lit"
	case t.id == "observe":
		return "lit: motor " + strings.Join(names, ", ")
	case t.motor > 0:
		return choose(lit[t.motor], "burned out", "unlit, the igniter in it")
	case t.id == "result" && f.Run != nil && len(names) == f.Plan.Motors:
		q := &f.Run.Dispersion
		return fmt.Sprintf("the tape shows %s, the speed trap %s",
			digits(q.StopPositionM.P50, "m", f.Units, 1), digits(q.PeakSpeedMps.P50, "m/s", f.Units, 1))
	}
	return ""
}

// handWanted names the key of the practice hand that the task at hand waits
// for, "" for none. With a real box people know that they have hands.
func (m *Model) handWanted(t task) string {
	h := m.frame.Hands
	if m.cfg.Move == nil || h == nil || m.frame.Plan == nil {
		return ""
	}
	keyIn, keyOut := unless(h.KeyIn, "F5 turns the key in"), unless(!h.KeyIn, "F5 takes the key out")
	batteryOn, batteryOff := unless(h.Battery, "F6 joins the battery"), unless(!h.Battery, "F6 takes the battery off")
	s := &m.frame.State
	switch {
	case t.id == "proof":
		return map[arming.ProofStage]string{arming.ProofKeyOut: batteryOn, arming.ProofKeyIn: keyIn, arming.ProofKeyBack: keyOut}[s.Proof]
	case t.id == "key":
		return keyIn
	case t.id == "press":
		return unless(h.Button, "F9 presses the button")
	case t.id == "pressed":
		return unless(!h.Button, "F9 lets it go")
	case t.id == "battery":
		return batteryOff
	case s.Phase == arming.Hold || s.Phase == arming.Wait:
		return cmp.Or(unless(!h.Button, "F9 lets the button go"), keyOut)
	case s.Phase == arming.Setup && h.KeyIn: // as a proof that failed leaves it
		return keyOut
	case t.step >= 0 && s.Phase == arming.Setup:
		return stepHand(h, &m.frame.Plan.Steps[t.step], batteryOn, batteryOff)
	case t.id == "line/open":
		return cmp.Or(keyOut, batteryOff)
	case t.id == "fact/LEADS SHUNTED":
		return unless(h.Shunt, "F8 puts the shunt on")
	}
	return ""
}

// unless is what a hand has to do, "" where it is so already.
func unless(so bool, does string) string { return choose(so, "", does) }

// stepHand is the hand that a step of the routine waits for.
func stepHand(h *HandsView, st *checklist.Step, batteryOn, batteryOff string) string {
	switch st.ID {
	case arming.StepShuntOn:
		return unless(h.Shunt, "F8 puts the shunt on")
	case arming.StepShuntOff:
		return unless(!h.Shunt, "F8 takes the shunt off")
	case arming.StepHookUp:
		return unless(h.Igniters, "F7 connects the igniters")
	case arming.StepBattery, arming.StepProof:
		return batteryOn
	}
	if st.Needs&checklist.NeedBatteryOff != 0 {
		return batteryOff
	}
	return ""
}

// placeText says where in the routine the task stands.
func (m *Model) placeText(t task) string {
	if t.step < 0 || m.frame.Plan == nil || m.frame.Plan.Steps[t.step].Phase > checklist.Poll {
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
// The band of what is typed off an instrument shows only once an answer stands
//
func (m *Model) drawAnswer(w *canvas.Pen, t task) {
	f := &m.frame
	if t.step < 0 {
		return
	}
	st, e := &f.Plan.Steps[t.step], &f.State.Evidence[t.step]
	if st.Kind == checklist.KindMeasured {
		drawMeasured(w, f, st)
	}
	if e.Present {
		w.Text(theme.Stands, "● "+answerText(st, e, f.Units)+practiceMark(f, st))
		if st.Kind == checklist.KindQuantity {
			w.Text(theme.Dim, "accepted: "+bandText(st.Band, f.Units)+practiceMark(f, st))
		}
	}
	if st.Expires == 0 {
		return
	}
	switch left := f.State.Left(f.Plan, t.step); {
	case !e.Present:
		w.Text(theme.Dim, "good for "+short(st.Expires))
	case left < arming.MaxAge:
		w.Text(theme.Dim, "good for "+short(left)+" more, of "+short(st.Expires))
	}
}

// practiceMark puts the word beside a reading.
func practiceMark(f *Frame, st *checklist.Step) string {
	if f.Practice && (st.Kind == checklist.KindQuantity || st.Kind == checklist.KindMeasured) {
		return " PRACTICE"
	}
	return ""
}

// drawMeasured shows what the box reads for a measured step, and where that lies in
// its band.
func drawMeasured(w *canvas.Pen, f *Frame, st *checklist.Step) {
	b := &f.State.Box
	text, v := "battery "+volts(b.Battery), float64(b.Battery.Millivolt)/1000
	at := &v
	switch {
	case !b.Up:
		text, at = "no fresh answer from the box", nil
	case st.Motor > 0:
		r := b.Channel[st.Motor-1]
		text, v = fmt.Sprintf("lead %d reads %s", st.Motor, ohms(r)), float64(r.Milliohm)/1000
		if r.Kind != arming.OhmValue {
			at = nil
		}
	case st.ID == arming.StepDead:
		text, v = "bus reads "+volts(b.Bus), float64(b.Bus.Millivolt)/1000
	}
	mark := practiceMark(f, st)
	w.Text(theme.Strong, text+mark)
	if w.Left() < 1 {
		return
	}
	low, ohmsOrVolts := limits.Figure(st.Band.Low), st.Band.Unit
	x := w.C.Put(0, w.Y, theme.Dim, low) + 1
	gauge(w.C, x, w.Y, 13, st.Band.Low, st.Band.High, at)
	w.C.Put(x+14, w.Y, theme.Dim, limits.Quantity(st.Band.High, ohmsOrVolts, f.Units)+mark)
	w.Y++
}

// answerText is an answer in one line.
func answerText(st *checklist.Step, e *arming.Evidence, sys unit.System) string {
	text := e.Words
	switch st.Kind {
	case checklist.KindQuantity, checklist.KindMeasured:
		text = limits.Quantity(e.Value, st.Band.Unit, sys) + ", " + e.Means.String()
	case checklist.KindSecret:
		text = "entered, not shown"
	}
	if e.Waived {
		text += ", WAIVED: " + e.Words
	} else if st.Counted() && e.Words != "" {
		text += ", explained: " + e.Words
	}
	if e.By != "" && e.By != text {
		text += ", " + e.By
	}
	return text
}

func (m *Model) drawForm(w *canvas.Pen) {
	if m.form.note != "" {
		w.Text(theme.Text, m.form.note)
	}
	if w.Left() < len(m.form.fields) {
		w.Y = max(1, w.C.Height()-len(m.form.fields)-1)
	}
	w.Y = m.form.draw(w.C, w.Y, m.blankTypes())
	if m.form.wrong != "" {
		w.Text(theme.Broken, m.form.wrong)
	}
}

// troubleRows is how many rows drawTrouble takes.
func (m *Model) troubleRows(w int) int {
	n := len(canvas.Wrap(m.said, w))
	if r := m.frame.Refusal; m.refusalShows() {
		n += len(canvas.Wrap("╱ refused: "+r.Why, w)) + len(canvas.Wrap("→ "+r.Remedy, w))
	}
	return n
}

// refusalShows reports whether there is a refusal to show. An open form shows
// those of its own task alone.
func (m *Model) refusalShows() bool {
	return m.frame.Refusal.Why != "" && (m.form == nil || m.form.wrong == "" && m.form.task == m.sent)
}

// drawTrouble is the last refusal, with its remedy, and a word about
// the last key.
func (m *Model) drawTrouble(w *canvas.Pen) {
	r := m.frame.Refusal
	if m.refusalShows() {
		w.Text(theme.Broken, "╱ refused: "+r.Why)
		if r.Remedy != "" {
			w.Text(theme.Strong, "→ "+r.Remedy)
		}
	}
	if m.said != "" {
		w.Text(theme.Lapsing, m.said)
	}
}
