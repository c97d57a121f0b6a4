package arming

import (
	"fmt"
	"reflect"
	"strings"
	"time"

	"pgregory.net/rapid"

	"holdline/arming/groundbox/wire"
	"holdline/checklist"
)

// site is a firing in a whole world, as the random tests drive it: box, cable,
// disk, hands, people and one hardware fault, with the real plan and real
// times. What is true stands here; what the machine believes stands in s.
type site struct {
	t    rapid.TB
	p    *Plan
	s    State
	at   Instant
	seen *visits

	key, hand, battery bool
	fault              siteFault
	relay, spent       bool
	renewed            time.Duration // when the permit was last renewed
	lease              bool
	scan               int
	pulses, presses    int64
	events             wire.Event // bits not told yet
	welded             bool       // the bit for a weld has been told and still stands
	noCount            bool       // the box has lost its counts
	cut, joined        bool       // the cable is out; the driver has told that the box answers
	moved              bool       // hands have moved since the machine was told
	igniter            [checklist.MaxMotors]Ohm
	person             bool // really forward
	slowDisk           bool
	lines              []uint32 // not on disk yet

	flowed  bool          // current has flowed through an igniter of this firing
	resting time.Duration // waited since, by the slower clock
}

// siteFault is the one hardware fault of a firing.
type siteFault int

const (
	wholeBox      siteFault = iota
	weldedPermit            // its linked contact says so
	bridgedPermit           // its linked contact reads open
	closedPole              // the button's pole that fires
	bridgedKey              // the switch reads out
	siteFaults
)

// visits count what random firings have reached.
type visits struct {
	events   int
	kinds    map[string]int
	phases   [phaseEnd]int // events stepped in it
	entered  [phaseEnd]int
	effects  map[string]int
	faults   [siteFaults]int
	pulses   int // with an igniter connected
	forward  int // a person went
	restarts int
	refused  int
	paused   int // events stepped in a pause of the count
}

func newVisits() *visits { return &visits{kinds: map[string]int{}, effects: map[string]int{}} }

func newSite(t rapid.TB, mode Mode, waitSpeed int) *site {
	y := &site{t: t, p: testPlan(mode), seen: newVisits()}
	y.p.WaitSpeed = waitSpeed
	y.p.Times.Count, y.p.Times.Window = checklist.Bounds().Least.Count, checklist.Bounds().Least.Window
	y.p.Times.Pauses[0], y.p.Times.Pauses[1] = 3*time.Second, checklist.PauseLeast
	if err := y.p.Validate(); err != nil {
		t.Fatal(err)
	}
	y.do(Start{})
	return y
}

func (y *site) permitClosed() bool {
	return y.p.Mode != ModeBox || y.relay || y.fault == weldedPermit || y.fault == bridgedPermit
}
func (y *site) keyClosed() bool  { return y.key || y.fault == bridgedKey }
func (y *site) poleClosed() bool { return y.hand || y.fault == closedPole }

// live is current in the firing line, or the bus live with nothing on it.
func (y *site) live() bool {
	return y.battery && y.keyClosed() && y.permitClosed() && y.poleClosed()
}

func (y *site) connected() bool {
	for k := range y.p.Motors {
		if y.igniter[k].Kind != OhmNotMeasured {
			return true
		}
	}
	return false
}

// settle takes in what has changed in the circuit; was is whether it was live
// before. It fails on two of the three losses.
func (y *site) settle(was bool) {
	if !y.live() {
		return
	}
	if y.person {
		y.t.Fatalf("LOSS: current with a person forward: %s", y)
	}
	if !was {
		y.pulses++
	}
	if !y.connected() {
		return
	}
	if !was && !y.hand {
		y.t.Fatalf("LOSS: current began with no hand on the button: %s", y)
	}
	if !was {
		y.seen.pulses++
	}
	y.flowed, y.resting = true, 0
}

// waited fails on the third loss, which is to go on after a pulse without a
// full wait.
func (y *site) waited(what string) {
	if y.flowed && y.resting < y.p.Times.Wait {
		y.t.Fatalf("LOSS: %s after a pulse and %v of wait: %s", what, y.resting, y)
	}
}

// String says the truth in short.
func (y *site) String() string {
	return fmt.Sprintf("%v line %v at %v, key %v hand %v battery %v relay %v fault %d person %v cut %v", y.s.Phase, y.s.Line, y.at.Mono,
		y.key, y.hand, y.battery, y.relay, y.fault, y.person, y.cut)
}

