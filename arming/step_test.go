package arming

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"holdline/arming/groundbox/wire"
	"holdline/checklist"
)

// row is a row of a table: an event, as it comes in that firing.
type row struct {
	name string
	make func(w *world) Event
}

// The kinds of an event that the tables tell apart, by their names in the source.
var (
	bits = []struct {
		name string
		bit  wire.Event
	}{{"Watchdog", wire.EventWatchdog}, {"ButtonEarly", wire.EventButtonEarly}, {"KeyPulled", wire.EventKeyPulled},
		{"Restarted", wire.EventRestarted}, {"Welded", wire.EventWelded}, {"OwnerChanged", wire.EventOwnerChanged},
		{"Errors", wire.EventErrors}, {"PermitLimit", wire.EventPermitLimit}, {"KeyOut", wire.EventKeyOut}}
	facts = []struct {
		name string
		fact Fact
	}{{"FactNone", FactNone}, {"FactKeyOut", FactKeyOut}, {"FactKeyIn", FactKeyIn}, {"FactBatteryOff", FactBatteryOff},
		{"FactBusDead", FactBusDead}, {"FactPressed", FactPressed}, {"FactReleased", FactReleased}, {"FactAtRest", FactAtRest},
		{"FactMovement", FactMovement}, {"FactShunted", FactShunted}, {"FactFireWatched", FactFireWatched}}
)

func is(name string, ev Event) row { return row{name, func(*world) Event { return ev }} }

// rows are the events of all kinds, each by the person who may ask for it.
func rows() []row {
	out := boxRows()
	for _, f := range facts {
		out = append(out, is("Say/"+f.name, Say{f.fact, ranger}))
	}
	later := func(name string, mono, wall time.Duration) row {
		return row{name, func(w *world) Event {
			w.at = Instant{w.at.Mono + mono, w.at.Wall + wall}
			return Tick{}
		}}
	}
	const beat = 50 * time.Millisecond
	return append(out,
		is("Start", Start{}), is("Start/late", Start{From: Run}),
		later("Tick", beat, beat), later("Tick/gap", 6*beat, 6*beat), later("Tick/set-back", beat, -5*time.Second), later("Tick/asleep", beat, 5*time.Second),
		is("FocusLost", FocusLost{}), is("Stalled", Stalled{"screen"}), is("Quit", Quit{"ctrl-c"}),
		is("Written/unasked", Written{9999}), is("RecordFailed", RecordFailed{"disk full"}),
		is("Answer/sign-on", Answer{Step: "crew/north", Words: "Nell", Means: MeansSaid}),
		is("Answer/wind", Answer{Step: "wind", Value: 2, Again: 2, Means: MeansTyped}),
		is("Answer/count", Answer{Step: "motors-used", Value: 2, Again: 2, Means: MeansTyped}),
		is("Withdraw", Withdraw{Step: "mass", Why: "weighed wrongly"}),
		is("Waive", Waive{Step: "daylight", Value: 20, Why: "short run, lamps ready", By: ranger}), is("BasisLeft", BasisLeft{"wind"}),
		is("SignOn", SignOn{Name: "Juno Falk", Role: checklist.HookUpPerson}),
		is("OpenLine", OpenLine{By: ranger, Names: names(forward), Key: forward}),
		row{"CloseLine", func(w *world) Event {
			if w.s.Line == LineUnknown {
				return CloseLine{By: ranger, Count: w.s.Crew.people()}
			}
			return CloseLine{By: ranger, Count: len(w.s.ForwardNames())}
		}},
		is("StartProof", StartProof{}), is("ArmEntry", ArmEntry{By: firing}), is("Code", Code{Matched: true}), is("Code/wrong", Code{}),
		is("StartCount", StartCount{By: firing}), is("HoldCall", HoldCall{}), is("HoldBy", HoldBy{"Nora"}), is("Resume", Resume{By: ranger}),
		is("Scrub", Scrub{By: ranger, Why: "enough"}), is("Observe", Observe{Motor: 1, Fate: FateSaidLit, By: "Nora"}),
		is("GoForward", GoForward{By: ranger, Person: forward}), is("Inspect", Inspect{Motor: 1, Found: "burned out", By: forward}),
		is("Result", Result{RestM: 130, HasRest: true}), is("AllClear", AllClear{By: ranger}))
}

