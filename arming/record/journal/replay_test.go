package journal

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/gowebpki/jcs"

	"holdline/arming"
	"holdline/checklist"
)

// plan is a firing of two motors.
func plan(t *testing.T) *arming.Plan {
	t.Helper()
	times := checklist.Bounds().Default
	times.Pauses[0], times.Pauses[1] = 8*time.Second, 3*time.Second
	p := &arming.Plan{
		Mode: arming.ModeBox, Practice: true, Motors: 2, Posts: []string{"north"}, Times: times, WaitSpeed: 2, Box: "a,b,c,d",
		Steps: checklist.Routine(checklist.Inputs{Boxed: true, Motors: 2, Channels: []checklist.Band{{Low: 1, High: 3, Unit: "ohm"}, {Low: 1, High: 3, Unit: "ohm"}},
			Budget: checklist.Band{Low: 11, High: 13, Unit: "V"}, Wind: checklist.Band{Low: 0, High: 4, Unit: "m/s"},
			Mass: checklist.Band{Low: 1, High: 2, Unit: "kg"}, Mark: "A-1", Posts: []checklist.Post{{Name: "north"}}, Times: times, MeterOhm: 0.02}),
	}
	if err := p.Validate(); err != nil {
		t.Fatal(err)
	}
	return p
}

// recorded is what a run of the machine left.
type recorded struct {
	lines  []Entry
	state  arming.State
	phases map[arming.Phase]bool // seen on the way
}

// wander drives the machine with events of every kind, sensible ones and
// nonsense, and records every step.
func wander(t *testing.T, p *arming.Plan, rng *rand.Rand, steps int) recorded {
	t.Helper()
	var r Recorder
	out := recorded{phases: map[arming.Phase]bool{}}
	body, err := EncodePlan(p)
	if err != nil {
		t.Fatal(err)
	}
	out.lines = append(out.lines, Entry{Kind: KindPlan, Body: body})
	at := arming.Instant{}
	take := func(ev arming.Event) {
		if reading, ok := ev.(arming.BoxReading); ok && rng.IntN(50) > 0 {
			reading.Box.Seen = at
			ev = reading
		}
		after, effects, refused := arming.Step(p, out.state, at, ev)
		lines, err := r.Step(at, ev, &out.state, &after, effects, refused)
		if err != nil {
			t.Fatalf("%#v: %v", ev, err)
		}
		out.lines, out.state = append(out.lines, lines...), after
		out.phases[after.Phase] = true
	}
	take(arming.Start{})
	for range steps {
		pass := time.Duration(rng.IntN(80_000)) * time.Microsecond
		at.Mono, at.Wall = at.Mono+pass, at.Wall+pass
		if rng.IntN(400) == 0 {
			at.Wall += time.Duration(rng.IntN(4_000_000)-2_000_000) * time.Microsecond
		}
		take(some(p, &out.state, rng))
		if rng.IntN(20) == 0 {
			lines, err := r.Flush()
			if err != nil {
				t.Fatal(err)
			}
			out.lines = append(out.lines, lines...)
		}
	}
	lines, err := r.Flush()
	if err != nil {
		t.Fatal(err)
	}
	out.lines = append(out.lines, lines...)
	return out
}

