// Package tui is the cockpit: it draws what the arming machine says and turns
// keys into events. It decides nothing about a firing: every gate, refusal and
// reason comes from package arming, and a key that is drawn grey is a courtesy,
// not the guard.
//
// The package reads no clock, opens nothing and starts no goroutine. Time
// arrives in a tick, the world arrives in a Frame, and requests leave through
// the functions of Config, none of which blocks.
package tui

import (
	"time"

	"holdline/arming"
	"holdline/checklist/prediction"
	"holdline/checklist/sheet"
	"holdline/checklist/sheet/unit"
)

// Frame is everything the cockpit draws, taken as one consistent value.
type Frame struct {
	Plan  *arming.Plan
	State arming.State
	Wall  time.Time // of the newest machine tick

	Title    string
	Units    unit.System // that people read; what the machine itself says stays in SI
	Practice bool
	Box      string // identity or how it is measured, for people
	LinkText string // "box live 0.1 s", or why not
	BoxBeat  uint64 // counts good answers of the box
	Rings    uint64 // counts what the bell is rung for: marks of the count, loud notices
	Beat     uint64 // counts machine ticks: the mark turns only when both move

	Sheet     *sheet.Sheet
	Run       *prediction.Run     // nil until computed
	Circuit   *prediction.Circuit // nil until computed
	Computing float64             // share done of a prediction under way, 0 when none

	Log     []LogLine
	Refusal Refusal // the last one; shown until the next accepted entry
	Loud    string  // a sentence that needs somebody to act now, "" for none

	Hands  *HandsView // practice box only: where its hands are
	Drill  *DrillView // nil without a drill
	Record RecordView
	SoFar  string // holds and waivers of earlier firings, for the sign-on; "" for none
}

// LogLine is one line of what happened.
type LogLine struct {
	Wall time.Time
	Text string
	Loud bool
}

// Refusal is why the last request was refused and what to do about it.
type Refusal struct {
	At     arming.Instant
	Why    string
	Remedy string
}

// HandsView is how the practice box's hands stand: they are the hands of the
// person who practises, not actions of the cockpit.
type HandsView struct {
	KeyIn, Button, Battery, Igniters, Shunt bool
	Lit                                     []int // motors that have lit
}

// RecordView is where the record stands.
type RecordView struct {
	Path   string
	Lines  int64
	Closed bool
	Signed string // who signed, "" while unsigned
	KeyNew string // path of a key made on first use, "" for none
	Fault  string

	Counter CounterView
}

// CounterView is where the range officer's counter-signature stands.
type CounterView struct {
	Busy     bool
	Declined bool
	By       string // who counter-signed, "" while nobody has
	Fault    string // why it was not done
	Protects string // the key file whose passphrase is wanted
}

// Hand is a movement of a practice hand.
type Hand int

// The hands.
const (
	HandNone Hand = iota
	HandKey
	HandBattery
	HandIgniters
	HandShunt
	HandButtonDown
	HandButtonUp
)

// Config joins the cockpit to its shell. No function but Await blocks.
type Config struct {
	Latest  func() Frame       // the newest frame
	Await   func()             // blocks, in a goroutine of its own, until there is a newer one; nil to look by time
	Submit  func(arming.Event) // asks the machine; HOLD goes ahead of everything
	SetCode func(code string)  // the range officer's new code, kept in memory only
	TryCode func(code string)  // tries it; the machine only learns whether it matched
	Move    func(Hand)         // practice box only, nil otherwise

	// CounterSign adds the range officer's signature to the closed record; the
	// key is a file, "agent", or "no". Nil where there is no record.
	CounterSign func(key, passphrase string)

	Bell  func() // rings once; called beside Update, nil for none
	Theme string // "light", "dark", "plain", "" to choose by the terminal
	ASCII bool   // the locale is not UTF-8

	Tour     bool   // begin with the tour, where it may be; practice only
	TourOver func() // it was ended: it need not come by itself again; nil for none
}
