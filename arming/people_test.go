package arming

import (
	"strings"
	"testing"
	"time"

	"holdline/arming/groundbox/wire"
	"holdline/checklist"
)

// After 'everyone back' those who went forward are counted too, signed on or
// not, before and after a restart. R-06.
func TestEveryoneBackCountsThoseWhoWent(t *testing.T) {
	w := newWorld(t, ModeBox)
	w.crew()
	w.proof()
	w.must(Answer{Step: "dead-check", Means: MeansBox})
	w.typed("stray-current", 0)
	w.words("shunt-on", "clip across")
	w.must(SignOn{Name: forward, Role: checklist.HookUpPerson})
	w.must(OpenLine{By: ranger, Names: names(forward, firing+" "), Key: forward})
	w.must(HoldCall{})
	w.refused(CloseLine{By: ranger, Count: 4}, "4 counted, 5")
	w.must(CloseLine{By: ranger, Count: 5})

	s, _, _ := Step(w.p, State{}, Instant{}, Start{From: Setup, Hooked: true, Forward: [checklist.MaxPosts]string{forward}})
	for _, a := range []Answer{{Step: "crew/firing officer", Words: firing}, {Step: "crew/range officer", Words: ranger}} {
		s, _, _ = Step(w.p, s, Instant{}, a)
		s, _, _ = Step(w.p, s, Instant{}, Written{s.Tickets})
	}
	if _, _, err := Step(w.p, s, Instant{}, CloseLine{By: ranger, Count: 2}); err == nil {
		t.Error("closed by two with a third forward")
	}
	if s, _, err := Step(w.p, s, Instant{}, CloseLine{By: ranger, Count: 3}); err != nil || s.Line != LineClosed {
		t.Errorf("three of three: %v", err)
	}
}

// A key or button seen with the line OPEN calls everyone back, whatever was
// said before it opened. I-29.
func TestEarlyHandsCallBackEachTime(t *testing.T) {
	w := newWorld(t, ModeBox)
	w.crew()
	w.proof()
	w.shunt()
	w.must(BoxEvents{wire.EventButtonEarly})
	w.must(OpenLine{By: ranger, Names: [checklist.MaxPosts]string{forward}, Key: forward})
	w.key(true)
	if w.s.Line != LineUnknown {
		t.Errorf("line %v with the key in", w.s.Line)
	}
}

// The line opens only by the range officer with key out, battery off, permit
// open and bus dead, each fresh, shunt on, contacts proved, names and key
// holder given..
func TestLineOpensOnlyOnAProvedDeadCircuit(t *testing.T) {
	names := [checklist.MaxPosts]string{forward}
	good := OpenLine{By: ranger, Names: names, Key: forward}
	ready := func() *world { return in(t, ModeBox, "shunted") }
	for _, c := range []struct {
		name, text string
		spoil      func(w *world) OpenLine
	}{
		{"by another", "range officer", func(w *world) OpenLine { return OpenLine{By: firing, Names: names, Key: forward} }},
		{"nobody named", "pocket", func(w *world) OpenLine { return OpenLine{By: ranger, Key: forward} }},
		{"key left behind", "pocket", func(w *world) OpenLine { return OpenLine{By: ranger, Names: names, Key: ranger} }},
		{"named twice", "twice", func(w *world) OpenLine {
			return OpenLine{By: ranger, Names: [checklist.MaxPosts]string{forward, forward}, Key: forward}
		}},
		{"range officer goes", "stays", func(w *world) OpenLine {
			return OpenLine{By: ranger, Names: [checklist.MaxPosts]string{ranger}, Key: ranger}
		}},
		{"key in", "key", func(w *world) OpenLine { w.key(true); return good }},
		{"battery", "battery", func(w *world) OpenLine { w.battery(12.4); return good }},
		{"stale", "not known", func(w *world) OpenLine { w.at.Mono += 3 * time.Second; w.at.Wall += 3 * time.Second; return good }},
		{"box lost", "dead-check", func(w *world) OpenLine { w.must(BoxLost{"cable"}); return good }},
		{"box fault", "contact-proof", func(w *world) OpenLine { w.must(BoxEvents{wire.EventWelded}); return good }},
		{"dead check old", "dead-check", func(w *world) OpenLine { w.pass(11 * time.Minute); return good }},
		{"no shunt", "shunt", func(w *world) OpenLine { w.s.Shunted = false; return good }},
	} {
		w := ready()
		ev := c.spoil(w)
		err := w.do(ev)
		if err == nil || !strings.Contains(err.Error(), c.text) || w.s.Line == LineOpen {
			t.Errorf("%s: line %v, refusal %v, want %q", c.name, w.s.Line, err, c.text)
		}
	}
	w := ready()
	w.must(good)
	if w.s.Line != LineOpen {
		t.Fatal("the line opens when all is as it should be")
	}
	w.refused(CloseLine{By: ranger, Count: 2}, "2 counted, 1 went forward")
	w.must(CloseLine{By: ranger, Count: 1})
}

// The battery joined while people are forward is the loudest notice. R-12.
func TestBatteryJoinedWithPeopleForward(t *testing.T) {
	w := newWorld(t, ModeBox)
	w.crew()
	w.proof()
	w.shunt()
	w.openLine()
	w.all = nil
	w.battery(12.4)
	loud := false
	for _, f := range w.all {
		n, ok := f.(Notice)
		loud = loud || ok && n.Loud && strings.Contains(n.Text, "battery joined, people forward")
	}
	if !loud || w.s.Line != LineUnknown {
		t.Errorf("loud %v, line %v", loud, w.s.Line)
	}
}