// some picks an event that the machine may be given in state s.
func some(p *arming.Plan, s *arming.State, rng *rand.Rand) arming.Event {
	name := []string{"Ada", "Ben", "Nia", ""}[rng.IntN(4)]
	switch rng.IntN(12) {
	case 0, 1, 2:
		return arming.Tick{}
	case 3, 4, 5:
		return arming.BoxReading{Box: someBox(s, rng)}
	case 6:
		if s.Pending.Event != nil {
			return arming.Written{Ticket: s.Pending.Ticket}
		}
		return arming.Written{Ticket: s.Tickets + uint32(rng.IntN(2))}
	case 7, 8:
		return someAnswer(p, s, rng)
	case 9:
		return []arming.Event{arming.BoxUp{Identity: "a,b,c,d", Practice: rng.IntN(8) > 0, Channels: 2}, arming.BoxLost{Why: "gone"},
			arming.BoxEvents{Bits: 1 << rng.IntN(9)}, arming.PermitStuck{}, arming.FocusLost{}, arming.Stalled{Part: "screen"},
			arming.RecordFailed{Why: "full"}, arming.Quit{Why: "asked"}, arming.HoldCall{}}[rng.IntN(9)]
	case 10:
		return []arming.Event{arming.CloseLine{By: "Ben", Count: rng.IntN(5)}, arming.OpenLine{By: "Ben", Names: [checklist.MaxPosts]string{"Ada"}, Key: "Ada"},
			arming.StartProof{}, arming.ArmEntry{By: name}, arming.Code{Matched: rng.IntN(2) == 0}, arming.StartCount{By: name},
			arming.Resume{By: name}, arming.Scrub{By: name, Why: "wind"}, arming.HoldBy{Name: name}}[rng.IntN(9)]
	}
	return []arming.Event{arming.Say{Fact: arming.Fact(rng.IntN(11)), By: name}, arming.Observe{Motor: rng.IntN(3), Fate: arming.FateSaidLit, By: name},
		arming.GoForward{By: "Ben", Person: "Ada"}, arming.Inspect{Motor: 1 + rng.IntN(2), Found: "burned out", By: "Ada"},
		arming.Result{RestM: rng.Float64() * 100, HasRest: true}, arming.AllClear{By: name}, arming.Withdraw{Step: arming.StepDead, Why: "doubt"},
		arming.BasisLeft{What: "wind"}, arming.Waive{Step: "wind", Value: 3, Why: "calm now", By: name}}[rng.IntN(9)]
}

func someAnswer(p *arming.Plan, s *arming.State, rng *rand.Rand) arming.Event {
	i := s.Cursor(p)
	if i < 0 || rng.IntN(5) == 0 {
		i = rng.IntN(len(p.Steps))
	}
	st := &p.Steps[i]
	v := st.Band.Low + rng.Float64()*(st.Band.High-st.Band.Low)
	words := map[string]string{arming.StepFiringOfficer: "Ada", arming.StepRangeOfficer: "Ben", "crew/north": "Nia"}[st.ID]
	if words == "" {
		words = "gate shut " + s.CallWord(i)
	}
	if st.Match != "" {
		words = st.Match
	}
	return arming.Answer{Step: st.ID, Words: words, Value: v, Again: v, Means: arming.MeansTyped}
}

func someBox(s *arming.State, rng *rand.Rand) arming.Box {
	b := s.Box
	b.Up, b.Key, b.Pole1, b.Pole2, b.Permit = true, arming.ContactOpen, arming.ContactOpen, arming.ContactOpen, arming.ContactOpen
	b.Pulses, b.Presses, b.Scan = max(b.Pulses, 0), max(b.Presses, 0), b.Scan+1
	volt := []arming.Volt{{Level: arming.LevelDead}, {Level: arming.LevelLive, Millivolt: 12000 + int32(rng.IntN(3))}}
	b.Battery, b.Bus, b.BehindKey, b.BehindPermit = volt[rng.IntN(2)], volt[0], volt[0], volt[0]
	if rng.IntN(500) == 0 {
		b.Key, b.Pole2, b.Pulses = arming.ContactClosed, arming.ContactClosed, b.Pulses+1
	}
	for k := range 2 {
		b.Channel[k] = arming.Ohm{Kind: arming.OhmKind(rng.IntN(3))}
		if b.Channel[k].Kind == arming.OhmValue {
			b.Channel[k].Milliohm = 2000
		}
	}
	return b
}

// replay plays the lines in the canonical form that a record gives them.
func replay(lines []Entry) (Replayer, error) {
	var r Replayer
	for i, l := range lines {
		body, err := jcs.Transform(l.Body)
		if err != nil {
			return r, err
		}
		if err := r.Take(l.Kind, l.At.Mono, body); err != nil {
			return r, fmt.Errorf("line %d: %w", i, err)
		}
	}
	return r, nil
}

