package report

import (
	"strings"
	"testing"
	"time"

	"holdline/arming"
	"holdline/arming/record"
	"holdline/arming/record/journal"
	"holdline/checklist"
)

// firing drives a whole firing through the machine and writes its record, with
// clocks and a box of its own: the same test gives the same bytes.
type firing struct {
	t       *testing.T
	p       *arming.Plan
	s       arming.State
	at      arming.Instant
	j       journal.Recorder
	w       *record.Writer
	box     arming.Box
	permit  bool
	lease   bool
	igniter bool
	live    bool
	began   time.Time
	dusk    bool   // too little daylight is left, and that is waived
	ground  string // what is said of the ground
}

// The crew, invented.
const (
	officer = "Ines Halvorsen"
	ranger  = "Tomas Ekwall"
	goes    = "Mika Rendell"
)

// began is when every record of these tests was opened.
var began = time.Date(2026, 5, 9, 13, 4, 5, 123456000, time.UTC)

type setting struct {
	mode      arming.Mode
	practice  bool
	motors    int
	waitSpeed int
	extra     []checklist.Step
	title     string
	began     time.Time

	firstRules bool
}

// first makes a record of the first edition, which does not hold a prediction
// against its acceptance.
func first(o setting) setting {
	o.firstRules = true
	return o
}

func normal() setting {
	return setting{mode: arming.ModeBox, motors: 4, waitSpeed: 1, title: "Plover sled, four motors", began: began,
		extra: []checklist.Step{{Phase: checklist.Clear, Challenge: "Dog walkers' path: what do you see?", Role: checklist.RangeOfficer}}}
}

func plan(o setting) *arming.Plan {
	times := checklist.Bounds().Default
	in := checklist.Inputs{Boxed: o.mode == arming.ModeBox, Motors: o.motors, Budget: checklist.Band{Low: 12, High: 13, Unit: "V"},
		Wind: checklist.Band{Low: -1, High: 5, Unit: "m/s"}, Mass: checklist.Band{Low: 1.4, High: 1.5, Unit: "kg"}, Mark: "SB-3",
		Posts: []checklist.Post{{Name: "north gate", DistanceM: 40}, {Name: "south bank"}}, Times: times, MeterOhm: 0.02, Extra: o.extra,
		Radios: []checklist.Radio{{Name: "steering", DistanceM: 30, LeastM: 3}}}
	for range o.motors {
		in.Channels = append(in.Channels, checklist.Band{Low: 1, High: 2, Unit: "ohm"})
	}
	return &arming.Plan{Mode: o.mode, Practice: o.practice, Motors: o.motors, Posts: []string{"north gate", "south bank"}, Times: times,
		WaitSpeed: o.waitSpeed, Steps: checklist.Routine(in)}
}

func begin(t *testing.T, dir string, o setting) *firing {
	t.Helper()
	f := &firing{t: t, p: plan(o), began: o.began}
	f.j.FirstRules, f.p.FirstRules = o.firstRules, o.firstRules
	if err := f.p.Validate(); err != nil {
		t.Fatal(err)
	}
	sum := record.SumSHA256([]byte("an invented sheet"))
	h := record.Header{Program: "test", Title: o.title, Practice: o.practice, WaitScale: 1 / float64(o.waitSpeed), Seed: "1",
		SheetSHA256: sum, Basis: sum, Curves: map[string]record.Hash{"plover.csv": sum}, Nonce: strings.Repeat("0a", 16),
		Mode: record.ModeTyped}
	if o.mode == arming.ModeBox {
		h.Mode, h.Box = record.ModeGroundBox, record.Box{Identity: "plover works,ground box,0007,1.2", Serial: "0007"}
	}
	f.p.SheetSHA256, f.p.Box = sum.String(), h.Box.Identity
	var err error
	if f.w, err = record.Create(dir, h, o.began); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = f.w.Release() })
	body, err := journal.EncodePlan(f.p)
	if err != nil {
		t.Fatal(err)
	}
	f.append(f.now(), journal.KindPlan, body)
	f.box = arming.Box{Key: arming.ContactOpen, Pole1: arming.ContactOpen, Pole2: arming.ContactOpen}
	f.must(arming.Start{})
	if o.mode == arming.ModeBox {
		f.must(arming.BoxUp{Identity: "plover works,ground box,0007,1.2", Practice: o.practice, Channels: o.motors})
		f.look()
	}
	return f
}

func (f *firing) now() time.Time { return f.began.Add(f.at.Wall) }

func (f *firing) append(at time.Time, kind string, body any) {
	f.t.Helper()
	if _, _, err := f.w.Append(at, f.at.Mono, kind, body); err != nil {
		f.t.Fatal(err)
	}
}

func (f *firing) lines(list []journal.Entry, err error) {
	f.t.Helper()
	if err != nil {
		f.t.Fatal(err)
	}
	for _, l := range list {
		if _, _, err := f.w.Append(f.began.Add(l.At.Wall), l.At.Mono, l.Kind, l.Body); err != nil {
			f.t.Fatal(err)
		}
	}
}