// do steps one event, judges the edge by the invariants, and does what the
// effects ask, as the shell and the box would.
func (y *site) do(ev Event) error {
	a := y.s
	b, fx, err := Step(y.p, a, y.at, ev)
	if broken := Check(y.p, a, ev, b, fx); broken != nil {
		y.t.Fatalf("%v: %s", broken, y)
	}
	if err != nil {
		y.seen.refused++
		if idle, idleFx, _ := Step(y.p, a, y.at, Tick{}); a.Started && (b != idle || !reflect.DeepEqual(fx, idleFx)) {
			y.t.Fatalf("I-35: a refused %T did more than a tick: %v: %s", ev, err, y)
		}
	}
	y.seen.events++
	y.seen.kinds[strings.TrimPrefix(fmt.Sprintf("%T", ev), "arming.")]++
	y.seen.phases[b.Phase]++
	if b.Phase == Count && b.Paused {
		y.seen.paused++
	}
	if a.Phase != b.Phase {
		y.seen.entered[b.Phase]++
	}
	y.s = b
	for _, f := range fx {
		y.seen.effects[strings.TrimPrefix(fmt.Sprintf("%T", f), "arming.")]++
		y.carry(f)
	}
	y.edges(&a)
	for !y.slowDisk && len(y.lines) > 0 {
		y.written()
	}
	return err
}

// carry does what one effect asks.
func (y *site) carry(f Effect) {
	was := y.live()
	switch f := f.(type) {
	case PermitOff:
		if !y.cut {
			y.relay = false
		}
	case PermitOn:
		// Once per insertion, key in, both poles open, a reading of the last
		// 0.3 s, as box.md has it.
		if !y.cut && y.key && !y.poleClosed() && !y.spent && y.s.Now.Since(y.s.Box.Seen) <= 300*time.Millisecond {
			y.relay, y.spent, y.renewed, y.lease = true, true, y.at.Mono, false
		}
	case Write:
		y.lines = append(y.lines, f.Ticket)
	case Lease:
		y.lease = f.On && !y.cut && !y.permitClosed()
	}
	y.settle(was)
}

// edges looks at what the step from a has allowed people to do.
func (y *site) edges(a *State) {
	if y.s.Line == LineOpen && a.Line != LineOpen {
		y.waited("the line opens")
		y.person = true
		y.seen.forward++
		y.settle(y.live())
	}
	if y.s.Line == LineClosed && a.Line != LineClosed && y.person {
		y.t.Fatalf("the line is CLOSED with a person forward: %s", y)
	}
	if y.s.Phase == Closed && a.Phase != Closed {
		y.waited("the firing is closed")
		if y.connected() {
			y.t.Fatalf("the firing is closed with an igniter connected: %s", y)
		}
		y.flowed = false
	}
	for k := range y.p.Motors {
		if y.s.Fate[k] == FateInspected && a.Fate[k] != FateInspected {
			y.igniter[k] = Ohm{} // taken out
		}
	}
	if y.s.PermitWanted && !y.cut && y.relay {
		y.renewed = y.at.Mono
	}
}

func (y *site) written() {
	ticket := y.lines[0]
	y.lines = y.lines[1:]
	_ = y.do(Written{ticket})
}

// pass lets time pass, ticks, and lets the box answer.
func (y *site) pass(mono, wall time.Duration) {
	y.at.Mono += mono
	y.at.Wall += wall
	was := y.live()
	if was {
		y.resting = 0
		for k := range y.p.Motors {
			if y.igniter[k].Kind == OhmValue {
				y.igniter[k] = Ohm{Kind: OhmOpen}
			}
		}
	} else if y.s.Phase == Wait {
		y.resting += max(0, min(mono, wall, time.Second)) * time.Duration(y.p.WaitSpeed)
	}
	if y.relay && y.at.Mono-y.renewed > 500*time.Millisecond {
		y.relay, y.events = false, y.events|wire.EventWatchdog
	}
	y.settle(was)
	_ = y.do(Tick{})
	y.look()
}

// look lets the box answer with how it stands, and with the events it saw.
func (y *site) look() {
	if y.p.Mode != ModeBox || y.cut || !y.joined {
		return
	}
	b, bits := y.reading(), y.events
	welded := y.battery && (y.fault == bridgedKey && !y.key || y.keyClosed() && !y.relay && y.permitClosed())
	if welded && !y.welded {
		bits |= wire.EventWelded
	}
	y.welded, y.events, y.moved = welded, 0, false
	_ = y.do(BoxReading{b})
	if bits != 0 {
		_ = y.do(BoxEvents{bits})
	}
}

