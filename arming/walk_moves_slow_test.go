//go:build slow

package arming

import (
	"time"

	"holdline/arming/groundbox/wire"
)

const (
	opNone      op = iota
	opOff          // PermitOff
	opOn0          // PermitOn on a snapshot of this quantum
	opOn1          // of the one before
	opOnOld        // older
	opLeaseOn      // Lease
	opLeaseOff     //
	opWaitFull     // the wait stands at its full length
	opWaitOver     // the wait ran out
	opOpens        // the line opens
	opCloses       // CLOSED is entered
	opInspected    // the motor is inspected, its igniter out
)

// move is one thing that may happen. It calls emit for every node that it may
// lead to, with the loss that is reached on the way, if any.
type move struct {
	name string
	run  func(w *walker, n *node, emit func(node, string))
}

// Codes of steps beside the requests' own indices.
const (
	codeTick uint32 = 1000 + iota
	codeDisk
	codeLost
	codeUp
	codeStart
	codeCount        = 1100 // + the number counted
	codeAfter        = 1200 // + the number of the move
	codeRead  uint32 = 1 << 30
)

// single is one event at one instant.
func (w *walker) single(m, code uint32, now Instant, ev Event) []outcome {
	return w.learn(m, code, func(s *State, add func(*State, []op, string)) {
		ops, bad := w.turn(s, nil, now, ev)
		add(s, ops, bad)
	})
}

func timeMoves() []move {
	moves := []move{
		{"tick", (*walker).tick},
		{"on disk", func(w *walker, n *node, emit func(node, string)) {
			if w.at(n).out != outNone && n.y.alive {
				w.land(n, n.y, "", w.learn(n.m, codeDisk, func(s *State, add func(*State, []op, string)) {
					ops, bad := w.turn(s, nil, w.base, Written{s.Tickets})
					add(s, ops, bad)
				}), emit)
			}
		}},
	}
	for k, d := range []struct {
		name       string
		mono, wall time.Duration
		full       bool
	}{
		{"gap 0.4 s", 2 * walkQuantum, 2 * walkQuantum, false}, {"gap 1.2 s", 6 * walkQuantum, 6 * walkQuantum, false},
		{"asleep 13 h", 13 * time.Hour, 13 * time.Hour, false}, {"wall clock +5 s", walkQuantum, 5 * time.Second, true},
		{"wall clock -5 s", walkQuantum, -5 * time.Second, true},
	} {
		moves = append(moves, move{d.name, func(w *walker, n *node, emit func(node, string)) {
			if !n.y.alive || d.full && !w.full {
				return
			}
			y := n.y
			was := y.live()
			for range min(4, int(d.mono/walkQuantum)) {
				y.quantum()
			}
			loss := y.settle(was)
			w.land(n, y, loss, w.elapse(n.m, codeAfter+uint32(k), d.mono, d.wall), emit)
		}})
	}
	return moves
}

// tick lets a quantum pass.
func (w *walker) tick(n *node, emit func(node, string)) {
	y := n.y
	was := y.live()
	y.quantum()
	loss := y.settle(was)
	if !y.alive {
		w.leave(n, node{n.m, y}, loss, emit)
		return
	}
	w.land(n, y, loss, w.elapse(n.m, codeTick, walkQuantum, walkQuantum), emit)
}

// elapse is a tick after so much time, with every set of limits that may pass
// in it: none, each alone and all in a quick walk, every subset in a full one.
func (w *walker) elapse(m, code uint32, mono, wall time.Duration) []outcome {
	return w.learn(m, code, func(s *State, add func(*State, []op, string)) {
		now := Instant{w.base.Mono + mono, w.base.Wall + wall}
		var agers []func(*State)
		if w.real == nil { // real times pass by themselves
			agers = w.agers(s, now, w.full)
		}
		for _, set := range w.subsets(len(agers)) {
			w.load(m, s)
			for i, age := range agers {
				if set&(1<<i) != 0 {
					age(s)
				}
			}
			ops, bad := w.turn(s, nil, now, Tick{})
			add(s, ops, bad)
		}
	})
}

