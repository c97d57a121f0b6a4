package session

import (
	"context"
	"io"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"holdline/arming"
	"holdline/arming/groundbox"
	"holdline/arming/groundbox/practice"
	"holdline/arming/record"
	"holdline/checklist/sheet/scenario"
)

// plug is a port with a box behind it that can be exchanged.
type plug struct {
	t   testing.TB
	box atomic.Pointer[practice.Box]
}

func (p *plug) in(serial string, channels int) *practice.Box {
	p.t.Helper()
	sh, err := scenario.Open()
	if err != nil {
		p.t.Fatal(err)
	}
	problem := sh.Circuit()
	problem.Igniters = problem.Igniters[:channels]
	box, err := practice.New(practice.Config{Problem: problem, Serial: serial})
	if err != nil {
		p.t.Fatal(err)
	}
	p.box.Store(box)
	return box
}

func (p *plug) dial(ctx context.Context) (io.ReadWriteCloser, error) { return p.box.Load().Dial(ctx) }

func (p *plug) fault(b *practice.Box, text string) (mend func()) {
	p.t.Helper()
	f, err := practice.ParseFault(text)
	if err != nil {
		p.t.Fatal(err)
	}
	if err := b.SetFault(f); err != nil {
		p.t.Fatal(err)
	}
	return func() { b.ClearFault(f) }
}

// counting is a driver in COUNT with a real link to the plug. Its plan has no
// steps, so that nothing but the link can end COUNT.
func counting(t testing.TB, p *plug) *driver {
	t.Helper()
	sh, err := scenario.Open()
	if err != nil {
		t.Fatal(err)
	}
	plan := newPlan(sh, arming.ModeBox, true, 6)
	plan.Steps = nil
	s := &session{o: Options{Version: "test"}, sheet: sh, plan: plan, practice: true, mode: arming.ModeBox}
	c := clock{opened: time.Now()}
	w, err := record.Create(quietDir(t), s.header(), c.opened)
	if err != nil {
		t.Fatal(err)
	}
	rec := newRecorder(w, signing{})
	if err := rec.plan(plan, c); err != nil {
		t.Fatal(err)
	}
	box, err := openBox(context.Background(), groundbox.Config{Dial: p.dial, Port: "/dev/ttyACM0", RequirePractice: true, WantChannels: plan.Motors}, sh, nil)
	if err != nil {
		t.Fatal(err)
	}
	d := newDriver(plan, box.port(), rec, c, hooks{})
	go d.run(arming.Start{})
	t.Cleanup(func() {
		d.stop("the test is over", 5*time.Second)
		box.close()
		rec.release()
		if d.failure != nil && !strings.Contains(d.failure.Error(), "sign") {
			t.Error(d.failure)
		}
	})
	p.box.Load().Hands().Key(true) // its sense current shows pole 1
	until(t, d, "a reading", func(s *arming.State) bool {
		return s.Box.Key == arming.ContactClosed && s.Box.Pole1 == arming.ContactOpen
	})
	d.ask(func() {
		at, _ := d.clock.now()
		st := &d.state
		st.Phase, st.Line, st.Hooked, st.Entered, st.ZeroAt = arming.Count, arming.LineClosed, true, at, at
		st.ZeroAt.Mono += 50 * time.Second
		st.Crew.Firing, st.Crew.Range, st.ArmEntry, st.CodeOK, st.KeyInArmed = firing, ranger, true, true, true
	})
	until(t, d, "COUNT", func(s *arming.State) bool { return s.Phase == arming.Count })
	return d
}

func until(t testing.TB, d *driver, what string, ok func(*arming.State) bool) *arming.State {
	t.Helper()
	for end := time.Now().Add(15 * time.Second); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		if f := d.latest.Load(); f != nil && ok(&f.State) {
			return &f.State
		}
	}
	f := d.latest.Load()
	t.Fatalf("%s did not come: %v %q, link %q, box %+v", what, f.State.Phase, f.State.HoldWhy, f.LinkText, f.State.Box)
	return nil
}

// stopped is HOLD, or the WAIT that a circuit needs which nobody watched for a
// while: the box began anew.
func stopped(s *arming.State) bool { return s.Phase == arming.Hold || s.Phase == arming.Wait }