// boxRows are what comes from the ground box.
func boxRows() []row {
	reading := func(name string, move func(b *Box)) row {
		return row{"BoxReading" + name, func(w *world) Event {
			move(&w.box)
			return w.reading()
		}}
	}
	both := func(b *Box, c Contact) { b.Pole1, b.Pole2 = c, c }
	out := []row{
		is("BoxUp", BoxUp{Identity: "box", Practice: true, Channels: 2}), is("BoxUp/another", BoxUp{Practice: true, Channels: 2, NewBox: true}),
		is("BoxUp/real", BoxUp{Channels: 2}), is("BoxUp/small", BoxUp{Practice: true, Channels: 1}),
		is("BoxLost", BoxLost{"cable"}), is("PermitStuck", PermitStuck{}),
		reading("", func(*Box) {}),
		reading("/key-in", func(b *Box) { b.Key = ContactClosed }), reading("/key-out", func(b *Box) { b.Key = ContactOpen }),
		reading("/pressed", func(b *Box) { both(b, ContactClosed); b.Presses++ }), reading("/let-go", func(b *Box) { both(b, ContactOpen) }),
		reading("/one-pole", func(b *Box) { both(b, ContactOpen); b.Pole2 = ContactClosed }),
		reading("/battery", func(b *Box) { b.Battery.Millivolt = 12400 }), reading("/no-battery", func(b *Box) { b.Battery.Millivolt = 0 }),
		reading("/pulse", func(b *Box) { b.Pulses++ }), reading("/count-lost", func(b *Box) { b.Pulses = -1 }),
	}
	for _, b := range bits {
		out = append(out, is("BoxEvents/"+b.name, BoxEvents{b.bit}))
	}
	return out
}

// cell says what an event has done, in the signs of the tables.
func cell(before, after *State, fx []Effect, full time.Duration, err error) string {
	text := ""
	if _, off := firstEffect(fx).(PermitOff); off {
		text = "-"
	}
	if has[PermitOn](fx) {
		text += "+"
	}
	switch {
	case after.Phase != before.Phase:
		text += after.Phase.String()
	case err != nil:
		text += "no"
	default:
		text += "="
	}
	if after.Line != before.Line {
		text += map[Line]string{LineOpen: "o", LineClosed: "c", LineUnknown: "?"}[after.Line]
	}
	if before.Phase == Wait && after.Phase == Wait && before.WaitLeft < full && after.WaitLeft == full {
		text += "w"
	}
	return text
}

// built keeps each mode's situations by name.
var built = map[Mode]map[string]*world{}

// in returns a copy of a firing in the named situation.
func in(t rapid.TB, mode Mode, name string) *world {
	t.Helper()
	if built[mode] == nil {
		built[mode] = map[string]*world{"": newWorld(t, mode)}
	}
	if built[mode][name] == nil {
		i := slices.IndexFunc(situations, func(s situation) bool { return s.name == name })
		w := in(t, mode, situations[i].from)
		situations[i].make(w)
		w.phase(situations[i].phase)
		built[mode][name] = w
	}
	w := *built[mode][name]
	plan := *w.p // a test may change its own
	plan.Steps = slices.Clone(plan.Steps)
	w.p = &plan
	w.t, w.fx, w.all = t, nil, nil
	return &w
}

// try steps each row's event in each situation, and returns the cells by row.
func try(t *testing.T, mode Mode, rows []row) (columns []string, cells map[string][]string) {
	t.Helper()
	cells = map[string][]string{}
	for _, sit := range situations {
		if sit.phase == Proof && mode != ModeBox {
			continue // without a box the contacts are proved by typed readings
		}
		columns = append(columns, sit.name)
		for _, r := range rows {
			w := in(t, mode, sit.name)
			ev := r.make(w)
			before := w.s
			err := w.do(ev)
			cells[r.name] = append(cells[r.name], cell(&before, &w.s, w.all, w.p.Times.Wait, err))
		}
	}
	return columns, cells
}

