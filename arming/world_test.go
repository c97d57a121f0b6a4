package arming

import (
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"holdline/arming/groundbox/wire"
	"holdline/checklist"
)

// world is a firing as a test drives it: the plan, the state, both clocks, and
// a small box whose contacts move by hand.
type world struct {
	t       rapid.TB
	p       *Plan
	s       State
	at      Instant
	box     Box
	permit  bool // as the box has it
	lease   bool
	igniter bool
	fired   bool
	fx      []Effect // of the last step
	all     []Effect
}

func testPlan(mode Mode) *Plan {
	times := checklist.Bounds().Default
	p := &Plan{Mode: mode, Practice: true, Motors: 2, Posts: []string{"north", "south"}, Times: times, WaitSpeed: 1}
	p.Steps = checklist.Routine(checklist.Inputs{Boxed: mode == ModeBox, Motors: 2,
		Channels: []checklist.Band{{Low: 1, High: 2, Unit: "ohm"}, {Low: 1, High: 2, Unit: "ohm"}},
		Budget:   checklist.Band{Low: 12, High: 13, Unit: "V"}, Wind: checklist.Band{Low: -1, High: 5, Unit: "m/s"},
		Mass: checklist.Band{Low: 1.4, High: 1.5, Unit: "kg"}, Mark: "SB-3",
		Posts: []checklist.Post{{Name: "north"}, {Name: "south"}}, Times: times, MeterOhm: 0.02})
	return p
}

func newWorld(t rapid.TB, mode Mode) *world {
	t.Helper()
	w := &world{t: t, p: testPlan(mode)}
	if err := w.p.Validate(); err != nil {
		t.Fatal(err)
	}
	w.box = Box{Key: ContactOpen, Pole1: ContactOpen, Pole2: ContactOpen}
	w.must(Start{})
	if mode == ModeBox {
		w.must(BoxUp{Identity: "test box", Practice: true, Channels: 2})
		w.look()
	}
	return w
}

// do steps one event and does what its effects ask, as a shell would.
func (w *world) do(ev Event) error {
	w.t.Helper()
	s, fx, err := Step(w.p, w.s, w.at, ev)
	if broken := Check(w.p, w.s, ev, s, fx); broken != nil {
		w.t.Fatal(broken)
	}
	if err != nil {
		w.onlyTime(ev, s, fx)
	}
	w.s, w.fx = s, fx
	w.all = append(w.all, fx...)
	for _, f := range fx {
		switch f := f.(type) {
		case PermitOff:
			w.permit = false
		case PermitOn:
			w.permit = true
		case Lease:
			w.lease = f.On
		case Write:
			if e := w.do(Written(f)); e != nil {
				w.t.Fatalf("written %d: %v", f.Ticket, e)
			}
		}
	}
	return err
}

func (w *world) must(ev Event) {
	w.t.Helper()
	if err := w.do(ev); err != nil {
		w.t.Fatalf("%T %+v in %v: %v", ev, ev, w.s.Phase, err)
	}
}

func (w *world) refused(ev Event, text string) {
	w.t.Helper()
	before := w.s
	err := w.do(ev)
	if err == nil || !strings.Contains(err.Error(), text) {
		w.t.Fatalf("%T in %v: got %v, want a refusal with %q", ev, w.s.Phase, err, text)
	}
	if w.s.Phase != before.Phase {
		w.t.Fatalf("a refused %T moved %v to %v (I-35)", ev, before.Phase, w.s.Phase)
	}
}

func volt(v float64) Volt {
	l := LevelBetween
	switch {
	case v > 0.5:
		l = LevelLive
	case v < 0.1:
		l = LevelDead
	}
	return Volt{l, int32(v * 1000)}
}

// look lets the box answer a snapshot of how it stands.
func (w *world) look() {
	w.t.Helper()
	if err := w.do(w.reading()); err != nil && !w.s.BoxRefused {
		w.t.Fatal(err)
	}
}

