package tui

import (
	"context"
	"sync"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"holdline/arming"
	"holdline/checklist"
	"holdline/checklist/prediction"
	"holdline/checklist/sheet"
	"holdline/checklist/sheet/scenario"
	"holdline/checklist/sheet/unit"
	"holdline/sim/circuit"
)

// predicted is the embedded scenario, computed once for all tests.
var predicted = sync.OnceValues(func() (*answers, error) {
	sh, err := scenario.Open()
	if err != nil {
		return nil, err
	}
	run, err := prediction.BuildRun(context.Background(), sh, prediction.RunOptions{Runs: prediction.DefaultRuns, Seed: 1, Workers: 1})
	if err != nil {
		return nil, err
	}
	c, err := prediction.BuildCircuit(context.Background(), sh.Title, "", sh.Circuit(), prediction.CircuitOptions{Runs: prediction.DefaultRuns, Seed: 1, Workers: 1})
	return &answers{sh, run, c}, err
})

type answers struct {
	sheet   *sheet.Sheet
	run     *prediction.Run
	circuit *prediction.Circuit
}

// world is a cockpit with a real machine behind it, a small box whose contacts
// move by hand, and clocks that the test turns.
type world struct {
	counter CounterView // of the closed record
	units   unit.System
	soFar   string
	t       testing.TB
	m       *Model
	p       *arming.Plan
	s       arming.State
	at      arming.Instant
	box     arming.Box
	permit  bool
	lease   bool
	fired   bool
	code    string
	beat    uint64
	log     []LogLine
	refusal Refusal
	loud    string
	sent    []arming.Event
	moved   []Hand
	hands   HandsView
	answers *answers
	drill   *DrillView
	// dead lets the machine take nothing, so that a test sees what the cockpit
	// alone does.
	dead bool
}

// opened is when the record of a test begins.
var opened = time.Date(2026, 5, 3, 14, 2, 0, 0, time.UTC)

func newWorld(t testing.TB, mode arming.Mode) *world {
	t.Helper()
	a, err := predicted()
	if err != nil {
		t.Fatal(err)
	}
	w := &world{t: t, answers: a}
	w.p = testPlan(a, mode)
	if err := w.p.Validate(); err != nil {
		t.Fatal(err)
	}
	w.box = arming.Box{Up: true, Key: arming.ContactOpen, Pole1: arming.ContactOpen, Pole2: arming.ContactOpen}
	w.step(arming.Start{})
	if mode == arming.ModeBox {
		w.step(arming.BoxUp{Identity: "test box", Practice: true, Channels: w.p.Motors})
		w.look()
	}
	cfg := Config{Latest: w.frame, Submit: w.submit, SetCode: func(c string) { w.code = c },
		TryCode: func(c string) { w.step(arming.Code{Matched: c == w.code}) }, Theme: "plain"}
	if mode == arming.ModeBox {
		cfg.Move = w.move
	}
	w.m = NewModel(cfg).(*Model)
	return w
}

func testPlan(a *answers, mode arming.Mode) *arming.Plan {
	times := checklist.Bounds().Default
	n := len(a.sheet.Motors)
	p := &arming.Plan{Mode: mode, Practice: mode == arming.ModeBox, Motors: n, Times: times, WaitSpeed: 1}
	in := checklist.Inputs{Boxed: mode == arming.ModeBox, Motors: n, Budget: checklist.Band{Low: 11, High: 14, Unit: "V"},
		Wind: checklist.Band{Low: -1, High: 5, Unit: "m/s"}, Mass: checklist.Band{Low: 1.3, High: 1.6, Unit: "kg"}, Mark: "SB-3",
		Times: times, MeterOhm: 0.02}
	for _, post := range a.sheet.Crew.Spotters {
		p.Posts = append(p.Posts, post)
		in.Posts = append(in.Posts, checklist.Post{Name: post, DistanceM: 60})
	}
	for k := range n {
		b := circuit.ChannelBand(a.sheet.Circuit(), k)
		in.Channels = append(in.Channels, checklist.Band{Low: b.LowOhm, High: b.HighOhm, Unit: "ohm"})
	}
	p.Steps = checklist.Routine(in)
	return p
}

