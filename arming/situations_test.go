package arming

import (
	"time"
)

// situation is a column of a table: a firing brought, from another situation,
// to where an event is tried. Each phase has one at least.
type situation struct {
	name  string
	phase Phase
	from  string // "" is a firing just begun
	make  func(w *world)
}

// The columns, in the tables' order.
var situations = []situation{
	{"SETUP", Setup, "", (*world).crew},                                  // signed on, line CLOSED, nothing hooked up
	{"shunted", Setup, "SETUP", func(w *world) { w.proof(); w.shunt() }}, // all that opening the line wants
	{"forward", Setup, "shunted", (*world).openLine},                     // one person forward to hook up
	{"PROOF", Proof, "SETUP", func(w *world) { w.must(StartProof{}) }},
	{"READY", Ready, "forward", func(w *world) { w.hooked(); w.gates() }},
	{"entry", Ready, "READY", func(w *world) { w.must(ArmEntry{By: firing}) }}, // the firing officer has armed
	{"ARMED", Armed, "entry", (*world).armed},                                  // the key is in
	{"COUNT", Count, "ARMED", func(w *world) { w.must(StartCount{By: firing}) }},
	{"WINDOW", Window, "COUNT", func(w *world) { w.pass(w.p.Times.Count) }},
	{"RUN", Run, "WINDOW", (*world).press},
	{"WAIT", Wait, "RUN", func(w *world) { w.igniter = false; w.letGo() }},                            // just begun, the key still in
	{"over", Wait, "WAIT", (*world).waited},                                                           // nothing left of it, circuit dead
	{"MAKESAFE", MakeSafe, "over", func(w *world) { w.must(GoForward{By: ranger, Person: forward}) }}, // one person forward
	{"done", MakeSafe, "MAKESAFE", (*world).madeSafe},                                                 // all that the all clear wants
	{"CLOSED", Closed, "done", func(w *world) { w.must(AllClear{By: ranger}) }},
	{"HOLD", Hold, "ARMED", func(w *world) { w.must(HoldCall{}) }}, // the key still in
	{"keyout", Hold, "HOLD", (*world).keyOut},
}

func (w *world) waited() {
	w.t.Helper()
	w.circuitOff()
	w.must(Say{FactAtRest, firing})
	w.pass(61 * time.Second)
	w.circuitOff()
}

func (w *world) madeSafe() {
	w.t.Helper()
	w.must(Inspect{Motor: 1, Found: "burned out", By: forward})
	w.must(Inspect{Motor: 2, Found: "burned out", By: forward})
	w.must(Say{FactShunted, forward})
	w.must(CloseLine{By: ranger, Count: 1})
	w.must(Say{FactFireWatched, ranger})
	w.must(Result{RestM: 131, HasRest: true})
	w.counts(2, 2, 2, 3)
}

// press, letGo, keyOut and circuitOff are hands, seen by the box or said.
func (w *world) press() {
	if w.p.Mode == ModeBox {
		w.button(true)
		return
	}
	w.must(Say{FactPressed, firing})
}

func (w *world) letGo() {
	if w.p.Mode == ModeBox {
		w.button(false)
		return
	}
	w.must(Say{FactReleased, firing})
}

func (w *world) keyOut() {
	if w.p.Mode == ModeBox {
		w.key(false)
		return
	}
	w.must(Say{FactKeyOut, ranger})
}

func (w *world) circuitOff() {
	w.keyOut()
	if w.p.Mode == ModeBox {
		w.battery(0)
		return
	}
	w.must(Say{FactBatteryOff, ranger})
	w.must(Say{FactBusDead, ranger})
}
