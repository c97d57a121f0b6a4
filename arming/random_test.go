package arming

import (
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"

	"holdline/checklist"
)

// Random firings: a good crew, and at a rate drawn for each firing every kind
// of trouble: hands where none may be, orders at the wrong time and by the
// wrong people, doubts of box, disk and program, clocks that jump, one hardware
// fault, and the end of the program. Each edge is judged by the invariants,
// and the world around against the three losses (site.settle, site.waited).

// trouble is one thing that goes otherwise than a good crew would have it.
type trouble struct {
	name string
	do   func(t *rapid.T, y *site)
}

func event(name string, ev Event) trouble {
	return trouble{name, func(_ *rapid.T, y *site) { _ = y.do(ev) }}
}

var people = rapid.SampledFrom([]string{ranger, firing, forward, "Nora", ""})

// clocks lets time pass on both clocks without a tick between.
func clocks(name string, mono, wall time.Duration) trouble {
	return trouble{name, func(_ *rapid.T, y *site) { y.pass(mono, wall) }}
}

var troubles = slicesOf(handTroubles, orderTroubles, doubtTroubles)

func slicesOf(parts ...[]trouble) (all []trouble) {
	for _, p := range parts {
		all = append(all, p...)
	}
	return all
}

var handTroubles = []trouble{
	{"key", func(_ *rapid.T, y *site) { y.turnKey(!y.key) }},
	{"key in and out", func(_ *rapid.T, y *site) { y.turnKey(!y.key); y.turnKey(!y.key) }},
	{"button", func(_ *rapid.T, y *site) { y.press(!y.hand) }},
	{"tap", func(_ *rapid.T, y *site) { y.press(!y.hand); y.press(!y.hand) }},
	{"battery", func(_ *rapid.T, y *site) { y.join(!y.battery) }},
	{"a person comes back", func(_ *rapid.T, y *site) { y.person = false }},
	{"an igniter goes open", func(_ *rapid.T, y *site) {
		if y.igniter[0].Kind == OhmValue {
			y.igniter[0].Kind = OhmOpen
		}
	}},
	{"fault", func(t *rapid.T, y *site) {
		y.fail(siteFault(rapid.IntRange(int(weldedPermit), int(siteFaults)-1).Draw(t, "fault")))
	}},
}

// Orders and words, by whoever: at most times somebody else's, or not now.
var orderTroubles = []trouble{
	{"open", func(t *rapid.T, y *site) {
		y.open(OpenLine{By: people.Draw(t, "by"), Names: [checklist.MaxPosts]string{forward}, Key: forward})
	}},
	{"close", func(t *rapid.T, y *site) {
		ev := y.count()
		ev.By = people.Draw(t, "by")
		_ = y.do(ev)
	}},
	{"close on a wrong count", func(_ *rapid.T, y *site) {
		ev := y.count()
		ev.Count--
		_ = y.do(ev)
	}},
	{"go", func(t *rapid.T, y *site) { y.open(GoForward{By: people.Draw(t, "by"), Person: forward}) }},
	{"entry", func(t *rapid.T, y *site) { _ = y.do(ArmEntry{By: people.Draw(t, "by")}) }},
	{"start", func(t *rapid.T, y *site) { _ = y.do(StartCount{By: people.Draw(t, "by")}) }},
	{"resume", func(t *rapid.T, y *site) { _ = y.do(Resume{By: people.Draw(t, "by")}) }},
	{"scrub", func(t *rapid.T, y *site) { _ = y.do(Scrub{By: people.Draw(t, "by"), Why: "enough"}) }},
	{"all clear", func(t *rapid.T, y *site) { _ = y.do(AllClear{By: people.Draw(t, "by")}) }},
	{"inspect", func(t *rapid.T, y *site) {
		if y.person {
			_ = y.do(Inspect{Motor: 1, Found: "burned out", By: people.Draw(t, "by")})
		}
	}},
	{"say", func(t *rapid.T, y *site) {
		f := Fact(rapid.IntRange(int(FactNone), int(FactFireWatched)).Draw(t, "fact"))
		if y.p.Mode == ModeBox || f >= FactAtRest || f == FactNone { // what hands do is said by those who do it
			_ = y.do(Say{f, people.Draw(t, "by")})
		}
	}},
	{"answer", func(t *rapid.T, y *site) {
		if i := rapid.IntRange(0, len(y.p.Steps)-1).Draw(t, "step"); y.p.Steps[i].ID != StepHookUp && y.p.Steps[i].Kind != checklist.KindLine {
			_ = y.do(goodAnswer(&y.s, y.p, i))
		}
	}},
	{"answer out of band", func(t *rapid.T, y *site) {
		st := &y.p.Steps[rapid.IntRange(0, len(y.p.Steps)-1).Draw(t, "step")]
		_ = y.do(Answer{Step: st.ID, Value: 1e6, Again: 1e6, Means: MeansTyped})
	}},
	{"withdraw", func(t *rapid.T, y *site) {
		_ = y.do(Withdraw{Step: y.p.Steps[rapid.IntRange(0, len(y.p.Steps)-1).Draw(t, "step")].ID, Why: "taken back"})
	}},
	event("waive", Waive{Step: "daylight", Value: 20, Why: "short run, lamps ready", By: ranger}),
	event("proof", StartProof{}), event("code", Code{Matched: true}), event("wrong code", Code{}),
	event("hold", HoldCall{}), event("hold by", HoldBy{"Nora"}), event("basis", BasisLeft{"wind left its range"}),
	event("dark", Observe{Motor: 1, Fate: FateMisfire, By: "Nora"}), event("lit", Observe{Fate: FateSaidLit, By: "Nora"}),
	event("inspected from afar", Observe{Motor: 1, Fate: FateInspected, By: "Nora"}), event("result", Result{RestM: 130, HasRest: true}),
}

