// Package drill plans practice firings with surprises and judges, from the
// record alone, how fast and how rightly the crew reacted.
//
//	plan, err := drill.Make(firing, seed, drill.Choice{Count: 3})
//	d := drill.NewDirector(plan, firing)
//	orders := d.Tick(&state, bench)     // what the shell lets happen now
//	var j drill.Judge                   // later, from the record's entries
//	err = j.Entry(kind, mono, body)
//	answer := j.Judgement()
//
// It is pure: the same firing, seed and choice give the same plan, and the
// same entries the same judgement.
//
// # Entries
//
// A drill adds entries of the kind "drill" to the record of a practice firing:
//
//	{"drill":"plan","seed":"7","surprises":[{"kind":"wind","phase":"COUNT", …}]}
//	{"drill":"surprise","number":1,"kind":"wind","heard":"north gate: …"}
//	{"drill":"over","number":1}
//	{"drill":"hand","hand":"key out"}
//
// "surprise" is the moment from which reactions are timed; "over" takes a
// fault back; "hand" is a movement of the practice box's hands, written down
// so that it is known when the box is dumb. None of them has a part in the
// machine's steps, and none may stand in the record of a real firing.
//
// # What is judged
//
// Only what people did counts: what they typed, HOLD, and the hands. A stop
// that the machine made by itself is nobody's reaction. The program never
// calls HOLD for the crew. The limits in seconds are common practice, no
// source: long enough to read one line, short enough to matter.
package drill
