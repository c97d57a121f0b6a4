// Package checklist is the routine before, during and after a firing as data: every step with who answers it, what kind of answer counts, how long
// the answer lasts, what it rests on and what withdraws it.
//
// The package decides nothing about states: package arming keeps the answers
// and enforces the rules written here. It does no I/O and reads no clock.
//
// An answer is the value that was seen, never the word "checked" (Degani and
// Wiener, Human Factors 35(2)). A step stands while its answer is present, is
// no older than Expires, and everything in RestsOn stands.
package checklist

import (
	"fmt"
	"time"
)

// Limits of a plan. They bound every array of answers.
const (
	MaxMotors = 16 // the ground box has at most 16 channels
	MaxPosts  = 8
	MaxSteps  = 96
)

// Role is who answers a step or gives an order.
type Role int

// The roles. The zero value may do nothing.
const (
	RoleNone Role = iota
	FiringOfficer
	RangeOfficer
	Spotter
	HookUpPerson // the one who goes forward
)

var roleNames = [...]string{"nobody", "firing officer", "range officer", "spotter", "hook-up person"}

// String returns the role's name as the screen and the record say it.
func (r Role) String() string { return nameOf(roleNames[:], int(r), "role") }

// nameOf is the name of a value, or its type and number where it has none.
func nameOf(names []string, n int, kind string) string {
	if n < 0 || n >= len(names) {
		return fmt.Sprintf("%s(%d)", kind, n)
	}
	return names[n]
}

// Phase is the part of the routine that a step belongs to, in the trade's
// order.
type Phase int

// The phases, in order.
const (
	PhaseNone Phase = iota
	Briefing
	Site
	VehicleCheck
	ContactProof
	DeadCircuit
	HookUp
	LineClosed
	Clear
	Measure
	BatteryJoin
	Poll
	Arm
	Count
	After
)

var phaseNames = [...]string{
	"none", "briefing", "site", "vehicle", "contact proof", "dead circuit", "hook-up",
	"line closed", "clear", "measure", "battery", "poll", "arm", "count", "after",
}

// String returns the phase's name.
func (p Phase) String() string { return nameOf(phaseNames[:], int(p), "phase") }

// Gate is a group of steps drawn as one contact of the chain. The chain
// carries on only past a gate of which every step stands.
type Gate int

// The core gates in the chain's order, then what a sheet adds. A sheet can
// add steps to a gate and never remove one.
const (
	GateNone Gate = iota
	GateCrew
	GateSite
	GatePrediction
	GateProof
	GateDead
	GateHookUp
	GateLine
	GateClear
	GateContinuity
	GateBattery
	GateRadios
	GateSpotters
	GateSheet // further steps of the sheet
	gateEnd
)

// Gates lists the gates in the chain's order.
func Gates() []Gate {
	out := make([]Gate, 0, gateEnd-1)
	for g := GateCrew; g < gateEnd; g++ {
		out = append(out, g)
	}
	return out
}

var gateNames = [...]string{
	"none", "crew signed on", "site and vehicle", "prediction accepted", "contacts proved", "circuit dead", "hooked up", "line closed",
	"range clear", "continuity", "battery against budget", "radios and storm", "spotters ready", "further steps",
}

// String returns the gate's name as the chain shows it.
func (g Gate) String() string { return nameOf(gateNames[:], int(g), "gate") }

// Kind is the kind of answer that counts.
type Kind int

// The kinds. The zero value takes no answer.
const (
	KindNone     Kind = iota
	KindWords         // what is seen, in words
	KindName          // a person's name
	KindQuantity      // a number typed off an instrument, twice, that must lie in Band
	KindMeasured      // a reading of the ground box at the moment of the answer, then live
	KindAccept        // the prediction, seen and accepted by both officers
	KindSecret        // the range officer's code; only the fact is known here
	KindProof         // set by the contact proof alone
	KindLine          // set by the line alone
)

// Needs is a set of facts that must be true, and fresh, when a step is answered.
type Needs uint16

// The facts.
const (
	NeedLineClosed Needs = 1 << iota
	NeedLineOpen
	NeedBatteryOff
	NeedBatteryJoined
	NeedKeyOut
	NeedBusDead
	NeedPermitOpen
)

// Drops is a set of happenings that withdraw a step's answer.
type Drops uint16

// The happenings.
const (
	DropLineOpened Drops = 1 << iota
	DropBatteryChange
	DropBoxFault
	DropRangeOfficer
	DropBasis // a basis of the prediction left its accepted range
)

// Band is the range of a value that is accepted, both ends included.
type Band struct {
	Low, High float64
	Unit      string // SI unit, "" for none
}