func (y *site) reading() Box {
	contact := func(closed bool) Contact {
		if closed {
			return ContactClosed
		}
		return ContactOpen
	}
	node := func(live bool) Volt {
		if live {
			return volt(12.4)
		}
		return volt(0)
	}
	live := y.live()
	key := y.battery && y.keyClosed()
	b := Box{Key: contact(y.key), Pole1: ContactClosed, Pole2: contact(y.hand), Permit: contact(y.relay || y.fault == weldedPermit),
		Battery: node(y.battery), BehindKey: node(key), BehindPermit: node(key && y.permitClosed()), Bus: node(live),
		Pulses: y.pulses, Presses: y.presses}
	if y.noCount {
		b.Pulses, b.Presses = -1, -1
	}
	y.lease = y.lease && !y.permitClosed()
	if y.key || y.lease {
		b.Pole1 = contact(y.poleClosed()) // else it cannot tell, and says closed
	}
	if y.lease && !live {
		y.scan++
		for k := range y.p.Motors {
			b.Channel[k] = Ohm{Kind: OhmOpen}
			if y.igniter[k].Kind == OhmValue {
				b.Channel[k] = y.igniter[k]
			}
		}
	}
	b.Scan = y.scan
	return b
}

// The hands. Without a box every move is said by the one who makes it.

func (y *site) turnKey(in bool) {
	was := y.live()
	if !in {
		if y.relay && y.key {
			y.events |= wire.EventKeyPulled
		}
		y.relay, y.spent = false, false
	}
	y.key = in
	y.hands(was, map[bool]Fact{true: FactKeyIn, false: FactKeyOut}[in])
}

func (y *site) press(down bool) {
	was := y.live()
	switch {
	case !down && was:
		y.relay = false // the release after a pulse opens it
	case down && !y.poleClosed():
		y.presses++
		if !y.permitClosed() {
			y.events |= wire.EventButtonEarly
		}
	}
	y.hand = down
	y.hands(was, map[bool]Fact{true: FactPressed, false: FactReleased}[down])
}

// join is the battery joined or taken off. People join it before arming and
// with the line CLOSED only, and not while an order to open it is being
// written, which no program can see.
func (y *site) join(on bool) {
	if on {
		switch y.s.Pending.Event.(type) {
		case OpenLine, GoForward:
			return
		}
		if y.s.Line != LineClosed || y.s.Phase > Ready {
			return
		}
	}
	was := y.live()
	y.battery = on
	if on {
		y.hands(was, FactNone)
		return
	}
	y.hands(was, FactBatteryOff)
	if y.p.Mode != ModeBox {
		_ = y.do(Say{FactBusDead, firing})
	}
}

func (y *site) hands(was bool, said Fact) {
	y.moved = y.p.Mode == ModeBox
	y.settle(was)
	if y.p.Mode != ModeBox && said != FactNone {
		_ = y.do(Say{said, ranger})
	}
}

// mayFail: a pole closes by itself only while the permit is open, or welds
// while it is kept closed; one that closes by itself with the permit given
// fires, and no software stands against it.
func (y *site) mayFail(f siteFault) bool {
	return y.fault == wholeBox && y.p.Mode == ModeBox && (f != closedPole || y.hand || !y.permitClosed())
}

func (y *site) fail(f siteFault) {
	if y.mayFail(f) {
		was := y.live()
		y.fault = f
		y.seen.faults[f]++
		y.settle(was)
	}
}

// repair is a box repaired, with the key out, the battery off and no hand on it.
func (y *site) repair() {
	if !y.key && !y.battery && !y.hand {
		y.fault, y.noCount = wholeBox, false
	}
}

// count is the range officer's honest count, short of who is still forward.
func (y *site) count() CloseLine {
	n := len(y.s.ForwardNames())
	if y.s.Line != LineOpen {
		n = y.s.Crew.people()
	}
	if y.person {
		n--
	}
	return CloseLine{By: ranger, Count: n}
}

// open gives an order that lets people go, unless hands have moved that the
// machine has not been told of, which the one who gives it can see.
func (y *site) open(ev Event) {
	if !y.moved && !y.person {
		if y.s.Crew.role(forward) == "" {
			_ = y.do(SignOn{Name: forward, Role: checklist.HookUpPerson})
		}
		_ = y.do(ev)
	}
}

// restart is the end of the program and its next start, or the next firing
// after CLOSED.
func (y *site) restart() {
	old := y.s
	ev := Start{}
	if old.Phase != Closed {
		ev = Start{From: old.Phase, Hooked: old.Hooked, Forward: old.Crew.Forward}
		if old.Pending.Event != nil { // of which nobody knows what came of it
			ev.From, ev.Hooked = Window, true
			ev.Forward[0] = forward
		}
	}
	was := y.live()
	y.relay, y.lease, y.joined, y.lines, y.moved = false, false, false, nil, false
	y.settle(was)
	y.at.Mono += time.Second
	y.at.Wall += time.Second
	y.s = State{}
	y.seen.restarts++
	_ = y.do(ev)
}
