package report

import (
	"fmt"
	"strings"

	"holdline/arming"
	"holdline/arming/record/export"
	"holdline/checklist"
)

// answers follows the evidence of every step.
func (w *walk) answers(l *eventLine) {
	if w.before.Evidence == w.after.Evidence || w.rep.Plan == nil {
		return
	}
	for i := range w.rep.Plan.Steps {
		was, is := &w.before.Evidence[i], &w.after.Evidence[i]
		a := &w.checks[i]
		switch {
		case is.Present && (!was.Present || *was != *is && !w.renewed(i)):
			a.last, a.at, a.gone = *is, w.wall(is.At), ""
			a.ageS, a.stood = nil, false
			a.count++
			w.signedOn(&w.rep.Plan.Steps[i], is)
			w.swapped(&w.rep.Plan.Steps[i], is)
		case is.Present && !a.stood: // the value at arming stays
			a.last = *is
		case is.Present:
		case was.Present:
			a.gone = "withdrawn"
			if why := l.notice("withdrawn: " + w.rep.Plan.Steps[i].ID + ", "); why != "" {
				a.gone += ": " + why
			}
		}
	}
}

// renewed reports that only a live reading has moved.
func (w *walk) renewed(i int) bool {
	was, is := w.before.Evidence[i], w.after.Evidence[i]
	was.At, was.Value = is.At, is.Value
	return w.rep.Plan.Steps[i].Live && was == is
}

// signedOn notes who signed on, and who took over.
func (w *walk) signedOn(st *checklist.Step, e *arming.Evidence) {
	if st.Kind != checklist.KindName || st.Phase != checklist.Briefing {
		return
	}
	if w.signed[st.ID] == e.Words {
		return
	}
	w.signed[st.ID] = e.Words
	w.d.People = append(w.d.People, export.Person{Role: st.Role.String(), Post: st.Post, Name: e.Words, At: stamp(w.at)})
}

func (w *walk) waived(ev arming.Waive) {
	st := step(w.rep.Plan, ev.Step)
	if st == nil {
		return
	}
	w.d.Waivers = append(w.d.Waivers, export.Waiver{At: stamp(w.at), Step: ev.Step, Value: ev.Value, Band: band(st), Why: ev.Why, By: ev.By})
}

func step(p *arming.Plan, id string) *checklist.Step {
	for i := range p.Steps {
		if p.Steps[i].ID == id {
			return &p.Steps[i]
		}
	}
	return nil
}

// band is a step's band where it holds a reading against one.
func band(st *checklist.Step) export.Band {
	switch st.Kind {
	case checklist.KindQuantity, checklist.KindMeasured:
		low, high := st.Band.Low, st.Band.High
		return export.Band{Low: &low, High: &high, Unit: unitOf(st)}
	}
	return export.Band{}
}

// unitOf is the unit of a step's band. Steps that measure motors and volts have
// one; where a plan leaves it out the step's own question says it.
func unitOf(st *checklist.Step) string {
	if st.Band.Unit != "" {
		return st.Band.Unit
	}
	return map[string]string{"wind": "m/s", "mass": "kg"}[st.ID]
}

// checkList is the table of the routine.
func (w *walk) checkList(p *arming.Plan) {
	for i := range p.Steps {
		st, a := &p.Steps[i], &w.checks[i]
		c := export.Check{Step: st.ID, Phase: st.Phase.String(), Gate: st.Gate.String(), Asked: st.Challenge, Role: st.Role.String(),
			Motor: st.Motor, Band: band(st), Optional: st.Optional, Answers: a.count, Standing: standingOf(st, a)}
		if st.Kind == checklist.KindLine {
			c.Seen, c.Means = w.lineSeen(), arming.MeansSaid.String()
		}
		if a.count > 0 {
			c.By, c.Means, c.At, c.AgeS, c.Waived = a.last.By, a.last.Means.String(), stamp(a.at), a.ageS, a.last.Waived
			c.Seen, c.Value = seen(st, &a.last)
		}
		if a.last.Means == arming.MeansPassed && a.gone == "" {
			c.Seen, c.Standing = "", export.PassedOver
			w.d.PassedOver = append(w.d.PassedOver, st.Challenge)
		}
		w.d.Checks = append(w.d.Checks, c)
	}
}

func standingOf(st *checklist.Step, a *answer) string {
	switch {
	case a.stood:
		return export.Stood
	case st.Kind == checklist.KindLine:
		return "not at arming"
	case a.count == 0:
		return "not answered"
	case a.gone != "":
		return a.gone
	case st.Phase == checklist.After:
		return export.AfterFiring
	}
	return "answered"
}

