package groundbox

import (
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
// PermitClosed, PermitDropped, PermitConfirmedOpen, PermitDidNotOpen, Refused,
// SelfTested, Resistances or FireRead.
type Report interface{ report() }

// Connected means that a box answers, is the wanted kind, has the wanted
// channels and has been taken over. It comes first after each opening of the
// port and after each restart of the box.
type Connected struct {
	At           time.Time
	Identity     Identity
	Channels     int
	TestCurrentA float64
	SelfTested   bool     // passed since the box's last restart, as far as this link knows
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
}

// Bad is an answer that was missed or could not be used.
type Bad struct {
	At     time.Time
	Reason string
	InRow  int // bad answers in a row, this one included
	Recent int // and within 2 s
}

// Lost means that nothing is known from now on. Reason is a plain sentence.
type Lost struct {
	At     time.Time
	Reason string
}

// PermitClosed means that the permit read closed after ON.
type PermitClosed struct {
	At     time.Time
	Number uint64
}

// PermitDropped means that the link let the permit go by itself; OFF has been
// sent.
type PermitDropped struct {
	At     time.Time
	Number uint64
	Reason string
}

// PermitConfirmedOpen means that after OFF a snapshot showed the permit open
// and the node behind it dead, and that the pulse count was read in a later
// one.
type PermitConfirmedOpen struct {
	At time.Time
	// WasOn tells that ON had been sent since the permit was last confirmed
	// open.
	WasOn bool
	// PulsesUnchanged tells that the count is known and the same as in the
	// snapshot before ON (before OFF, where no ON was sent), on the same box.
	PulsesUnchanged bool
	Pulses          int64
	After           time.Duration // from OFF asked to the snapshot that showed it
}

// PermitDidNotOpen means that 0.2 s after OFF no snapshot had shown the permit
// open and its node dead. Let go, pull the key.
type PermitDidNotOpen struct {
	At     time.Time
	Reason string
}

// Refused is an error that the box reported, or a request that the link did
// not send on. Command is empty when nothing that was sent explains it.
type Refused struct {
	At      time.Time
	Command string
	Error   wire.Error // zero when the link itself refused
	Reason  string
}

// SelfTested is the result of SelfTest.
type SelfTested struct {
	At     time.Time
	Passed bool
	Code   int // -1 without an answer
	Reason string
}

// Resistances is the answer to MeasureAll, by channel.
type Resistances struct {
	At  time.Time
	Ohm []Reading
}

// FireRead is the answer to AskFire.
type FireRead struct {
	At       time.Time
	Pulses   int64
	AgeS     Reading // since the last pulse began
	LengthS  Reading // of it, so far
	BatteryV Reading // the lowest in it
}

func (Connected) report()           {}
func (SnapshotRead) report()        {}
func (Bad) report()                 {}
func (Lost) report()                {}
func (PermitClosed) report()        {}
func (PermitDropped) report()       {}
func (PermitConfirmedOpen) report() {}
func (PermitDidNotOpen) report()    {}
func (Refused) report()             {}
func (SelfTested) report()          {}
func (Resistances) report()         {}
func (FireRead) report()            {}

// pending is the bounded queue of reports: a newer snapshot takes the place of
// an older one, and the same of Bad; nothing else is dropped. full tells the
// driver to let no more state changes come up.
type pending struct{ list []Report }

const mostPending = 256

func (p *pending) full() bool { return len(p.list) >= mostPending }

func (p *pending) add(r Report) {
	switch r.(type) {
	case SnapshotRead:
		p.remove(func(old Report) bool { _, same := old.(SnapshotRead); return same })
	case Bad:
		p.remove(func(old Report) bool { _, same := old.(Bad); return same })
	}
	p.list = append(p.list, r)
}

func (p *pending) remove(match func(Report) bool) {
	kept := p.list[:0]
	for _, r := range p.list {
		if !match(r) {
			kept = append(kept, r)
		}
	}
	clear(p.list[len(kept):])
	p.list = kept
}

func (p *pending) pop() {
	p.list[0] = nil
	p.list = p.list[1:]
}