// The tables. Columns are situations, rows are events. Of an event "no" is a
// refusal and "=" leaves the phase as it is; else the next phase stands there.
// A "-" says that the permit is opened before anything else, a "+" that it is
// given, which no event but time does. Behind it "o", "c" and "?" say that the
// line became OPEN, CLOSED or UNKNOWN, "w" that a wait stands at its full
// length again.
const withBox = `

                       SETUP     shunted   forward   PROOF   READY     entry     ARMED COUNT WINDOW RUN   WAIT over      MAKESAFE done   CLOSED HOLD  keyout
BoxUp                  =         =         =         -SETUP  =         =         -HOLD -HOLD -WAIT  -WAIT =    =w        -WAIT?   -WAIT  =      =     =
BoxUp/another          =         =         -WAIT?    -SETUP  -WAIT     -WAIT     -WAIT -WAIT -WAIT  -WAIT =    =w        -WAIT?   -WAIT  =      -WAIT -WAIT
BoxUp/real             =         =         =?        -SETUP  -HOLD     -HOLD     -HOLD -HOLD -WAIT  -WAIT =    =w        -WAIT?   -WAIT  =      =     =
BoxUp/small            =         =         =?        -SETUP  -HOLD     -HOLD     -HOLD -HOLD -WAIT  -WAIT =    =w        -WAIT?   -WAIT  =      =     =
BoxLost                =         =         =?        -SETUP  -HOLD     -HOLD     -HOLD -HOLD -WAIT  -WAIT =    =w        -WAIT?   -WAIT  =      =     =
PermitStuck            =         =         =?        -SETUP  -HOLD     -HOLD     -HOLD -HOLD -WAIT  -WAIT =    =w        -WAIT?   -WAIT  =      =     =
BoxReading             =         =         =         =       =         =         =     =     =      =     =    =         =        =      =      =     =
BoxReading/key-in      =         =         =?        -SETUP  -HOLD     -HOLD     =     =     =      =     =    =w        -WAIT?   -WAIT  =      =     =
BoxReading/key-out     =         =         =         =       =         =         -HOLD -HOLD -WAIT  -WAIT =    =         =        =      =      =     =
BoxReading/pressed     =         =         =?        -SETUP  -HOLD     -HOLD     -HOLD -HOLD RUN    =     =    =w        -WAIT?   -WAIT  =      =     =
BoxReading/let-go      =         =         =         =       =         =         =     =     =      -WAIT =    =         =        =      =      =     =
BoxReading/one-pole    =         =         =?        -SETUP  -HOLD     -HOLD     -HOLD -HOLD RUN    =     =    =w        -WAIT?   -WAIT  =      =     =
BoxReading/battery     =         =         =?        =       =         =         =     =     =      =     =    =         =?       =      =      =     =
BoxReading/no-battery  =         =         =         =       SETUP     SETUP     -HOLD -HOLD -WAIT  =     =    =         =        =      =      =     =
BoxReading/pulse       =         =         -WAIT?    =       -WAIT     -WAIT     -WAIT -WAIT RUN    =     =    =w        -WAIT?   -WAIT  =      -WAIT -WAIT
BoxReading/count-lost  =         =         -WAIT?    -SETUP  -WAIT     -WAIT     -WAIT -WAIT -WAIT  -WAIT =    =w        -WAIT?   -WAIT  =      -WAIT -WAIT
BoxEvents/Watchdog     =         =         =?        -SETUP  -HOLD     -HOLD     -HOLD -HOLD -WAIT  -WAIT =    =w        -WAIT?   -WAIT  =      =     =
BoxEvents/ButtonEarly  =         =         =?        =       -HOLD     -HOLD     -HOLD -HOLD -WAIT  -WAIT =    =w        -WAIT?   -WAIT  =      =     =
BoxEvents/KeyPulled    =         =         =         -SETUP  -HOLD     -HOLD     -HOLD -HOLD -WAIT  -WAIT =    =w        -WAIT?   -WAIT  =      =     =
BoxEvents/Restarted    =         =         =?        -SETUP  -HOLD     -HOLD     -HOLD -HOLD -WAIT  -WAIT =    =w        -WAIT?   -WAIT  =      =     =
BoxEvents/Welded       =         =         =?        -SETUP  -HOLD     -HOLD     -HOLD -HOLD -WAIT  -WAIT =    =w        -WAIT?   -WAIT  =      =     =
BoxEvents/OwnerChanged =         =         =?        -SETUP  -HOLD     -HOLD     -HOLD -HOLD -WAIT  -WAIT =    =w        -WAIT?   -WAIT  =      =     =
BoxEvents/Errors       =         =         =         -SETUP  -HOLD     -HOLD     -HOLD -HOLD -WAIT  -WAIT =    =w        -WAIT?   -WAIT  =      =     =
BoxEvents/PermitLimit  =         =         =?        -SETUP  -HOLD     -HOLD     -HOLD -HOLD -WAIT  -WAIT =    =w        -WAIT?   -WAIT  =      =     =
BoxEvents/KeyOut       =         =         =         =       =         =         -HOLD -HOLD -WAIT  -WAIT =    =         =        =      =      =     =
Say/FactNone           no        no        no        no      no        no        no    no    no     no    no   no        no       no     no     no    no
Say/FactKeyOut         no        no        no        no      no        no        no    no    no     no    no   no        no       no     no     no    no
Say/FactKeyIn          no        no        no        no      no        no        no    no    no     no    no   no        no       no     no     no    no
Say/FactBatteryOff     no        no        no        no      no        no        no    no    no     no    no   no        no       no     no     no    no
Say/FactBusDead        no        no        no        no      no        no        no    no    no     no    no   no        no       no     no     no    no
Say/FactPressed        no        no        no        no      no        no        no    no    no     no    no   no        no       no     no     no    no
Say/FactReleased       no        no        no        no      no        no        no    no    no     no    no   no        no       no     no     no    no
Say/FactAtRest         no        no        no        no      no        no        no    no    no     no    =    =         no       no     no     no    no
Say/FactMovement       no        no        no        no      no        no        no    no    no     no    =    =w        -WAIT?   -WAIT? no     no    no
Say/FactShunted        no        no        no        no      no        no        no    no    no     no    no   no        =        =      no     no    no
Say/FactFireWatched    no        no        no        no      no        no        no    no    no     no    no   no        =        =      no     no    no
Start                  no        no        no        no      no        no        no    no    no     no    no   no        no       no     no     no    no
Start/late             no        no        no        no      no        no        no    no    no     no    no   no        no       no     no     no    no
Tick                   =         =         =         =       =         =         =     =     =      =     =    =         =        =      =      =     =
Tick/gap               =         =         =         =       =         =         -HOLD -HOLD -WAIT  -WAIT =    =         =        =      =      =     =
Tick/set-back          =         =         =         -SETUP  -HOLD     -HOLD     -HOLD -HOLD -WAIT  -WAIT =    =w        -WAIT?   -WAIT  =      =     =
Tick/asleep            =         =         =?        -SETUP  -HOLD     -HOLD     -HOLD -HOLD -WAIT  -WAIT =    =w        -WAIT?   -WAIT  =      =     =
FocusLost              =         =         =         =       =         =         -HOLD -HOLD -WAIT  -WAIT =    =         =        =      =      =     =
Stalled                =         =         =         -SETUP  -HOLD     -HOLD     -HOLD -HOLD -WAIT  -WAIT =    =w        -WAIT?   -WAIT  =      =     =
Quit                   =         =         =         -SETUP  -HOLD     -HOLD     -HOLD -HOLD -WAIT  -WAIT =    =w        -WAIT?   -WAIT  =      =     =
Written/unasked        no        no        no        no      no        no        no    no    no     no    no   no        no       no     no     no    no
RecordFailed           =         =         =         -SETUP  -HOLD     -HOLD     -HOLD -HOLD -WAIT  -WAIT =    =w        -WAIT?   -WAIT  =      =     =
Answer/sign-on         =         =         =         no      =         =         no    no    no     no    no   no        no       no     no     no    no
Answer/wind            =         =         =         no      =         =         no    no    no     no    no   no        no       no     no     no    no
Answer/count           no        no        no        no      no        no        no    no    no     no    no   no        =        =      no     no    no
Withdraw               =         =         =         =       SETUP     SETUP     -HOLD -HOLD no     no    no   no        no       no     no     =     =
Waive                  =         =         =         no      no        no        no    no    no     no    no   no        no       no     no     no    no
BasisLeft              =         =         =         =       SETUP     SETUP     -HOLD -HOLD -WAIT  =     =    =         =        =      =      =     =
SignOn                 =         =         =         =       =         =         no    no    no     no    =    =         =         =      no     =     =
OpenLine               no        =o        no        no      no        no        no    no    no     no    no   no        no       no     no     no    no
CloseLine              no        no        =c        no      no        no        no    no    no     no    no   no        =c       no     no     no    no
StartProof             PROOF     PROOF     no        no      no        no        no    no    no     no    no   no        no       no     no     no    no
ArmEntry               no        no        no        no      =         no        no    no    no     no    no   no        no       no     no     no    no
Code                   no        no        no        no      no        ARMED     no    no    no     no    no   no        no       no     no     no    no
Code/wrong             no        no        no        no      no        =         no    no    no     no    no   no        no       no     no     no    no
StartCount             no        no        no        no      no        no        COUNT no    no     no    no   no        no       no     no     no    no
HoldCall               =?        =?        =?        -SETUP? -HOLD     -HOLD     -HOLD -HOLD -WAIT  -WAIT =?   =?w       -WAIT?   -WAIT? =      =     =
HoldBy                 no        no        no        no      no        no        no    no    no     no    =    =         no       no     no     =     =
Resume                 no        no        no        no      no        no        no    no    no     no    no   no        no       no     no     no    SETUP
Scrub                  -MAKESAFE -MAKESAFE -MAKESAFE no      -MAKESAFE -MAKESAFE -HOLD -HOLD -WAIT  -WAIT no   no        no       no     no     =     -MAKESAFE
Observe                no        no        no        no      no        no        no    no    no     =     =    =         no       no     no     no    no
GoForward              no        no        no        no      no        no        no    no    no     no    no   MAKESAFEo no       =o     no     no    no
Inspect                no        no        no        no      no        no        no    no    no     no    no   no        =        no     no     no    no
Result                 no        no        no        no      no        no        no    no    no     no    =    =         =        =      no     no    no
AllClear               no        no        no        no      no        no        no    no    no     no    no   no        no       CLOSED no     no    no
`