func (w *world) frame() Frame {
	f := Frame{Plan: w.p, State: w.s, Units: w.units, Wall: opened.Add(w.at.Wall), Title: w.answers.sheet.Title, Practice: w.p.Practice,
		Box: "test box, serial 7", LinkText: "box live", BoxBeat: w.beat, Beat: w.beat,
		Drill: w.drill, Sheet: w.answers.sheet, Run: w.answers.run, Circuit: w.answers.circuit, Log: w.log, Refusal: w.refusal, Loud: w.loud,
		Record: RecordView{Path: "records/2026-05-03-1402.jsonl", Lines: int64(len(w.log)), Counter: w.counter}, SoFar: w.soFar}
	if w.s.Phase == arming.Closed {
		f.Record.Closed, f.Record.Signed, f.Record.KeyNew = true, "SHA256:dsCMf2qMDnm+e1Gu8wKgSJyVi9L3H74TyYsMmyOrWtg", "keys/record_ed25519"
	}
	if w.p.Mode == arming.ModeBox {
		h := w.hands
		f.Hands = &h
	}
	return f
}

func (w *world) submit(ev arming.Event) {
	w.sent = append(w.sent, ev)
	if !w.dead {
		w.step(ev)
	}
}

// step does one event and what its effects ask, as the shell would.
func (w *world) step(ev arming.Event) {
	w.t.Helper()
	s, fx, err := arming.Step(w.p, w.s, w.at, ev)
	if broken := arming.Check(w.p, w.s, ev, s, fx); broken != nil {
		w.t.Fatalf("%T: %v", ev, broken)
	}
	w.s = s
	if err != nil {
		w.refusal = Refusal{At: w.at, Why: err.Error()}
		if r, ok := err.(*arming.RefusedError); ok {
			w.refusal.Why, w.refusal.Remedy = r.Why, r.Remedy
		}
	} else {
		switch ev.(type) {
		case arming.Tick, arming.BoxReading, arming.Written:
		default:
			w.refusal, w.loud = Refusal{}, ""
		}
	}
	for _, f := range fx {
		switch f := f.(type) {
		case arming.PermitOff:
			w.permit = false
		case arming.PermitOn:
			w.permit = true
		case arming.Lease:
			w.lease = f.On
		case arming.Notice:
			w.log = append(w.log, LogLine{opened.Add(w.at.Wall), f.Text, f.Loud})
			if f.Loud {
				w.loud = f.Text
			}
		case arming.Write:
			w.step(arming.Written(f))
		}
	}
}

func volt(v float64) arming.Volt {
	l := arming.LevelBetween
	switch {
	case v > 0.5:
		l = arming.LevelLive
	case v < 0.1:
		l = arming.LevelDead
	}
	return arming.Volt{Level: l, Millivolt: int32(v * 1000)}
}

// look lets the box answer a snapshot of how it stands.
func (w *world) look() {
	b := &w.box
	b.Key, b.Battery = arming.ContactOpen, volt(0)
	if w.hands.KeyIn {
		b.Key = arming.ContactClosed
	}
	if w.hands.Battery {
		b.Battery = volt(12.42)
	}
	pole := arming.ContactOpen
	if w.hands.Button {
		pole = arming.ContactClosed
	}
	if pole == arming.ContactClosed && b.Pole1 == arming.ContactOpen {
		b.Presses++
	}
	b.Pole1, b.Pole2 = pole, pole
	pass := func(v arming.Volt, closed bool) arming.Volt {
		if closed {
			return v
		}
		return volt(0)
	}
	b.BehindKey = pass(b.Battery, w.hands.KeyIn)
	b.BehindPermit = pass(b.BehindKey, w.permit)
	b.Bus = pass(b.BehindPermit, w.hands.Button)
	b.Permit = arming.ContactOpen
	if w.permit {
		b.Permit = arming.ContactClosed
	}
	if b.Bus.Level == arming.LevelLive && !w.fired {
		b.Pulses++
		w.fired = true
		for k := range w.p.Motors {
			w.hands.Lit = append(w.hands.Lit, k+1)
		}
	}
	for k := 0; k < w.p.Motors; k++ {
		b.Channel[k] = arming.Ohm{}
		if w.lease && b.Bus.Level == arming.LevelDead {
			b.Channel[k] = arming.Ohm{Kind: arming.OhmOpen}
			if w.hands.Igniters && !w.fired {
				st := w.planned(arming.StepContinuity(k + 1))
				b.Channel[k] = arming.Ohm{Kind: arming.OhmValue, Milliohm: int32(1000 * (st.Band.Low + (0.4+0.05*float64(k))*(st.Band.High-st.Band.Low)))}
			}
		}
	}
	if w.lease {
		b.Scan++
	}
	w.beat++
	w.step(arming.BoxReading{Box: *b})
}

