//go:build slow

package arming

import (
	"fmt"
	"strings"

	"holdline/arming/groundbox/wire"
	"holdline/checklist"
)

// node is one state of machine and yard together; m numbers the compact.
type node struct {
	m uint32
	y yard
}

// settings say how much a walk takes in.
type settings struct {
	rule     rule  // goes without this one
	fault    fault // the one hardware fault that may happen
	slowDisk bool  // a line may be late, and anything may happen meanwhile
	slips    uint8 // moves of hands and contacts between two readings, while the first still counts
	full     bool  // every set of limits may pass in one tick; every doubt and slip is an event of its own
}

// walker has what is constant over a walk, and what it has learned: the
// machine does not see the yard but through its events, so each step of it is
// made once and remembered.
type walker struct {
	settings
	p        *Plan
	requests []Event // what people ask for and say; its index is a pending request's
	moves    []move
	compacts []compact
	number   map[compact]uint32
	memo     map[memoKey][]outcome
	steps    int     // calls of Step
	base     Instant // now
	real     *real   // a firing with real times that is followed instead, nil in a walk
}

// real is a State with real times, and what the last move made of it.
type real struct {
	s    State
	next []State
}

type memoKey struct {
	m    uint32
	code uint32
}

// outcome is what a step of the machine comes to: the compact after it, what
// it does in the yard, in order, and the invariant that it broke.
type outcome struct {
	m      uint32
	ops    []op
	broken string
}

// op is one thing that a step does in the yard.
type op uint8

func newWalker(set settings) *walker {
	w := &walker{settings: set, p: walkPlan(), base: walkBase, number: map[compact]uint32{}, memo: map[memoKey][]outcome{}}
	w.requests = []Event{
		StartProof{}, OpenLine{By: ranger, Names: [checklist.MaxPosts]string{forward}, Key: forward}, ArmEntry{By: firing},
		Code{Matched: true}, StartCount{By: firing}, StartCount{By: ranger}, Resume{By: ranger}, Scrub{By: ranger, Why: "enough"},
		Say{FactAtRest, firing}, Say{FactShunted, forward}, Say{FactFireWatched, ranger}, GoForward{By: ranger, Person: forward},
		Inspect{Motor: 1, Found: "burned out", By: forward}, Result{RestM: 90, HasRest: true}, AllClear{By: ranger},
	}
	for _, i := range []int{walkDead, walkShuntOn, walkHookUp, walkShuntOff, walkClear, walkContinuity, walkBattery} {
		w.requests = append(w.requests, Answer{Step: w.p.Steps[i].ID, Words: "seen: as it should be", Means: MeansSaid})
	}
	w.requests = append(w.requests, Say{FactMovement, firing}, Code{}, HoldCall{}, RecordFailed{"disk full"},
		Withdraw{StepRangeClear, "somebody walks"})
	if set.full {
		w.requests = append(w.requests, Observe{Motor: 1, Fate: FateSaidLit, By: firing}, Observe{Motor: 1, Fate: FateMisfire, By: firing},
			FocusLost{}, Stalled{"screen"}, PermitStuck{}, BoxEvents{wire.EventRestarted}, BoxEvents{wire.EventErrors})
	}
	w.moves = append(w.moves, timeMoves()...)
	for i, ev := range w.requests {
		w.moves = append(w.moves, move{requestName(ev), func(w *walker, n *node, emit func(node, string)) { w.ask(n, i, emit) }})
	}
	w.moves = append(w.moves, boxMoves()...)
	w.moves = append(w.moves, handMoves(w)...)
	return w
}

// requestName says an event in short: its kind, and the step or fact.
func requestName(ev Event) string {
	name := strings.TrimPrefix(fmt.Sprintf("%T", ev), "arming.")
	switch ev := ev.(type) {
	case Answer:
		return name + " " + ev.Step
	case Say:
		return name + " " + factNames[ev.Fact]
	case Code:
		return fmt.Sprintf("%s %v", name, ev.Matched)
	case StartCount:
		return name + " by " + ev.By
	case Observe:
		return name + " " + ev.Fate.String()
	case BoxEvents:
		return fmt.Sprintf("%s %d", name, ev.Bits)
	}
	return name
}

var factNames = map[Fact]string{FactAtRest: "at rest", FactMovement: "movement", FactShunted: "shunted", FactFireWatched: "fire watched"}

func (w *walker) requestIndex(ev Event) uint8 {
	for i, r := range w.requests {
		if r == ev {
			return uint8(i)
		}
	}
	panic(fmt.Sprintf("walk: %T waits, which nobody asked for", ev))
}

