// Package groundbox is the link to the ground box: the one owner of its serial
// port. It reads, it can open the permit at any time, and it closes and keeps
// the permit only while it is told so again and again. It can not fire: no
// command of the protocol does.
//
// # Use
//
//	link := groundbox.Open(groundbox.Config{
//		Dial: groundbox.SerialDial(name, 115200), Port: name, WantChannels: 4,
//	})
//	for r := range link.Reports() { … }   // a type switch over Report
//	link.Lease(true)                      // every tick while measuring is wanted
//	link.Permit(groundbox.Grant{Number: n, Until: now.Add(200 * time.Millisecond)}) // every tick
//	link.PermitOff()                      // at once, never blocks
//	link.Close()
//
// Permit and Lease are not switches: each call counts for a short while, so that
// a caller which stands still lets go of both. Number is raised by one for each
// decision to close the permit; the driver sends ON once for each number, and
// never again for a number that has ended.
//
// # Reports
//
// The link reports facts and can stop; it judges nothing. Connected and Lost
// tell whether a proved box answers; everything else comes between the two.
// SnapshotRead is each good poll; a slow reader gets the newest only. Nothing
// else is ever dropped. A Translator makes events of the machine out of them.
//
// # Goroutines
//
// One driver goroutine decides everything. One reader and one writer for each
// connection do the blocking calls, so that a port that takes no data cannot
// stop the driver. OFF goes out before anything that is queued.
//
// A Meter is a multimeter on a serial line instead of a box. The text of the
// protocol is in package wire, a simulated box in package practice, the tests
// that any box must pass in package conformance.
package groundbox
