package groundbox

import (
	"slices"
	"time"

	"holdline/arming/groundbox/wire"
)

// The link's own names for what comes over the wire.
type (
	Snapshot = wire.Snapshot
	Reading  = wire.Reading
	Event    = wire.Event
	Identity = wire.Identity
)

// Report is one thing that the link tells: Connected, SnapshotRead, Bad, Lost,
// PermitDropped, PermitDidNotOpen, Refused or FireRead.
type Report interface{ report() }

// Connected means that a box answers, is the wanted kind, has the wanted
// channels and has been taken over. It comes first after each opening of the
// port and after each restart of the box.
type Connected struct {
	Identity     Identity
	Channels     int
	TestCurrentA float64
	Changed      bool     // not the box that was connected before, by its word or by its USB device
	Device       PortInfo // the USB device behind the port, zero where the system tells none
	Events       Event    // found at connecting; restart and owner change are expected and cleared
}

// SnapshotRead is a good poll.
type SnapshotRead struct {
	At time.Time // when its last byte had come
	S  Snapshot
	// Caused are the events in S that this link has caused itself: the error of
	// a KEEP that crossed the box's own opening of the permit.
	Caused Event
	// Cleared are the events whose clearing had been written before S was asked
	// for: one of them that stands in S has come again.
	Cleared Event
}

// Bad is an answer that was missed or could not be used.
type Bad struct {
	Reason string
	InRow  int // bad answers in a row, this one included
}

// Lost means that nothing is known from now on. Reason is a plain sentence.
type Lost struct{ Reason string }

// PermitDropped means that the link let the permit go by itself; OFF has been
// sent.
type PermitDropped struct{ Reason string }

// PermitDidNotOpen means that 0.2 s after OFF no snapshot had shown the permit
// open and its node dead.
type PermitDidNotOpen struct{ Reason string }

// Refused is an error that the box reported, or a request that the link did
// not send on. Command is empty when nothing that was sent explains it.
type Refused struct {
	Command string
	Error   wire.Error // zero when the link itself refused
	Reason  string
}

// FireRead is the answer to AskFire.
type FireRead struct {
	Pulses   int64
	AgeS     Reading // since the last pulse began
	LengthS  Reading // of it, so far
	BatteryV Reading // the lowest in it
}

func (Connected) report()        {}
func (SnapshotRead) report()     {}
func (Bad) report()              {}
func (Lost) report()             {}
func (PermitDropped) report()    {}
func (PermitDidNotOpen) report() {}
func (Refused) report()          {}
func (FireRead) report()         {}

// pending is the bounded queue of reports: a newer snapshot takes the place of
// an older one, with what was cleared and what the error queue had since then,
// and the same of Bad; nothing else is dropped. full tells the driver to let no
// more state changes come up.
type pending struct{ list []Report }

const mostPending = 256

func (p *pending) full() bool { return len(p.list) >= mostPending }

func (p *pending) add(r Report) {
	switch newer := r.(type) {
	case SnapshotRead:
		p.list = slices.DeleteFunc(p.list, func(r Report) bool {
			older, is := r.(SnapshotRead)
			if is {
				newer.Cleared |= older.Cleared
				errors := older.S.Events &^ older.Caused & wire.EventErrors // the link empties the queue meanwhile
				newer.S.Events |= errors
				newer.Caused &^= errors
			}
			return is
		})
		r = newer
	case Bad:
		p.list = slices.DeleteFunc(p.list, isA[Bad])
	}
	p.list = append(p.list, r)
}

func isA[R Report](r Report) bool {
	_, is := r.(R)
	return is
}

func (p *pending) pop() {
	p.list[0] = nil
	p.list = p.list[1:]
}
