package arming

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"holdline/checklist"
)

// emptyWords are answers that can be given without looking (Degani and
// Wiener: the response is the value seen).
var emptyWords = map[string]bool{"ok": true, "okay": true, "yes": true, "y": true, "set": true, "checked": true,
	"check": true, "done": true, "complete": true, "completed": true, "good": true, "fine": true}

// agree reports whether two typed entries are alike enough. Decimal fractions
// are not exact in binary: entries just so far apart as they may be agree.
func agree(a, b, within float64) bool { return math.Abs(a-b) <= within*(1+1e-9)+1e-12 }

// saysNothing reports words that are too short, or can be given without looking.
func saysNothing(words string, least int) bool {
	words = strings.TrimSpace(words)
	return len([]rune(words)) < least || emptyWords[strings.ToLower(strings.Trim(words, ".! "))]
}

// sameName compares two names as people would.
func sameName(a, b string) bool {
	return strings.EqualFold(strings.Join(strings.Fields(a), " "), strings.Join(strings.Fields(b), " "))
}

// onAnswer takes the answer to a step.
func (m *machine) onAnswer(ev Answer) error {
	i := m.p.index(ev.Step)
	if i < 0 {
		return m.refuse(fmt.Sprintf("there is no step %q", ev.Step), "")
	}
	st := &m.p.Steps[i]
	crewStep := st.Kind == checklist.KindName && st.Phase == checklist.Briefing
	switch m.s.Phase {
	case Setup, Ready:
		if st.Phase == checklist.After {
			return m.refuse(st.ID+" is answered after the firing, in MAKESAFE", "")
		}
	case Wait, MakeSafe:
		if m.s.Phase == MakeSafe && answeredAfter(st) {
			break
		}
		if !crewStep || m.crewName(st) != "" {
			return m.refuse("steps are answered in SETUP", "")
		}
	default:
		return m.refuse("steps are answered in SETUP and READY, this is "+m.s.Phase.String(), "call HOLD and resume first")
	}
	if math.IsNaN(ev.Value) || math.IsNaN(ev.Again) || math.IsInf(ev.Value, 0) || math.IsInf(ev.Again, 0) {
		return m.refuse(st.ID+": the value is not a number", "type what the instrument shows")
	}
	if err := m.mayAnswer(i); err != nil {
		return err
	}
	value, inBand, err := m.judge(st, ev)
	if err != nil {
		return err
	}
	return m.ask(ev, func() { m.applyAnswer(i, ev, value, inBand) })
}

// mayAnswer refuses a step that comes out of order or lacks what it needs: the order, the crew, what it rests on and
// the facts it needs.
func (m *machine) mayAnswer(i int) error {
	st := &m.p.Steps[i]
	crewStep := st.Kind == checklist.KindName && st.Phase == checklist.Briefing
	if !crewStep && m.crewName(st) == "" {
		return m.refuse(fmt.Sprintf("%s: the %s has not signed on", st.ID, st.Role), "sign on first")
	}
	if m.s.Phase == Setup || m.s.Phase == Ready {
		for j := 0; j < i; j++ {
			b := &m.p.Steps[j]
			if b.Kind != checklist.KindLine && !m.p.skips(b) && !m.s.Evidence[j].Present {
				return m.refuse(fmt.Sprintf("%s comes after %s, which is not answered", st.ID, b.ID), "answer the step at hand")
			}
		}
	}
	for _, base := range st.RestsOn {
		if ok, why := m.s.Stands(m.p, m.p.index(base)); !ok {
			return m.refuse(fmt.Sprintf("%s rests on %s: %s", st.ID, base, why), "answer that one first")
		}
	}
	return m.needs(st.ID, st.Needs)
}

// needs refuses unless every fact of the set is so, read or said lately.
func (m *machine) needs(what string, n checklist.Needs) error {
	miss := func(bit checklist.Needs, is bool, why, remedy string) error {
		if n&bit == 0 || is {
			return nil
		}
		return m.refuse(what+": "+why, remedy)
	}
	s, p := &m.s, m.p
	for _, err := range []error{
		miss(checklist.NeedLineClosed, s.Line == LineClosed, "the line is "+s.Line.String(), "the range officer counts everyone back and closes the line"),
		miss(checklist.NeedLineOpen, s.Line == LineOpen, "the line is "+s.Line.String(), "the range officer opens the line by name"),
		miss(checklist.NeedBatteryOff, s.batteryOff(p), "the battery is not known to be off", "take the battery off"),
		miss(checklist.NeedBatteryJoined, s.batteryJoined(p), "no battery is joined", "join the battery"),
		miss(checklist.NeedKeyOut, s.keyOut(p), "the key is not known to be out", "take the key out"),
		miss(checklist.NeedBusDead, s.busDead(p), "the firing bus is not known to be dead", "open button and key, take the battery off"),
		miss(checklist.NeedPermitOpen, s.permitOpen(p), "the permit is not known to be open", "wait for the box to read it open"),
	} {
		if err != nil {
			return err
		}
	}
	return nil
}

