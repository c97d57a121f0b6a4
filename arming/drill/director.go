package drill

import (
	"fmt"
	"time"

	"holdline/arming"
	"holdline/checklist"
)

// Times of the director.
const (
	gap       = 5 * time.Second  // between two surprises
	silentFor = 12 * time.Second // that a box says nothing
)

// Bench is what the practice box knows of itself and a real one would not.
type Bench struct {
	BatteryOffs int                       // how often a hand has taken the battery off
	Joined      bool                      // the battery is joined
	Fired       [checklist.MaxMotors]bool // the bridge has fired
	Lit         [checklist.MaxMotors]bool
}

// Order is something for the shell to do now, in the order of its fields.
type Order struct {
	Number      int    // of the surprise, counted from 1
	Clear       string // fault of the practice box to take back, "" for none
	Fault       string // fault to order
	Press       bool   // a hand that is nobody's presses the button for a moment
	JoinBattery bool   // and another one joins the battery
	Begins      bool   // this is the moment of the surprise
	Over        bool   // its fault has been taken back
	Heard       string // what is heard now
}

// progress is how far one surprise has come.
type progress int

const (
	waiting  progress = iota
	prepared          // a fault that shows itself later is in place
	on                // it has come, and something is to be taken back
	over
)

// Director lets the surprises of a plan come, each when its phase can show it.
// It is fed with every tick of the driver and decides by state and time alone.
type Director struct {
	plan Plan
	p    *arming.Plan
	how  []progress
	at   []time.Duration // when each came
	offs []int           // how often the battery had been taken off then

	last   time.Duration                  // when one came last
	since  map[arming.Phase]time.Duration // when the phase could first show a surprise; none while it cannot
	firing bool                           // a motor's bridge has fired
	fireAt time.Duration
}

// NewDirector returns the director of a plan.
func NewDirector(plan Plan, p *arming.Plan) *Director {
	n := len(plan.Surprises)
	return &Director{plan: plan, p: p, how: make([]progress, n), at: make([]time.Duration, n), offs: make([]int, n),
		last: -gap, since: map[arming.Phase]time.Duration{}}
}

// Plan is the plan.
func (d *Director) Plan() *Plan { return &d.plan }

// shows reports whether a phase can show a surprise now.
func (d *Director) shows(ph arming.Phase, s *arming.State) bool {
	if s.Phase != ph {
		return false
	}
	switch ph {
	case arming.Setup: // with a person forward
		return s.Line == arming.LineOpen && s.Hooked
	case arming.Ready, arming.Count:
		return true
	case arming.Armed:
		return s.KeyInArmed
	case arming.Wait: // while it runs
		return s.AtRest && s.NoPulse == arming.NoPulseNone && s.WaitLeft > 0
	case arming.MakeSafe:
		return s.Line == arming.LineOpen && s.Live(d.p) > 0
	}
	return false
}

// look notes since when each phase can show a surprise.
func (d *Director) look(s *arming.State) {
	for ph := arming.Setup; ph <= arming.MakeSafe; ph++ {
		if _, known := d.since[ph]; !d.shows(ph, s) {
			delete(d.since, ph)
		} else if !known {
			d.since[ph] = s.Now.Mono
		}
	}
}

// Tick says what is to happen now.
func (d *Director) Tick(s *arming.State, b Bench) []Order {
	d.look(s)
	now := s.Now.Mono
	var out []Order
	busy := false
	for i := range d.plan.Surprises {
		if d.how[i] != on {
			continue
		}
		if order, done := d.ends(i, s, b); done {
			d.how[i] = over
			d.last = now
			out = append(out, order)
			continue
		}
		busy = true
	}
	for i := range d.plan.Surprises {
		sp := &d.plan.Surprises[i]
		if sp.Phase == arming.Run {
			out = append(out, d.run(i, s, b)...)
			continue
		}
		since, shows := d.since[sp.Phase]
		if d.how[i] != waiting || busy || now-d.last < gap || d.before(i) || !shows || now-since < sp.After {
			continue
		}
		d.offs[i] = b.BatteryOffs
		out = append(out, d.begin(i, now))
		busy = true
	}
	return out
}

// before reports whether another surprise has to come first: what ends an
// attempt for good comes last of what may come before the window.
func (d *Director) before(i int) bool {
	for j := range d.plan.Surprises[:i] {
		if d.how[j] == waiting && (d.plan.Surprises[j].Phase == d.plan.Surprises[i].Phase || d.plan.Surprises[i].Kind == FrozenBox) {
			return true
		}
	}
	return false
}

// begin lets surprise i come.
func (d *Director) begin(i int, now time.Duration) Order {
	sp := &d.plan.Surprises[i]
	d.how[i], d.at[i], d.last = over, now, now
	o := Order{Number: i + 1, Begins: true, Heard: sp.Phrase, Fault: sp.fault(),
		JoinBattery: sp.Kind == BatteryForward, Press: sp.Kind == EarlyButton}
	if o.Fault != "" {
		d.how[i] = on
	}
	return o
}

// ends takes the fault of surprise i back when somebody has seen to it, or its
// time is over.
func (d *Director) ends(i int, s *arming.State, b Bench) (Order, bool) {
	sp := &d.plan.Surprises[i]
	o := Order{Number: i + 1, Clear: sp.fault(), Over: true}
	switch sp.Kind {
	case IgniterOpen:
		o.Heard = fmt.Sprintf("at the vehicle: the lead of motor %d was off, it is on", sp.Motor)
		return o, s.Line == arming.LineOpen || d.hookedAnew(s, d.at[i])
	case WeakBattery:
		o.Heard = "a fresh battery is in its place, not joined"
		return o, b.BatteryOffs > d.offs[i] && !b.Joined // a battery that is joined is not changed for another
	}
	return o, s.Now.Mono-d.at[i] >= silentFor
}

// hookedAnew reports that somebody has been at the vehicle since then, however
// short the line was open.
func (d *Director) hookedAnew(s *arming.State, since time.Duration) bool {
	for k := range d.p.Steps {
		if d.p.Steps[k].ID == arming.StepHookUp {
			return s.Evidence[k].Present && s.Evidence[k].At.Mono > since
		}
	}
	return false
}

// run prepares a surprise of the run when the window opens, and tells it when
// it can be seen.
func (d *Director) run(i int, s *arming.State, b Bench) []Order {
	sp := &d.plan.Surprises[i]
	now := s.Now.Mono
	switch {
	case d.how[i] == waiting && s.Phase == arming.Window:
		d.how[i] = prepared
		return []Order{{Number: i + 1, Fault: sp.fault()}}
	case d.how[i] != prepared || sp.Motor < 1 || sp.Motor > checklist.MaxMotors || s.Phase != arming.Run && s.Phase != arming.Wait:
		return nil
	case sp.Kind == LateLight:
		if !b.Lit[sp.Motor-1] {
			return nil
		}
	case !b.Fired[sp.Motor-1]:
		return nil
	case !d.firing:
		d.firing, d.fireAt = true, now
		return nil
	case now-d.fireAt < sp.After:
		return nil
	}
	d.how[i], d.at[i], d.last = over, now, now
	return []Order{{Number: i + 1, Begins: true, Heard: sp.Phrase}}
}
