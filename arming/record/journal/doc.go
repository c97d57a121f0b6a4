// Package journal writes the steps of the arming machine down as the entries of
// a record, and replays such lines through the machine again (I-33).
//
// It is pure: it makes and reads JSON values, and package record
// chains, signs and stores them.
//
// # Lines
//
// A firing's record holds, after its first line:
//
//	plan   the whole arming.Plan, so that the machine can be set up again
//	event  one event that did something: its data, and what followed from it
//	beats  ticks and box readings that did nothing, up to a second of them
//	note   a sentence of the program beside the machine, with no part in it
//	prediction   what was accepted, as its acceptance names it
//	drill  what a drill let happen, with no part in it; in practice alone
//
// An event line reads
//
//	{"at":[12500000,12500002],"event":"answer","data":{"step":"range-clear", …},
//	 "phase":"SETUP","line":"CLOSED","effects":[{"effect":"write","ticket":7}]}
//
// with "digest":"0123456789abcdef" beside them. at is the monotonic and the wall
// clock in whole microseconds since the record was opened or taken up again. A refusal stands under "refused", and
// then the machine is where it was. Members that are zero are left out.
//
// digest binds event, time and the whole state after the step, so that what no
// phase or effect shows cannot be changed either; an answer that accepts a
// prediction names the SHA-256 of its entry. Records of the first edition, whose
// plan says no edition, have neither.
//
// A beats line reads {"beats":[[mono, wall], [mono, wall, {changes}], …]}: two
// numbers are a tick, three are a box reading, of which only the members that
// differ from the reading before are written. Beats are written before the
// next event line, so the lines hold every event in the order in which the
// machine saw it.
//
// A crew's secret is in no event: the machine is told whether a code matched,
// never the code.
package journal