// crewName returns the name signed on for the step's role, the post's for a
// spotter, and for the hook-up person whoever went forward.
func (m *machine) crewName(st *checklist.Step) string {
	switch st.Role {
	case checklist.FiringOfficer:
		return m.s.Crew.Firing
	case checklist.RangeOfficer:
		return m.s.Crew.Range
	case checklist.Spotter:
		for k, post := range m.p.Posts {
			if post == st.Post {
				return m.s.Crew.Spotter[k]
			}
		}
	case checklist.HookUpPerson:
		for _, name := range m.s.Crew.Forward {
			if name != "" {
				return name
			}
		}
	}
	return ""
}

// judge looks at an answer as the step's kind asks and returns its value and
// whether it lies in the band.
func (m *machine) judge(st *checklist.Step, ev Answer) (value float64, inBand bool, err error) {
	words := strings.TrimSpace(ev.Words)
	if ev.Means == MeansPassed {
		if !st.Optional {
			return 0, false, m.refuse(st.ID+" is not passed over", "only steps that the sheet calls optional are")
		}
		return 0, true, nil
	}
	switch st.Kind {
	case checklist.KindWords:
		if saysNothing(words, 2) {
			return 0, false, m.refuse(st.ID+": say what you see", "an answer like \"checked\" can be given without looking")
		}
		if st.Match != "" && !sameName(st.Match, words) {
			return 0, false, m.refuse(st.ID+": that is not what the sheet says", "read it again, off the thing itself")
		}
		if word := m.s.CallWord(m.p.index(st.ID)); st.CallWord && !m.confirmed && !strings.Contains(words, word) {
			return 0, false, m.refuse(fmt.Sprintf("%s: the word of this call is %s", st.ID, word), "the spotter repeats it; not heard is not ready")
		}
		return 0, true, nil
	case checklist.KindName:
		return 0, true, m.judgeName(st, words)
	case checklist.KindAccept:
		if !st.Band.Contains(ev.Value) {
			return 0, false, m.refuse("the prediction is a no: it cannot be accepted", "change what the limits name, or scrub")
		}
		return ev.Value, true, nil
	case checklist.KindSecret:
		if !st.Band.Contains(ev.Value) {
			return 0, false, m.refuse(fmt.Sprintf("the code needs %g to %g characters", st.Band.Low, st.Band.High), "choose another")
		}
		return ev.Value, true, nil
	case checklist.KindQuantity:
		if ev.Means != MeansTyped && ev.Means != MeansMeter {
			return 0, false, m.refuse(st.ID+": a reading off an instrument is due", "")
		}
		if st.Whole && (ev.Value != math.Trunc(ev.Value) || ev.Again != math.Trunc(ev.Again)) {
			return 0, false, m.refuse(st.ID+": a count is a whole number", "count again")
		}
		if !agree(ev.Value, ev.Again, st.Agree) {
			return 0, false, m.refuse(fmt.Sprintf("%s: the two entries %g and %g differ", st.ID, ev.Value, ev.Again),
				again(st))
		}
		return ev.Value, st.Band.Contains(ev.Value), nil
	case checklist.KindMeasured:
		v, why := m.s.reading(m.p, st)
		if why != "" {
			return 0, false, m.refuse(st.ID+": "+why, "")
		}
		return v, st.Band.Contains(v), nil
	}
	return 0, false, m.refuse(st.ID+" is not answered by hand", "")
}

// judgeName refuses an empty name, and one person in both roles.
func (m *machine) judgeName(st *checklist.Step, name string) error {
	if name == "" || len([]rune(name)) > 40 {
		return m.refuse(st.ID+": a name of 1 to 40 characters is due", "")
	}
	if st.ID == StepRangeOfficer && sameName(name, m.s.Crew.Firing) || st.ID == StepFiringOfficer && sameName(name, m.s.Crew.Range) {
		return m.refuse("firing officer and range officer are two people", "another person signs on")
	}
	if st.ID == StepKeyHeld && !sameName(name, m.s.Crew.Range) {
		return m.refuse("the key is in the range officer's hand before the line counts as closed", "hand it over to "+m.s.Crew.Range)
	}
	return nil
}