// reading is the snapshot that the box would answer now.
func (w *world) reading() BoxReading {
	b := &w.box
	batt := float64(b.Battery.Millivolt) / 1000
	pass := func(v float64, closed bool) float64 {
		if closed {
			return v
		}
		return 0
	}
	key := pass(batt, b.Key == ContactClosed)
	permit := pass(key, w.permit)
	bus := pass(permit, b.Pole1 == ContactClosed)
	b.Battery, b.BehindKey, b.BehindPermit, b.Bus = volt(batt), volt(key), volt(permit), volt(bus)
	b.Permit = ContactOpen
	if w.permit {
		b.Permit = ContactClosed
	}
	if b.Bus.Level == LevelLive && !w.fired {
		b.Pulses++
		w.fired = true
	}
	if b.Bus.Level == LevelDead {
		w.fired = false
	}
	for k := 0; k < w.p.Motors; k++ {
		b.Channel[k] = Ohm{}
		if w.lease && b.Bus.Level == LevelDead {
			b.Channel[k] = Ohm{Kind: OhmOpen}
			if w.igniter {
				b.Channel[k] = Ohm{OhmValue, 1500}
			}
		}
	}
	if w.lease {
		b.Scan++
	}
	shown := *b
	if b.Key == ContactOpen && !w.lease {
		shown.Pole1 = ContactClosed // the box cannot tell it, and says so
	}
	return BoxReading{shown}
}

// pass lets time pass on both clocks, with ticks and snapshots at 20 Hz.
func (w *world) pass(d time.Duration) {
	step := 50 * time.Millisecond
	if d > 2*time.Minute {
		step = 200 * time.Millisecond // still inside the limit on gaps
	}
	for end := w.at.Mono + d; w.at.Mono < end; {
		w.tick(step)
	}
}

func (w *world) tick(d time.Duration) {
	w.at.Mono += d
	w.at.Wall += d
	w.must(Tick{})
	if w.p.Mode == ModeBox {
		w.look()
	}
}

func (w *world) phase(want Phase) {
	w.t.Helper()
	if w.s.Phase != want {
		var why []string
		for _, b := range w.s.Blockers(w.p) {
			why = append(why, b.Why)
		}
		w.t.Fatalf("phase %v, want %v; blockers %q; effects %v", w.s.Phase, want, why, tail(w.all))
	}
}

func tail(fx []Effect) string { return fmt.Sprintf("%+v", fx[max(0, len(fx)-6):]) }

func (w *world) key(in bool) {
	w.box.Key = ContactOpen
	if in {
		w.box.Key = ContactClosed
	}
	w.tick(50 * time.Millisecond)
}

func (w *world) battery(v float64) {
	w.box.Battery.Millivolt = int32(v * 1000)
	w.tick(50 * time.Millisecond)
}

func (w *world) button(down bool) {
	w.box.Pole1, w.box.Pole2 = ContactOpen, ContactOpen
	if down {
		w.box.Pole1, w.box.Pole2 = ContactClosed, ContactClosed
		w.box.Presses++
	}
	w.tick(50 * time.Millisecond)
}

func (w *world) words(step, words string) {
	w.t.Helper()
	w.must(Answer{Step: step, Words: words, Means: MeansSaid})
}
func (w *world) typed(step string, v float64) {
	w.t.Helper()
	w.must(Answer{Step: step, Value: v, Again: v, Means: MeansTyped})
}

const firing, ranger, forward = "Ines Halvorsen", "Tomas Ekwall", "Mika Rendell"

// crew signs on and answers everything up to the prediction.
func (w *world) crew() {
	w.t.Helper()
	w.words("crew/firing officer", firing)
	w.words("crew/range officer", ranger)
	w.words("crew/north", "Nora")
	w.words("crew/south", "Sven")
	w.words("briefing", "all four heard it")
	w.must(Answer{Step: "code", Value: 6, Means: MeansTyped})
	w.words("ground", "short grass, two buckets")
	w.typed("wind", 2)
	w.typed("daylight", 240)
	w.words("mark", "sb-3")
	w.typed("mass", 1.45)
	w.words("motors", "two of class C")
	w.typed("motors-brought", 4)
	w.words("igniters", "lot 7")
	w.typed("igniters-brought", 5)
	w.typed("igniter-lots", 1)
	w.typed("battery-rest", 9)
	w.words("running-gear", "four wheels turn, guide slides")
	w.words("stops", "brake bites, chute pulls free")
	w.must(Answer{Step: "prediction/firing officer", Value: 1, Means: MeansComputed})
	w.must(Answer{Step: "prediction", Value: 1, Means: MeansComputed})
	w.must(CloseLine{By: ranger, Count: 4})
}

