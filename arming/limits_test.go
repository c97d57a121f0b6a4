package arming

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"holdline/arming/groundbox/wire"
)

// The limits stand here as numbers, so that a changed constant shows. Each is
// tried to the millisecond: at it nothing has happened yet, past it
// the machine has acted; and each order is refused for each thing that is
// missing, at the moment it is given.

const moment = time.Millisecond

// after steps one event when so much time has passed on both clocks.
func (w *world) after(d time.Duration, ev Event) error {
	w.t.Helper()
	w.at = Instant{w.at.Mono + d, w.at.Wall + d}
	return w.do(ev)
}

// fast lets time pass in ticks that no rule on gaps minds, without readings.
func (w *world) fast(d time.Duration) {
	w.t.Helper()
	for ; d > 0; d -= 200 * time.Millisecond {
		if err := w.after(min(d, 200*time.Millisecond), Tick{}); err != nil {
			w.t.Fatal(err)
		}
	}
}

// The firing officer's entry waits 30 s for the code, not longer, with a tick
// in between or without. R-45.
func TestTheCodeHasThirtySeconds(t *testing.T) {
	w := in(t, ModeTyped, "entry")
	if err := w.after(30*time.Second, Code{Matched: true}); err != nil || w.s.Phase != Armed || w.s.ArmedBy != firing {
		t.Errorf("at 30 s: %v, armed by %q, %v", w.s.Phase, w.s.ArmedBy, err)
	}
	w = in(t, ModeTyped, "entry")
	if err := w.after(30*time.Second+moment, Code{Matched: true}); err == nil || !strings.Contains(err.Error(), "later than 30 s") || w.s.Phase != Ready || w.s.ArmEntry {
		t.Errorf("past 30 s: %v, entry %v, %v", w.s.Phase, w.s.ArmEntry, err)
	}
	w = in(t, ModeTyped, "entry")
	w.must(Code{})
	w.must(Code{})
	if w.after(30*time.Second, Tick{}); !w.s.ArmEntry {
		t.Error("the entry lapsed at 30 s")
	}
	if w.after(moment, Tick{}); w.s.ArmEntry || w.s.CodeTries != 2 {
		t.Errorf("past 30 s: entry %v, %d wrong codes", w.s.ArmEntry, w.s.CodeTries)
	}
}

// ARMED lasts its time, WINDOW its own, RUN 3 s, and the permit never longer
// than its limit. I-18.
func TestArmedWindowAndRunEnd(t *testing.T) {
	w := in(t, ModeTyped, "ARMED")
	w.fast(w.p.Times.Armed - (w.s.Now.Mono - w.s.Entered.Mono))
	w.phase(Armed)
	w.fast(moment)
	w.phase(Hold)

	w = in(t, ModeTyped, "WINDOW")
	w.fast(w.p.Times.Window - moment)
	w.phase(Window)
	w.fast(moment)
	w.phase(Wait)

	w = in(t, ModeTyped, "RUN")
	w.fast(3 * time.Second)
	w.phase(Run)
	w.fast(moment)
	w.phase(Wait)

	for _, name := range []string{"WINDOW", "RUN"} {
		w = in(t, ModeTyped, name)
		w.p.Times.Permit = 2 * time.Second
		w.fast(w.p.Times.Permit - (w.s.Now.Mono - w.s.PermitAt.Mono))
		w.phase(map[string]Phase{"WINDOW": Window, "RUN": Run}[name])
		w.fast(moment)
		w.phase(Wait)
	}
}

