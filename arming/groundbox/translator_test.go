package groundbox

import (
	"context"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"holdline/arming"
	"holdline/arming/groundbox/practice"
	"holdline/arming/groundbox/wire"
)

func TestASnapshotAsTheMachineSeesIt(t *testing.T) {
	b := machineBox(&Snapshot{
		KeyIn: true, Pole2Closed: true, BatteryV: wire.Of(12.4321), BehindKeyV: wire.Of(0.3), BusV: wire.Of(-0.0456),
		Pulses: -1, Presses: 2, Scan: 7, ChannelOhm: []wire.Reading{{}, {Kind: wire.Open}, wire.Of(2.0474)},
	}, []int{3, 2})
	want := arming.Box{
		Up: true, Key: arming.ContactClosed, Pole1: arming.ContactOpen, Pole2: arming.ContactClosed, Permit: arming.ContactOpen,
		Battery: arming.Volt{Level: arming.LevelLive, Millivolt: 12432}, BehindKey: arming.Volt{Level: arming.LevelBetween, Millivolt: 300},
		Bus: arming.Volt{Level: arming.LevelDead, Millivolt: -46}, Pulses: -1, Presses: 2, Scan: 7,
	}
	want.Channel[0] = arming.Ohm{Kind: arming.OhmValue, Milliohm: 2047}
	want.Channel[1] = arming.Ohm{Kind: arming.OhmOpen}
	if b != want {
		t.Errorf("got  %+v\nwant %+v", b, want)
	}
	if far := machineBox(&Snapshot{BatteryV: wire.Of(1e30)}, nil); far.Battery.Millivolt != 2e9 || far.Battery.Level != arming.LevelLive {
		t.Errorf("%+v of a reading beyond the machine's numbers", far.Battery)
	}
}

// eventsOf returns the event bits that are told, one element for each event.
func eventsOf(list []Told) (out []wire.Event) {
	for _, told := range list {
		if ev, is := told.Event.(arming.BoxEvents); is {
			out = append(out, ev.Bits)
		}
	}
	return out
}

// Event bits are told once while they stand in the snapshots, and what the
// link caused itself is not told at all.
func TestEventsOfTheBoxAreToldOnce(t *testing.T) {
	var tr Translator
	tr.Translate(Connected{Identity: Identity{Maker: "m", Model: "PRACTICE", Version: "1"}, Channels: 4})
	for _, c := range []struct {
		what         string
		read, caused wire.Event
		want         []wire.Event
	}{
		{"new, and one of the link's own", wire.EventWatchdog | wire.EventErrors, wire.EventErrors, []wire.Event{wire.EventWatchdog}},
		{"the same again", wire.EventWatchdog, 0, nil},
		{"a second one", wire.EventWatchdog | wire.EventWelded, 0, []wire.Event{wire.EventWelded}},
		{"none", 0, 0, nil},
		{"one that came back", wire.EventWatchdog, 0, []wire.Event{wire.EventWatchdog}},
	} {
		got := eventsOf(tr.Translate(SnapshotRead{S: Snapshot{Practice: true, Events: c.read}, Caused: c.caused}))
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: told %v, want %v", c.what, got, c.want)
		}
	}
	for bit := wire.Event(1); bit <= wire.EventsKnown; bit <<= 1 {
		tr := Translator{practice: true, keyIn: true}
		again := func(s Snapshot, cleared wire.Event) bool {
			s.Practice, s.KeyIn, s.Events = true, true, bit
			return len(eventsOf(tr.Translate(SnapshotRead{S: s, Cleared: cleared}))) > 0
		}
		if !again(Snapshot{}, 0) || again(Snapshot{}, 0) || !again(Snapshot{}, bit) || again(Snapshot{}, 0) {
			t.Errorf("%v: not told anew once it was cleared, or told without that", bit)
		}
		weld := Snapshot{BehindPermitV: wire.Of(12)}
		if again(weld, bit) != (bit != wire.EventWelded) {
			t.Errorf("%v, read again with voltage behind the permit: only a weld lasts", bit)
		}
	}
	anew := tr.Translate(SnapshotRead{S: Snapshot{Practice: true, Events: wire.EventRestarted}})
	if len(anew) != 2 || anew[0].Event != (arming.BoxEvents{Bits: wire.EventRestarted}) {
		t.Errorf("a box that began anew: %+v, want that told before what it reads", anew)
	}
}

