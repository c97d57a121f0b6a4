// Package session is the imperative shell around the arming machine: it joins
// the run sheet, the prediction, the machine, the ground box, the record and
// the cockpit into one running program.
//
// # Who owns what
//
// One goroutine, the driver, owns the machine's state. It takes one event at a
// time, gives it the instant on both clocks, steps the machine, writes the step
// into the record and carries the effects out in their order. Nothing else
// changes the state.
//
// HOLD and the end of the program come to it by a way of their own, which
// never blocks and is looked at first. Other requests of the cockpit wait in a
// bounded queue; a full queue refuses in words.
//
// The record is written by a goroutine of its own. A request to go forward
// takes effect when its entry is on disk; OFF and HOLD act first and are
// recorded after.
//
// # The permit
//
// The link renews the permit only for a short life, and every step of the
// machine that wants the permit grants another one, if the screen has asked
// for a frame and the disk has answered in the last moments. So the permit
// falls within half a second when the driver, the screen, the link or the box
// stands still, and within a second when the disk does, whoever is at fault.
//
// # The end
//
// Every way out takes the permit off first, then ends the record, then gives
// the terminal back. A firing that ends before anything was connected is
// closed as interrupted and signed. One that ends with igniters connected, or
// from ARMED on, leaves its record open: the next start takes it up again, in
// WAIT where it must.
package session