func (w *walker) subsets(n int) []uint {
	all := uint(1)<<n - 1
	sets := []uint{0}
	if w.full {
		for set := uint(1); set <= all; set++ {
			sets = append(sets, set)
		}
		return sets
	}
	for i := range n {
		sets = append(sets, 1<<i)
	}
	if n > 1 {
		sets = append(sets, all)
	}
	return sets
}

func boxMoves() []move {
	return []move{
		{"reading", func(w *walker, n *node, emit func(node, string)) { w.read(n, true, emit) }},
		{"reading, old scan", func(w *walker, n *node, emit func(node, string)) {
			if w.full && n.y.lease && w.at(n).channel != uint8(OhmNotMeasured) {
				w.read(n, false, emit)
			}
		}},
		{"cable stalls or is out", func(w *walker, n *node, emit func(node, string)) {
			if !n.y.stalled {
				y := n.y
				y.stalled = true
				w.leave(n, node{n.m, y}, "", emit)
			}
		}},
		{"cable back", (*walker).back},
		{"kept bytes come", (*walker).late},
		{"three answers missed", func(w *walker, n *node, emit func(node, string)) {
			if !n.y.alive || !n.y.joined || !n.y.stalled && !w.full {
				return
			}
			y := n.y
			y.joined = false
			w.land(n, y, "", w.single(n.m, codeLost, w.base, BoxLost{"no answer"}), emit)
		}},
		{"box answers", func(w *walker, n *node, emit func(node, string)) {
			if !n.y.alive || n.y.joined || n.y.stalled {
				return
			}
			y := n.y
			y.joined, y.weld = true, false
			w.land(n, y, "", w.single(n.m, codeUp, w.base, BoxUp{Identity: "box", Practice: true, Channels: 1}), emit)
		}},
		{"lease runs out", func(w *walker, n *node, emit func(node, string)) {
			if n.y.lease && (!n.y.alive || !n.y.joined || !w.at(n).lease || n.y.stalled) {
				y := n.y
				y.lease = false
				w.leave(n, node{n.m, y}, "", emit)
			}
		}},
	}
}

// read is a snapshot, the event bits that came with it, and the KEEP and the
// lease that the driver sends after it. The KEEP may stay in the cable.
func (w *walker) read(n *node, newScan bool, emit func(node, string)) {
	if !n.y.alive || !n.y.joined || n.y.stalled {
		return
	}
	y := n.y
	old := Box{Pulses: walkCount, Presses: walkCount, Scan: walkScan}
	if !w.at(n).known {
		old.Pulses, old.Presses = -1, -1
	}
	if w.real != nil {
		old = w.real.s.Box
	}
	r, bits := y.reading(w.rule, &old, newScan)
	outs := w.learn(n.m, codeRead|signature(&r.Box, &old, bits), func(s *State, add func(*State, []op, string)) {
		ops, bad := w.turn(s, nil, w.base, r)
		if bits != 0 {
			var l string
			if ops, l = w.turn(s, ops, w.base, BoxEvents{bits}); l != "" {
				bad = l
			}
		}
		add(s, ops, bad)
	})
	w.land(n, y, "", outs, func(to node, loss string) {
		after := w.at(&to)
		to.y.lease = after.lease && !to.y.permitClosed() && !to.y.live()
		if after.permitWanted {
			kept := to
			kept.y.stalled = true
			w.send(&kept.y, &kept.y.lateFor, 0, kept.y.keep)
			emit(kept, loss)
			was := to.y.live()
			w.send(&to.y, &to.y.lateFor, 0, to.y.keep)
			if l := to.y.settle(was); l != "" {
				loss = l
			}
		}
		w.leave(n, to, loss, emit)
	})
}

// signature tells one snapshot from another.
func signature(b, old *Box, bits wire.Event) uint32 {
	sig := uint32(bits)
	for _, bit := range []bool{b.Key == ContactClosed, b.Pole1 == ContactClosed, b.Pole2 == ContactClosed, b.Permit == ContactClosed,
		b.Battery.Level == LevelLive, b.BehindKey.Level == LevelLive, b.BehindPermit.Level == LevelLive, b.Bus.Level == LevelLive,
		b.Channel[0].Kind == OhmOpen, b.Channel[0].Kind == OhmValue, b.Scan != old.Scan, b.Pulses > max(0, old.Pulses),
		b.Presses > max(0, old.Presses)} {
		sig <<= 1
		if bit {
			sig |= 1
		}
	}
	return sig
}

