package arming

import (
	"fmt"
	"strings"
	"time"

	"holdline/checklist"
)

// Instant is a moment on both clocks, each counted from the start of the
// firing's record. Mono never goes back; Wall is what the wall clock says and
// may jump. Evidence ages by the larger difference of the two, waits run by
// the smaller.
type Instant struct {
	Mono time.Duration
	Wall time.Duration
}

// Since returns the age of t at i by the larger of the two clocks.
func (i Instant) Since(t Instant) time.Duration { return max(i.Mono-t.Mono, i.Wall-t.Wall) }

// Phase is the state of the arming machine.
type Phase int

// The phases. The zero value, Setup, is the least permissive one.
const (
	Setup    Phase = iota
	Proof          // contacts are tried, no igniter connected
	Ready          // every gate stands
	Armed          // both people have armed
	Count          // counting down
	Window         // zero reached, the button may be pressed
	Run            // the box has latched the button's closing
	Wait           // nobody goes forward
	MakeSafe       // one named person goes forward
	Closed         // the firing is over
	Hold           // stopped, before any pulse
	phaseEnd
)

var phaseNames = []string{"SETUP", "PROOF", "READY", "ARMED", "COUNT", "WINDOW", "RUN", "WAIT", "MAKESAFE", "CLOSED", "HOLD"}

// String returns the phase's word.
func (p Phase) String() string { return nameOf(phaseNames, p, "PHASE") }

// nameOf returns the name of a value, or for one that does not exist its kind
// and number.
func nameOf[E ~int](names []string, v E, kind string) string {
	if v < 0 || int(v) >= len(names) {
		return fmt.Sprintf("%s(%d)", kind, int(v))
	}
	return names[v]
}

// Line says whether people may be forward of the hold line.
type Line int

// The line. The zero value is unknown.
const (
	LineUnknown Line = iota
	LineOpen
	LineClosed
)

var lineNames = []string{"UNKNOWN", "OPEN", "CLOSED"}

// String returns the line's word.
func (l Line) String() string { return nameOf(lineNames, l, "LINE") }

// Contact is a contact as the box reads it.
type Contact int

// The zero value is not known.
const (
	ContactUnknown Contact = iota
	ContactOpen
	ContactClosed
)

var contactNames = []string{"unknown", "open", "closed"}

// String returns the contact's word.
func (c Contact) String() string { return nameOf(contactNames, c, "contact") }

// Level is a node voltage by the box's rule: live above 0.5 V, dead below
// 0.1 V, between them neither.
type Level int

// The zero value is not measured.
const (
	LevelUnknown Level = iota
	LevelDead
	LevelBetween
	LevelLive
)

// Volt is a voltage as read. Level follows from Millivolt.
type Volt struct {
	Level     Level
	Millivolt int32
}

// Ohm is a resistance as read, to a milliohm.
type Ohm struct {
	Kind     OhmKind
	Milliohm int32
}

// OhmKind says what a resistance reading is.
type OhmKind int

// The zero value is not measured.
const (
	OhmNotMeasured OhmKind = iota
	OhmOpen                // over range
	OhmValue
)

// Box is the last that the ground box said.
type Box struct {
	Up           bool // the link is up and the last answers were good
	Seen         Instant
	Key          Contact
	Pole1, Pole2 Contact // of the button: in the loop, and sensed
	Permit       Contact // the relay's own linked contact
	Battery      Volt
	BehindKey    Volt
	BehindPermit Volt
	Bus          Volt
	Pulses       int64 // -1 when unknown
	Presses      int64 // -1 when unknown
	Scan         int   // number of the last whole resistance scan
	Channel      [checklist.MaxMotors]Ohm
	ScanSeen     Instant // when Scan last changed
}

// Evidence is the answer to a step.
type Evidence struct {
	Present bool
	At      Instant
	Value   float64 // for quantities and readings
	Words   string  // as typed or said
	By      string
	Means   Means
	Waived  bool // advisory band waived by the range officer
}

// Means says how a value was had.
type Means int

// The means. The zero value counts for nothing.
const (
	MeansNone Means = iota
	MeansSaid
	MeansTyped
	MeansMeter
	MeansBox
	MeansComputed
	MeansPassed // an optional step of the sheet that the crew passed over
)

var meansNames = []string{"none", "said", "typed", "meter", "box", "computed", "passed over"}

// String returns the means' word.
func (m Means) String() string { return nameOf(meansNames, m, "means") }

// Fate is what is known of one motor.
type Fate int

// The fates. Every fate but Inspected counts as live.
const (
	FateUnknown   Fate = iota // nobody has said; live
	FateMisfire               // seen not to light; live
	FateSaidLit               // seen to light; live until inspected
	FateInspected             // a person has looked at it in MAKESAFE
)

var fateNames = []string{"LIVE, not known", "LIVE, dark", "LIVE until inspected, seen to light", "inspected"}

// String returns the fate's words.
func (f Fate) String() string { return nameOf(fateNames, f, "fate") }

// ProofStage is how far the contact proof has come.
type ProofStage int

// The stages, in order.
const (
	ProofNone     ProofStage = iota
	ProofKeyOut              // battery live, key out: nothing behind the key
	ProofKeyIn               // key in: nothing behind the permit
	ProofPermit              // permit closed: nothing behind the button
	ProofWatchdog            // no renewal: the watchdog opens the permit
	ProofKeyBack             // key out again
)