// intern numbers a compact.
func (w *walker) intern(c compact) uint32 {
	m, ok := w.number[c]
	if !ok {
		m = uint32(len(w.compacts))
		w.number[c] = m
		w.compacts = append(w.compacts, c)
	}
	return m
}

func (w *walker) at(n *node) *compact { return &w.compacts[n.m] }

// learn returns what the step or steps named by code come to from machine m,
// and makes them the first time.
func (w *walker) learn(m, code uint32, make func(s *State, add func(*State, []op, string))) []outcome {
	key := memoKey{m, code}
	out, ok := w.memo[key]
	if ok && w.real == nil {
		return out
	}
	s := &State{}
	w.load(m, s)
	out = nil
	make(s, func(s *State, ops []op, broken string) {
		out = append(out, outcome{w.intern(w.fold(s)), ops, broken})
		if w.real != nil {
			w.real.next = append(w.real.next, *s)
		}
	})
	if w.real == nil {
		w.memo[key] = out
	}
	return out
}

// load gives the State of machine m, or the one that is followed.
func (w *walker) load(m uint32, s *State) {
	if w.real != nil {
		*s = w.real.s
		return
	}
	w.unfold(&w.compacts[m], s)
}

// turn is one step of the machine, and, unless the disk is slow, the one in
// which its line is reported to be on disk. It returns the invariant that it
// breaks.
func (w *walker) turn(s *State, ops []op, now Instant, ev Event) ([]op, string) {
	a := *s
	b, fx, err := w.step(&a, now, ev)
	w.steps++
	bad := ""
	if w.rule == allRules || w.rule >= pauseByAnyone {
		if broken := Check(w.p, a, ev, b, fx); broken != nil {
			bad = broken.Error()
		}
		if err != nil {
			// A refusal does what time alone does, and nothing else.
			idle, idleFx, _ := Step(w.p, a, now, Tick{})
			if b != idle || len(fx) != len(idleFx) {
				bad = fmt.Sprintf("I-35: a refused %T changed something: %v", ev, err)
			}
		}
	}
	*s = b
	ops = append(ops, w.marks(&a, &b)...)
	for _, f := range fx {
		switch f := f.(type) {
		case PermitOff:
			ops = append(ops, opOff)
		case PermitOn:
			ops = append(ops, opOn0+op(min(2, s.Now.Since(s.Box.Seen)/walkQuantum)))
		case Lease:
			if f.On {
				ops = append(ops, opLeaseOn)
			} else {
				ops = append(ops, opLeaseOff)
			}
		case Write:
			if !w.slowDisk {
				var l string
				if ops, l = w.turn(s, ops, now, Written(f)); l != "" {
					bad = l
				}
			}
		}
	}
	return ops, bad
}

// marks are what the ghosts need to know of the edge from a to b.
func (w *walker) marks(a, b *State) []op {
	var out []op
	if b.Phase == Wait && b.WaitLeft == w.p.Times.Wait {
		out = append(out, opWaitFull)
	}
	if a.Phase == Wait && b.Phase == Wait && a.WaitLeft > 0 && b.WaitLeft == 0 {
		out = append(out, opWaitOver)
	}
	if a.Line != LineOpen && b.Line == LineOpen {
		out = append(out, opOpens)
	}
	if a.Phase != Closed && b.Phase == Closed {
		out = append(out, opCloses)
	}
	if a.Fate[0] != FateInspected && b.Fate[0] == FateInspected {
		out = append(out, opInspected)
	}
	return out
}

// play carries out in the yard what a step has done, keeps the ghosts, and
// returns the loss that is reached.
func (w *walker) play(y *yard, ops []op) string {
	loss := ""
	for _, o := range ops {
		was := y.live()
		switch o {
		case opOff:
			if !y.stalled {
				y.relay = false
			}
		case opOn0, opOn1, opOnOld:
			w.send(y, &y.lateOn, uint8(o-opOn0), y.on)
		case opLeaseOn, opLeaseOff:
			if !y.stalled {
				y.lease = o == opLeaseOn && !y.permitClosed() && !was
			}
		case opWaitFull:
			y.dirty = was && y.igniter != igniterNone
		case opWaitOver:
			y.unwaited = y.unwaited && y.dirty
		case opOpens:
			if y.unwaited {
				loss = "the line opens after a pulse without a full wait"
			}
		case opCloses:
			if y.unwaited {
				loss = "the firing is closed after a pulse without a full wait"
			}
		case opInspected:
			y.igniter = igniterNone
		}
		if l := y.settle(was); l != "" {
			loss = l
		}
	}
	return loss
}

