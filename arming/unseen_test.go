package arming

import (
	"strings"
	"testing"
	"time"
)

// What happens between two readings, while nobody reads, and what reads
// neither one thing nor the other.

// A press that no reading shows and no event bit tells is in the box's count.
// I-29.
func TestAPressBetweenTwoReadingsIsAPress(t *testing.T) {
	for _, c := range []struct {
		situation string
		phase     Phase
		line      Line
	}{
		{"forward", Setup, LineUnknown}, {"PROOF", Setup, LineClosed}, {"READY", Hold, LineClosed}, {"entry", Hold, LineClosed},
		{"ARMED", Hold, LineClosed}, {"COUNT", Hold, LineClosed}, {"WINDOW", Run, LineClosed}, {"over", Wait, LineClosed},
		{"MAKESAFE", Wait, LineUnknown}, {"HOLD", Hold, LineClosed},
	} {
		w := in(t, ModeBox, c.situation)
		w.box.Presses++
		w.look()
		if w.s.Phase != c.phase || w.s.Line != c.line {
			t.Errorf("%s: %v with the line %v, want %v and %v", c.situation, w.s.Phase, w.s.Line, c.phase, c.line)
		}
		if c.situation == "over" && w.s.WaitLeft != w.p.Times.Wait {
			t.Errorf("over: %v of the wait left after a press", w.s.WaitLeft)
		}
	}
}

// Presses that the box knew before the program did are no press now.
func TestThePressesOfYesterdayAreNoPress(t *testing.T) {
	w := &world{t: t, p: testPlan(ModeBox)}
	w.box = Box{Key: ContactOpen, Pole1: ContactOpen, Pole2: ContactOpen, Presses: 7, Pulses: 3}
	w.must(Start{})
	w.must(BoxUp{Identity: "test box", Practice: true, Channels: 2})
	w.look()
	for _, f := range w.all {
		if n, is := f.(Notice); is && n.Loud {
			t.Errorf("said aloud at the start: %s", n.Text)
		}
	}
}

// Three wrong codes are a HOLD, also when the firing officer arms anew in between.
//
func TestWrongCodesCountOverEntries(t *testing.T) {
	w := in(t, ModeTyped, "entry")
	w.must(Code{})
	w.must(Code{})
	w.pass(31 * time.Second)
	w.phase(Ready)
	w.must(ArmEntry{By: firing})
	w.must(Code{})
	w.phase(Hold)
	if !strings.Contains(w.s.HoldWhy, "three wrong codes") || w.s.CodeTries != 0 {
		t.Errorf("held for %q, %d tries kept", w.s.HoldWhy, w.s.CodeTries)
	}
}

// Two entries just as far apart as they may be agree, whatever their decimal
// fractions are in binary.
func TestEntriesJustSoFarApartAgree(t *testing.T) {
	for k := range 1000 {
		a := float64(k+100) / 1000
		b := float64(k+110) / 1000
		if !agree(a, b, 0.01) || !agree(b, a, 0.01) {
			t.Errorf("%v and %v are 0.010 apart, and do not agree", a, b)
		}
		if c := float64(k+111) / 1000; agree(a, c, 0.01) {
			t.Errorf("%v and %v are 0.011 apart, and agree", a, c)
		}
	}
}

// Clocks that part slowly, as a wall clock that is being set right does, stop
// nothing however long it lasts; a jump stops. R-31.
func TestSlowClocksPartWithoutEnd(t *testing.T) {
	w := in(t, ModeTyped, "")
	for range 3600 * 5 { // an hour at 5 Hz and 400 ppm: 1.4 s in all
		w.at.Mono += 200 * time.Millisecond
		w.at.Wall += 200*time.Millisecond + 80*time.Microsecond
		w.must(Tick{})
	}
	for _, f := range w.all {
		if n, is := f.(Notice); is && strings.Contains(n.Text, "parted") {
			t.Fatalf("after %v: %s", w.s.Now.Mono, n.Text)
		}
	}
	w.at.Mono += 50 * time.Millisecond
	w.at.Wall += 1200 * time.Millisecond
	w.must(Tick{})
	if !strings.Contains(tail(w.all), "parted by") {
		t.Error("a jump of 1.15 s was taken for a slow clock")
	}
}

// With people forward whatever does not read dead calls back: 0.45 V over
// 0.8 ohm is 0.56 A, where 0.15 A may light nothing. A reversed battery is a
// battery.
func TestNotDeadCallsBack(t *testing.T) {
	between, reversed := Volt{LevelBetween, 450}, Volt{LevelLive, -12400}
	for _, c := range []struct {
		name  string
		spoil func(r *BoxReading)
	}{
		{"bus between", func(r *BoxReading) { r.Box.Bus = between }},
		{"bus not read", func(r *BoxReading) { r.Box.Bus = Volt{} }},
		{"bus reversed", func(r *BoxReading) { r.Box.Bus = reversed }},
		{"battery between", func(r *BoxReading) { r.Box.Battery = between }},
		{"battery reversed", func(r *BoxReading) { r.Box.Battery = reversed }},
		{"battery not read", func(r *BoxReading) { r.Box.Battery = Volt{} }},
	} {
		for _, situation := range []string{"forward", "MAKESAFE"} {
			w := in(t, ModeBox, situation)
			r := w.reading()
			c.spoil(&r)
			w.must(r)
			if w.s.Line != LineUnknown || !strings.Contains(tail(w.all), "EVERYONE BACK") {
				t.Errorf("%s in %s: line %v, %s", c.name, situation, w.s.Line, tail(w.all))
			}
		}
	}
}

