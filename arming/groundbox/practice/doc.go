// Package practice is a simulated ground box that speaks the protocol of a real
// one and behaves electrically by the firing circuit's model. It says PRACTICE
// in its identity and in every snapshot.
//
//	box, err := practice.New(practice.Config{Problem: p})
//	path, stop, err := practice.StartPTY(box)   // a port to open; linux, darwin
//	dial := box.Dial                            // in process, elsewhere
//	box.Hands().Key(true)                       // hands, never the wire
//	box.SetFault(f)                             // f by ParseFault
//	box.State(), box.Lit()                      // for a practice screen
//
// Device time is the time since the box was made; all inputs are latched to the
// millisecond of it. The second watchdog, the contacts
// and the circuit go on when the box's program hangs.
package practice
