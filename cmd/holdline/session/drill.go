package session

import (
	"context"
	"errors"
	"fmt"
	"time"

	"holdline/arming"
	"holdline/arming/drill"
	"holdline/arming/groundbox/practice"
	"holdline/arming/record/journal"
	"holdline/checklist"
	"holdline/tui"
)

// Drill asks for a practice firing with surprises.
type Drill struct {
	Seed   uint64
	Choice drill.Choice
}

// Why there is no drill.
var (
	ErrRealDrill  = errors.New("session: a drill needs the practice box of its own: with anything else nobody can order a surprise, and nothing real may be drilled with")
	ErrUnfinished = errors.New("session: an earlier practice firing is not over, end it first without a drill")
)

// How long what is heard stands on the screen, and how long a hand that is
// nobody's presses.
const (
	heardFor = 20 * time.Second
	pressFor = 400 * time.Millisecond
)

// RunDrill opens the cockpit for a drill and returns the path of its record,
// from which it is judged.
func RunDrill(ctx context.Context, o Options) (path string, err error) {
	if o.Drill == nil {
		return "", errors.New("session: options: no drill is asked for")
	}
	o.Practice = o.Box == "" && o.Meter == "" && !o.Typed
	return run(ctx, o)
}

// drilling is a drill under way. The driver's alone, but for what it is made
// with.
type drilling struct {
	director *drill.Director
	trainer  *practice.Box
	heard    string
	heardAt  time.Duration
	offs     int      // how often the battery was taken off
	windMps  *float64 // what the wind meter shows, nil until the wind has changed
}

// mayDrill refuses a drill with a device that does not itself say that it is
// practice.
func (s *session) mayDrill() error {
	if s.o.Drill != nil && (!s.practice || s.trainer == nil) {
		return ErrRealDrill
	}
	return nil
}

// planDrill plans the drill that was asked for and writes it down, so that it
// can be judged from the record alone.
func (s *session) planDrill() error {
	if s.o.Drill == nil {
		return nil
	}
	plan, err := drill.Make(s.plan, s.o.Drill.Seed, s.o.Drill.Choice)
	if err != nil {
		return err
	}
	s.drill = &drilling{director: drill.NewDirector(plan, s.plan), trainer: s.trainer}
	at, wall := s.driver.clock.now()
	return s.record.note(at, wall, journal.KindDrill, drill.PlanEntry(plan))
}

// tick follows each tick of the driver.
func (s *session) tick() {
	s.drillTick()
	s.keepPredicted()
}

// drillTick lets happen what is due.
func (s *session) drillTick() {
	g, d := s.drill, s.driver
	if g == nil {
		return
	}
	orders := g.director.Tick(&d.state, g.bench())
	for i := range orders {
		s.carryDrill(&orders[i])
	}
	if g.heard != "" && d.state.Now.Mono-g.heardAt > heardFor {
		g.heard = ""
	}
	if len(orders) > 0 {
		d.publish()
	}
}

// bench is what the practice box knows of itself.
func (g *drilling) bench() drill.Bench {
	b := drill.Bench{BatteryOffs: g.offs, Joined: g.trainer.State().BatteryJoined}
	for _, m := range g.trainer.Lit() {
		if m.Motor <= checklist.MaxMotors {
			b.Fired[m.Motor-1], b.Lit[m.Motor-1] = m.BridgeFired, m.Lit
		}
	}
	return b
}

// carryDrill carries one order out. The line goes first: reactions are timed
// from it.
func (s *session) carryDrill(o *drill.Order) {
	g, d := s.drill, s.driver
	plan := g.director.Plan()
	if o.Begins {
		s.drillEntry(drill.SurpriseEntry(plan, o.Number))
		if sp := &plan.Surprises[o.Number-1]; sp.Kind == drill.Wind {
			g.windMps = &sp.Wind
		}
	}
	for _, f := range []struct {
		text string
		do   func(practice.Fault) error
	}{{o.Clear, func(f practice.Fault) error { g.trainer.ClearFault(f); return nil }}, {o.Fault, g.trainer.SetFault}} {
		if f.text == "" {
			continue
		}
		fault, err := practice.ParseFault(f.text)
		if fault.Channel > 0 { // so far it names a motor
			fault.Channel = s.sheet.Motors[fault.Channel-1].Channel
		}
		if err == nil {
			err = f.do(fault)
		}
		if err != nil {
			panic(fmt.Sprintf("session: internal error: %v", err)) // the plan is made for this box
		}
	}
	if o.Press {
		g.trainer.Hands().Press(pressFor)
	}
	if o.JoinBattery {
		g.trainer.Hands().Battery(true)
	}
	if o.Over {
		s.drillEntry(drill.OverEntry(o.Number))
	}
	if o.Heard != "" {
		_, wall := d.clock.now()
		g.heard, g.heardAt = o.Heard, d.state.Now.Mono
		d.frame.Rings++
		d.log(wall, "DRILL heard: "+clean(o.Heard), true)
	}
}

// drillEntry writes an entry of the drill into the record.
func (s *session) drillEntry(body any) {
	at, wall := s.driver.clock.now()
	if err := s.record.note(at, wall, journal.KindDrill, body); err != nil {
		s.driver.step(arming.RecordFailed{Why: err.Error()})
	}
}

// noteHand writes a movement of the practice hands down: a dumb box does not
// tell of it.
func (s *session) noteHand(h tui.Hand) {
	if s.drill == nil {
		return
	}
	st := s.trainer.State()
	word := map[tui.Hand]drill.Hand{
		tui.HandKey:        choose(st.KeyIn, drill.KeyIn, drill.KeyOut),
		tui.HandBattery:    choose(st.BatteryJoined, drill.BatteryOn, drill.BatteryOff),
		tui.HandIgniters:   choose(st.Igniters, drill.LeadsOn, drill.LeadsOff),
		tui.HandShunt:      choose(st.Shunt, drill.ShuntOn, drill.ShuntOff),
		tui.HandButtonDown: drill.ButtonDown,
		tui.HandButtonUp:   drill.ButtonUp,
	}[h]
	if word == "" {
		return
	}
	s.ask(func() {
		if word == drill.BatteryOff {
			s.drill.offs++
		}
		s.drillEntry(drill.HandEntry(word))
		s.drillTick() // what a hand has made due shall not wait for the next beat
	})
}

func choose(is bool, yes, no drill.Hand) drill.Hand {
	if is {
		return yes
	}
	return no
}

// view is what the screen shows of the drill, nil without one.
func (g *drilling) view() *tui.DrillView {
	if g == nil {
		return nil
	}
	return &tui.DrillView{Heard: g.heard, WindMps: g.windMps}
}
