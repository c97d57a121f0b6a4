package arming

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"holdline/checklist"
)

// randomEvent draws any event of people, box and program, mostly with the
// right names, so that it gets far.
func randomEvent(t *rapid.T, w *world) Event {
	by := rapid.SampledFrom([]string{firing, ranger, forward, "Nora", ""})
	right := rapid.IntRange(0, 9).Draw(t, "right") > 0
	pick := func(name string) string {
		if right {
			return name
		}
		return by.Draw(t, "by")
	}
	switch rapid.IntRange(0, 31).Draw(t, "event") {
	case 0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11:
		if c := w.s.Cursor(w.p); c >= 0 {
			return w.goodAnswer(c)
		}
		return ArmEntry{By: pick(firing)}
	case 12:
		return OpenLine{By: pick(ranger), Names: [checklist.MaxPosts]string{forward}, Key: forward}
	case 13:
		n := 4
		if w.s.Line == LineOpen {
			n = w.s.Crew.forward()
		}
		return CloseLine{By: pick(ranger), Count: n + rapid.IntRange(0, 1).Draw(t, "off")*rapid.IntRange(0, 1).Draw(t, "by one")}
	case 14:
		return StartProof{}
	case 15:
		return ArmEntry{By: pick(firing)}
	case 16, 17:
		return Code{Matched: right}
	case 18, 19:
		return StartCount{By: pick(firing)}
	case 20:
		return HoldCall{}
	case 21:
		return Resume{By: pick(ranger)}
	case 22:
		return Scrub{By: pick(ranger), Why: "enough"}
	case 23:
		return Say{rapid.SampledFrom([]Fact{FactAtRest, FactMovement, FactShunted, FactFireWatched, FactKeyOut, FactKeyIn, FactPressed}).Draw(t, "fact"), "Nora"}
	case 24:
		return Observe{rapid.IntRange(0, 2).Draw(t, "motor"), rapid.SampledFrom([]Fate{FateDark, FateSaidLit, FateInspected}).Draw(t, "fate"), "Nora"}
	case 25:
		return GoForward{By: pick(ranger), Person: forward}
	case 26:
		return Inspect{rapid.IntRange(1, 2).Draw(t, "motor"), "burned out", pick(forward)}
	case 27:
		return Result{RestM: 130, HasRest: true}
	case 28:
		return AllClear{By: pick(ranger)}
	case 29:
		return BasisLeft{"wind left its range"}
	case 30:
		return randomDoubt(t)
	}
	return Withdraw{Step: rapid.SampledFrom(coreSteps(w.p)).Draw(t, "step"), Why: "taken back"}
}

func randomDoubt(t *rapid.T) Event {
	return rapid.SampledFrom([]Event{BoxLost{"unplugged"}, PermitStuck{}, FocusLost{}, Stalled{"screen"}, RecordFailed{"disk full"},
		BoxEvents{BitWelded}, BoxEvents{BitEarly}, BoxEvents{BitKeyPulled}, BoxEvents{BitRestarted}, BoxEvents{BitWatchdog},
		BoxUp{Identity: "test box", Practice: true, Channels: 2}, BoxUp{Practice: false, Channels: 2}, Written{Ticket: 1}, Written{Ticket: 9999},
		Quit{"ctrl-c"}, Start{From: Run}}).Draw(t, "doubt")
}

// goodAnswer is the answer that step i wants.
func (w *world) goodAnswer(i int) Event {
	st := &w.p.Steps[i]
	a := Answer{Step: st.ID, Means: MeansSaid, Words: "seen: all as it should be"}
	switch st.Kind {
	case checklist.KindName:
		a.Words = map[string]string{StepFiringOfficer: firing, StepRangeOfficer: ranger, StepKeyHeld: ranger}[st.ID]
		if a.Words == "" {
			a.Words = "name of " + st.Post
		}
	case checklist.KindAccept, checklist.KindSecret, checklist.KindQuantity:
		a.Means, a.Value = MeansTyped, (st.Band.Low+min(st.Band.High, st.Band.Low+4))/2
		a.Again = a.Value
	case checklist.KindProof:
		return StartProof{}
	case checklist.KindLine:
		return CloseLine{By: ranger, Count: max(w.s.Crew.forward(), 1)}
	}
	if st.Match != "" {
		a.Words = st.Match
	}
	if st.CallWord {
		a.Words = w.s.CallWord(i) + ", " + a.Words
	}
	return a
}

// tryTo steps an event that may well be refused.
func (w *world) tryTo(ev Event) {
	before := w.s
	if err := w.do(ev); err != nil && w.s.Hooked != before.Hooked {
		w.t.Fatalf("a refused %T changed the state: %v", ev, err)
	}
}

// handTick moves the hands of the world and lets time pass.
func handTick(t *rapid.T, w *world) {
	switch rapid.IntRange(0, 11).Draw(t, "hand") {
	case 0:
		w.box.Key = ContactOpen
	case 1, 2:
		w.box.Key = ContactClosed
	case 3:
		w.box.Battery.Millivolt = 0
	case 4:
		w.box.Battery.Millivolt = 12400
	case 5:
		w.box.Pole1, w.box.Pole2 = ContactClosed, ContactClosed
		w.box.Presses++
	case 6, 7:
		w.box.Pole1, w.box.Pole2 = ContactOpen, ContactOpen
	case 8:
		w.igniter = w.s.Hooked
	}
	step := rapid.SampledFrom([]time.Duration{50 * time.Millisecond, 100 * time.Millisecond, 240 * time.Millisecond, time.Second}).Draw(t, "step")
	w.at.Mono += step
	w.at.Wall += step
	if rapid.IntRange(0, 40).Draw(t, "jump") == 0 {
		w.at.Wall += 5 * time.Second
	}
	w.tryTo(Tick{})
	if rapid.IntRange(0, 9).Draw(t, "silent") > 0 {
		w.look()
	}
}

// TestRandomFirings drives whole firings and every kind of trouble, and holds
// each edge against the invariants.
func TestRandomFirings(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) { randomFiring(rt, t, 400) })
}

func randomFiring(rt *rapid.T, t *testing.T, steps int) {
	w := newWorld(t, ModeBox)
	w.t = t
	switch rapid.IntRange(0, 4).Draw(rt, "begin") {
	case 1:
		w.crew()
	case 2:
		w.crew()
		w.proof()
	case 3:
		w.crew()
		w.proof()
		w.hookUp()
	case 4:
		w.toWindow()
	}
	for range steps {
		if rapid.Bool().Draw(rt, "time") {
			handTick(rt, w)
		} else {
			w.tryTo(randomEvent(rt, w))
		}
		w.checkStands()
	}
}
