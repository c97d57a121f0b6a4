package drill

import (
	"strings"
	"testing"
	"time"

	"holdline/arming"
)

// stage is a director before a state that the test sets.
type stage struct {
	t    *testing.T
	d    *Director
	s    arming.State
	b    Bench
	came []Order
}

func newStage(t *testing.T, surprises ...Surprise) *stage {
	t.Helper()
	return &stage{t: t, d: NewDirector(Plan{Seed: 1, Surprises: surprises}, firing(t))}
}

// pass lets time pass in ticks of a tenth of a second.
func (x *stage) pass(d time.Duration) {
	for end := x.s.Now.Mono + d; x.s.Now.Mono < end; {
		x.s.Now.Mono += 100 * time.Millisecond
		x.came = append(x.came, x.d.Tick(&x.s, x.b)...)
	}
}

// none and one say what has been ordered since the last look.
func (x *stage) none(what string) {
	x.t.Helper()
	if len(x.came) > 0 {
		x.t.Fatalf("%s: %+v", what, x.came)
	}
}

func (x *stage) one(what string) Order {
	x.t.Helper()
	if len(x.came) != 1 {
		x.t.Fatalf("%s: %+v, want one order", what, x.came)
	}
	o := x.came[0]
	x.came = nil
	return o
}

func TestASurpriseWaitsForItsPhase(t *testing.T) {
	for _, c := range []struct {
		s  Surprise
		to func(*arming.State)
	}{
		{Surprise{Kind: BatteryForward, Phase: arming.Setup}, func(s *arming.State) { s.Line, s.Hooked = arming.LineOpen, true }},
		{Surprise{Kind: SpotterHold, Phase: arming.Ready}, func(s *arming.State) { s.Phase = arming.Ready }},
		{Surprise{Kind: EarlyButton, Phase: arming.Armed}, func(s *arming.State) { s.Phase, s.KeyInArmed = arming.Armed, true }},
		{Surprise{Kind: Intruder, Phase: arming.Count}, func(s *arming.State) { s.Phase = arming.Count }},
		{Surprise{Kind: Walker, Phase: arming.Wait}, func(s *arming.State) { s.Phase, s.AtRest, s.WaitLeft = arming.Wait, true, time.Minute }},
		{Surprise{Kind: Smoke, Phase: arming.MakeSafe, Motor: 2}, func(s *arming.State) {
			s.Phase, s.Line, s.Hooked = arming.MakeSafe, arming.LineOpen, true
		}},
	} {
		c.s.After = 2 * time.Second
		x := newStage(t, c.s)
		x.pass(10 * time.Second)
		x.none(string(c.s.Kind) + " out of its phase")
		c.to(&x.s)
		x.pass(1900 * time.Millisecond)
		x.none(string(c.s.Kind) + " too early")
		x.pass(500 * time.Millisecond)
		o := x.one(string(c.s.Kind))
		if !o.Begins || o.Number != 1 || o.JoinBattery != (c.s.Kind == BatteryForward) || o.Press != (c.s.Kind == EarlyButton) {
			t.Errorf("%s: %+v", c.s.Kind, o)
		}
		x.pass(time.Minute)
		x.none(string(c.s.Kind) + " again")
	}
}

func TestTheKeyHasToBeInBeforeTheButtonMatters(t *testing.T) {
	x := newStage(t, Surprise{Kind: EarlyButton, Phase: arming.Armed})
	x.s.Phase = arming.Armed
	x.pass(30 * time.Second)
	x.none("with the key out")
}

func TestAFaultIsTakenBackWhenSomebodyHasSeenToIt(t *testing.T) {
	x := newStage(t, Surprise{Kind: IgniterOpen, Phase: arming.Count, Motor: 3}, Surprise{Kind: Intruder, Phase: arming.Count})
	x.s.Phase = arming.Count
	x.pass(100 * time.Millisecond)
	if o := x.one("open"); o.Fault != "open:3" {
		t.Errorf("%+v", o)
	}
	x.pass(time.Minute)
	x.none("nothing else comes while it is open")
	x.s.Phase, x.s.Line = arming.Setup, arming.LineOpen
	x.pass(100 * time.Millisecond)
	if o := x.one("mended"); o.Clear != "open:3" || !o.Over || !strings.Contains(o.Heard, "motor 3") {
		t.Errorf("%+v", o)
	}
	x.s.Phase, x.s.Line = arming.Count, arming.LineClosed
	x.pass(4 * time.Second)
	x.none("the next one comes at once")
	x.pass(2 * time.Second)
	if o := x.one("the next one"); o.Number != 2 {
		t.Errorf("%+v", o)
	}
}

