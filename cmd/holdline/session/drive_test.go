package session

import (
	"context"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"holdline/arming"
	"holdline/checklist"
	"holdline/tui"
)

// crew is a session without its screen: the test plays the cockpit, and the
// hands at the practice box.
type crew struct {
	t    testing.TB
	s    *session
	cfg  tui.Config
	stop func()

	dark  int  // motor that is said to have stayed dark, 0 for none
	smoke bool // smoke is seen while a person is forward
}

// newCrew opens the embedded scenario with the practice box.
func newCrew(t testing.TB, dir string, change func(*Options)) *crew {
	t.Helper()
	o := Options{RecordDir: dir, Settings: t.TempDir(), Version: "test", PracticeWait: 2 * time.Second,
		In: os.Stdin, Out: devNull(t)}
	if change != nil {
		change(&o)
	}
	if err := o.complete(); err != nil {
		t.Fatal(err)
	}
	sh, err := o.load()
	if err != nil {
		t.Fatal(err)
	}
	signer, err := openSigner(o.KeyFile, o.Settings)
	if err != nil {
		t.Fatal(err)
	}
	s := &session{o: o, sheet: sh, compute: quick, pipe: true}
	if err := s.openDevices(context.Background()); err != nil {
		t.Fatal(err)
	}
	first, err := s.openRecord(signer)
	if err != nil {
		s.closeDevices()
		t.Fatal(err)
	}
	c := &crew{t: t, s: s}
	s.start(first)
	c.cfg = s.config()
	beat := time.NewTicker(50 * time.Millisecond)
	over := make(chan struct{})
	go func() { // the screen's tick
		for {
			select {
			case <-over:
				return
			case <-beat.C:
				c.cfg.Latest()
			}
		}
	}()
	stopped := false
	c.stop = func() {
		if stopped {
			return
		}
		stopped = true
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		if err := s.stop(ctx, "the test is over"); err != nil {
			t.Errorf("stop: %v", err)
		}
		beat.Stop()
		close(over)
		s.closeDevices()
	}
	t.Cleanup(c.stop)
	return c
}