// reading returns what the box reads now for a measured step, or why not.
func (s *State) reading(p *Plan, st *checklist.Step) (float64, string) {
	if !s.fresh(liveLead) {
		return 0, "no fresh answer from the box"
	}
	if st.Motor > 0 {
		r := s.Box.Channel[st.Motor-1]
		switch {
		case r.Kind == OhmNotMeasured || s.Now.Since(s.Box.ScanSeen) > liveLead:
			return 0, "the channel is not being measured"
		case r.Kind == OhmOpen:
			return 0, fmt.Sprintf("channel %d reads open", st.Motor)
		}
		return float64(r.Milliohm) / 1000, ""
	}
	v := s.Box.Battery
	if st.ID == StepDead {
		v = s.Box.Bus
	}
	if v.Level == LevelUnknown {
		return 0, "the voltage is not being measured"
	}
	return float64(v.Millivolt) / 1000, ""
}

// applyAnswer puts the answer in place. One outside its band is no refusal:
// it is what was seen, so that the step falls, and with it what rests on it.
// Another value of what the accepted prediction rests on withdraws the
// acceptance, inside the band too: what was accepted was another run.
func (m *machine) applyAnswer(i int, ev Answer, value float64, inBand bool) {
	st := &m.p.Steps[i]
	if !inBand {
		m.s.Evidence[i] = Evidence{}
		m.dropResting(st.ID, "left its range")
		text := fmt.Sprintf("%s: %.4g %s is outside %.4g to %.4g: the step does not stand", st.ID, value, st.Band.Unit,
			st.Band.Low, st.Band.High)
		if st.Waivable() {
			text += "; an advisory limit, the range officer may waive it with a reason"
		}
		m.loud(text)
		return
	}
	if st.Counted() && !m.balances(st, value, ev.Words) {
		m.s.Evidence[i] = Evidence{}
		return
	}
	old := m.s.Evidence[i]
	within := st.Agree
	if m.accepted(st.ID) {
		within = 0
	}
	changed := old.Present && (st.Kind == checklist.KindName && !sameName(old.Words, ev.Words) ||
		st.Kind == checklist.KindQuantity && !agree(old.Value, value, within))
	means := ev.Means
	if st.Kind == checklist.KindMeasured {
		means = MeansBox
	}
	words := strings.TrimSpace(ev.Words)
	if st.Kind == checklist.KindSecret {
		words = ""
	}
	by := m.crewName(st)
	if st.Kind == checklist.KindName {
		by = words
	}
	m.s.Evidence[i] = Evidence{Present: true, At: m.s.Now, Value: value, Words: words, By: by, Means: means}
	if m.p.FirstRules && m.accepted(st.ID) {
		changed = false // the acceptance was of the whole band
	}
	if changed && st.Phase != checklist.Briefing {
		m.dropResting(st.ID, "changed")
	}
	m.answered(st, words)
}

// answered does what a few steps bring with them.
func (m *machine) answered(st *checklist.Step, words string) {
	switch st.ID {
	case StepFiringOfficer:
		if m.s.Crew.Firing != "" && !sameName(m.s.Crew.Firing, words) {
			m.drop(checklist.DropRangeOfficer, "another firing officer")
		}
		m.s.Crew.Firing = words
	case StepRangeOfficer:
		if m.s.Crew.Range != "" && !sameName(m.s.Crew.Range, words) {
			m.drop(checklist.DropRangeOfficer, "the range officer handed over")
		}
		m.s.Crew.Range = words
	case StepShuntOn:
		m.s.Shunted = true
		m.withdraw(m.p.index(StepShuntOff), "the line is shunted again")
	case StepShuntOff:
		m.s.Shunted = false
	case StepKeyHeld:
		m.s.Crew.KeyWith = words
	case StepBattery:
		m.s.Said.BatteryOffSaid = false // where no box reads it: what was said is over
	}
	for k, post := range m.p.Posts {
		if st.ID == StepCrewSpotter(post) {
			m.s.Crew.Spotter[k] = words
		}
	}
}

// withdraw takes the answer of step i back, by name, with what rests on it.
func (m *machine) withdraw(i int, why string) {
	if i < 0 || !m.s.Evidence[i].Present {
		return
	}
	m.s.Evidence[i] = Evidence{}
	m.fell = append(m.fell, Blocker{m.p.Steps[i].Gate, i, m.p.Steps[i].ID + ": " + why})
	m.notice(fmt.Sprintf("withdrawn: %s, %s", m.p.Steps[i].ID, why))
	m.dropResting(m.p.Steps[i].ID, "rests on it")
}

// dropResting withdraws every step that rests on the one named.
func (m *machine) dropResting(id, why string) {
	for j := range m.p.Steps {
		for _, base := range m.p.Steps[j].RestsOn {
			if base == id {
				m.withdraw(j, id+" "+why)
			}
		}
	}
}

