package session

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"sync/atomic"
	"time"

	"holdline/arming"
	"holdline/arming/groundbox"
	"holdline/arming/groundbox/practice"
	"holdline/arming/record/journal"
	"holdline/checklist"
	"holdline/checklist/sheet"
	"holdline/cmd/holdline/terminal"
	"holdline/tui"
)

// session is one run of the program: the driver with everything around it.
// Fields without a comment are set before the driver runs and constant; the
// rest is the driver goroutine's.
type session struct {
	o           Options
	sheet       *sheet.Sheet
	plan        *arming.Plan
	mode        arming.Mode
	practice    bool
	box         *boxLink         // nil without a box
	meter       *groundbox.Meter // nil without a meter
	trainer     *practice.Box    // nil without a practice box of our own
	stopTrainer func()
	driver      *driver
	record      *recorder
	secret      secret
	predict     *predictor
	screen      *screen  // nil without a terminal
	compute     computer // the models

	latest   predicted     // newest prediction
	asked    measured      // what it was asked for with
	share    atomic.Uint64 // bits of the share done of one under way; from any goroutine
	reading  bool          // the meter is being read
	accepted [32]byte      // basis of the accepted prediction
	arming   bool          // the sheet is being read again, for an entry to arm
	drill    *drilling     // nil without a drill

	soFar       string        // holds and waivers of earlier firings, "" for none
	stopCount   func()        // ends counting them
	counterOver chan struct{} // closed when a counter-signature under way is done, nil for none
}

// config joins the cockpit to the session. No function of it blocks.
func (s *session) config() tui.Config {
	cfg := tui.Config{
		Latest:  s.frameAsked,
		Await:   s.driver.await,
		Submit:  s.submit,
		SetCode: func(code string) { s.secret.set(code) },
		TryCode: func(code string) {
			matched := s.secret.try(code)
			s.ask(func() { s.driver.step(arming.Code{Matched: matched}) })
		},
		CounterSign: func(key, passphrase string) { s.ask(func() { s.counterSign(key, passphrase) }) },

		Bell:  s.bell,
		Theme: terminal.Theme(s.o.Theme, os.Getenv),
		ASCII: !terminal.UTF8(os.Getenv),
	}
	if s.trainer != nil {
		cfg.Move = s.move
	}
	s.planTour(&cfg)
	return cfg
}

// frameAsked returns the newest frame, and counts as a sign of life of the
// screen unless the terminal takes nothing: what nobody sees is not asked for.
func (s *session) frameAsked() tui.Frame {
	if s.screen != nil && s.screen.stuck() {
		return s.driver.newest()
	}
	return s.driver.frameAsked()
}

// bell rings the terminal's bell. One byte between two frames disturbs none.
func (s *session) bell() {
	out := s.o.Out
	if out == nil {
		out = os.Stdout
	}
	_, _ = out.Write([]byte{'\a'}) // a terminal that takes nothing is seen elsewhere
}

// ask queues a request, or has the screen say that there was no room.
func (s *session) ask(f func()) {
	if !s.driver.ask(f) {
		s.driver.busy.Store(true)
	}
}

// submit takes an event of the cockpit. HOLD goes ahead of everything.
func (s *session) submit(ev arming.Event) {
	switch ev := ev.(type) {
	case arming.HoldCall:
		s.driver.callHold()
	case arming.Quit:
		s.driver.permitOff()
		s.ask(func() { s.driver.step(ev) })
	case arming.Answer, arming.Withdraw, arming.Waive, arming.OpenLine, arming.CloseLine, arming.StartProof,
		arming.Say, arming.ArmEntry, arming.StartCount, arming.HoldBy, arming.Resume, arming.Scrub, arming.Observe,
		arming.GoForward, arming.Inspect, arming.Result, arming.AllClear, arming.FocusLost, arming.Stalled:
		s.ask(func() { s.take(ev) })
	default:
		// Readings, ticks and the like are not the cockpit's to tell.
		panic(fmt.Sprintf("session: internal error: the cockpit sent %T", ev))
	}
}

// take puts a request to the machine, after the shell's own part in it.
func (s *session) take(ev arming.Event) {
	switch e := ev.(type) {
	case arming.Answer:
		s.answer(e)
	case arming.ArmEntry:
		s.armEntry(e)
	default:
		s.driver.step(ev)
	}
}

