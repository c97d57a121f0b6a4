package arming

import (
	"holdline/arming/groundbox/wire"
)

// Effect is something for the shell to do, in the order given. The set is
// sealed.
type Effect interface{ effect() }

// PermitOff opens the permit. It waits for nothing and is the first effect of
// any step that has it (I-11).
type PermitOff struct{}

// PermitOn closes the permit. Ticket names the record entry, already on disk,
// that allows it (I-27).
type PermitOn struct{ Ticket uint32 }

// Write asks for the entry of the event just stepped to be on disk; the shell
// answers with Written{Ticket}.
type Write struct{ Ticket uint32 }

// Lease turns the box's measuring lease on or off.
type Lease struct{ On bool }

// ClearBits clears event bits of the box after they were recorded.
type ClearBits struct{ Bits wire.Event }

// Notice is a sentence for the screen and the record.
type Notice struct {
	Text string
	Loud bool // needs somebody to act now
}

// Callout is a mark of the count to be shown and sounded.
type Callout struct{ Text string }

// CloseRecord ends and signs the record.
type CloseRecord struct{}

func (PermitOff) effect()   {}
func (PermitOn) effect()    {}
func (Write) effect()       {}
func (Lease) effect()       {}
func (ClearBits) effect()   {}
func (Notice) effect()      {}
func (Callout) effect()     {}
func (CloseRecord) effect() {}

// RefusedError says why an event was refused. A refusal changes nothing
// (I-35).
type RefusedError struct {
	Phase  Phase
	Why    string // what is in the way
	Remedy string // what to do about it
}

// Error returns the refusal as one sentence.
func (e *RefusedError) Error() string {
	if e.Remedy == "" {
		return e.Why
	}
	return e.Why + ": " + e.Remedy
}