// counts answers what is counted after the firing.
func (w *world) counts(motorsUsed, motorsLeft, ignitersUsed, ignitersLeft float64) {
	w.t.Helper()
	w.typed("motors-used", motorsUsed)
	w.typed("motors-left", motorsLeft)
	w.typed("igniters-used", ignitersUsed)
	w.typed("igniters-left", ignitersLeft)
}

func (w *world) proof() {
	w.t.Helper()
	if w.p.Mode != ModeBox {
		w.must(Say{FactKeyOut, firing})
		w.must(Say{FactBatteryOff, firing})
		w.must(Say{FactBusDead, firing})
		w.typed("contact-proof", 0)
		return
	}
	w.must(StartProof{})
	w.pass(200 * time.Millisecond)
	w.battery(12.4)
	w.key(true)
	w.pass(200 * time.Millisecond)
	if w.s.Proof != ProofWatchdog {
		w.t.Fatalf("proof stage %v, want the watchdog's", w.s.Proof)
	}
	w.permit = false // the watchdog trips
	w.must(BoxEvents{wire.EventWatchdog})
	w.pass(100 * time.Millisecond)
	w.key(false)
	w.phase(Setup)
	w.battery(0)
}

// hookUp goes from the dead check to the closed line.
func (w *world) hookUp() {
	w.t.Helper()
	w.shunt()
	w.openLine()
	w.hooked()
}

// hooked goes from the open line to the closed one.
func (w *world) hooked() {
	w.t.Helper()
	w.igniter = true
	w.words("hook-up", "one on left, two on right")
	w.must(CloseLine{By: ranger, Count: 1})
	w.words("key-held", ranger)
	w.words("shunt-off", "clip on its hook")
}

// names is a list of those who go forward.
func names(who ...string) (list [checklist.MaxPosts]string) {
	copy(list[:], who)
	return list
}

func (w *world) openLine() {
	w.t.Helper()
	w.must(OpenLine{By: ranger, Names: names(forward), Key: forward})
}

// shunt makes the dead check, puts the shunt on, and has the one who goes sign
// on.
func (w *world) shunt() {
	w.t.Helper()
	if w.p.Mode == ModeBox {
		w.must(Answer{Step: "dead-check", Means: MeansBox})
	} else {
		w.typed("dead-check", 0)
	}
	w.typed("stray-current", 0)
	w.words("shunt-on", "clip across both posts")
	w.must(SignOn{Name: forward, Role: checklist.HookUpPerson})
}

// gates goes from the closed line to READY.
func (w *world) gates() {
	w.t.Helper()
	w.words("range-clear", "nobody, gate shut")
	if w.p.Mode == ModeBox {
		w.pass(200 * time.Millisecond)
		w.must(Answer{Step: "continuity/1", Means: MeansBox})
		w.must(Answer{Step: "continuity/2", Means: MeansBox})
		w.battery(12.4)
		w.must(Answer{Step: "battery-joined", Means: MeansBox})
		w.must(Answer{Step: "battery-budget", Means: MeansBox})
	} else {
		w.typed("continuity/1", 1.5)
		w.typed("continuity/2", 1.5)
		w.words("meter-off", "in its case")
		w.typed("battery-joined", 12.4)
		w.typed("battery-budget", 12.4)
	}
	w.words("radios", "steering transmitter at the table")
	w.words("storm", "blue, no cloud")
	w.words("laptop", "80 %, charger out")
	for _, post := range w.p.Posts {
		i := w.p.index(StepSpotter(post))
		w.words(StepSpotter(post), w.s.CallWord(i)+", road empty")
	}
	w.phase(Ready)
}