// back is the cable working again: what it kept comes first, then the OFF that
// the driver sends unless the permit is wanted.
func (w *walker) back(n *node, emit func(node, string)) {
	if !n.y.stalled {
		return
	}
	y := n.y
	was := y.live()
	w.arrive(&y)
	loss := y.settle(was)
	if !w.at(n).permitWanted {
		y.relay = false
	}
	y.stalled = false
	w.leave(n, node{n.m, y}, loss, emit)
}

// late lets kept bytes reach the box while no answer comes.
func (w *walker) late(n *node, emit func(node, string)) {
	if n.y.lateOn == 0 && n.y.lateFor == 0 {
		return
	}
	y := n.y
	was := y.live()
	w.arrive(&y)
	w.leave(n, node{n.m, y}, y.settle(was), emit)
}

func (w *walker) arrive(y *yard) {
	if y.lateOn != 0 {
		y.on(w.rule, y.lateOn-1)
	}
	if y.lateFor != 0 {
		y.keep(w.rule, y.lateFor-1)
	}
	y.lateOn, y.lateFor = 0, 0
}

// handMoves are hands, people, the fault, and the end of the program.
func handMoves(w *walker) []move {
	yardMove := func(name string, may func(*node) bool, do func(*yard)) move {
		return move{name, func(w *walker, n *node, emit func(node, string)) {
			if !may(n) {
				return
			}
			y := n.y
			was := y.live()
			do(&y)
			w.leave(n, node{n.m, y}, y.settle(was), emit)
		}}
	}
	hand := func(name string, may func(*node) bool, do func(*yard)) move {
		return yardMove(name, func(n *node) bool { return may(n) && n.y.slips < w.slips }, func(y *yard) {
			do(y)
			y.slips++
		})
	}
	return []move{
		hand("key in", func(n *node) bool { return !n.y.key }, func(y *yard) { y.key = true }),
		hand("key out", func(n *node) bool { return n.y.key }, (*yard).keyOut),
		hand("battery joined", w.mayJoin, func(y *yard) { y.battery, y.moved = true, true }),
		hand("battery off", func(n *node) bool { return n.y.battery }, func(y *yard) { y.battery = false }),
		hand("button pressed", func(n *node) bool { return !n.y.hand }, (*yard).press),
		hand("button let go", func(n *node) bool { return n.y.hand }, (*yard).release),
		{"a person goes", func(w *walker, n *node, emit func(node, string)) {
			if !n.y.alive || Line(w.at(n).line) != LineOpen || n.y.forward {
				return
			}
			y := n.y
			y.forward = true
			loss := y.settle(y.live())
			if y.unwaited {
				loss = "a person goes forward after a pulse without a full wait"
			}
			w.leave(n, node{n.m, y}, loss, emit)
		}},
		yardMove("the person comes back", func(n *node) bool { return n.y.forward }, func(y *yard) { y.forward = false }),
		yardMove("igniter connected", w.mayConnect, func(y *yard) { y.igniter = igniterGood }),
		hand("igniter burns", func(n *node) bool { return n.y.live() && n.y.igniter == igniterGood }, func(y *yard) { y.igniter = igniterBurned }),
		hand("fault", w.mayFail, func(y *yard) { y.fault = w.fault }),
		yardMove("the box is mended", mayMend, func(y *yard) { y.fault = faultNone }),
		{"the line is counted", (*walker).count},
		{"the program dies", (*walker).die},
		{"the program starts", (*walker).start},
	}
}

// mayConnect: the one who was sent for it connects the igniter, be the program
// alive or not.
func (w *walker) mayConnect(n *node) bool {
	if !n.y.forward || n.y.igniter != igniterNone {
		return false
	}
	c := w.at(n)
	return n.y.alive && Phase(c.phase) == Setup && c.hooked || !n.y.alive && n.y.record == recordHooked
}

