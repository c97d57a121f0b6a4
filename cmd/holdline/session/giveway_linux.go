package session

import (
	"runtime"
	"time"

	"golang.org/x/sys/unix"
)

const (
	// patientNice is how far a prediction stands back: a tenth of the turn of
	// whoever else wants the processor. Not less: the collector and the
	// runtime's locks may have to wait for its thread.
	patientNice = 10
	// patientTurn is the longest turn that Linux gives. A thread that wakes and
	// wants a shorter one goes ahead at once; at equal turns it may have to wait
	// for the next tick, 4 ms at 250 Hz.
	patientTurn = 100 * time.Millisecond
)

// giveWay puts the calling goroutine on a thread of its own, to the goroutine's
// end, and lets that thread stand back for every other: for those of the link,
// and for the system's own that bring the port's bytes. What the system refuses
// costs some latency and nothing else.
func giveWay() {
	runtime.LockOSThread() // never undone: a thread cannot be made quick again
	attr, err := unix.SchedGetAttr(0, 0)
	if err != nil || attr.Policy != unix.SCHED_NORMAL {
		return // whoever started the program has chosen
	}
	attr.Nice = max(attr.Nice, patientNice)
	attr.Runtime = uint64(patientTurn) // ignored before Linux 6.12
	_ = unix.SchedSetAttr(0, attr, 0)
}