// From ARMED to RUN a gap of the ticks beyond 0.25 s stops; before and after it
// does not. Clocks that part by more than a second stop everywhere, either way.
//
func TestGapsAndPartedClocksToTheMillisecond(t *testing.T) {
	for _, name := range []string{"READY", "ARMED", "COUNT", "WINDOW", "RUN", "WAIT", "HOLD"} {
		w := in(t, ModeTyped, name)
		before := w.s.Phase
		w.after(250*time.Millisecond, Tick{})
		w.phase(before)
		w = in(t, ModeTyped, name)
		w.after(250*time.Millisecond+moment, Tick{})
		if stops := w.s.Phase != before; stops != (before >= Armed && before <= Run) {
			t.Errorf("a gap of %v in %v leads to %v", 250*time.Millisecond+moment, before, w.s.Phase)
		}
		if timed := w.s.Evidence[w.p.index(StepRangeClear)].Present; timed != (before < Armed || before > Run) {
			t.Errorf("after a gap in %v range clear is answered: %v", before, timed)
		}
	}
	for _, skew := range []time.Duration{time.Second, -time.Second} {
		w := in(t, ModeTyped, "READY")
		w.at.Wall += skew
		w.must(Tick{})
		w.phase(Ready)
		w.at.Wall += skew / 1000
		w.must(Tick{})
		w.phase(Hold)
	}
	w := in(t, ModeTyped, "SETUP")
	w.at.Wall += 5 * time.Second
	w.must(Tick{})
	w.typed("wind", 2)
	w.after(moment, Tick{})
	if !w.s.Evidence[w.p.index("wind")].Present {
		t.Error("an answer given after the clocks parted is withdrawn as well")
	}
	w = in(t, ModeTyped, "READY")
	w.at.Mono -= moment
	w.at.Wall -= moment
	w.must(Tick{})
	w.phase(Hold)
	if w.s.Now.Mono < w.at.Mono+moment {
		t.Errorf("the machine's time went back to %v", w.s.Now.Mono)
	}
}

// A line that waits is given 0.5 s. R-36.
func TestALineHasHalfASecond(t *testing.T) {
	w := in(t, ModeTyped, "READY")
	s, _, err := Step(w.p, w.s, w.at, ArmEntry{By: firing})
	if err != nil || s.Pending.Event == nil {
		t.Fatalf("%v", err)
	}
	if _, _, err := Step(w.p, s, w.at, ArmEntry{By: firing}); err == nil || !strings.Contains(err.Error(), "still being written") {
		t.Errorf("a second request while the first is being written: %v", err)
	}
	at := Instant{w.at.Mono + 500*time.Millisecond, w.at.Wall + 500*time.Millisecond}
	if got, _, _ := Step(w.p, s, at, Tick{}); got.Phase != Ready || got.NoRecord {
		t.Errorf("at 0.5 s: %v", got.Phase)
	}
	at.Mono, at.Wall = at.Mono+moment, at.Wall+moment
	got, _, _ := Step(w.p, s, at, Tick{})
	if got.Phase != Hold || !got.NoRecord || got.Pending.Event != nil {
		t.Errorf("past 0.5 s: %v, no record %v", got.Phase, got.NoRecord)
	}
	// The line that comes after all shows that the record works again.
	if got, _, err = Step(w.p, got, at, Written{s.Pending.Ticket}); err != nil || got.NoRecord || got.Phase != Hold || got.ArmEntry {
		t.Errorf("the line comes late: %v, no record %v, entry %v, %v", got.Phase, got.NoRecord, got.ArmEntry, err)
	}
	if _, _, err = Step(w.p, got, at, Written{s.Pending.Ticket}); err == nil {
		t.Error("one line is reported twice")
	}
}

// What was asked is looked at again when its line is on disk, and does not
// happen once the state has changed. R-36.
func TestWhatWaitedIsLookedAtAgain(t *testing.T) {
	w := in(t, ModeTyped, "READY")
	s, _, _ := Step(w.p, w.s, w.at, ArmEntry{By: firing})
	ticket := s.Pending.Ticket
	s, _, _ = Step(w.p, s, w.at, Withdraw{Step: StepRangeClear, Why: "somebody walks"})
	if s.Phase != Setup || s.Pending.Event != nil {
		t.Errorf("%v with %T waiting", s.Phase, s.Pending.Event)
	}
	if s, _, _ = Step(w.p, s, w.at, Written{ticket}); s.ArmEntry {
		t.Error("armed after the gate fell")
	}
	// The same where nothing but time has changed the answer.
	w = in(t, ModeTyped, "keyout")
	s, _, _ = Step(w.p, w.s, w.at, Resume{By: ranger})
	s, _, _ = Step(w.p, s, w.at, Say{FactKeyIn, ranger})
	s, fx, err := Step(w.p, s, w.at, Written{s.Pending.Ticket})
	if err != nil || s.Phase != Hold || !strings.Contains(fmt.Sprint(fx), "no longer possible") {
		t.Errorf("resumed with the key in: %v, %v, %v", s.Phase, fx, err)
	}
}