func TestEveryReportOfTheLinkHasItsEvent(t *testing.T) {
	tr := Translator{PulseS: 1, Channels: []int{1, 2, 3, 4}}
	for _, c := range []struct {
		r    Report
		want arming.Event
	}{
		{Lost{Reason: "gone\x1b[2J"}, arming.BoxLost{Why: "gone [2J"}},
		{PermitDidNotOpen{}, arming.PermitStuck{}},
		{PermitDropped{Reason: "late"}, arming.Stalled{Part: "permit not renewed: late"}},
	} {
		list := tr.Translate(c.r)
		if len(list) != 1 || list[0].Event != c.want {
			t.Errorf("%T: %+v, want %+v", c.r, list, c.want)
		}
	}
	short := tr.Translate(FireRead{Pulses: 1, LengthS: wire.Of(0.4), BatteryV: wire.Of(11.2)})
	if len(short) != 1 || !strings.Contains(short[0].Note, "0.40 s") || !strings.Contains(short[0].Note, "starve") ||
		short[0].Pulse == nil || short[0].Pulse.PulseS != 0.4 || *short[0].Pulse.BatteryV != 11.2 {
		t.Errorf("a short pulse: %+v", short)
	}
	long := tr.Translate(FireRead{Pulses: 1, LengthS: wire.Of(1.4), BatteryV: wire.Of(11.2)})
	if len(long) != 1 || strings.Contains(long[0].Note, "starve") {
		t.Errorf("a long pulse: %+v", long)
	}
	if none := tr.Translate(FireRead{}); len(none) != 1 || none[0].Pulse != nil || none[0].Note == "" {
		t.Errorf("no pulse: %+v", none)
	}
}

// A test current that grows in the firing is a basis of the prediction that
// left its range. R-27.
func TestALargerTestCurrentIsTold(t *testing.T) {
	tr := Translator{}
	up := func(a float64) []Told { return tr.Translate(Connected{TestCurrentA: a, Channels: 4}) }
	if list := up(0.001); len(list) != 1 {
		t.Errorf("the first box: %+v", list)
	}
	if list := up(0.001); len(list) != 1 {
		t.Errorf("the same current again: %+v", list)
	}
	if list := up(0.004); len(list) != 2 || list[1].Event != (arming.BasisLeft{What: "the box's test current is now 4 mA, and was 1 mA"}) {
		t.Errorf("a larger current: %+v", list)
	}
}