// Without a box whatever a box would say is refused everywhere.
const withoutBox = `

                       SETUP shunted   forward   READY     entry     ARMED COUNT WINDOW RUN   WAIT over      MAKESAFE done   CLOSED HOLD  keyout
Say/FactNone           no    no        no        no        no        no    no    no     no    no   no        no       no     no     no    no
Say/FactKeyOut         =     =         =         =         =         -HOLD -HOLD -WAIT  -WAIT =    =         =        =      =      =     =
Say/FactKeyIn          =     =         =?        -HOLD     -HOLD     =     =     =      =     =    =w        -WAIT?   -WAIT  =      =     =
Say/FactBatteryOff     =     =         =         SETUP     SETUP     -HOLD -HOLD -WAIT  =     =    =         =        =      =      =     =
Say/FactBusDead        =     =         =         =         =         =     =     =      =     =    =         =        =      =      =     =
Say/FactPressed        =     =         -WAIT?    -WAIT     -WAIT     -WAIT -WAIT RUN    =     -=   -=w       -WAIT?   -WAIT  =      -WAIT -WAIT
Say/FactReleased       =     =         =         =         =         =     =     =      -WAIT =    =         =        =      =      =     =
Say/FactAtRest         no    no        no        no        no        no    no    no     no    =    =         no       no     no     no    no
Say/FactMovement       no    no        no        no        no        no    no    no     no    =    =w        -WAIT?   -WAIT? no     no    no
Say/FactShunted        no    no        no        no        no        no    no    no     no    no   no        =        =      no     no    no
Say/FactFireWatched    no    no        no        no        no        no    no    no     no    no   no        =        =      no     no    no
Start                  no    no        no        no        no        no    no    no     no    no   no        no       no     no     no    no
Start/late             no    no        no        no        no        no    no    no     no    no   no        no       no     no     no    no
Tick                   =     =         =         =         =         =     =     =      =     =    =         =        =      =      =     =
Tick/gap               =     =         =         =         =         -HOLD -HOLD -WAIT  -WAIT =    =         =        =      =      =     =
Tick/set-back          =     =         =         -HOLD     -HOLD     -HOLD -HOLD -WAIT  -WAIT =    =w        -WAIT?   -WAIT  =      =     =
Tick/asleep            =     =         =         -HOLD     -HOLD     -HOLD -HOLD -WAIT  -WAIT =    =w        -WAIT?   -WAIT  =      =     =
FocusLost              =     =         =         =         =         -HOLD -HOLD -WAIT  -WAIT =    =         =        =      =      =     =
Stalled                =     =         =         -HOLD     -HOLD     -HOLD -HOLD -WAIT  -WAIT =    =w        -WAIT?   -WAIT  =      =     =
Quit                   =     =         =         -HOLD     -HOLD     -HOLD -HOLD -WAIT  -WAIT =    =w        -WAIT?   -WAIT  =      =     =
Written/unasked        no    no        no        no        no        no    no    no     no    no   no        no       no     no     no    no
RecordFailed           =     =         =         -HOLD     -HOLD     -HOLD -HOLD -WAIT  -WAIT =    =w        -WAIT?   -WAIT  =      =     =
Answer/sign-on         =     =         =         =         =         no    no    no     no    no   no        no       no     no     no    no
Answer/wind            =     =         =         =         =         no    no    no     no    no   no        no       no     no     no    no
Answer/count           no    no        no        no        no        no    no    no     no    no   no        =        =      no     no    no
Withdraw               =     =         =         SETUP     SETUP     -HOLD -HOLD no     no    no   no        no       no     no     =     =
Waive                  =     =         =         no        no        no    no    no     no    no   no        no       no     no     no    no
BasisLeft              =     =         =         SETUP     SETUP     -HOLD -HOLD -WAIT  =     =    =         =        =      =      =     =
SignOn                 =     =         =         =         =         no    no    no     no    =    =         =         =      no     =     =
OpenLine               no    =o        no        no        no        no    no    no     no    no   no        no       no     no     no    no
CloseLine              no    no        =c        no        no        no    no    no     no    no   no        =c       no     no     no    no
StartProof             no    no        no        no        no        no    no    no     no    no   no        no       no     no     no    no
ArmEntry               no    no        no        =         no        no    no    no     no    no   no        no       no     no     no    no
Code                   no    no        no        no        ARMED     no    no    no     no    no   no        no       no     no     no    no
Code/wrong             no    no        no        no        =         no    no    no     no    no   no        no       no     no     no    no
StartCount             no    no        no        no        no        COUNT no    no     no    no   no        no       no     no     no    no
HoldCall               =?    =?        =?        -HOLD     -HOLD     -HOLD -HOLD -WAIT  -WAIT =?   =?w       -WAIT?   -WAIT? =      =     =
HoldBy                 no    no        no        no        no        no    no    no     no    =    =         no       no     no     =     =
Resume                 no    no        no        no        no        no    no    no     no    no   no        no       no     no     no    READY
Scrub                  no    -MAKESAFE -MAKESAFE -MAKESAFE -MAKESAFE -HOLD -HOLD -WAIT  -WAIT no   no        no       no     no     =     -MAKESAFE
Observe                no    no        no        no        no        no    no    no     =     =    =         no       no     no     no    no
GoForward              no    no        no        no        no        no    no    no     no    no   MAKESAFEo no       =o     no     no    no
Inspect                no    no        no        no        no        no    no    no     no    no   no        =        no     no     no    no
Result                 no    no        no        no        no        no    no    no     no    =    =         =        =      no     no    no
AllClear               no    no        no        no        no        no    no    no     no    no   no        no       CLOSED no     no    no
`

