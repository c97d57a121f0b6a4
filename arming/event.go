package arming

import (
	"holdline/arming/groundbox/wire"
	"holdline/checklist"
)

// Event is something that happened or was asked for. The set is sealed; every
// event is a comparable value, so that a request can wait in the state for its
// entry on disk.
type Event interface{ event() }

// Start is the first event of a firing. From is the phase in which an earlier
// record of the same firing broke off, or Setup.
type Start struct {
	From    Phase
	Hooked  bool                       // igniters may have been connected then
	Forward [checklist.MaxPosts]string // who may have been forward then
}

// Tick says that time has passed.
type Tick struct{}

// BoxUp says that the link to the box works; Practice is what the device says
// of itself.
type BoxUp struct {
	Identity string
	Practice bool
	Channels int
	NewBox   bool // another device, or the same after a restart
}

// BoxReading is a snapshot of the ground box.
type BoxReading struct{ Box Box }

// BoxEvents are event bits that the box reported, see box.md.
type BoxEvents struct{ Bits wire.Event }

// BoxLost says that the link is broken or doubtful, and why.
type BoxLost struct{ Why string }

// PermitStuck says that the permit did not read open in time after OFF.
type PermitStuck struct{}

// FocusLost says that the terminal no longer has the keyboard.
type FocusLost struct{}

// Stalled says that a part of the program was late.
type Stalled struct{ Part string }

// Written says that the record entry with this ticket is on disk.
type Written struct{ Ticket uint32 }

// RecordFailed says that the record cannot be written.
type RecordFailed struct{ Why string }

// Answer answers a step. For a quantity typed off an instrument, Value and
// Again are the two entries.
type Answer struct {
	Step  string
	Words string
	Value float64
	Again float64
	Means Means
	Shown string // SHA-256 of the prediction that is accepted, as the record has it
}

// Withdraw takes an answer back.
type Withdraw struct {
	Step string
	Why  string
}

// Waive lets an advisory band pass, by the range officer, with a reason.
type Waive struct {
	Step  string
	Value float64
	Why   string
	By    string
}

// BasisLeft says that a basis of the accepted prediction left its range.
type BasisLeft struct{ What string }

// SignOn signs somebody on beside those whom the routine asks for: whoever goes
// forward is one of the crew, with a role.
type SignOn struct {
	Name string
	Role checklist.Role
}

// OpenLine is the range officer's order that the named people go forward.
type OpenLine struct {
	By    string
	Names [checklist.MaxPosts]string
	Key   string // in whose pocket the key is: one of Names
}

// CloseLine is the range officer's count of the people who are back.
type CloseLine struct {
	By    string
	Count int
}

// StartProof begins the contact proof.
type StartProof struct{}

// Say states a fact where no box reads it (meter and typed modes).
type Say struct {
	Fact Fact
	By   string
}

// Fact is a fact said by a person.
type Fact int

// The facts that can be said.
const (
	FactNone Fact = iota
	FactKeyOut
	FactKeyIn
	FactBatteryOff
	FactBusDead
	FactPressed
	FactReleased
	FactAtRest
	FactMovement // movement, smoke, light or a person forward, in WAIT
	FactShunted
	FactFireWatched
)

// ArmEntry is the firing officer's deliberate entry.
type ArmEntry struct{ By string }

// Code is the range officer's code, as matched or not; the code itself never
// comes here.
type Code struct{ Matched bool }

// StartCount begins the count.
type StartCount struct{ By string }

// HoldCall is anyone's HOLD: stop. In SETUP, PROOF, WAIT and MAKESAFE it calls
// everyone back.
type HoldCall struct{}

// HoldBy names, afterwards, who called HOLD.
type HoldBy struct{ Name string }

// Resume leaves HOLD, by the range officer.
type Resume struct{ By string }

// Scrub gives the firing up, by the firing officer or the range officer.
type Scrub struct {
	By  string
	Why string
}

// Observe is what a named observer saw of a motor; Motor 0 is all of them.
type Observe struct {
	Motor int
	Fate  Fate // FateMisfire or FateSaidLit
	By    string
}

// GoForward is the range officer's order that ends WAIT and sends one named
// person forward with the key.
type GoForward struct {
	By     string
	Person string
}

// Inspect is what the person forward found at a motor.
type Inspect struct {
	Motor int
	Found string // "burned out", "unlit, igniter out", in the person's words
	By    string
}

// Result is the measured result of the run, typed in. HasRest and HasSpeed say
// which were measured.
type Result struct {
	RestM    float64
	SpeedMps float64
	HasRest  bool
	HasSpeed bool
	Words    string
}

// AllClear is the range officer's word that ends MAKESAFE.
type AllClear struct{ By string }

// Quit says that the program is ending.
type Quit struct{ Why string }

func (Start) event()        {}
func (Tick) event()         {}
func (BoxUp) event()        {}
func (BoxReading) event()   {}
func (BoxEvents) event()    {}
func (BoxLost) event()      {}
func (PermitStuck) event()  {}
func (FocusLost) event()    {}
func (Stalled) event()      {}
func (Written) event()      {}
func (RecordFailed) event() {}
func (Answer) event()       {}
func (Withdraw) event()     {}
func (Waive) event()        {}
func (BasisLeft) event()    {}
func (SignOn) event()       {}
func (OpenLine) event()     {}
func (CloseLine) event()    {}
func (StartProof) event()   {}
func (Say) event()          {}
func (ArmEntry) event()     {}
func (Code) event()         {}
func (StartCount) event()   {}
func (HoldCall) event()     {}
func (HoldBy) event()       {}
func (Resume) event()       {}
func (Scrub) event()        {}
func (Observe) event()      {}
func (GoForward) event()    {}
func (Inspect) event()      {}
func (Result) event()       {}
func (AllClear) event()     {}
func (Quit) event()         {}