// TestWhatTheLinkMayMeetHoldsInOneSentence: each way in which cable, box and
// adapter can fail ends COUNT in HOLD, says why in plain words, and is over when
// its cause is: readings come again, and the stop stays until people end it.
func TestWhatTheLinkMayMeetHoldsInOneSentence(t *testing.T) {
	for name, c := range map[string]struct {
		fail func(*plug, *practice.Box) (mend func())
		say  string // one of these, between bars: what is seen first differs
	}{
		"cable pulled": {func(p *plug, b *practice.Box) func() { return p.fault(b, "unplug") }, "unplugged"},
		"mute box":     {func(p *plug, b *practice.Box) func() { return p.fault(b, "mute") }, "3 bad answers in a row"},
		"frozen box":   {func(p *plug, b *practice.Box) func() { return p.fault(b, "freeze") }, "3 bad answers in a row"},
		"noise":        {func(p *plug, b *practice.Box) func() { return p.fault(b, "noise:100") }, "bad answers"},
		"restart":      {func(p *plug, b *practice.Box) func() { p.fault(b, "freeze")(); return func() {} }, "began anew|its controller restarted"},
		"another program": {func(_ *plug, b *practice.Box) func() {
			b.Input([]byte("SYST:OWN 0BADF00D\n"))
			return func() {}
		}, "another program"},
		"another box under the same name": {func(p *plug, b *practice.Box) func() {
			p.in("0002", 4)
			p.fault(b, "unplug")
			return func() {}
		}, "unplugged"},
		"a box of three channels": {func(p *plug, b *practice.Box) func() {
			p.in("0003", 3)
			p.fault(b, "unplug")
			return func() { p.in("0001", 4) }
		}, "unplugged"},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				p := &plug{t: t}
				b := p.in("0001", 4)
				d := counting(t, p)
				mend := c.fail(p, b)
				held := until(t, d, "a stop", func(s *arming.State) bool { return s.Phase != arming.Count })
				if !stopped(held) || !slices.ContainsFunc(strings.Split(c.say, "|"), func(say string) bool { return strings.Contains(held.HoldWhy, say) }) {
					t.Errorf("%v says %q, want HOLD to say %q", held.Phase, held.HoldWhy, c.say)
				}
				if name == "a box of three channels" {
					seesWrongBox(t, d)
				}
				mend()
				again := until(t, d, "a reading after it", func(s *arming.State) bool {
					return s.Box.Up && s.Box.Seen.Mono > held.Now.Mono+300*time.Millisecond
				})
				if !stopped(again) || again.ArmEntry || again.CodeOK {
					t.Errorf("after it: %v, entry %v, code %v: want a stop and nobody armed", again.Phase, again.ArmEntry, again.CodeOK)
				}
			})
		})
	}
}

// A cable that is pulled while the permit is closed is what people are told, not
// that the link let the permit go for it.
func TestACablePulledInTheWindowIsTheReasonTold(t *testing.T) {
	for fault, says := range map[string]string{"unplug": "unplugged", "mute": "no answer from the box"} {
		synctest.Test(t, func(t *testing.T) {
			p := &plug{t: t}
			b := p.in("0001", 4)
			d := counting(t, p)
			d.ask(func() { d.state.ZeroAt.Mono = d.state.Now.Mono + time.Second })
			until(t, d, "the permit", func(s *arming.State) bool {
				d.frameAsked()
				return s.Box.Permit == arming.ContactClosed && s.PermitWanted
			})
			p.fault(b, fault)
			why := until(t, d, "its end", func(s *arming.State) bool { d.frameAsked(); return !s.PermitWanted }).HoldWhy
			if !strings.Contains(why, says) || strings.Contains(why, "late") {
				t.Errorf("%s: %q", fault, why)
			}
		})
	}
}

// seesWrongBox waits until the link says what is wrong with the box that it
// found.
func seesWrongBox(t testing.TB, d *driver) {
	t.Helper()
	for end := time.Now().Add(10 * time.Second); !strings.Contains(d.latest.Load().LinkText, "3 channels and the sheet uses channel 4"); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("the link says %q", d.latest.Load().LinkText)
		}
	}
}