// parseTable reads a table: its columns, and the cells of each row.
func parseTable(t *testing.T, text string) (columns []string, cells map[string][]string) {
	t.Helper()
	cells = map[string][]string{}
	for i, line := range strings.Split(strings.TrimSpace(text), "\n") {
		fields := strings.Fields(line)
		if i == 0 {
			columns = fields
			continue
		}
		if len(fields) != len(columns)+1 || cells[fields[0]] != nil {
			t.Fatalf("row %q: %d cells of %d, or a second time", fields[0], len(fields)-1, len(columns))
		}
		cells[fields[0]] = fields[1:]
	}
	return columns, cells
}

func TestEveryEventInEveryPhase(t *testing.T) {
	for mode := ModeBox; mode <= ModeTyped && !t.Failed(); mode++ {
		text := withoutBox
		if mode == ModeBox {
			text = withBox
		}
		rows := rows()
		if mode != ModeBox {
			rows = rows[len(boxRows()):]
		}
		columns, want := parseTable(t, text)
		did, got := try(t, mode, rows)
		if !slices.Equal(did, columns) {
			t.Fatalf("mode %v: situations %q, the table has %q", mode, did, columns)
		}
		for name := range want {
			if got[name] == nil {
				t.Errorf("mode %v: no event for row %s", mode, name)
			}
		}
		for _, r := range rows {
			if want[r.name] == nil {
				t.Errorf("mode %v: no row for %s", mode, r.name)
				continue
			}
			for i, cell := range got[r.name] {
				if cell != want[r.name][i] {
					t.Errorf("mode %v: %s in %s: %s, want %s", mode, r.name, columns[i], cell, want[r.name][i])
				}
			}
		}
	}
}