// answer puts in what only the shell knows: whether the prediction is a go,
// and that there is a code. The length of a good code is nobody's business.
func (s *session) answer(ev arming.Answer) {
	d := s.driver
	ev.Words = clean(ev.Words)
	st := s.step(ev.Step)
	switch {
	case st == nil:
	case st.Kind == checklist.KindAccept:
		if s.latest.run == nil || s.latest.circuit == nil {
			d.refuse("the prediction is not computed yet", "wait for it, then read it")
			return
		}
		ev.Value, ev.Again = 0, 0
		if s.latest.run.Go && s.latest.circuit.Go {
			ev.Value = 1
		}
	case st.Kind == checklist.KindSecret:
		if !s.secret.is() {
			d.refuse("there is no code", "type it twice")
			return
		}
		if st.Band.Contains(ev.Value) {
			ev.Value = st.Band.Low
		}
	case ev.Means == arming.MeansMeter:
		s.readMeter(ev, st)
		return
	}
	d.step(ev)
}

func (s *session) step(id string) *checklist.Step {
	for i := range s.plan.Steps {
		if s.plan.Steps[i].ID == id {
			return &s.plan.Steps[i]
		}
	}
	return nil
}

// armEntry reads sheet and curves from the disk again before the firing
// officer's entry counts: what was accepted must still be there.
func (s *session) armEntry(ev arming.ArmEntry) {
	if s.o.SheetPath == "" {
		s.driver.step(ev)
		return
	}
	if s.arming {
		s.driver.refuse("the sheet is being read again", "wait a moment")
		return
	}
	s.arming = true
	go func() {
		now, err := sheet.Load(s.o.SheetPath)
		s.ask(func() {
			s.arming = false
			switch {
			case err != nil:
				s.driver.step(arming.BasisLeft{What: "the sheet on disk can no longer be read"})
			case now.Basis(s.o.Version, seed) != s.accepted:
				s.driver.step(arming.BasisLeft{What: "the sheet or a curve on disk is not the one that was accepted"})
			default:
				s.driver.step(ev)
			}
		})
	}()
}

// answered follows the answers: a prediction is made again when a value of the
// day has moved, and what was accepted goes into the record.
func (s *session) answered(before, after *arming.State) {
	now := s.measured(after)
	if !now.same(s.asked) {
		s.asked = now
		s.predict.want(s.sheet, now)
	}
	i := s.index(arming.StepPrediction)
	if i >= 0 && after.Evidence[i].Present && !before.Evidence[i].Present {
		s.accepted = s.sheet.Basis(s.o.Version, seed)
		s.notePrediction(after.Now)
	}
}

func (s *session) index(id string) int {
	for i := range s.plan.Steps {
		if s.plan.Steps[i].ID == id {
			return i
		}
	}
	return -1
}

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

// deliver takes a prediction. One with the values of the day that is a no
// takes back an acceptance.
func (s *session) deliver(p predicted) {
	s.share.Store(0)
	if p.err != nil {
		_, wall := s.driver.clock.now()
		s.driver.log(wall, "prediction: "+clean(p.err.Error()), true)
		s.latest = predicted{}
	} else {
		s.latest = p
	}
	i := s.index(arming.StepPrediction)
	good := p.err == nil && p.run.Go && p.circuit.Go
	if i >= 0 && s.driver.state.Evidence[i].Present && !good {
		s.driver.step(arming.BasisLeft{What: "with what was measured today the prediction is a no"})
	}
	s.driver.publish()
}

// notePrediction writes down what was accepted.
func (s *session) notePrediction(at arming.Instant) {
	run, err := json.Marshal(s.latest.run)
	circuit, err2 := json.Marshal(s.latest.circuit)
	chart, err3 := json.Marshal(s.latest.run.Chart())
	if err = errors.Join(err, err2, err3); err == nil {
		err = s.record.note(at, time.Now(), journal.KindPrediction, map[string]any{
			"predict": json.RawMessage(run), "circuit": json.RawMessage(circuit), "chart": json.RawMessage(chart),
			"basis": fmt.Sprintf("%x", s.accepted),
		})
	}
	if err != nil {
		s.driver.ask(func() { s.driver.step(arming.RecordFailed{Why: clean(err.Error())}) })
	}
}