// A line that was open for less than a tick shows by the hook-up's new answer.
func TestAShortVisitMendsALead(t *testing.T) {
	x := newStage(t, Surprise{Kind: IgniterOpen, Phase: arming.Ready, Motor: 1})
	x.s.Phase = arming.Ready
	x.pass(time.Second)
	x.came = nil
	x.s.Phase = arming.Setup
	for i, st := range x.d.p.Steps {
		if st.ID == arming.StepHookUp {
			x.s.Evidence[i] = arming.Evidence{Present: true, At: x.s.Now}
		}
	}
	x.pass(100 * time.Millisecond)
	x.one("mended")
}

func TestABatteryIsWeakUntilItIsTakenOff(t *testing.T) {
	x := newStage(t, Surprise{Kind: WeakBattery, Phase: arming.Ready})
	x.s.Phase, x.b.BatteryOffs, x.b.Joined = arming.Ready, 2, true
	x.pass(time.Second)
	x.one("weak")
	x.pass(time.Minute)
	x.none("still joined")
	x.b.BatteryOffs = 3
	x.pass(100 * time.Millisecond)
	x.none("taken off and joined again before anybody could change it")
	x.b.BatteryOffs, x.b.Joined = 4, false
	x.pass(100 * time.Millisecond)
	if o := x.one("off"); o.Clear != "weak-battery" {
		t.Errorf("%+v", o)
	}
}

// A box that is frozen or dumb must answer again: nobody can end a drill
// before it does.
func TestABoxAnswersAgain(t *testing.T) {
	for kind, fault := range map[Kind]string{SilentBox: "mute", FrozenBox: "freeze"} {
		x := newStage(t, Surprise{Kind: kind, Phase: arming.Count})
		x.s.Phase = arming.Count
		x.pass(100 * time.Millisecond)
		if o := x.one(fault); o.Fault != fault {
			t.Errorf("%+v", o)
		}
		x.s.Phase = arming.Hold
		x.pass(silentFor - time.Second)
		x.none(fault + " taken back at once")
		x.pass(2 * time.Second)
		if o := x.one(fault); o.Clear != fault || !o.Over {
			t.Errorf("%+v", o)
		}
	}
}

// A frozen box comes last of what may come before the window, whatever the
// order in which phases are reached.
func TestAFrozenBoxComesLast(t *testing.T) {
	x := newStage(t, Surprise{Kind: SpotterHold, Phase: arming.Ready}, Surprise{Kind: FrozenBox, Phase: arming.Count})
	x.s.Phase = arming.Count
	x.pass(30 * time.Second)
	x.none("frozen before the spotter")
	x.s.Phase = arming.Ready
	x.pass(time.Second)
	x.one("the spotter")
	x.s.Phase = arming.Count
	x.pass(10 * time.Second)
	if o := x.one("frozen"); o.Fault != "freeze" {
		t.Errorf("%+v", o)
	}
}

func TestWhatTheMotorsDoIsToldWhenItShows(t *testing.T) {
	x := newStage(t, Surprise{Kind: Misfire, Phase: arming.Run, Motor: 2, After: time.Second}, Surprise{Kind: LateLight, Phase: arming.Run, Motor: 4, Late: 5 * time.Second})
	x.s.Phase = arming.Count
	x.pass(5 * time.Second)
	x.none("before the window")
	x.s.Phase = arming.Window
	x.pass(100 * time.Millisecond)
	if len(x.came) != 2 || x.came[0].Fault != "dark:2" || x.came[1].Fault != "late-light:4=5" || x.came[0].Begins {
		t.Fatalf("%+v", x.came)
	}
	x.came = nil
	x.pass(8 * time.Second)
	x.none("nobody has pressed")
	x.s.Phase, x.b.Fired[1], x.b.Fired[3] = arming.Run, true, true
	x.pass(900 * time.Millisecond)
	x.none("too early to be sure")
	x.pass(500 * time.Millisecond)
	if o := x.one("dark"); o.Number != 1 || !o.Begins {
		t.Errorf("%+v", o)
	}
	x.s.Phase = arming.Wait
	x.pass(3 * time.Second)
	x.none("it has not lit yet")
	x.b.Lit[3] = true
	x.pass(100 * time.Millisecond)
	if o := x.one("late"); o.Number != 2 || !o.Begins {
		t.Errorf("%+v", o)
	}
	if x.d.arrived() != 2 {
		t.Errorf("%d came", x.d.arrived())
	}
}

// arrived counts the surprises that have come.
func (d *Director) arrived() int {
	n := 0
	for _, h := range d.how {
		if h >= on {
			n++
		}
	}
	return n
}