func TestBoxEventsAreRefusedWithoutABox(t *testing.T) {
	for _, mode := range []Mode{ModeMeter, ModeTyped} {
		columns, got := try(t, mode, boxRows())
		for _, r := range boxRows() {
			for i, cell := range got[r.name] {
				if cell != "no" {
					t.Errorf("mode %v: %s in %s: %s, want a refusal", mode, r.name, columns[i], cell)
				}
			}
		}
	}
}

// A phase without a column, and a kind of event, a fact or an event bit
// without a row, is a hole in the tables.
func TestTablesHaveEveryPhaseAndEvent(t *testing.T) {
	for p := Setup; p < phaseEnd; p++ {
		if !slices.ContainsFunc(situations, func(s situation) bool { return s.phase == p }) {
			t.Errorf("%v has no column", p)
		}
	}
	names := map[string]bool{}
	for _, r := range rows() {
		kind, variant, _ := strings.Cut(r.name, "/")
		names[kind], names[variant] = true, true
	}
	found := 0
	for _, name := range eventNames(t) {
		found++
		if !names[name] {
			t.Errorf("%s has no row", name)
		}
	}
	if want := 32 + 11; found < want {
		t.Errorf("event.go has %d kinds and facts, want %d at least", found, want)
	}
	var all wire.Event
	for _, b := range bits {
		all |= b.bit
	}
	if all != wire.EventsKnown {
		t.Errorf("rows for the event bits %d, want %d", all, wire.EventsKnown)
	}
}