// TestReplayGivesTheSameState holds I-33 over random runs: every event is in
// the lines, quiet ones too, and leads to the very same state.
func TestReplayGivesTheSameState(t *testing.T) {
	p := plan(t)
	phases := map[arming.Phase]int{}
	quietLines, events := 0, 0
	for seed := range uint64(12) {
		rng := rand.New(rand.NewPCG(seed, 33))
		rec := wander(t, p, rng, 600)
		got, err := replay(rec.lines)
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		if got.State != rec.state {
			t.Fatalf("seed %d: the state differs\nrun    %+v\nreplay %+v", seed, rec.state, got.State)
		}
		if got.Events != 601 {
			t.Errorf("seed %d: %d events replayed of 601", seed, got.Events)
		}
		for ph := range rec.phases {
			phases[ph]++
		}
		events += got.Events
		for _, l := range rec.lines {
			if l.Kind == KindBeats {
				quietLines++
			}
		}
	}
	if len(phases) < 3 || quietLines == 0 {
		t.Errorf("the runs see %v with %d lines of beats: they show too little", phases, quietLines)
	}
	t.Logf("%d events, %d lines of beats, runs that saw a phase: %v", events, quietLines, phases)
}

// TestAnyOtherPhaseLineOrEffectIsRefused changes what one line states.
func TestAnyOtherPhaseLineOrEffectIsRefused(t *testing.T) {
	p := plan(t)
	rec := wander(t, p, rand.New(rand.NewPCG(4, 4)), 110)
	tried := 0
	for i, l := range rec.lines {
		for _, swap := range [][2]string{{`"phase":"SETUP"`, `"phase":"ARMED"`}, {`"phase":"WAIT"`, `"phase":"CLOSED"`}, {`"line":"UNKNOWN"`, `"line":"CLOSED"`},
			{`"refused":"`, `"refused":"not `}, {`"effect":"permit_off"`, `"effect":"permit_on"`}, {`"loud":true`, `"loud":false`}} {
			body := strings.Replace(string(l.Body), swap[0], swap[1], 1)
			if l.Kind != KindEvent || body == string(l.Body) {
				continue
			}
			tried++
			lines := append([]Entry(nil), rec.lines...)
			lines[i].Body = []byte(body)
			_, err := replay(lines)
			var differs *MismatchError
			if !errors.As(err, &differs) {
				t.Fatalf("line %d with %s: %v", i, swap[1], err)
			}
		}
	}
	if tried < 40 {
		t.Errorf("only %d changes were tried", tried)
	}
}

// TestEveryWordOfAnEventIsBound changes one value in the data of each event, which
// no phase, line or effect may show.
func TestEveryWordOfAnEventIsBound(t *testing.T) {
	rec := wander(t, plan(t), rand.New(rand.NewPCG(6, 6)), 160)
	tried := map[string]int{}
	for i, l := range rec.lines {
		var body map[string]json.RawMessage
		if l.Kind != KindEvent || json.Unmarshal(l.Body, &body) != nil || body["data"] == nil {
			continue
		}
		var data map[string]any
		if err := json.Unmarshal(body["data"], &data); err != nil {
			t.Fatal(err)
		}
		for key, was := range data {
			switch was := was.(type) {
			case string:
				data[key] = was + "x"
			case float64:
				data[key] = was + 1
			case bool:
				delete(data, key)
			default:
				continue
			}
			changed := maps.Clone(body)
			changed["data"], _ = json.Marshal(data)
			data[key] = was
			lines := slices.Clone(rec.lines)
			lines[i].Body, _ = json.Marshal(changed)
			tried[string(body["event"])]++
			if _, err := replay(lines); err == nil {
				t.Errorf("entry %d, %s of %s changed to %s: accepted", i, key, body["event"], changed["data"])
			}
		}
	}
	for _, name := range []string{`"box_up"`, `"observe"`, `"answer"`, `"hold_by"`} {
		if tried[name] == 0 {
			t.Errorf("no %s was changed: %v", name, tried)
		}
	}
}