// do steps one event, writes it down, and does what its effects ask.
func (f *firing) do(ev arming.Event) error {
	f.t.Helper()
	before := f.s
	after, effects, refused := arming.Step(f.p, before, f.at, ev)
	if broken := arming.Check(f.p, before, ev, after, effects); broken != nil {
		f.t.Fatal(broken)
	}
	f.s = after
	f.lines(f.j.Step(f.at, ev, &before, &after, effects, refused))
	for _, e := range effects {
		switch e := e.(type) {
		case arming.PermitOff:
			f.permit = false
		case arming.PermitOn:
			f.permit = true
		case arming.Lease:
			f.lease = e.On
		case arming.Write:
			f.must(arming.Written(e))
		}
	}
	return refused
}

func (f *firing) must(ev arming.Event) {
	f.t.Helper()
	if err := f.do(ev); err != nil {
		f.t.Fatalf("%T %+v in %v: %v", ev, ev, f.s.Phase, err)
	}
}

func volt(v float64) arming.Volt {
	level := arming.LevelBetween
	switch {
	case v > 0.5:
		level = arming.LevelLive
	case v < 0.1:
		level = arming.LevelDead
	}
	return arming.Volt{Level: level, Millivolt: int32(v * 1000)}
}

// look lets the box answer a snapshot of how it stands.
func (f *firing) look() {
	f.t.Helper()
	b := &f.box
	b.Up, b.Seen = true, f.at
	joined := float64(b.Battery.Millivolt) / 1000
	pass := func(v float64, closed bool) float64 {
		if closed {
			return v
		}
		return 0
	}
	key := pass(joined, b.Key == arming.ContactClosed)
	permit := pass(key, f.permit)
	bus := pass(permit, b.Pole1 == arming.ContactClosed)
	b.Battery, b.BehindKey, b.BehindPermit, b.Bus = volt(joined), volt(key), volt(permit), volt(bus)
	b.Permit = arming.ContactOpen
	if f.permit {
		b.Permit = arming.ContactClosed
	}
	if b.Bus.Level == arming.LevelLive && !f.live {
		b.Pulses++
	}
	f.live = b.Bus.Level == arming.LevelLive
	for k := range f.p.Motors {
		b.Channel[k] = arming.Ohm{}
		if f.lease && b.Bus.Level == arming.LevelDead {
			b.Channel[k] = arming.Ohm{Kind: arming.OhmOpen}
			if f.igniter {
				b.Channel[k] = arming.Ohm{Kind: arming.OhmValue, Milliohm: int32(1480 + 12*k)}
			}
		}
	}
	if f.lease {
		b.Scan++
		b.ScanSeen = f.at
	}
	shown := *b
	if b.Key == arming.ContactOpen && !f.lease {
		shown.Pole1 = arming.ContactClosed // the box cannot tell it, and says so
	}
	f.must(arming.BoxReading{Box: shown})
}

func (f *firing) pass(d time.Duration) {
	f.t.Helper()
	for end := f.at.Mono + d; f.at.Mono < end; {
		f.tick(50 * time.Millisecond)
	}
}

func (f *firing) tick(d time.Duration) {
	f.t.Helper()
	f.at.Mono += d
	f.at.Wall += d
	f.must(arming.Tick{})
	if f.p.Mode == arming.ModeBox {
		f.look()
	}
	if f.at.Mono%time.Second == 0 {
		f.lines(f.j.Flush())
	}
}

func (f *firing) key(in bool) {
	f.t.Helper()
	f.box.Key = arming.ContactOpen
	if in {
		f.box.Key = arming.ContactClosed
	}
	f.tick(50 * time.Millisecond)
}

func (f *firing) battery(v float64) {
	f.t.Helper()
	f.box.Battery.Millivolt = int32(v * 1000)
	f.tick(50 * time.Millisecond)
}

func (f *firing) button(down bool) {
	f.t.Helper()
	f.box.Pole1, f.box.Pole2 = arming.ContactOpen, arming.ContactOpen
	if down {
		f.box.Pole1, f.box.Pole2 = arming.ContactClosed, arming.ContactClosed
		f.box.Presses++
	}
	f.tick(50 * time.Millisecond)
}

func (f *firing) words(step, words string) {
	f.t.Helper()
	f.tick(150 * time.Millisecond)
	f.must(arming.Answer{Step: step, Words: words, Means: arming.MeansSaid})
}

func (f *firing) typed(step string, v float64) {
	f.t.Helper()
	f.tick(150 * time.Millisecond)
	f.must(arming.Answer{Step: step, Value: v, Again: v, Means: arming.MeansTyped})
}

func (f *firing) measured(step string) {
	f.t.Helper()
	f.tick(150 * time.Millisecond)
	f.must(arming.Answer{Step: step, Means: arming.MeansBox})
}

func (f *firing) phase(want arming.Phase) {
	f.t.Helper()
	if f.s.Phase != want {
		f.t.Fatalf("phase %v, want %v; blockers %v", f.s.Phase, want, f.s.Blockers(f.p))
	}
}