// Contains reports whether v lies in the band; NaN does not.
func (b Band) Contains(v float64) bool { return v >= b.Low && v <= b.High }

// Step is one challenge of the routine.
type Step struct {
	ID           string // stable, recorded: "range-clear", "continuity/2", "spotter/north gate"
	Phase        Phase
	Gate         Gate
	Challenge    string // as the cockpit asks it
	Hint         string // what a good answer says, "" for none
	Role         Role
	Post         string // for a spotter
	Motor        int    // 1-based, 0 for none
	Kind         Kind
	Band         Band
	Agree        float64       // how far two typed entries may differ, in the band's unit
	Expires      time.Duration // 0: does not age
	Live         bool          // renewed by fresh box readings, withdrawn by one outside the band
	Needs        Needs
	RestsOn      []string // steps, all earlier, that must stand
	Drops        Drops
	UntilBattery bool      // ages only until the battery is joined
	Match        string    // the words must be these, whatever their case; "" for any
	CallWord     bool      // the words must contain the two digits that the screen made up
	Optional     bool      // may be passed over with a key, which the record shows
	Advisory     bool      // the range officer may waive the band with a reason
	Whole        bool      // a count: a whole number
	Balance      [2]string // counts, this is the first less the second; see Counted
	Source       string    // where the rule comes from
}

// Counted reports a step that has to balance with two earlier counts: it is
// the first less the second, or it is explained in words.
func (s *Step) Counted() bool { return s.Balance[0] != "" }

// Waivable reports whether the range officer may let the step's band pass: an
// advisory limit of the site and the vehicle. The core gates never are, and
// nothing that one of them rests on may be marked advisory.
func (s *Step) Waivable() bool {
	return s.Advisory && s.Gate == GateSite && s.Kind == KindQuantity
}

// Times are the lengths of waits and ages of one firing.
type Times struct {
	RangeClear time.Duration
	Spotter    time.Duration
	Live       time.Duration // continuity and battery by the box
	Typed      time.Duration // the same by meter or typed
	Weather    time.Duration // radios and storm
	Dead       time.Duration
	Proof      time.Duration
	Armed      time.Duration
	Count      time.Duration
	Window     time.Duration
	Permit     time.Duration
	Wait       time.Duration
	// Pauses are the built-in holds of the count, as times before zero, the
	// longest first; 0 for none. The clock stands there until the firing officer
	// starts it again.
	Pauses [MaxPauses]time.Duration
}

// Bounds of a pause: how many a count has, how short before zero the last may
// be (the entry of the last second has to be on the disk), how long one may last.
const (
	MaxPauses  = 3
	PauseLeast = 2 * time.Second
	PauseMost  = 60 * time.Second
)

// PausesFault returns what is wrong with the pauses of a count, "" for nothing.
func (t *Times) PausesFault() string {
	before := t.Count
	for i, at := range t.Pauses {
		switch {
		case at == 0 && (i+1 == MaxPauses || t.Pauses[i+1] == 0):
			continue
		case at < PauseLeast:
			return fmt.Sprintf("a pause %v before zero, expected %v or more", at, PauseLeast)
		case at >= before && i == 0:
			return fmt.Sprintf("a pause %v before zero, the count is %v", at, t.Count)
		case at >= before:
			return fmt.Sprintf("a pause %v before zero after one at %v, expected the longest first", at, before)
		}
		before = at
	}
	return ""
}

// TimeBounds gives default, least and most of each of Times.
type TimeBounds struct{ Default, Least, Most Times }

// Bounds returns the table of the design: default, least, most. A Most of 0
// has no upper bound. Sources: the 60 s wait is item 4 of the national model
// rocket safety code; the others are this project's choice.
func Bounds() TimeBounds {
	s, m, h := time.Second, time.Minute, time.Hour
	return TimeBounds{
		Default: Times{RangeClear: 90 * s, Spotter: 90 * s, Live: 2 * s, Typed: 10 * m, Weather: 15 * m, Dead: 10 * m,
			Proof: 12 * h, Armed: 60 * s, Count: 10 * s, Window: 10 * s, Permit: 20 * s, Wait: 60 * s},
		Least: Times{RangeClear: 30 * s, Spotter: 30 * s, Typed: 2 * m, Weather: 5 * m, Armed: 20 * s, Count: 5 * s,
			Window: 3 * s, Wait: 60 * s},
		Most: Times{RangeClear: 180 * s, Spotter: 180 * s, Live: 5 * s, Typed: 15 * m, Weather: 30 * m, Dead: 15 * m,
			Proof: 12 * h, Armed: 120 * s, Count: 60 * s, Window: 15 * s, Permit: 20 * s},
	}
}