// With the box lost nobody reads what hands do: who is forward comes back, and
// the dead check is made again, though nothing be left to see of a battery that
// was joined meanwhile. So it is when it only falls silent.
func TestALostBoxCallsBackAndVoidsTheDeadCheck(t *testing.T) {
	w := in(t, ModeBox, "forward")
	w.must(BoxLost{"cable"})
	if w.s.Line != LineUnknown || !strings.Contains(tail(w.all), "EVERYONE BACK") {
		t.Errorf("lost: line %v, %s", w.s.Line, tail(w.all))
	}
	w.must(BoxUp{Identity: "test box", Practice: true, Channels: 2})
	w.look()
	if ok, _ := w.s.Stands(w.p, w.p.index(StepDead)); ok {
		t.Error("a dead check from before the cable was pulled stands")
	}
	w = in(t, ModeBox, "forward")
	w.at.Mono += 2100 * time.Millisecond
	w.at.Wall += 2100 * time.Millisecond
	w.must(Tick{})
	if w.s.Line != LineUnknown {
		t.Errorf("silent for 2.1 s: line %v", w.s.Line)
	}
	w = in(t, ModeBox, "READY") // the battery is joined: from here on the bus is read all the time
	w.must(BoxLost{"cable"})
	if !w.s.Evidence[w.p.index(StepDead)].Present {
		t.Error("with the battery joined and all behind the line the dead check fell")
	}
}

// A permit that closes though nobody wants it voids the contact proof, holds
// from READY on, and calls back. It is said until it reads open. R-24.
func TestAPermitThatClosesByItself(t *testing.T) {
	for situation, want := range map[string]Phase{"shunted": Setup, "forward": Setup, "READY": Hold, "ARMED": Hold, "COUNT": Hold,
		"over": Wait, "MAKESAFE": Wait, "keyout": Hold} {
		w := in(t, ModeBox, situation)
		w.permit = true
		w.look()
		if w.s.Phase != want || !w.s.BoxFault || !w.s.PermitStuck || w.s.Line == LineOpen {
			t.Errorf("%s: %v, fault %v, stuck %v, line %v", situation, w.s.Phase, w.s.BoxFault, w.s.PermitStuck, w.s.Line)
		}
		if ok, _ := w.s.Stands(w.p, w.p.index(StepProof)); ok {
			t.Errorf("%s: the contact proof stands", situation)
		}
		w.permit = false
		w.look()
		if w.s.PermitStuck {
			t.Errorf("%s: said to be stuck though it reads open", situation)
		}
	}
	w := in(t, ModeBox, "WINDOW")
	w.look()
	if w.s.PermitStuck {
		t.Error("a permit that is wanted is called stuck")
	}
}

// A relay that has welded does not keep the crew from making safe: key and
// battery, both off, each open the loop. The line opens for no hook-up on it.
func TestMakingSafeWithAWeldedRelay(t *testing.T) {
	w := in(t, ModeBox, "over")
	w.permit = true
	w.look()
	w.waited()
	w.box.Battery.Millivolt = 12400
	w.look()
	w.refused(GoForward{By: ranger, Person: forward}, "battery is not known to be off")
	w.box.Battery.Millivolt = 0
	w.look()
	w.must(GoForward{By: ranger, Person: forward})
	w.phase(MakeSafe)
	w.madeSafe()
	w.must(AllClear{By: ranger})
	w.phase(Closed)
	if why := strings.Join(w.s.NotSafe(w.p), ", "); !strings.Contains(why, "permit not open") {
		t.Errorf("a welded relay is called safe: %q", why)
	}
	w = in(t, ModeBox, "shunted")
	w.permit = true
	w.look()
	w.refused(OpenLine{By: ranger, Names: names(forward), Key: forward}, "contact-proof")
}

// HOLD tells what took the answer away, not that it is missing.
func TestHoldTellsWhatTookTheAnswerAway(t *testing.T) {
	w := in(t, ModeBox, "ARMED")
	r := w.reading()
	r.Box.Channel[1] = Ohm{Kind: OhmOpen}
	w.must(r)
	w.phase(Hold)
	if !strings.Contains(w.s.HoldWhy, "channel 2 reads open") {
		t.Errorf("held for %q", w.s.HoldWhy)
	}
}

// What a box read before it was lost is not known any more, however short ago.
func TestALostBoxReadsNothing(t *testing.T) {
	w := in(t, ModeBox, "READY")
	w.must(BoxLost{"cable"})
	w.phase(Hold)
	if err := w.do(Resume{By: ranger}); err == nil {
		t.Error("resumed on a key that was read out before the box was lost")
	}
	if why := w.s.NotSafe(w.p); len(why) != 1 || why[0] != "no fresh answer from the box" {
		t.Errorf("not safe, for %q", why)
	}
}