// quietDir is a temporary folder on a disk that nobody else keeps busy, where
// the system has one: what is tested here holds when a line is not on disk
// within half a second, and other tests must not be the reason.
func quietDir(t testing.TB) string {
	t.Helper()
	dir, err := os.MkdirTemp("/dev/shm", "holdline-test-")
	if err != nil {
		return t.TempDir()
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	return dir
}

func devNull(t testing.TB) *os.File {
	t.Helper()
	f, err := os.OpenFile(os.DevNull, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	return f
}

// state is the machine's newest state, without asking for a frame.
func (c *crew) state() arming.State {
	if f := c.s.driver.latest.Load(); f != nil {
		return f.State
	}
	return arming.State{}
}

func (c *crew) frame() tui.Frame {
	if f := c.s.driver.latest.Load(); f != nil {
		return *f
	}
	return tui.Frame{}
}

// until waits for a condition and fails with what the screen would say.
func (c *crew) until(what string, within time.Duration, ok func(arming.State) bool) {
	c.t.Helper()
	for end := time.Now().Add(within); time.Now().Before(end); time.Sleep(10 * time.Millisecond) {
		if ok(c.state()) {
			return
		}
	}
	c.t.Fatalf("%s did not come within %v; %s", what, within, c.say())
}

// say tells where the firing stands.
func (c *crew) say() string {
	f := c.frame()
	var b strings.Builder
	fmt.Fprintf(&b, "%v line %v cursor %d refusal %q %q\n", f.State.Phase, f.State.Line, f.State.Cursor(c.s.plan), f.Refusal.Why, f.Refusal.Remedy)
	for i, l := range f.State.Blockers(c.s.plan) {
		if i < 4 {
			fmt.Fprintf(&b, "  blocked: %s\n", l.Why)
		}
	}
	for _, l := range f.Log {
		fmt.Fprintf(&b, "  log: %s\n", l.Text)
	}
	fmt.Fprintf(&b, "  box %+v\n", f.State.Box)
	return b.String()
}

func (c *crew) phase(p arming.Phase, within time.Duration) {
	c.t.Helper()
	c.until(p.String(), within, func(s arming.State) bool { return s.Phase == p })
}

// send asks for something and waits until it has happened.
func (c *crew) send(ev arming.Event, done func(arming.State) bool) {
	c.t.Helper()
	c.ask(fmt.Sprintf("%#v", ev), func() { c.cfg.Submit(ev) }, done)
}

// ask does something and waits until it has the effect. Where it was turned
// down it is done again, as by a person who was told why: what it needs may have
// moved a moment before, or be read too late once.
func (c *crew) ask(what string, do func(), done func(arming.State) bool) {
	c.t.Helper()
	asked := c.s.driver.clock.mono()
	do()
	c.until(what, 6*time.Second, func(s arming.State) bool {
		if done(s) {
			return true
		}
		if c.turnedDown(asked) && c.s.driver.clock.mono()-asked > 300*time.Millisecond {
			asked = c.s.driver.clock.mono()
			do()
		}
		return false
	})
}

// turnedDown reports whether what was asked for at an instant was refused, at
// once or when its line was on disk.
func (c *crew) turnedDown(asked time.Duration) bool {
	f := c.frame()
	if f.Refusal.Why != "" && f.Refusal.At.Mono >= asked {
		return true
	}
	for _, l := range f.Log {
		if l.Wall.Sub(c.s.driver.clock.opened) >= asked && (strings.HasPrefix(l.Text, "no longer possible") || strings.HasPrefix(l.Text, "not done")) {
			return true
		}
	}
	return false
}

// move moves a hand as the screen's keys do, if it is not there already.
func (c *crew) move(is, want bool, h tui.Hand) {
	if is != want {
		c.cfg.Move(h)
	}
}

func (c *crew) key(in bool)     { c.move(c.s.trainer.State().KeyIn, in, tui.HandKey) }
func (c *crew) battery(on bool) { c.move(c.s.trainer.State().BatteryJoined, on, tui.HandBattery) }
func (c *crew) igniters(on bool) {
	c.move(c.s.trainer.State().Igniters, on, tui.HandIgniters)
}
func (c *crew) shunt(on bool) { c.move(c.s.trainer.State().Shunt, on, tui.HandShunt) }
func (c *crew) button(down bool) {
	h := tui.HandButtonUp
	if down {
		h = tui.HandButtonDown
	}
	c.move(c.s.trainer.State().Button, down, h)
}

// crew members.
const (
	firing = "Ada Finch"
	ranger = "Ben Wick"
	code   = "plover"
)

// answer answers step i as a good crew would.
func (c *crew) answer(i int) {
	c.t.Helper()
	switch c.s.plan.Steps[i].Kind {
	case checklist.KindSecret:
		c.cfg.SetCode(code)
	case checklist.KindAccept:
		c.until("the prediction", 30*time.Second, func(arming.State) bool { return c.frame().Run != nil && c.frame().Circuit != nil })
	}
	f := c.frame()
	ev, _ := goodAnswer(c.s, &f, i)
	c.send(ev, func(s arming.State) bool { return s.Evidence[i].Present })
}

// goodAnswer is what a good crew answers to step i, as far as it is known yet.
func goodAnswer(s *session, f *tui.Frame, i int) (ev arming.Answer, known bool) {
	st := &s.plan.Steps[i]
	ev = arming.Answer{Step: st.ID, Means: arming.MeansSaid}
	switch st.Kind {
	case checklist.KindName:
		ev.Words = map[string]string{arming.StepFiringOfficer: firing, arming.StepRangeOfficer: ranger, arming.StepKeyHeld: ranger}[st.ID]
		if ev.Words == "" {
			ev.Words = "Spotter of " + st.Post
		}
	case checklist.KindQuantity:
		ev.Value, ev.Means = (st.Band.Low+st.Band.High)/2, arming.MeansTyped
		if st.Whole {
			ev.Value = st.Band.Low
		}
		if st.ID == "wind" && f.Drill != nil && f.Drill.WindMps != nil {
			ev.Value = *f.Drill.WindMps
		}
		ev.Again = ev.Value
	case checklist.KindSecret:
		ev.Value = float64(len(code))
	case checklist.KindAccept:
		return ev, f.Run != nil && f.Circuit != nil
	case checklist.KindWords:
		ev.Words = "grass short, gate shut, nobody there"
		if st.Match != "" {
			ev.Words = st.Match
		}
		if st.CallWord {
			ev.Words = f.State.CallWord(i) + ", " + ev.Words
		}
	}
	return ev, true
}

// hook sends the firing officer forward.
func (c *crew) openLine() {
	c.t.Helper()
	ev := arming.OpenLine{By: ranger, Key: firing}
	ev.Names[0] = firing
	c.currentOff()
	c.send(ev, func(s arming.State) bool { return s.Line == arming.LineOpen })
}

// currentOff waits until the box no longer measures.
func (c *crew) currentOff() {
	c.t.Helper()
	c.until("test current off", 7*time.Second, func(s arming.State) bool {
		return s.Box.Channel[0].Kind == arming.OhmNotMeasured && !s.LeaseWanted && !s.TestCurrent
	})
}

func (c *crew) closeLine(count int) {
	c.t.Helper()
	c.send(arming.CloseLine{By: ranger, Count: count}, func(s arming.State) bool { return s.Line == arming.LineClosed })
}

// people is how many signed on.
func (c *crew) people() int { return 2 + len(c.s.plan.Posts) }

// proof goes through the contact proof with the hands.
func (c *crew) proof() {
	c.t.Helper()
	c.battery(true)
	c.send(arming.StartProof{}, func(s arming.State) bool { return s.Phase == arming.Proof })
	c.until("key asked for", 5*time.Second, func(s arming.State) bool { return s.Proof >= arming.ProofKeyIn || s.Phase != arming.Proof })
	c.key(true)
	c.until("key asked back", 6*time.Second, func(s arming.State) bool { return s.Proof == arming.ProofKeyBack || s.Phase != arming.Proof })
	c.key(false)
	c.phase(arming.Setup, 4*time.Second)
	c.battery(false)
	c.until("battery off", 3*time.Second, func(s arming.State) bool { return s.Box.Battery.Level == arming.LevelDead })
}

// toReady answers everything.
func (c *crew) toReady() {
	c.t.Helper()
	for range 80 {
		if c.state().Phase == arming.Ready {
			return
		}
		if !c.oneStep() {
			c.until("READY, or a step that has to be answered again", 3*time.Second, func(s arming.State) bool {
				return s.Phase == arming.Ready || s.Cursor(c.s.plan) >= 0
			})
		}
	}
	c.t.Fatalf("READY was not reached: %s", c.say())
}

// oneStep does what is at hand, and reports whether anything was.
func (c *crew) oneStep() bool {
	c.t.Helper()
	s := c.state()
	i := s.Cursor(c.s.plan)
	if i < 0 {
		return false
	}
	st := &c.s.plan.Steps[i]
	if s.Line == arming.LineUnknown && s.Crew.Spotter[len(c.s.plan.Posts)-1] != "" {
		c.closeLine(c.people())
	}
	switch st.ID {
	case arming.StepProof:
		c.proof()
		return true
	case arming.StepShuntOn:
		c.shunt(true)
	case arming.StepHookUp:
		if s.Line != arming.LineOpen {
			c.openLine()
		}
		c.igniters(true)
	case arming.StepLine:
		c.closeLine(1)
		return true
	case arming.StepShuntOff:
		c.shunt(false)
	case arming.StepContinuity(1):
		c.until("a scan", 5*time.Second, func(s arming.State) bool { return s.Box.Channel[0].Kind == arming.OhmValue })
	case arming.StepBattery:
		c.battery(true)
		c.until("the battery", 3*time.Second, func(s arming.State) bool { return s.Box.Battery.Millivolt > 1000 })
	}
	c.answer(i)
	return true
}

// toArmed arms, both people.
func (c *crew) toArmed() {
	c.t.Helper()
	c.send(arming.ArmEntry{By: firing}, func(s arming.State) bool { return s.ArmEntry })
	c.ask("ARMED", func() { c.cfg.TryCode(code) }, func(s arming.State) bool { return s.Phase == arming.Armed })
	c.key(true)
	c.until("key in", 3*time.Second, func(s arming.State) bool { return s.KeyInArmed })
}

// toWindow counts down.
func (c *crew) toWindow() {
	c.t.Helper()
	c.send(arming.StartCount{By: firing}, func(s arming.State) bool { return s.Phase == arming.Count })
	c.phase(arming.Window, c.s.plan.Times.Count+2*time.Second)
	c.until("the permit", time.Second, func(s arming.State) bool { return s.Box.Permit == arming.ContactClosed })
}

// toClosed waits, makes safe and ends the firing.
func (c *crew) toClosed() {
	c.t.Helper()
	c.button(false)
	c.until("the permit open", time.Second, func(s arming.State) bool { return s.Box.Permit == arming.ContactOpen })
	c.key(false)
	c.until("the key out", 2*time.Second, func(s arming.State) bool { return s.Box.Key == arming.ContactOpen })
	if c.state().Line != arming.LineClosed {
		c.closeLine(c.people())
	}
	c.send(arming.Observe{Fate: arming.FateSaidLit, By: firing}, func(s arming.State) bool { return s.Fate[0] == arming.FateSaidLit })
	if c.dark > 0 {
		c.send(arming.Observe{Motor: c.dark, Fate: arming.FateMisfire, By: firing}, func(s arming.State) bool { return s.Fate[c.dark-1] == arming.FateMisfire })
	}
	c.waitAndGo()
	if c.smoke {
		c.until("smoke", 10*time.Second, func(arming.State) bool { return c.frame().Drill.Heard != "" })
		c.cfg.Submit(arming.HoldCall{})
		c.phase(arming.Wait, time.Second)
		c.closeLine(c.people())
		c.waitAndGo()
	}
	for m := range c.s.plan.Motors {
		found := "burned out"
		if m+1 == c.dark {
			found = "unlit, igniter out"
		}
		c.send(arming.Inspect{Motor: m + 1, Found: found, By: firing}, func(s arming.State) bool { return s.Fate[m] == arming.FateInspected })
	}
	c.send(arming.Say{Fact: arming.FactShunted, By: firing}, func(s arming.State) bool { return s.MakeSafe.Shunted })
	c.closeLine(1)
	c.send(arming.Say{Fact: arming.FactFireWatched, By: firing}, func(s arming.State) bool { return s.MakeSafe.FireWatched })
	c.send(arming.Result{RestM: 131, HasRest: true, Words: "straight"}, func(s arming.State) bool { return s.ResultIn })
	after := c.state()
	for _, i := range after.CountsDue(c.s.plan) {
		if st := &c.s.plan.Steps[i]; !after.Evidence[i].Present {
			n := 0.0 // as many were brought as the vehicle takes, and no more
			if !st.Counted() {
				n = float64(c.s.plan.Motors)
			}
			c.send(arming.Answer{Step: st.ID, Value: n, Again: n, Means: arming.MeansTyped}, func(s arming.State) bool { return s.Evidence[i].Present })
		}
	}
	c.send(arming.AllClear{By: ranger}, func(s arming.State) bool { return s.Phase == arming.Closed })
	c.until("the record closed", 5*time.Second, func(arming.State) bool { return c.frame().Record.Closed })
}

// waitAndGo waits in full and sends one person forward.
func (c *crew) waitAndGo() {
	c.t.Helper()
	if !c.state().AtRest {
		c.send(arming.Say{Fact: arming.FactAtRest, By: firing}, func(s arming.State) bool { return s.AtRest })
	}
	c.until("the end of the wait", c.s.plan.Times.Wait+5*time.Second, func(s arming.State) bool { return s.WaitLeft == 0 })
	c.battery(false)
	c.until("battery off", 3*time.Second, func(s arming.State) bool { return s.Box.Battery.Level == arming.LevelDead })
	c.currentOff()
	c.send(arming.GoForward{By: ranger, Person: firing}, func(s arming.State) bool { return s.Line == arming.LineOpen })
}