// eventNames reads the kinds of events and of facts off their source, which is
// the only list that cannot be forgotten.
func eventNames(t *testing.T) []string {
	t.Helper()
	file, err := parser.ParseFile(token.NewFileSet(), "event.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	ast.Inspect(file, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.FuncDecl:
			if n.Name.Name == "event" && n.Recv != nil {
				out = append(out, n.Recv.List[0].Type.(*ast.Ident).Name)
			}
		case *ast.ValueSpec:
			for _, id := range n.Names {
				if strings.HasPrefix(id.Name, "Fact") {
					out = append(out, id.Name)
				}
			}
		}
		return true
	})
	return out
}

// An order by anyone but the one whose order it is, is refused everywhere.
//
func TestOrdersByOthersAreRefused(t *testing.T) {
	var orders []row
	for _, by := range []string{"", "Nora", forward, firing, ranger} {
		add := func(right string, ev Event) {
			if by != right {
				orders = append(orders, is(fmt.Sprintf("%T by %q", ev, by), ev))
			}
		}
		add(ranger, OpenLine{By: by, Names: [checklist.MaxPosts]string{forward}, Key: forward})
		for n := range 7 { // whatever is counted
			add(ranger, CloseLine{By: by, Count: n})
		}
		add(firing, ArmEntry{By: by})
		add(firing, StartCount{By: by})
		add(ranger, Resume{By: by})
		add(ranger, GoForward{By: by, Person: forward})
		add(forward, Inspect{Motor: 1, Found: "burned out", By: by})
		add(ranger, AllClear{By: by})
		add(ranger, Waive{Step: "daylight", Value: 20, Why: "short run, lamps ready", By: by})
		if by != firing {
			add(ranger, Scrub{By: by, Why: "enough"})
		}
	}
	for _, mode := range []Mode{ModeBox, ModeTyped} {
		columns, got := try(t, mode, orders)
		for _, r := range orders {
			for i, cell := range got[r.name] {
				if cell != "no" {
					t.Errorf("mode %v: %s in %s: %s, want a refusal", mode, r.name, columns[i%len(columns)], cell)
				}
			}
		}
	}
}