var proofNames = []string{
	"not started",
	"join the battery, key out: nothing may be live behind the key",
	"turn the key in: nothing may be live behind the permit",
	"permit closes: nothing may be live behind the button",
	"renewal stops: the watchdog must open the permit",
	"take the key out",
}

// String returns what the stage waits for.
func (p ProofStage) String() string { return nameOf(proofNames, p, "stage") }

// Pending is a request to go forward that waits for its entry on disk.
type Pending struct {
	Event  Event
	Ticket uint32
	Asked  Instant
}

// Said are facts that people say where no box reads them (meter and typed).
type Said struct {
	KeyOut, BatteryOff, BusDead Instant
	KeyOutSaid                  bool
	BatteryOffSaid              bool
	BusDeadSaid                 bool
}

// State is the whole state of the machine: a plain value, comparable with ==.
// Its zero value is the least permissive state there is.
type State struct {
	Phase   Phase
	Line    Line
	Now     Instant // of the last event
	Started bool    // the first event has been seen

	Crew     Crew
	Evidence [checklist.MaxSteps]Evidence
	Box      Box
	Said     Said

	Skew        time.Duration // wall less monotonic clock, as last accepted
	Hooked      bool          // igniters may be connected
	Shunted     bool          // the firing line is said to be shunted at the box end
	BoxFault    bool          // a box fault since the last contact proof
	BoxRefused  bool          // the box that answers is not the one of this firing
	BatterySeen bool          // the battery was joined at the last look
	Warned      Warned        // loud notices that are given once, not ten times a second

	Proof       ProofStage
	ProofSince  Instant // when the stage began
	ProofTicket uint32  // the entry that must be on disk before the permit closes
	ProofTrip   bool    // the box reported that its watchdog tripped

	Entered Instant // when Phase was entered

	ArmEntry   bool // the firing officer's entry is in
	ArmEntryAt Instant
	ArmedBy    string
	CodeTries  int
	CodeOK     bool
	KeyInArmed bool // the key went in after both

	ZeroAt        Instant // of the count, on the monotonic clock
	CalledAt      int     // last whole second called
	Paused        bool    // the count stands at a planned pause
	PausedAt      Instant // since when
	PauseLeft     time.Duration
	PausesDone    int    // how many of the plan's the count has come to
	ZeroTicket    uint32 // the entry that must be on disk before zero
	WindowEnds    time.Duration
	PermitWanted  bool
	PermitAt      Instant
	PermitSpent   bool  // commanded on since the key was last seen out
	PermitStuck   bool  // closed though nobody wants it, and not read open since
	PulsesBefore  int64 // the box's counts before the permit
	PressesBefore int64
	PermitEver    bool // commanded on with igniters connected, in this firing
	NoPulse       NoPulseStage
	OffAt         Instant

	RunPressAt Instant

	WaitLeft   time.Duration
	AtRest     bool // the vehicle is said to be at rest
	WaitPulses int64
	WaitOhm    [checklist.MaxMotors]OhmKind // what the channels read in this wait
	Fate       [checklist.MaxMotors]Fate
	MakeSafe   MakeSafeFacts
	ResultIn   bool
	HoldWhy    string
	HoldCaller string
	HoldFrom   Phase
	ScrubAsked bool // scrubbed with the key still in: MAKESAFE follows when it is out

	LeaseWanted bool
	TestCurrent bool   // the lease was wanted, and no snapshot since then shows it off
	Tickets     uint32 // last ticket given
	OnDisk      uint32 // last ticket known to be on disk
	Pending     Pending
	NoRecord    bool // the record has failed
}

// Crew are the people signed on and those forward.
type Crew struct {
	Firing  string
	Range   string
	Spotter [checklist.MaxPosts]string
	HookUp  [checklist.MaxPosts]string // who signed on to go forward, beside the firing officer
	Forward [checklist.MaxPosts]string // names forward while the line is OPEN
	KeyWith string
}

// NoPulseStage is how far the box has shown that no pulse began after a permit
// the permit read open, then the counts read unchanged, in this order.
type NoPulseStage int

// The stages.
const (
	NoPulseNone   NoPulseStage = iota // not asked: a pulse may have been
	NoPulseAsked                      // the permit has been commanded open
	NoPulseOpened                     // it has been read open
)

// Warned says which loud notices have been given.
type Warned struct {
	KeyOrButton    bool
	BatteryForward bool
}

// MakeSafeFacts are what the person forward and the range officer have said.
type MakeSafeFacts struct {
	Shunted     bool
	FireWatched bool
}

// Live returns how many motors count as live.
func (s *State) Live(p *Plan) int {
	if !s.Hooked {
		return 0
	}
	n := 0
	for m := 0; m < p.Motors; m++ {
		if s.Fate[m] != FateInspected {
			n++
		}
	}
	return n
}

// people counts everybody who must stand behind the line: the names signed on
// and those who went forward, each once.
func (c *Crew) people() int {
	names := append([]string{c.Firing, c.Range}, c.Spotter[:]...)
	names = append(append(names, c.HookUp[:]...), c.Forward[:]...)
	n := 0
	for k, name := range names {
		known := strings.TrimSpace(name) == ""
		for _, other := range names[:k] {
			known = known || sameName(name, other)
		}
		if !known {
			n++
		}
	}
	return n
}