// The key goes in after both have armed; at any other time it is a HOLD, and
// so is its going out. R-13.
func TestKeyGoesInAfterBothHaveArmed(t *testing.T) {
	prepared := func() *world {
		w := newWorld(t, ModeBox)
		w.crew()
		w.proof()
		w.hookUp()
		w.gates()
		return w
	}
	w := prepared()
	w.key(true)
	w.phase(Hold)
	w = prepared()
	w.must(ArmEntry{By: firing})
	w.key(true)
	w.phase(Hold)
	w = prepared()
	w.arm()
	w.key(false)
	w.phase(Hold)
	w = prepared()
	w.arm()
	w.must(StartCount{By: firing})
	w.key(false)
	w.phase(Hold)
	w = prepared()
	w.arm()
	w.must(StartCount{By: firing})
	w.button(true)
	w.phase(Hold)
}

// One person does not arm alone; three wrong codes are a HOLD; the pair is made
// within 30 s..
func TestTwoPeopleArm(t *testing.T) {
	w := newWorld(t, ModeBox)
	w.words("crew/firing officer", firing)
	w.refused(Answer{Step: "crew/range officer", Words: " ines  HALVORSEN "}, "two people")
	w = newWorld(t, ModeBox)
	w.crew()
	w.proof()
	w.hookUp()
	w.gates()
	w.refused(ArmEntry{By: ranger}, "not the firing officer")
	w.refused(Code{Matched: true}, "follows")
	w.must(ArmEntry{By: firing})
	w.pass(31 * time.Second)
	w.refused(Code{Matched: true}, "follows")
	w.must(ArmEntry{By: firing})
	w.must(Code{})
	w.must(Code{})
	w.phase(Ready)
	w.must(Code{})
	w.phase(Hold)
}

// A change of range officer drops every gate. R-14.
func TestHandOverDropsEveryGate(t *testing.T) {
	w := newWorld(t, ModeBox)
	w.crew()
	w.proof()
	w.hookUp()
	w.gates()
	w.words("crew/range officer", "Ada Brandt")
	for i, st := range w.p.Steps {
		if st.Phase > checklist.Briefing && w.s.Evidence[i].Present {
			t.Errorf("%s outlived the hand-over", st.ID)
		}
	}
	w.phase(Setup)
}

// The test current is off when a snapshot that came after it shows so: one from
// before the lease, still fresh, shows nothing (R-06, found by the independent
// model).
func TestTheLineStaysClosedUntilTheTestCurrentIsReadOff(t *testing.T) {
	w := newWorld(t, ModeBox)
	w.toWindow()
	w.button(true)
	w.button(false)
	w.phase(Wait)
	w.key(false)
	w.battery(0)
	w.must(HoldCall{}) // everyone back: the lease ends with the line
	w.must(Say{FactAtRest, firing})
	w.pass(w.p.Times.Wait - time.Second/2)
	if w.lease || w.s.TestCurrent {
		t.Fatal("test current with the line UNKNOWN")
	}
	w.must(CloseLine{By: ranger, Count: 5})
	if !w.lease {
		t.Fatal("no lease in WAIT with the line CLOSED")
	}
	// The cable stalls: no snapshot comes, and the OFF at the end of the wait
	// does not arrive.
	for w.s.WaitLeft > 0 {
		w.at.Mono += 50 * time.Millisecond
		w.at.Wall += 50 * time.Millisecond
		w.must(Tick{})
	}
	w.refused(GoForward{By: ranger, Person: forward}, "test current is not yet off")
	w.look()
	w.must(GoForward{By: ranger, Person: forward})
}

// Only people who have signed on go forward, and hold the key; a new name signs
// on first, with a role. A spotter stays at the post.
func TestOnlyTheCrewGoesForward(t *testing.T) {
	w := in(t, ModeBox, "shunted")
	order := func(name string) OpenLine { return OpenLine{By: ranger, Names: names(name), Key: name} }
	w.refused(order("Juno Falk"), "Juno Falk has not signed on")
	w.refused(order("nora"), "spotter and stays at the post")
	w.refused(SignOn{Name: "Juno Falk", Role: checklist.Spotter}, "signs on at the briefing")
	w.refused(SignOn{Name: " nora", Role: checklist.HookUpPerson}, "signed on as spotter")
	w.must(SignOn{Name: " Juno Falk ", Role: checklist.HookUpPerson})
	w.must(order("juno falk"))
	w.must(CloseLine{By: ranger, Count: 1})
	w.must(HoldCall{})
	w.refused(CloseLine{By: ranger, Count: 5}, "5 counted, 6 signed on") // Juno Falk stands behind the line too

	w = in(t, ModeBox, "over")
	w.refused(GoForward{By: ranger, Person: "Sven"}, "spotter and stays at the post")
	w.refused(GoForward{By: ranger, Person: "Juno Falk"}, "has not signed on")
	w.must(SignOn{Name: "Juno Falk", Role: checklist.HookUpPerson})
	w.must(GoForward{By: ranger, Person: "Juno Falk"})

	w = in(t, ModeBox, "shunted")
	for k := range checklist.MaxPosts - 1 { // one has signed on already
		w.must(SignOn{Name: "Helper " + string(rune('A'+k)), Role: checklist.HookUpPerson})
	}
	w.refused(SignOn{Name: "One Toomany", Role: checklist.HookUpPerson}, "nobody more")
}