// planned is the step of that name.
func (w *world) planned(id string) *checklist.Step {
	for i := range w.p.Steps {
		if w.p.Steps[i].ID == id {
			return &w.p.Steps[i]
		}
	}
	w.t.Fatalf("no step %q", id)
	return nil
}

func (w *world) move(h Hand) {
	w.moved = append(w.moved, h)
	switch h {
	case HandKey:
		w.hands.KeyIn = !w.hands.KeyIn
	case HandBattery:
		w.hands.Battery = !w.hands.Battery
	case HandIgniters:
		w.hands.Igniters = !w.hands.Igniters
	case HandShunt:
		w.hands.Shunt = !w.hands.Shunt
	case HandButtonDown:
		w.hands.Button = true
	case HandButtonUp:
		w.hands.Button = false
	}
}

// pass lets time pass, with machine ticks, snapshots and screen ticks.
func (w *world) pass(d time.Duration) {
	w.t.Helper()
	for end := w.at.Mono + d; w.at.Mono < end; {
		w.at.Mono += 50 * time.Millisecond
		w.at.Wall += 50 * time.Millisecond
		w.step(arming.Tick{})
		if w.p.Mode == arming.ModeBox {
			w.look()
		} else {
			w.beat++
		}
		w.m.Update(tickMsg{})
	}
}

// key presses named keys, one message each.
func (w *world) key(names ...string) {
	w.t.Helper()
	for _, n := range names {
		w.m.Update(keyMsg(n))
		w.pass(50 * time.Millisecond)
	}
}

// write types text into the open field, blanks included.
func (w *world) write(text string) {
	for _, r := range text {
		if r == ' ' {
			w.m.Update(tea.KeyMsg{Type: tea.KeySpace, Runes: []rune{' '}})
			continue
		}
		w.m.Update(tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune{r}})
	}
}

// fill opens the task at hand and fills its fields in order.
func (w *world) fill(texts ...string) {
	w.t.Helper()
	if w.m.form == nil {
		w.key("enter")
	}
	if w.m.form == nil {
		w.key("enter") // the first showed a page to read
	}
	if w.m.form == nil {
		w.t.Fatalf("enter opens nothing at %q\n%s", w.m.atHand().id, w.m.View())
	}
	for _, text := range texts {
		w.write(text)
		w.key("enter")
	}
	if w.m.form != nil {
		w.t.Fatalf("the form %q stays open: %s\n%s", w.m.form.title, w.m.form.wrong, w.m.View())
	}
}

func keyMsg(name string) tea.KeyMsg {
	types := map[string]tea.KeyType{"enter": tea.KeyEnter, "esc": tea.KeyEsc, "tab": tea.KeyTab, "shift+tab": tea.KeyShiftTab,
		"up": tea.KeyUp, "down": tea.KeyDown, "backspace": tea.KeyBackspace, "ctrl+c": tea.KeyCtrlC, "ctrl+u": tea.KeyCtrlU,
		"f5": tea.KeyF5, "f6": tea.KeyF6, "f7": tea.KeyF7, "f8": tea.KeyF8, "f9": tea.KeyF9}
	if name == "space" {
		return tea.KeyMsg{Type: tea.KeySpace, Runes: []rune{' '}}
	}
	if kt, ok := types[name]; ok {
		return tea.KeyMsg{Type: kt}
	}
	return tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune(name)}
}

// The whole firing goes through by keys alone, and every key is one that the
// task at hand names.
func TestWholeFiringByKeys(t *testing.T) {
	t.Parallel()
	w := newWorld(t, arming.ModeBox)
	w.toPhase(arming.Closed)
	if w.s.Phase != arming.Closed {
		t.Fatalf("ended in %v\n%s", w.s.Phase, w.m.View())
	}
}