// TestWhatTheMachineIsToldOfAPracticeBox drives a practice box through the link
// by hand, and looks at the events that come out at the other end.
func TestWhatTheMachineIsToldOfAPracticeBox(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		box := newBox(t, 4)
		link := Open(Config{Dial: box.Dial, Port: "the practice port", RequirePractice: true, WantChannels: 4})
		defer link.Close()
		tr := Translator{PulseS: 1, Channels: []int{1, 2, 3, 4}}
		var last arming.Box
		// until reads the reports up to an event for which want returns true.
		until := func(what string, want func(arming.Event) bool) {
			t.Helper()
			ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
			defer cancel()
			for {
				select {
				case r := <-link.Reports():
					found := false
					for _, told := range tr.Translate(r) {
						if reading, is := told.Event.(arming.BoxReading); is {
							last = reading.Box
						}
						found = found || told.Event != nil && want(told.Event)
					}
					if found {
						return
					}
				case <-ctx.Done():
					t.Fatalf("%s: not told; the last reading: %+v", what, last)
				}
			}
		}
		bits := func(want wire.Event) func(arming.Event) bool {
			return func(ev arming.Event) bool { return ev == arming.BoxEvents{Bits: want} }
		}
		reads := func(want func(*arming.Box) bool) func(arming.Event) bool {
			return func(ev arming.Event) bool { _, is := ev.(arming.BoxReading); return is && want(&last) }
		}
		until("the box", func(ev arming.Event) bool {
			up, is := ev.(arming.BoxUp)
			return is && up.Practice && up.Channels == 4 && !up.NewBox
		})
		until("no hand on it", reads(func(b *arming.Box) bool {
			return b.Key == arming.ContactOpen && b.Pole2 == arming.ContactOpen && b.Permit == arming.ContactOpen &&
				b.Battery.Level == arming.LevelDead && b.Channel[0].Kind == arming.OhmNotMeasured
		}))
		box.Hands().Igniters(true)
		link.Lease(true)
		until("resistances", reads(func(b *arming.Box) bool { return b.Scan > 0 && b.Channel[3].Kind == arming.OhmValue }))
		box.Hands().Press(100 * time.Millisecond)
		until("an early press", bits(wire.EventButtonEarly))
		if last.Presses != 1 {
			t.Errorf("%d presses, want 1", last.Presses)
		}
		link.ClearEvents(wire.EventButtonEarly)
		time.Sleep(300 * time.Millisecond)
		box.Hands().Press(100 * time.Millisecond)
		until("a second early press, once the first was cleared", bits(wire.EventButtonEarly))
		box.Hands().Battery(true)
		until("the battery", reads(func(b *arming.Box) bool { return b.Battery.Level == arming.LevelLive }))
		box.Hands().Key(true)
		until("the key", reads(func(b *arming.Box) bool {
			return b.Key == arming.ContactClosed && b.BehindKey.Level == arming.LevelLive
		}))
		hang := practice.Fault{Kind: practice.Freeze}
		if err := box.SetFault(hang); err != nil {
			t.Fatal(err)
		}
		box.ClearFault(hang) // somebody switched it off and on
		until("that it began anew", bits(wire.EventRestarted))
		until("the same box once more", func(ev arming.Event) bool { up, is := ev.(arming.BoxUp); return is && up.NewBox })
	})
}

// A key that is out lasts: it is told once, and again when the key is in, so
// that the bit is cleared and a key that goes out for a moment is news.
func TestAKeyThatWasOutIsToldWhenItIsInAgain(t *testing.T) {
	tr := Translator{practice: true}
	for _, c := range []struct {
		what          string
		in            bool
		bits, cleared wire.Event
		told          bool
	}{
		{"out", false, wire.EventKeyOut, 0, true},
		{"out still, cleared and there again", false, wire.EventKeyOut, wire.EventKeyOut, false},
		{"in", true, wire.EventKeyOut, 0, true},
		{"in still, not yet cleared", true, wire.EventKeyOut, 0, false},
		{"in still, cleared", true, 0, wire.EventKeyOut, false},
		{"out for a moment", true, wire.EventKeyOut, 0, true},
		{"and again before the next snapshot", true, wire.EventKeyOut, wire.EventKeyOut, true},
	} {
		list := tr.Translate(SnapshotRead{S: Snapshot{Practice: true, KeyIn: c.in, Events: c.bits}, Cleared: c.cleared})
		if got := len(eventsOf(list)) > 0; got != c.told {
			t.Errorf("%s: told %v, want %v", c.what, got, c.told)
		}
		if _, first := list[0].Event.(arming.BoxEvents); c.told && !first {
			t.Errorf("%s: told after the reading that may say in", c.what)
		}
	}
}

// What hangs on a channel that is no motor's would be fired with the motors: it
// is told once, and again when it was off meanwhile.
func TestAChannelThatIsNoMotorsMustNotConduct(t *testing.T) {
	tr := Translator{practice: true, Channels: []int{2}}
	for i, c := range []struct {
		first wire.Reading
		told  bool
	}{{wire.Reading{Kind: wire.Open}, false}, {wire.Of(2), true}, {wire.Of(2.1), false}, {wire.Reading{}, false}, {wire.Of(2), true}} {
		told := false
		for _, one := range tr.Translate(SnapshotRead{S: Snapshot{Practice: true, ChannelOhm: []wire.Reading{c.first, wire.Of(2)}}}) {
			left, is := one.Event.(arming.BasisLeft)
			told = told || is && strings.Contains(left.What, "channel 1 of the box conducts")
		}
		if told != c.told {
			t.Errorf("snapshot %d: told %v, want %v", i, told, c.told)
		}
	}
}
