package arming

import (
	"strings"
	"testing"
	"time"
)

// afterTheWait is a firing whose wait is over, nobody forward.
func afterTheWait(t *testing.T) *world {
	t.Helper()
	w := newWorld(t, ModeBox)
	w.toWindow()
	w.button(true)
	w.igniter = false
	w.button(false)
	w.key(false)
	w.battery(0)
	w.must(Say{FactAtRest, "Nora"})
	w.pass(61 * time.Second)
	return w
}

// One named person goes forward, with everybody counted back before, on a
// circuit proved dead, and never the range officer..
func TestOnePersonGoesForwardWithEverybodyBack(t *testing.T) {
	good := GoForward{By: ranger, Person: forward}
	for _, c := range []struct {
		name, text string
		spoil      func(w *world) GoForward
	}{
		{"nobody named", "one person is named", func(*world) GoForward { return GoForward{By: ranger, Person: " "} }},
		{"range officer", "stays at the line", func(*world) GoForward { return GoForward{By: ranger, Person: " tomas  ekwall "} }},
		{"by another", "range officer", func(*world) GoForward { return GoForward{By: firing, Person: forward} }},
		{"battery on", "battery", func(w *world) GoForward { w.battery(12.4); return good }},
		{"stale", "not known", func(w *world) GoForward {
			w.at.Mono += 900 * time.Millisecond
			w.at.Wall += 900 * time.Millisecond
			w.must(BoxLost{"cable"})
			return good
		}},
		{"somebody forward", "OPEN", func(w *world) GoForward { w.must(good); return good }},
	} {
		w := afterTheWait(t)
		ev := c.spoil(w)
		line := w.s.Line
		err := w.do(ev)
		if err == nil || w.s.Line != line || !strings.Contains(err.Error(), c.text) && c.name != "stale" {
			t.Errorf("%s: line %v, refusal %v, want %q", c.name, w.s.Line, err, c.text)
		}
	}
	// Once the line is not known, everybody is counted before anyone goes, in
	// the wait as well as after it.
	w := afterTheWait(t)
	w.must(HoldCall{})
	w.must(Say{FactAtRest, "Nora"})
	w.pass(61 * time.Second)
	w.refused(good, "count everyone back first")
	w.must(CloseLine{By: ranger, Count: 5})
	w.must(good)
	w.phase(MakeSafe)
}

// The all clear needs every motor inspected, the leads shunted, everybody
// back, key out, battery off, the ground looked over and a result. R-10.
func TestTheAllClearLacksNothing(t *testing.T) {
	w := afterTheWait(t)
	w.must(GoForward{By: ranger, Person: forward})
	w.must(Inspect{Motor: 1, Found: "burned out", By: forward})
	w.refused(Inspect{Motor: 2, Found: "ok", By: forward}, "say what is seen")
	lacks := func(text string) {
		t.Helper()
		if got := strings.Join(w.s.AllClearMissing(w.p), "; "); !strings.Contains(got, text) {
			t.Errorf("missing %q, want %q in it", got, text)
		}
		if err := w.do(AllClear{By: ranger}); err == nil || w.s.Phase != MakeSafe {
			t.Errorf("%q is missing, and the all clear is taken: %v", text, w.s.Phase)
		}
	}
	lacks("motor 2 is LIVE")
	w.must(Inspect{Motor: 2, Found: "unlit, its igniter out", By: forward})
	lacks("leads are not shunted")
	w.must(Say{FactShunted, forward})
	lacks("the line is OPEN")
	w.must(CloseLine{By: ranger, Count: 1})
	lacks("for fire")
	w.must(Say{FactFireWatched, ranger})
	lacks("no result")
	w.must(Result{Words: "nobody measured"})
	w.battery(12.4)
	lacks("the battery is not known to be off")
	w.battery(0)
	lacks("motors-used: not answered")
	w.counts(2, 2, 2, 3)
	w.must(AllClear{By: ranger})
	w.phase(Closed)
}

// A motor that was seen to light and conducts afterwards is not known, and the
// wait begins anew..
func TestAMotorSeenToLightThatConductsIsNotKnown(t *testing.T) {
	w := newWorld(t, ModeBox)
	w.toWindow()
	w.button(true)
	w.igniter = false
	w.button(false)
	w.key(false)
	w.pass(time.Second) // every channel reads open
	w.must(Observe{Motor: 0, Fate: FateSaidLit, By: "Nora"})
	w.must(Say{FactAtRest, "Nora"})
	w.pass(10 * time.Second)
	if w.s.Fate[0] != FateSaidLit || w.s.WaitLeft == w.p.Times.Wait {
		t.Fatalf("%v, %v left", w.s.Fate[0], w.s.WaitLeft)
	}
	w.igniter = true
	w.pass(100 * time.Millisecond)
	if w.s.Fate[0] != FateUnknown || w.s.WaitLeft < w.p.Times.Wait-time.Second {
		t.Errorf("a motor that conducts after all: %v, %v left", w.s.Fate[0], w.s.WaitLeft)
	}
}