var doubtTroubles = []trouble{
	event("stuck", PermitStuck{}), event("focus", FocusLost{}), event("stalled", Stalled{"screen"}), event("disk full", RecordFailed{"disk full"}),
	event("quit", Quit{"ctrl-c"}), event("unasked line", Written{9999}), event("old line", Written{1}), event("second start", Start{From: Run}),
	event("wrong box", BoxUp{Practice: false, Channels: 2}), event("small box", BoxUp{Practice: true, Channels: 1}),
	event("another box", BoxUp{Practice: true, Channels: 2, NewBox: true}), event("box again", BoxUp{Practice: true, Channels: 2}),
	{"bits", func(t *rapid.T, y *site) { _ = y.do(BoxEvents{1 << rapid.IntRange(0, 8).Draw(t, "bit")}) }},
	{"cable out", func(_ *rapid.T, y *site) { y.cut = true }},
	{"box lost", func(_ *rapid.T, y *site) { y.cut, y.joined = true, false; _ = y.do(BoxLost{"no answer"}) }},
	{"no look", func(_ *rapid.T, y *site) {
		y.at.Mono += 50 * time.Millisecond
		y.at.Wall += 50 * time.Millisecond
		_ = y.do(Tick{})
	}},
	{"counts lost", func(_ *rapid.T, y *site) { y.noCount = true }},
	{"slow disk", func(_ *rapid.T, y *site) { y.slowDisk = true }},
	{"the program ends", func(_ *rapid.T, y *site) { y.restart() }},
	{"no word in a pause", func(_ *rapid.T, y *site) {
		for y.s.Phase == Count && y.s.Paused {
			y.pass(200*time.Millisecond, 200*time.Millisecond)
		}
	}},
	clocks("gap", 400*time.Millisecond, 400*time.Millisecond), clocks("long gap", 1200*time.Millisecond, 1200*time.Millisecond),
	clocks("asleep", 50*time.Millisecond, 20*time.Minute), clocks("night", 13*time.Hour, 13*time.Hour),
	clocks("set forth", 50*time.Millisecond, 5*time.Second), clocks("set back", 50*time.Millisecond, -5*time.Second),
}

// begun keeps firings that a good crew has brought to a phase, by mode.
var begun struct {
	sync.Mutex
	at map[Mode]map[Phase]*site
}

// siteAt returns a firing that stands in the phase.
func siteAt(t rapid.TB, mode Mode, phase Phase) *site {
	begun.Lock()
	defer begun.Unlock()
	if begun.at == nil {
		begun.at = map[Mode]map[Phase]*site{}
	}
	if begun.at[mode] == nil {
		kept := map[Phase]*site{}
		y := newSite(t, mode, 10)
		keep := func() {
			if kept[y.s.Phase] == nil {
				now := *y
				kept[y.s.Phase] = &now
			}
		}
		for n := 0; kept[Closed] == nil; n++ {
			if n > 1000 {
				t.Fatalf("a good crew does not come on: %v", y)
			}
			y.pass(200*time.Millisecond, 200*time.Millisecond)
			keep()
			y.crewActs()
			keep()
		}
		begun.at[mode] = kept
	}
	if begun.at[mode][phase] == nil {
		phase = Setup
	}
	y := *begun.at[mode][phase]
	y.lines = nil
	return &y
}

// randomFiring draws one firing of so many beats.
func randomFiring(t *rapid.T, seen *visits, beats int) {
	mode := rapid.SampledFrom([]Mode{ModeBox, ModeBox, ModeBox, ModeBox, ModeTyped, ModeMeter}).Draw(t, "mode")
	from := rapid.SampledFrom([]Phase{Setup, Ready, Armed, Count, Window, Run, Wait, MakeSafe}).Draw(t, "from")
	rate := rapid.SampledFrom([]int{0, 5, 15, 40, 80}).Draw(t, "trouble in 100 beats")
	y := siteAt(t, mode, from)
	y.t, y.seen = t, seen
	for range beats {
		if rate > 0 && rapid.IntRange(1, 100).Draw(t, "luck") > 100-rate { // a failure shrinks to little trouble
			rapid.SampledFrom(troubles).Draw(t, "trouble").do(t, y)
			continue
		}
		y.pass(200*time.Millisecond, 200*time.Millisecond)
		y.crewActs()
		checkStands(t, y.p, &y.s)
	}
}

// GoString is how a failure prints it.
func (t trouble) GoString() string { return t.name }

// TestRandomFirings drives some ten thousand events; the slow tests drive
// millions.
func TestRandomFirings(t *testing.T) {
	seen := newVisits()
	rapid.Check(t, func(t *rapid.T) { randomFiring(t, seen, 100) })
	for p, n := range seen.entered {
		if n == 0 && seen.events > 10000 {
			t.Errorf("%v was never entered in %d events", Phase(p), seen.events)
		}
	}
	if seen.paused == 0 && seen.events > 10000 {
		t.Errorf("no pause of the count in %d events", seen.events)
	}
}
