package session

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"slices"
	"sync/atomic"
	"time"

	"holdline/arming"
	"holdline/arming/groundbox"
	"holdline/arming/groundbox/practice"
	"holdline/arming/record"
	"holdline/checklist"
	"holdline/checklist/sheet"
	"holdline/cmd/holdline/terminal"
	"holdline/tui"
)

// session is one run of the program: the driver with everything around it.
// What is set before the driver runs is constant, but for what says otherwise.
type session struct {
	o           Options
	sheet       *sheet.Sheet
	plan        *arming.Plan
	mode        arming.Mode
	practice    bool
	box         *boxLink         // nil without a box
	meter       *groundbox.Meter // nil without a meter
	trainer     *practice.Box    // nil without a practice box of our own
	pipe        bool             // the trainer hangs on a pipe in memory: simulated time knows no terminal
	stopTrainer func()
	driver      *driver
	record      *recorder
	secret      secret
	terminal    *timedTerminal // nil without a terminal
	compute     computer       // the models
	share       atomic.Uint64  // bits of the share done of the prediction under way; from any goroutine

	// The driver goroutine's.

	predict      predictor
	latest       predicted            // newest prediction
	asked        *measured            // what the one under way rests on, nil for none
	accepted     [32]byte             // basis of the accepted prediction
	shown        json.RawMessage      // the prediction that was last accepted, as the record has it
	meterBusy    bool                 // the meter is being read
	sheetBusy    bool                 // the sheet is being read again, for an entry to arm
	drill        *drilling            // nil without a drill
	soFar        string               // holds and waivers of earlier firings, "" for none
	countersigns chan tui.CounterView // what a counter-signature under way comes to, nil for none
	stopCount    func()               // ends counting the earlier firings
}

// config joins the cockpit to the session. No function of it blocks.
func (s *session) config() tui.Config {
	cfg := tui.Config{
		Latest:  s.driver.frameAsked,
		Await:   s.driver.await,
		Submit:  s.submit,
		SetCode: func(code string) { s.secret.set(code) },
		TryCode: func(code string) {
			matched := s.secret.try(code)
			s.ask(func() {
				if s.predictionStands() {
					s.driver.step(arming.Code{Matched: matched})
				}
			})
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
	case arming.Answer, arming.Withdraw, arming.Waive, arming.SignOn, arming.OpenLine, arming.CloseLine, arming.StartProof,
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
	i := s.index(ev.Step)
	if i < 0 {
		d.step(ev)
		return
	}
	switch st := &s.plan.Steps[i]; {
	case st.Kind == checklist.KindAccept:
		switch {
		case !s.predictionStands():
			return
		case s.latest.err != nil:
			d.refuse("there is no prediction: "+clean(s.latest.err.Error()), "change the sheet, then start again")
			return
		}
		shown, err := s.predictionBody()
		if err != nil {
			d.step(arming.RecordFailed{Why: clean(err.Error())})
			return
		}
		s.shown = shown
		ev.Value, ev.Again, ev.Shown = 0, 0, record.SumSHA256(shown).String()
		if s.latest.good() {
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

// index is the place of a step in the plan, -1 for none.
func (s *session) index(id string) int {
	return slices.IndexFunc(s.plan.Steps, func(st checklist.Step) bool { return st.ID == id })
}

// armEntry reads sheet and curves from the disk again before the firing
// officer's entry counts: what was accepted must still be there.
func (s *session) armEntry(ev arming.ArmEntry) {
	switch {
	case !s.predictionStands():
		return
	case s.o.SheetPath == "":
		s.driver.step(ev)
		return
	case s.sheetBusy:
		s.driver.refuse("the sheet is being read again", "wait a moment")
		return
	}
	s.sheetBusy = true
	go func() {
		now, err := sheet.Load(s.o.SheetPath)
		s.post(func() {
			s.sheetBusy = false
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

// fill completes a frame.
func (s *session) fill(f *tui.Frame) {
	f.Title, f.Practice, f.Sheet, f.SoFar = s.sheet.Title, s.practice, s.sheet, s.soFar
	f.Run, f.Circuit = s.latest.run, s.latest.circuit
	if s.asked != nil {
		f.Computing = math.Float64frombits(s.share.Load())
	}
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

// post hands something to the driver that must not be lost.
func (s *session) post(f func()) {
	select {
	case s.driver.requests <- f:
	case <-s.driver.done:
	}
}

// start runs the driver.
func (s *session) start(first arming.Start) {
	s.predict = predictor{
		compute: s.compute,
		deliver: func(p predicted) { s.post(func() { s.deliver(p) }) },
		share:   func(done float64) { s.share.Store(math.Float64bits(done)) },
	}
	if a := s.measured(&arming.State{}).testA; a != nil {
		s.driver.log(time.Now(), fmt.Sprintf("the box says that it tests with up to %.3g mA, the sheet says %.3g mA: the larger counts",
			1000**a, 1000*s.sheet.Firing.TestCurrentA), true)
	}
	ctx, cancel := context.WithCancel(context.Background())
	s.stopCount = cancel
	go s.driver.run(first)
	s.countBefore(ctx)
}

// stop ends everything, the permit first. It may be called again.
func (s *session) stop(ctx context.Context, why string) error {
	most := 2 * time.Second
	if deadline, ok := ctx.Deadline(); ok {
		most = time.Until(deadline)
	}
	s.driver.stop(why, most)
	s.secret.wipe()
	s.stopCount()
	select {
	case <-s.driver.done:
	default:
		return fmt.Errorf("session: the driver has not ended within %v", most)
	}
	s.predict.stop()
	s.predict.done.Wait()
	s.counterEnd(signWithin)
	return s.driver.failure
}
