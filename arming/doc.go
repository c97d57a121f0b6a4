// Package arming is the arming machine: a pure step function from a state, an
// instant and an event to the next state, the effects to carry out and, for a
// refused event, an error that says why.
//
//	s, effects, err := arming.Step(plan, s, now, event)
//
// It does no I/O, reads no clock and starts no goroutine. The shell around it
// gives every event an instant, writes it to the record, and carries the
// effects out in order. The laptop can stop a firing, it can never start one:
// the only effect towards a firing is PermitOn, one more contact in series
// with a key and a spring-return button that a person's hand closes.
//
// # Going forward and going safe
//
// A request that goes forward is held in State.Pending and answered with
// Write: the machine acts when the shell reports, with Written, that the entry
// is on disk, and looks at every condition again at that moment. An entry that
// takes longer than 0.5 s is a HOLD. Whatever goes safe acts in its own step,
// waits for nothing, and puts PermitOff before every other effect.
//
// # Invariants
//
// For every state s and every edge s → s' by an event e at time t. Check
// judges an edge by all that can be seen on one; the exhaustive walk and
// the random tests run it at every step, and keep the history that I-04, I-06
// and I-31 need.
//
//	I-01  permit wanted(s) ⇒ s in WINDOW or RUN, or in PROOF after every channel was read open, with no hook-up entered.
//	I-02  WINDOW is entered only from COUNT, at zero, with key in and both button poles read open after zero less 0.3 s.
//	      A pause of the count stands until the firing officer's word; from there the count has as long to go as before.
//	I-03  permit wanted ⇒ line CLOSED; in WINDOW also every core gate stands. In RUN age alone drops nothing.
//	I-04  At most one permit-on effect between two sightings of the key out.
//	I-05  RUN ends in WAIT, WINDOW in RUN or WAIT. WAIT turns to HOLD only within 1 s of a window without a press, after
//	      'permit read open' and then 'pulse and press counts unchanged', in this order.
//	I-06  CLOSED after a pulse, or a possible pulse ⇒ a full WAIT and then a full MAKESAFE lie after the last one.
//	I-07  line OPEN ⇒ s in SETUP, MAKESAFE or CLOSED, permit and test current not wanted; when it opened, key out, battery
//	      off, bus dead and, for the hook-up, permit open were fresh.
//	I-08  The line opens only by the range officer's order, closes only by the count of names; start gives UNKNOWN.
//	I-09  READY, ARMED, COUNT, WINDOW, RUN ⇒ line CLOSED; WAIT ⇒ CLOSED, or UNKNOWN after a restart or a call back.
//	I-10  measuring lease wanted ⇒ line CLOSED and permit not wanted.
//	I-11  HOLD in READY to RUN ⇒ s' is HOLD or WAIT, and PermitOff is the first effect.
//	I-12  From HOLD no edge reaches ARMED, COUNT, WINDOW or RUN; they are reached from READY with both arming acts only.
//	I-13  ARMED to WINDOW ⇒ two different names, the entry before the code, both within 30 s; COUNT and WINDOW ⇒ the key
//	      went in after both.
//	I-14  A key seen in outside ARMED to RUN and PROOF is treated as I-29 says.
//	I-15  A step stands ⇒ its value is present and no older than its limit, and what it rests on stands.
//	I-16  A basis that leaves its range and the loss of the prediction's gate are the same step.
//	I-17  COUNT begins, or goes on after a pause ⇒ every answer that ages lasts to the end of the window.
//	I-18  Time in ARMED, in WINDOW and of the permit never passes the plan's limits, time in a pause never 60 s.
//	I-19  The wait left shrinks only by the smaller clock's step, at most 1 s (times the practice speed), with the vehicle
//	      said to be at rest, key out and bus dead.
//	I-20  What R-08 lists sets the wait to full.
//	I-21  WAIT begins at its full length, at least 60 s.
//	I-22  MAKESAFE follows WAIT only with nothing left of it and by the range officer's order, and goes back to WAIT on
//	      anything of R-08's list.
//	I-23  The number of live motors falls only by an inspection in MAKESAFE.
//	I-24  No reading lowers it.
//	I-25  A doubt (lost box, stuck permit, stall, broken record) leaves the phase or goes to HOLD, WAIT or SETUP.
//	I-26  A gap of the ticks or a parting of the clocks is dealt with before the event.
//	I-27  A permit-on effect carries a ticket whose entry is on disk.
//	I-28  A record that fails, from READY to RUN ⇒ HOLD or WAIT.
//	I-29  Button, read or counted, or key where no step asks for it: READY, COUNT ⇒ HOLD (ARMED: the button); WAIT, MAKESAFE ⇒ WAIT at full
//	      length; SETUP, HOLD, CLOSED ⇒ an OPEN line becomes UNKNOWN, with 'everyone back'. A live bus does the last two as well.
//	I-30  The zero value of every type is its least permissive one.
//	I-31  SETUP, or a new firing's SETUP by way of CLOSED, is reachable from every state.
//	I-32  Practice is part of the plan and constant over a firing.
//	I-33  A replay of the events gives the same states and the same reasons.
//	I-34  igniters may be connected ⇒ a contact proof stood when the line opened for them; in SETUP a box fault ends an OPEN line.
//	I-35  A refusal changes nothing but the log.
//
// Where these sentences depart from the design of record, DEVELOPERS.md says
// why.
package arming
