package session

import (
	"encoding/json"
	"fmt"
	"math"
	"time"

	"holdline/arming"
	"holdline/arming/record"
	"holdline/arming/record/journal"
)

// batteryStep is how far the battery's voltage may move before the circuit is
// worked out anew, in volts.
const batteryStep = 0.1

// measured takes the values of the day out of the answers.
func (s *session) measured(st *arming.State) measured {
	value := func(id string) *float64 {
		i := s.index(id)
		if i < 0 || !st.Evidence[i].Present {
			return nil
		}
		v := st.Evidence[i].Value
		return &v
	}
	m := measured{headwindMps: value("wind"), massKg: value("mass"), batteryV: value(arming.StepBudget)}
	if m.batteryV != nil {
		*m.batteryV = math.Round(*m.batteryV/batteryStep) * batteryStep
	}
	if s.box != nil {
		// A box tells its current in decimals, so the last bits say nothing.
		if a := s.box.testCurrentA(); a > s.sheet.Firing.TestCurrentA*(1+1e-6) {
			m.testA = &a
		}
	}
	return m
}

// stepped follows the machine: what was accepted goes into the record, and the
// code is forgotten at the end.
func (s *session) stepped(before, after *arming.State) []arming.Event {
	if after.Phase == arming.Closed {
		s.secret.wipe()
	}
	if i := s.index(arming.StepPrediction); i >= 0 && after.Evidence[i].Present && !before.Evidence[i].Present {
		return s.notePrediction(after.Now)
	}
	return nil
}

// keepPredicted sees to it that the prediction of today's values is there or
// under way. While the permit may be wanted none runs, so that none stands in the
// link's way, and none before the first frame, which nobody is to wait for.
func (s *session) keepPredicted() {
	if s.terminal != nil && !s.terminal.drawn.Load() {
		return
	}
	now := s.measured(&s.driver.state)
	switch {
	case permitNear(s.driver.state.Phase):
		s.predict.stop()
		s.asked = nil
	case s.asked != nil && s.asked.same(now), s.asked == nil && s.latest.restsOn(now):
	default:
		s.asked = &now
		s.share.Store(0)
		s.predict.start(s.sheet, now)
	}
}

// predictionStands reports that the prediction on the screen is that of today's
// values, and refuses what was asked for where it is not.
func (s *session) predictionStands() bool {
	if s.latest.restsOn(s.measured(&s.driver.state)) {
		return true
	}
	s.driver.refuse("the prediction for today's values is not computed yet", "wait for it, then read it")
	return false
}

// deliver takes a prediction. One that is a no takes back an acceptance.
func (s *session) deliver(p predicted) {
	if s.asked == nil || !s.asked.same(p.of) {
		return // stopped in the moment that it was ready
	}
	s.asked, s.latest = nil, p
	if p.err != nil {
		_, wall := s.driver.clock.now()
		s.driver.log(wall, "prediction: "+clean(p.err.Error()), true)
	}
	if i := s.index(arming.StepPrediction); i >= 0 && s.driver.state.Evidence[i].Present && !p.good() {
		s.driver.step(arming.BasisLeft{What: "with what was measured today the prediction is a no"})
	}
	s.driver.publish()
}

// predictionBody is the entry of the prediction on the screen, in its canonical
// form.
func (s *session) predictionBody() (json.RawMessage, error) {
	return record.Canonical(map[string]any{
		"predict": s.latest.run, "circuit": s.latest.circuit, "chart": s.latest.run.Chart(),
		"basis": fmt.Sprintf("%x", s.sheet.Basis(s.o.Version, seed)),
	})
}

// notePrediction writes down what was accepted.
func (s *session) notePrediction(at arming.Instant) []arming.Event {
	s.accepted = s.sheet.Basis(s.o.Version, seed)
	if err := s.record.note(at, time.Now(), journal.KindPrediction, s.shown); err != nil {
		return []arming.Event{arming.RecordFailed{Why: clean(err.Error())}}
	}
	return nil
}