// send puts a command into the cable: it comes at once, late, or never.
func (w *walker) send(y *yard, late *uint8, age uint8, arrive func(rule, uint8)) {
	switch {
	case !y.stalled:
		arrive(w.rule, age)
	case age <= 1:
		*late = 1 + age
	}
}

// step is Step, or the machine without one of its requirements.
func (w *walker) step(a *State, now Instant, ev Event) (State, []Effect, error) {
	if w.rule >= pauseByAnyone && a.Phase == Count && a.Paused {
		return w.stepWrongly(a, now, ev)
	}
	switch w.rule {
	case without01: // as if the window and the run could simply be stopped
		b, fx, err := Step(w.p, *a, now, ev)
		if (a.Phase == Window || a.Phase == Run) && b.Phase == Wait {
			b.Phase, b.WaitLeft, b.PermitEver, b.NoPulse = Hold, 0, false, NoPulseNone
		}
		return b, fx, err
	case without03: // as if a start knew nothing of the record
		if start, ok := ev.(Start); ok {
			return Step(w.p, *a, now, Start{Forward: start.Forward})
		}
	case without06: // as if the line opened at a word
		asked := ev
		if _, ok := ev.(Written); ok {
			asked = a.Pending.Event
		}
		switch asked.(type) {
		case OpenLine, GoForward:
			s := *a
			s.Box = Box{Up: true, Seen: now, Key: ContactOpen, Pole1: ContactOpen, Pole2: ContactOpen, Permit: ContactOpen,
				Battery: voltOf(false), Bus: voltOf(false), Pulses: a.Box.Pulses, Presses: a.Box.Presses, Scan: a.Box.Scan}
			s.LeaseWanted, s.TestCurrent = false, false
			b, fx, err := Step(w.p, s, now, ev)
			b.Box, b.LeaseWanted, b.TestCurrent = a.Box, a.LeaseWanted && b.Line != LineOpen, a.TestCurrent
			return b, fx, err
		}
	case without08: // as if the wait asked for neither key out nor bus dead
		if r, ok := ev.(BoxReading); ok && a.Phase == Wait {
			r.Box.Key, r.Box.Pole1, r.Box.Pole2, r.Box.Bus = ContactOpen, ContactOpen, ContactOpen, voltOf(false)
			return Step(w.p, *a, now, r)
		}
	}
	return Step(w.p, *a, now, ev)
}

// land carries the outcomes into the yard and emits them, but for what has
// changed nothing.
func (w *walker) land(from *node, y yard, loss string, outs []outcome, emit func(node, string)) {
	for _, o := range outs {
		to := node{o.m, y}
		l := w.play(&to.y, o.ops)
		if l == "" {
			l = loss
		}
		if o.broken != "" {
			l = o.broken
		}
		w.leave(from, to, l, emit)
	}
}

// leave emits a node, tidied, unless nothing has changed.
func (w *walker) leave(from *node, to node, loss string, emit func(node, string)) {
	to.y.tidy(w.at(&to))
	if to != *from || loss != "" {
		emit(to, loss)
	}
}

// tidy forgets what makes no difference.
func (y *yard) tidy(c *compact) {
	if !y.unwaited {
		y.dirty = false
	}
	if !y.alive || !c.up || c.seen == 3 {
		y.moved, y.slips = false, 0
	}
	y.moved = y.moved && y.battery
	if !y.alive {
		y.joined = false
	}
	if !c.known {
		y.pulses, y.presses = false, false
	}
	if !y.relay {
		y.dog = 0
	}
}

// ask lets people ask for or say request i.
func (w *walker) ask(n *node, i int, emit func(node, string)) {
	if !n.y.alive {
		return
	}
	switch e := w.requests[i].(type) {
	case OpenLine, GoForward:
		if n.y.moved {
			return // see 'people' at TestWalk
		}
	case StartCount:
		if e.By != firing && Phase(w.at(n).phase) != Count {
			return
		}
	case Inspect:
		if !n.y.forward {
			return
		}
	case Result:
		if !w.full && Phase(w.at(n).phase) != MakeSafe {
			return
		}
	case Answer:
		if e.Step == StepHookUp && !n.y.forward {
			return
		}
	case BoxEvents:
		if !n.y.joined {
			return
		}
	}
	w.land(n, n.y, "", w.single(n.m, uint32(i), w.base, w.requests[i]), emit)
}