func (w *walk) lineSeen() string {
	for k := len(w.d.Openings) - 1; k >= 0; k-- {
		if o := w.d.Openings[k]; o.Phase == arming.Setup.String() {
			return o.End
		}
	}
	return ""
}

// seen puts an answer in words, with its value where it is a number.
func seen(st *checklist.Step, e *arming.Evidence) (string, *float64) {
	v := e.Value
	switch st.Kind {
	case checklist.KindAccept:
		return "accepted", nil
	case checklist.KindSecret:
		return "a code was chosen; it is not recorded", nil
	case checklist.KindProof:
		return "key, permit and button each seen open", nil
	case checklist.KindQuantity, checklist.KindMeasured:
		return e.Words, &v
	}
	return e.Words, nil
}

// observed takes what somebody saw of the motors.
func (w *walk) observed(ev arming.Observe) {
	words := map[arming.Fate]string{arming.FateMisfire: "stayed dark", arming.FateSaidLit: "seen to light", arming.FateUnknown: "not known"}[ev.Fate]
	for m := range w.rep.Plan.Motors {
		if ev.Motor == 0 || ev.Motor == m+1 {
			w.motors[m].Seen, w.motors[m].SeenBy, w.motors[m].SeenAt = words, ev.By, stamp(w.at)
		}
	}
}

// motorsNow notes a motor that conducts although it was seen to light.
func (w *walk) motorsNow(l *eventLine) {
	for m := range w.motors {
		if l.notice(fmt.Sprintf("motor %d conducts: ", m+1)) != "" {
			w.motors[m].Note = "its circuit still conducted"
		}
	}
}

func (w *walk) motorList(p *arming.Plan, s *arming.State) {
	for m := range p.Motors {
		row := w.motors[m]
		row.Motor = m + 1
		switch {
		case s.Fate[m] == arming.FateInspected:
			row.Fate = s.Fate[m].String()
		case !s.Hooked:
			row.Fate = "nothing was hooked up"
		default:
			row.Fate, row.Live = s.Fate[m].String(), true
		}
		w.d.Motors = append(w.d.Motors, row)
	}
}

// consumables tells what was said and counted of motors and igniters, before
// and after.
func (w *walk) consumables(p *arming.Plan) {
	value := func(id string) (v *float64, words string) {
		for i := range p.Steps {
			if a := &w.checks[i]; p.Steps[i].ID == id && a.count > 0 && a.gone == "" {
				n := a.last.Value
				return &n, a.last.Words
			}
		}
		return nil, ""
	}
	for _, what := range checklist.Consumables() {
		u := export.Used{What: what}
		u.Brought, _ = value(checklist.BroughtStep(what))
		u.Used, _ = value(checklist.UsedStep(what))
		u.Left, u.Explained = value(checklist.LeftStep(what))
		if n, known := u.Missing(); known && n == 0 {
			u.Explained = ""
		}
		for _, c := range w.d.Checks {
			if c.Step == what && c.Answers > 0 {
				u.Said = "as answered: " + c.Seen
			}
		}
		if u.Said != "" || u.Brought != nil || u.Used != nil || u.Left != nil {
			w.d.Used = append(w.d.Used, u)
		}
	}
	if w.after.Hooked || w.before.Hooked {
		w.d.Used = append(w.d.Used, export.Used{What: fmt.Sprintf("of the %d motors on the vehicle", p.Motors), Said: w.found()})
	}
}

// found lists what the motors were found to be, the same ones together.
func (w *walk) found() string {
	var order, found []string
	same := map[string]int{}
	for _, m := range w.d.Motors {
		words := m.Found
		if words == "" {
			words = "not inspected"
		}
		if same[words] == 0 {
			order = append(order, words)
		}
		same[words]++
	}
	for _, words := range order {
		found = append(found, fmt.Sprintf("%d × %s", same[words], words))
	}
	return strings.Join(found, "; ")
}

// miscounted notes a count that did not add up, as it was said at the time.
func (w *walk) miscounted(l *eventLine, ev arming.Answer) {
	st := step(w.rep.Plan, ev.Step)
	if st == nil || !st.Counted() {
		return
	}
	if why := l.notice(st.ID + ": "); why != "" {
		w.d.Notes = append(w.d.Notes, export.Note{At: stamp(w.at), Text: st.ID + ": " + why})
	}
}