// An answer that has lapsed since the last tick refuses the order that rests
// on it..
func TestOrdersSeeWhatHasLapsedSinceTheLastTick(t *testing.T) {
	w := in(t, ModeTyped, "READY")
	if err := w.after(w.p.Times.RangeClear+time.Second, ArmEntry{By: firing}); err == nil || !strings.Contains(err.Error(), StepRangeClear) {
		t.Errorf("the entry: %v", err)
	}
	w.phase(Setup)
	w = in(t, ModeTyped, "ARMED")
	w.s.Evidence[w.p.index(StepStorm)] = Evidence{} // as no step can leave it
	if err := w.do(StartCount{By: firing}); err == nil || !strings.Contains(err.Error(), StepStorm) {
		t.Errorf("the count: %v", err)
	}
	w.phase(Hold)
}

// The count wants the key in. R-13.
func TestTheCountWantsTheKey(t *testing.T) {
	for _, mode := range []Mode{ModeBox, ModeTyped} {
		w := in(t, mode, "entry")
		w.must(Code{Matched: true})
		w.refused(StartCount{By: firing}, "the key is not in")
	}
}

// The count calls its marks, each once, and zero; the line before zero is asked
// for in the last second. R-43, I-27.
func TestTheCountCallsItsMarks(t *testing.T) {
	w := in(t, ModeTyped, "ARMED")
	w.p.Times.Count = 60 * time.Second
	for _, id := range []string{StepRangeClear, StepSpotter("north"), StepSpotter("south")} {
		w.s.Evidence[w.p.index(id)].At = Instant{w.at.Mono + time.Hour, w.at.Wall + time.Hour} // lasts
	}
	w.all = nil
	w.must(StartCount{By: firing})
	var calls []string
	asked := time.Duration(0)
	for w.s.Phase == Count {
		w.fast(100 * time.Millisecond)
		if has[Write](w.all) && asked == 0 && w.s.ZeroTicket != 0 {
			asked = w.s.ToZero()
		}
	}
	for _, f := range w.all {
		if c, ok := f.(Callout); ok {
			calls = append(calls, c.Text)
		}
	}
	if got := strings.Join(calls, " "); got != "60 30 20 10 5 4 3 2 1 zero" {
		t.Errorf("called %q", got)
	}
	if asked == 0 || asked > time.Second {
		t.Errorf("the line before zero was asked for %v before it", asked)
	}
	w.phase(Window)
}

// Zero wants a reading of the last 0.3 s before it and the line of the last
// second on disk. I-02, I-27.
func TestZeroWantsAFreshReadingAndItsLine(t *testing.T) {
	for _, silent := range []time.Duration{300 * time.Millisecond, 300*time.Millisecond + moment} {
		w := in(t, ModeBox, "COUNT")
		w.pass(w.s.ToZero() - time.Second)
		w.fast(w.s.ToZero() - silent)
		w.look() // the last
		w.fast(w.s.ToZero())
		want := Window
		if silent > 300*time.Millisecond {
			want = Hold
		}
		w.phase(want)
	}
	w := in(t, ModeTyped, "COUNT")
	w.fast(w.s.ToZero() - time.Second - moment)
	s, at := w.s, w.at
	for s.Phase == Count {
		at = Instant{at.Mono + 100*time.Millisecond, at.Wall + 100*time.Millisecond}
		s, _, _ = Step(w.p, s, at, Tick{}) // no line reaches the disk
	}
	if s.Phase != Hold || !s.NoRecord || at.Mono < w.s.ZeroAt.Mono {
		t.Errorf("zero without its line: %v, no record %v", s.Phase, s.NoRecord)
	}
}