// accepted reports whether the step is a basis that the prediction was accepted
// with.
func (m *machine) accepted(id string) bool {
	i := m.p.index(StepPrediction)
	return i >= 0 && slices.Contains(m.p.Steps[i].RestsOn, id)
}

// drop withdraws every step that the happening names.
func (m *machine) drop(d checklist.Drops, why string) {
	for i := range m.p.Steps {
		if m.p.Steps[i].Drops&d != 0 {
			m.withdraw(i, why)
		}
	}
}

// phaseTimers begins a phase of the routine again that was left unfinished for
// too long: where the place is lost, one starts from the beginning (Transport
// Canada, multi-crew procedures 1.9). Who signed on stays signed on.
func (m *machine) phaseTimers() {
	for ph := checklist.Site; ph <= checklist.Poll; ph++ {
		newest, answered, missing := Instant{}, false, false
		for i := range m.p.Steps {
			st := &m.p.Steps[i]
			switch {
			case st.Phase != ph || !m.p.required(st) || st.Kind == checklist.KindLine:
			case !m.s.Evidence[i].Present:
				missing = true
			case !answered || m.s.Evidence[i].At.Mono > newest.Mono:
				newest, answered = m.s.Evidence[i].At, true
			}
		}
		if answered && missing && m.s.Now.Since(newest) > phaseLeft {
			m.loud(fmt.Sprintf("%s was left unfinished for %s: it begins again", ph, checklist.Lasts(phaseLeft)))
			m.dropPhase(ph)
		}
	}
}

func (m *machine) dropPhase(ph checklist.Phase) {
	for i := range m.p.Steps {
		if m.p.Steps[i].Phase == ph {
			m.withdraw(i, "begun again")
		}
	}
}

// dropTimed withdraws every answer that ages.
func (m *machine) dropTimed() {
	for i := range m.p.Steps {
		if m.p.Steps[i].Expires > 0 && m.s.Evidence[i].Present {
			m.s.Evidence[i] = Evidence{}
		}
	}
}

// dropBasis withdraws what rests on a basis that left its accepted range; the
// loss of the gate is the same step (I-16).
func (m *machine) dropBasis(what string) {
	m.drop(checklist.DropBasis, what)
	m.loud(what + ": the prediction is withdrawn")
}

// onWithdraw takes an answer back at a person's word.
func (m *machine) onWithdraw(ev Withdraw) error {
	i := m.p.index(ev.Step)
	if i < 0 || !m.s.Evidence[i].Present {
		return m.refuse(fmt.Sprintf("%q has no answer to take back", ev.Step), "")
	}
	if m.s.Phase > Count && m.s.Phase != Hold {
		return m.refuse("answers are taken back before the window", "call HOLD")
	}
	m.withdraw(i, ev.Why)
	return nil
}

// onWaive lets the range officer pass an advisory band with a reason; core
// gates never.
func (m *machine) onWaive(ev Waive) error {
	i := m.p.index(ev.Step)
	if i < 0 {
		return m.refuse(fmt.Sprintf("there is no step %q", ev.Step), "")
	}
	st := &m.p.Steps[i]
	switch {
	case m.s.Phase != Setup:
		return m.refuse("a waiver is given in SETUP", "")
	case !st.Waivable() || m.p.restedOn(st.ID):
		return m.refuse(st.ID+" cannot be waived", "only advisory limits can, a core gate never")
	case m.s.Crew.Range == "" || !sameName(ev.By, m.s.Crew.Range):
		return m.refuse("only the range officer waives", "")
	case len([]rune(strings.TrimSpace(ev.Why))) < 4:
		return m.refuse("a waiver needs its reason", "type why")
	case math.IsNaN(ev.Value) || math.IsInf(ev.Value, 0):
		return m.refuse(st.ID+": the value is not a number", "")
	case st.Band.Contains(ev.Value):
		return m.refuse(fmt.Sprintf("%s: %.4g %s is inside its limit, there is nothing to waive", st.ID, ev.Value, st.Band.Unit), "answer the step")
	}
	if err := m.mayAnswer(i); err != nil {
		return err
	}
	return m.ask(ev, func() {
		m.s.Evidence[i] = Evidence{Present: true, At: m.s.Now, Value: ev.Value, Words: strings.TrimSpace(ev.Why),
			By: m.s.Crew.Range, Means: MeansTyped, Waived: true}
		m.loud(fmt.Sprintf("waived by %s: %s at %.4g %s, %s", m.s.Crew.Range, st.ID, ev.Value, st.Band.Unit, ev.Why))
	})
}