// TestWhatAnEntrySaysBesideTheEvent is bound too: members that nobody knows,
// clocks that fall back, a digest that is left out, a prediction and the box.
func TestWhatAnEntrySaysBesideTheEvent(t *testing.T) {
	p := plan(t)
	rec := wander(t, p, rand.New(rand.NewPCG(6, 6)), 160)
	shown := []byte(`{"predict":{}}`)
	sum := sha256.Sum256(shown)
	event := func(n int, old, new string) []Entry {
		lines := slices.Clone(rec.lines)
		lines[n].Body = []byte(strings.Replace(string(lines[n].Body), old, new, 1))
		if string(lines[n].Body) == string(rec.lines[n].Body) {
			t.Fatalf("%s has no %s", lines[n].Body, old)
		}
		return lines
	}
	last := rec.lines[len(rec.lines)-1].At.Mono
	more := func(kind string, mono time.Duration, body []byte) []Entry {
		return append(slices.Clone(rec.lines), Entry{Kind: kind, At: arming.Instant{Mono: mono}, Body: body})
	}
	for name, lines := range map[string][]Entry{
		"a member that is not known":        event(1, `"event":`, `"note":"all well","event":`),
		"no digest":                         event(1, `"digest":`, `"digest":"","x":`),
		"a note before what came before it": more(KindNote, last-1, []byte(`{}`)),
		"a closing before":                  more("close", 0, []byte(`{}`)),
		"a prediction nobody accepted":      more(KindPrediction, last+time.Hour, shown),
		"another box":                       event(0, `"a,b,c,d"`, `"a,b,c,e"`),
	} {
		if _, err := replay(lines); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
	var r Replayer
	for _, l := range rec.lines {
		if err := r.Take(l.Kind, l.At.Mono, l.Body); err != nil {
			t.Fatal(err)
		}
	}
	answer := arming.Answer{Step: arming.StepPrediction, Shown: hex.EncodeToString(sum[:])}
	said, err := digest(arming.Instant{}, answer, &r.State)
	if err != nil || r.bind(&eventBody{Digest: said}, arming.Instant{}, answer, nil) != nil {
		t.Fatal(err)
	}
	if r.Take(KindPrediction, last, []byte(`{"predict":{"go":true}}`)) == nil ||
		r.Take("close", last, nil) == nil || r.Take(KindPrediction, last, shown) != nil || r.Take("close", last, nil) != nil {
		t.Error("the accepted prediction is not bound to its entry")
	}
}

// TestLinesOutOfPlace are refused for where they stand.
func TestLinesOutOfPlace(t *testing.T) {
	p := plan(t)
	rec := wander(t, p, rand.New(rand.NewPCG(5, 5)), 20)
	planLine, start := rec.lines[0], rec.lines[1]
	for name, lines := range map[string][]Entry{
		"an event before the plan": {start},
		"two plans":                {planLine, planLine},
		"two starts":               {planLine, start, start},
		"a later event first":      {planLine, rec.lines[2]},
		"an unknown kind":          {planLine, {Kind: "launch", Body: []byte(`{}`)}},
		"a kind of old":            {planLine, start, {Kind: "answer", Body: []byte(`{}`)}}, // what a prediction was called once
		"taken up by no start":     {planLine, start, {Kind: "recovered"}, planLine, rec.lines[2]},
		"taken up as if new":       append(append([]Entry{}, rec.lines...), Entry{Kind: "recovered", Body: []byte(`{}`)}, grave(t)),
		"another time":             {planLine, {Kind: KindEvent, At: arming.Instant{Mono: time.Second}, Body: start.Body}},
	} {
		if _, err := replay(lines); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}

// grave is a start that claims more than the run before it.
func grave(t *testing.T) Entry {
	t.Helper()
	return Entry{Kind: KindEvent, Body: []byte(`{"at":[0,0],"event":"start","data":{"from":"RUN","hooked":true},"phase":"WAIT","line":"UNKNOWN"}`)}
}

// A drill's lines stand in practice alone, and behind the plan that says so.
func TestADrillIsNeverReal(t *testing.T) {
	for _, practice := range []bool{true, false} {
		p := plan(t)
		p.Practice = practice
		if !practice {
			p.WaitSpeed = 1
		}
		body, err := EncodePlan(p)
		if err != nil {
			t.Fatal(err)
		}
		var r Replayer
		if err := r.Take(KindDrill, 0, []byte(`{}`)); err == nil {
			t.Error("a drill before the plan")
		}
		if err := r.Take(KindPlan, 0, body); err != nil {
			t.Fatal(err)
		}
		if err := r.Take(KindDrill, 0, []byte(`{}`)); (err == nil) != practice {
			t.Errorf("practice %v: %v", practice, err)
		}
	}
}