func (w *world) arm() {
	w.t.Helper()
	w.must(ArmEntry{By: firing})
	w.armed()
}

// armed goes from the firing officer's entry to the key.
func (w *world) armed() {
	w.t.Helper()
	w.must(Code{Matched: true})
	w.phase(Armed)
	if w.p.Mode == ModeBox {
		w.key(true)
	} else {
		w.must(Say{FactKeyIn, ranger})
	}
}

// toWindow goes from the start to WINDOW. The way there is the same each time,
// so it is gone once.
func (w *world) toWindow() {
	w.t.Helper()
	if w.s != in(w.t, w.p.Mode, "").s || !reflect.DeepEqual(w.p, testPlan(w.p.Mode)) {
		w.t.Fatal("toWindow wants a firing just begun")
	}
	*w = *in(w.t, w.p.Mode, "WINDOW")
}

func TestWholeFiringByTheBox(t *testing.T) {
	w := newWorld(t, ModeBox)
	if why := w.s.NotSafe(w.p); len(why) > 0 {
		t.Fatalf("a fresh practice box is proved SAFE, got %v", why)
	}
	w.toWindow()
	if !w.s.PermitWanted || !w.permit {
		t.Fatal("the permit is given in WINDOW")
	}
	w.button(true)
	w.phase(Run)
	w.igniter = false
	w.pass(time.Second)
	w.button(false)
	w.phase(Wait)
	if w.permit {
		t.Fatal("the permit is open after the button is let go")
	}
	w.key(false)
	w.must(Say{FactAtRest, firing})
	w.must(Observe{Motor: 0, Fate: FateSaidLit, By: "Nora"})
	w.pass(59 * time.Second)
	w.refused(GoForward{By: ranger, Person: forward}, "the wait is not over")
	w.pass(2 * time.Second)
	w.refused(GoForward{By: ranger, Person: forward}, "battery is not known to be off")
	w.battery(0)
	w.must(GoForward{By: ranger, Person: forward})
	w.phase(MakeSafe)
	w.must(Inspect{Motor: 1, Found: "burned out", By: forward})
	w.refused(AllClear{By: ranger}, "motor 2 is LIVE")
	w.must(Inspect{Motor: 2, Found: "burned out", By: forward})
	w.must(Say{FactShunted, forward})
	w.must(CloseLine{By: ranger, Count: 1})
	w.must(Say{FactFireWatched, ranger})
	w.must(Result{RestM: 131, HasRest: true})
	w.refused(AllClear{By: ranger}, "motors-used: not answered")
	w.counts(2, 2, 2, 3)
	w.must(AllClear{By: ranger})
	w.phase(Closed)
	if got := w.fx[len(w.fx)-1]; got != (Effect)(CloseRecord{}) {
		// The last effect stands in the step of Written; look at all.
		found := false
		for _, f := range w.all {
			found = found || f == Effect(CloseRecord{})
		}
		if !found {
			t.Fatal("closing asks for the record to be closed")
		}
	}
}

func TestWholeFiringTyped(t *testing.T) {
	w := newWorld(t, ModeTyped)
	w.toWindow()
	for _, f := range w.all {
		if _, ok := f.(PermitOn); ok {
			t.Fatal("without a box there is no permit")
		}
	}
	w.must(Say{FactPressed, firing})
	w.phase(Run)
	w.must(Say{FactReleased, firing})
	w.phase(Wait)
	w.must(Say{FactKeyOut, ranger})
	w.must(Say{FactBusDead, ranger})
	w.must(Say{FactAtRest, ranger})
	w.pass(61 * time.Second)
	w.must(Say{FactBatteryOff, ranger})
	w.must(GoForward{By: ranger, Person: forward})
	w.phase(MakeSafe)
}

func TestWindowWithoutAPressEndsInHold(t *testing.T) {
	w := newWorld(t, ModeBox)
	w.toWindow()
	w.pass(w.p.Times.Window + 300*time.Millisecond)
	w.phase(Hold)
	w.refused(Resume{By: ranger}, "key")
	w.key(false)
	w.must(Resume{By: ranger})
}