// Each stage of the contact proof has its time: two minutes for a hand, three
// seconds for the permit, one for the watchdog. R-16.
func TestTheProofEndsByTime(t *testing.T) {
	stages := []struct {
		stage ProofStage
		limit time.Duration
		fault bool
		next  func(w *world)
	}{
		{ProofKeyOut, 2 * time.Minute, false, func(w *world) { w.pass(200 * time.Millisecond); w.battery(12.4) }},
		{ProofKeyIn, 2 * time.Minute, false, func(w *world) { w.key(true) }},
		{ProofPermit, 3 * time.Second, true, func(w *world) { w.look() }},
		{ProofWatchdog, time.Second, true, func(w *world) {
			w.permit = false
			w.must(BoxEvents{wire.EventWatchdog})
			w.look()
		}},
		{ProofKeyBack, 2 * time.Minute, false, nil},
	}
	w := in(t, ModeBox, "PROOF")
	for _, st := range stages {
		if w.s.Proof != st.stage {
			t.Fatalf("stage %v, want %v", w.s.Proof, st.stage)
		}
		c := *w
		c.at = Instant{c.s.ProofSince.Mono + st.limit, c.s.ProofSince.Wall + st.limit}
		c.must(Tick{})
		c.phase(Proof)
		c.after(moment, Tick{})
		c.phase(Setup)
		if c.s.BoxFault != st.fault || c.s.PermitWanted || c.s.Proof != ProofNone {
			t.Errorf("%v past its time: box fault %v, permit wanted %v", st.stage, c.s.BoxFault, c.s.PermitWanted)
		}
		if st.next != nil {
			st.next(w)
		}
	}
	w.key(false)
	w.phase(Setup)
	if ok, why := w.s.Stands(w.p, w.p.index(StepProof)); !ok {
		t.Error(why)
	}
}

// The wait counts a step of a second, by the slower clock, and no longer one.
// I-19, R-32.
func TestTheWaitCountsByTheSlowerClock(t *testing.T) {
	w := in(t, ModeTyped, "WAIT")
	w.circuitOff()
	w.must(Say{FactAtRest, firing})
	full := w.p.Times.Wait
	w.after(time.Second, Tick{})
	if w.s.WaitLeft != full-time.Second {
		t.Errorf("after 1 s: %v left", w.s.WaitLeft)
	}
	w.at.Mono += time.Second
	w.at.Wall += time.Second / 2
	w.must(Tick{})
	if w.s.WaitLeft != full-1500*time.Millisecond {
		t.Errorf("after 0.5 s of the slower clock: %v left", w.s.WaitLeft)
	}
	w.after(time.Second+moment, Tick{})
	if w.s.WaitLeft != full {
		t.Errorf("after a step of more than 1 s: %v left", w.s.WaitLeft)
	}
}

// The box has a second to show that no pulse began. R-01.
func TestNoPulseHasASecond(t *testing.T) {
	w := in(t, ModeBox, "WINDOW")
	w.must(HoldCall{})
	c := *w
	if err := c.after(time.Second, c.reading()); err != nil || c.s.NoPulse != NoPulseOpened {
		t.Errorf("at 1 s: stage %v, %v", c.s.NoPulse, err)
	}
	c.look()
	c.phase(Hold)
	c = *w
	c.after(time.Second, Tick{})
	if c.s.NoPulse != NoPulseAsked {
		t.Errorf("at 1 s without a reading: stage %v", c.s.NoPulse)
	}
	c.after(moment, Tick{})
	if c.s.NoPulse != NoPulseNone {
		t.Errorf("past 1 s: stage %v", c.s.NoPulse)
	}
}

// What the box said counts for 2 s, what a person said for its own time. R-05.
func TestFactsGrowOld(t *testing.T) {
	order := OpenLine{By: ranger, Key: forward}
	order.Names[0] = forward
	w := in(t, ModeBox, "shunted")
	if err := w.after(2*time.Second, order); err != nil {
		t.Errorf("at 2 s: %v", err)
	}
	w = in(t, ModeBox, "shunted")
	if err := w.after(2*time.Second+moment, order); err == nil || !strings.Contains(err.Error(), "not known") {
		t.Errorf("past 2 s: %v", err)
	}
	for _, fact := range []Fact{FactKeyOut, FactBatteryOff, FactBusDead} {
		w := in(t, ModeTyped, "done")
		for _, f := range []Fact{FactKeyOut, FactBatteryOff, FactBusDead} {
			w.must(Say{f, ranger})
		}
		w.at.Mono += w.p.Times.Typed
		w.at.Wall += w.p.Times.Typed
		w.must(Tick{})
		c := *w
		c.must(GoForward{By: ranger, Person: forward})
		for _, f := range []Fact{FactKeyOut, FactBatteryOff, FactBusDead} {
			if f != fact {
				w.must(Say{f, ranger})
			}
		}
		if err := w.after(moment, GoForward{By: ranger, Person: forward}); err == nil || !strings.Contains(err.Error(), "not known") {
			t.Errorf("fact %d past its time: %v", fact, err)
		}
	}
}