// fill completes a frame.
func (s *session) fill(f *tui.Frame) {
	f.Title, f.Practice, f.Sheet, f.SoFar = s.sheet.Title, s.practice, s.sheet, s.soFar
	f.Run, f.Circuit, f.Computing = s.latest.run, s.latest.circuit, math.Float64frombits(s.share.Load())
	switch {
	case s.box != nil:
		f.Box = clean(s.box.first.Identity.String())
	case s.mode == arming.ModeMeter:
		f.Box = clean(s.meter.Identity().String())
	default:
		f.Box = "typed off a meter"
	}
	if s.trainer != nil {
		f.Hands = hands(s.trainer)
	}
	f.Drill = s.drill.view()
}

func hands(b *practice.Box) *tui.HandsView {
	st := b.State()
	v := &tui.HandsView{KeyIn: st.KeyIn, Button: st.Button, Battery: st.BatteryJoined, Igniters: st.Igniters, Shunt: st.Shunt}
	for _, m := range b.Lit() {
		if m.Lit {
			v.Lit = append(v.Lit, m.Motor)
		}
	}
	return v
}

// move is a hand of the practice box. It is no action of the cockpit and goes
// past the machine, which sees it through the box, as it would a real one.
func (s *session) move(h tui.Hand) {
	hand, st := s.trainer.Hands(), s.trainer.State()
	switch h {
	case tui.HandKey:
		hand.Key(!st.KeyIn)
	case tui.HandBattery:
		hand.Battery(!st.BatteryJoined)
	case tui.HandIgniters:
		hand.Igniters(!st.Igniters)
	case tui.HandShunt:
		hand.Shunt(!st.Shunt)
	case tui.HandButtonDown:
		hand.Button(true)
	case tui.HandButtonUp:
		hand.Button(false)
	}
	s.noteHand(h)
}

// closeRecord closes and signs the record of a firing that is over.
func (s *session) closeRecord(d *driver) {
	s.secret.wipe()
	s.record.closeNormal(d.clock, func(signed string, err error) {
		show := func() {
			s.record.closed = true
			s.record.signed = signed
			if err != nil {
				s.record.problem = "not signed: " + err.Error()
			}
			d.publish()
		}
		select {
		case d.requests <- show:
		case <-d.done:
		case <-time.After(signWithin):
		}
	})
}

// start runs the driver and the first prediction.
func (s *session) start(first arming.Start) {
	s.predict = &predictor{
		compute: s.compute,
		deliver: func(p predicted) { s.post(func() { s.deliver(p) }) },
		share:   func(done float64) { s.share.Store(math.Float64bits(done)) },
	}
	s.asked = s.measured(&arming.State{})
	if a := s.asked.testA; a != nil {
		s.driver.log(time.Now(), fmt.Sprintf("the box says that it tests with up to %.3g mA, the sheet says %.3g mA: the larger counts",
			1000**a, 1000*s.sheet.Firing.TestCurrentA), true)
	}
	ctx, cancel := context.WithCancel(context.Background())
	s.stopCount = cancel
	go s.driver.run(first)
	s.countBefore(ctx)
	go s.predictFirst()
}

// predictFirst has the first prediction made once the first frame is out: nobody
// waits for the screen because of the models.
func (s *session) predictFirst() {
	if s.screen != nil {
		select {
		case <-s.screen.first:
		case <-time.After(time.Second):
		}
	}
	s.post(func() { s.predict.want(s.sheet, s.asked) })
}

// post hands something to the driver that must not be lost.
func (s *session) post(f func()) {
	select {
	case s.driver.requests <- f:
	case <-s.driver.done:
	}
}

// stop ends everything, the permit first. It may be called again.
func (s *session) stop(ctx context.Context, why string) error {
	most := 2 * time.Second
	if deadline, ok := ctx.Deadline(); ok {
		most = time.Until(deadline)
	}
	s.driver.stop(why, most)
	s.secret.wipe()
	s.predict.stop()
	s.stopCount()
	select {
	case <-s.driver.done:
		s.counterEnd(signWithin)
		return s.driver.failure
	default:
		return fmt.Errorf("session: the driver has not ended within %v", most)
	}
}