// mayJoin is R-12: the battery is joined before arming and with the line CLOSED
// only, which the screen says, and not while an order to open it is being
// written.
func (w *walker) mayJoin(n *node) bool {
	switch c := w.at(n); {
	case n.y.battery:
		return false
	case w.rule == without12:
		return true
	case c.pending != 0:
		switch w.requests[c.pending-1].(type) {
		case OpenLine, GoForward:
			return false
		}
	}
	c := w.at(n)
	return n.y.alive && Line(c.line) == LineClosed && Phase(c.phase) <= Ready
}

// mayFail: a firing pole closes by itself only while the permit is open, or
// welds while it is kept closed; one that closes by itself with the permit
// given fires, and no software stands against it.
func (w *walker) mayFail(n *node) bool {
	if n.y.fault != faultNone || w.fault == faultNone {
		return false
	}
	return w.fault != faultPole || n.y.hand || !n.y.permitClosed()
}

// mayMend: a box is mended, or another put in its place, with the key out, the
// battery off and no hand on the button. Without it a welded permit keeps the
// line from ever opening again, as it should.
func mayMend(n *node) bool {
	return n.y.fault != faultNone && !n.y.key && !n.y.battery && !n.y.hand
}

// count is the range officer's count, as many of the names on the list as
// really stand behind the line.
func (w *walker) count(n *node, emit func(node, string)) {
	if !n.y.alive {
		return
	}
	c := w.at(n)
	ev := CloseLine{By: ranger}
	if Line(c.line) != LineOpen {
		ev.Count = 3 // both officers and the one who has signed on to go
	} else if c.wentIn {
		ev.Count = 1
	}
	if n.y.forward && ev.Count > 0 {
		ev.Count--
	}
	w.land(n, n.y, "", w.single(n.m, codeCount+uint32(ev.Count), w.base, ev), func(to node, loss string) {
		if to.y.forward && Line(w.at(&to).line) == LineClosed {
			loss = "the line is CLOSED with a person forward"
		}
		emit(to, loss)
	})
}

// die ends the program. The record may lack the last lines that nothing
// waited for, and may have a request of which no one knows what came of it.
func (w *walker) die(n *node, emit func(node, string)) {
	c := *w.at(n)
	if !n.y.alive || Phase(c.phase) == Closed {
		return
	}
	dead := n.y
	dead.alive, dead.record = false, recordNothing
	if c.hooked {
		dead.record = recordHooked
	}
	m := w.intern(compact{wentIn: c.wentIn || c.out == outPending})
	if c.out == outPending {
		dead.record = recordGrave
	}
	w.leave(n, node{m, dead}, "", emit)
	if Phase(c.phase) >= Armed && dead.record != recordGrave {
		dead.record = recordGrave
		w.leave(n, node{m, dead}, "", emit)
	}
}

// start is the program's start after it died, or a new firing after CLOSED.
func (w *walker) start(n *node, emit func(node, string)) {
	var ev Start
	y := n.y
	c := w.at(n)
	switch {
	case y.alive && Phase(c.phase) == Closed:
	case y.alive:
		return
	case y.record == recordHooked:
		ev = Start{Hooked: true}
	case y.record == recordGrave:
		ev = Start{From: Window, Hooked: true}
	}
	if !y.alive && c.wentIn {
		ev.Forward[0] = forward
	}
	outs := w.learn(n.m, codeStart+uint32(y.record), func(s *State, add func(*State, []op, string)) {
		*s = State{}
		ops, bad := w.turn(s, nil, w.base, ev)
		for i, words := range []string{firing, ranger} {
			var l string
			if ops, l = w.turn(s, ops, w.base, Answer{Step: w.p.Steps[i].ID, Words: words}); l != "" {
				bad = l
			}
			if s.Pending.Event != nil {
				if ops, l = w.turn(s, ops, w.base, Written{s.Tickets}); l != "" {
					bad = l
				}
			}
		}
		add(s, ops, bad)
	})
	y.alive, y.joined, y.record = true, false, recordNothing
	w.land(n, y, "", outs, emit)
}
