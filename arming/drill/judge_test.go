package drill

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"holdline/arming"
	"holdline/arming/record/journal"
)

const s = time.Second

// after is an act so long after the surprise, which comes at 100 s.
func after(d time.Duration, ev arming.Event) act {
	return act{at: 100*s + d, event: ev, hands: hands{true, true}}
}

func hand(d time.Duration, h Hand) act {
	return act{at: 100*s + d, hand: h, hands: hands{true, true}}
}

func refused(a act, why string) act { a.refused = why; return a }
func off(a act) act                 { a.battery = false; return a }

// turned is a change of the phase.
func turned(d time.Duration, to arming.Phase) turn {
	return turn{at: 100*s + d, to: to, why: "a gate fell"}
}

// cases are what a crew may do after a surprise, and the verdicts in the order
// of its rules. "" is a rule that does not apply.
var cases = []struct {
	what  string
	kind  Kind
	acts  []act
	turns []turn
	want  []Verdict
}{
	{"hold, named, resumed", SpotterHold, []act{after(2*s, arming.HoldCall{}), after(8*s, arming.HoldBy{Name: "nia  moss"}), after(20*s, arming.Resume{})},
		[]turn{turned(2*s, arming.Hold)}, []Verdict{Right, Right, Right}},
	{"the key pulled", SpotterHold, []act{hand(s, KeyOut)}, nil, []Verdict{Right, Right, ""}},
	{"too late", SpotterHold, []act{after(6*s, arming.HoldCall{})}, nil, []Verdict{Late, Right, Open}},
	{"nobody stops, and somebody fires", SpotterHold, []act{hand(7*s, ButtonDown)}, nil, []Verdict{Missing, Wrong, ""}},
	{"another one named", SpotterHold, []act{after(s, arming.HoldCall{}), after(3*s, arming.HoldBy{Name: "Sol"})}, nil, []Verdict{Right, Right, Wrong}},
	{"nobody named", SpotterHold, []act{after(s, arming.HoldCall{}), after(9*s, arming.Resume{})}, nil, []Verdict{Right, Right, Missing}},
	{"a resume that was refused does not count as one", SpotterHold, []act{after(s, arming.HoldCall{}), refused(after(9*s, arming.Resume{}), "key in")}, nil,
		[]Verdict{Right, Right, Open}},
	{"the machine first", SpotterHold, []act{after(3*s, arming.HoldCall{})}, []turn{turned(2*s, arming.Hold)}, []Verdict{Machine, Right, Open}},
	{"a press long after, in the next firing", SpotterHold, []act{after(s, arming.HoldCall{}), after(40*s, arming.StartCount{}), hand(55*s, ButtonDown)}, nil,
		[]Verdict{Right, Right, Open}},

	{"looked over anew", Intruder, []act{after(s, arming.HoldCall{}), after(20*s, arming.Answer{Step: arming.StepRangeClear}), after(50*s, arming.StartCount{})}, nil,
		[]Verdict{Right, Right, Right}},
	{"counted on the old look", Intruder, []act{after(s, arming.HoldCall{}), after(50*s, arming.StartCount{}), after(60*s, arming.Answer{Step: arming.StepRangeClear})}, nil,
		[]Verdict{Right, Right, Wrong}},
	{"no count any more", Intruder, []act{after(s, arming.HoldCall{}), after(20*s, arming.Scrub{})}, nil, []Verdict{Right, Right, Open}},

	{"nobody cares for the walker", Intruder, []act{hand(8*s, ButtonDown)}, nil, []Verdict{Missing, Wrong, Wrong}},
	{"fired in the old wind", Wind, []act{hand(8*s, ButtonDown)}, nil, []Verdict{Missing, Wrong, Wrong}},
	{"the new wind", Wind, []act{after(s, arming.HoldCall{}), after(20*s, arming.Answer{Step: "wind", Value: 3.2}), after(50*s, arming.StartCount{})}, nil,
		[]Verdict{Right, Right, Right}},
	{"taken back instead of held", Wind, []act{after(4*s, arming.Withdraw{Step: "wind"}), after(9*s, arming.Answer{Step: "wind", Value: 3.4})}, nil,
		[]Verdict{Right, Right, Right}},
	{"another answer taken back", Wind, []act{after(4*s, arming.Withdraw{Step: "mass"})}, nil, []Verdict{Missing, Right, Open}},
	{"the old wind", Wind, []act{after(s, arming.HoldCall{}), after(20*s, arming.Answer{Step: "wind", Value: 1.5}), after(50*s, arming.StartCount{})}, nil,
		[]Verdict{Right, Right, Wrong}},
	{"the old wind, then the new one", Wind, []act{after(s, arming.HoldCall{}), after(20*s, arming.Answer{Step: "wind", Value: 1.5}),
		after(30*s, arming.Answer{Step: "wind", Value: 3.3}), after(50*s, arming.StartCount{})}, nil, []Verdict{Right, Right, Right}},

	{"off at once, counted", BatteryForward, []act{hand(2*s, BatteryOff), off(after(9*s, arming.CloseLine{})), off(after(20*s, arming.OpenLine{}))}, nil,
		[]Verdict{Right, Right, Right}},
	{"left on, and the hook-up reported", BatteryForward, []act{after(4*s, arming.Answer{Step: arming.StepHookUp}), hand(8*s, BatteryOff)}, nil,
		[]Verdict{Late, Wrong, Open}},
	{"sent again without a count", BatteryForward, []act{hand(2*s, BatteryOff), off(after(9*s, arming.OpenLine{})), off(after(20*s, arming.CloseLine{}))}, nil,
		[]Verdict{Right, Right, Wrong}},

	{"key, battery, then forward", IgniterOpen, []act{hand(4*s, KeyOut), hand(9*s, BatteryOff), off(after(30*s, arming.OpenLine{}))}, nil, []Verdict{Right, Right}},
	{"the order with the battery on", IgniterOpen, []act{hand(4*s, KeyOut), refused(after(9*s, arming.OpenLine{}), "take the battery off")}, nil, []Verdict{Right, Wrong}},
	{"a refusal for another reason", IgniterOpen, []act{hand(4*s, KeyOut), refused(off(after(9*s, arming.OpenLine{})), "test current"), off(after(12*s, arming.OpenLine{}))}, nil,
		[]Verdict{Right, Right}},
	{"given up", IgniterOpen, []act{hand(12*s, KeyOut), after(30*s, arming.Scrub{})}, nil, []Verdict{Late, Right}},

	{"another battery", WeakBattery, []act{hand(3*s, KeyOut), hand(15*s, BatteryOff)}, nil, []Verdict{Right, Right}},
	{"nothing done", WeakBattery, nil, nil, []Verdict{Missing, Missing}},

	{"key out", EarlyButton, []act{hand(3*s, KeyOut), after(20*s, arming.Resume{})}, nil, []Verdict{Right, Right}},
	{"resumed with the key in", EarlyButton, []act{refused(after(3*s, arming.Resume{}), "the key is not known to be out"), hand(11*s, KeyOut)}, nil, []Verdict{Late, Wrong}},

	{"dead at once", SilentBox, []act{hand(3*s, KeyOut), hand(5*s, BatteryOff), after(40*s, arming.Resume{})}, nil, []Verdict{Right, Right, Right}},
	{"waited for the box", SilentBox, []act{hand(13*s, KeyOut), hand(25*s, BatteryOff)}, nil, []Verdict{Late, Late, Open}},

	{"dead at once, and the wait", FrozenBox, []act{hand(3*s, KeyOut), hand(5*s, BatteryOff), after(40*s, arming.GoForward{})}, nil, []Verdict{Right, Right, Right}},
	{"nothing done to a frozen box", FrozenBox, nil, nil, []Verdict{Missing, Missing, Open}},
	{"forward before the wait", FrozenBox, []act{hand(3*s, KeyOut), hand(5*s, BatteryOff), after(9*s, arming.GoForward{})}, nil, []Verdict{Right, Right, Wrong}},

	{"said dark, found live", Misfire, []act{after(3*s, arming.Observe{Motor: 3, Fate: arming.FateMisfire}), after(30*s, arming.GoForward{}),
		after(40*s, arming.Inspect{Motor: 3, Found: "unlit, igniter out"})}, nil, []Verdict{Right, Right}},
	{"all lit, then that one dark", Misfire, []act{after(3*s, arming.Observe{Fate: arming.FateSaidLit}), after(6*s, arming.Observe{Motor: 3, Fate: arming.FateMisfire})}, nil,
		[]Verdict{Right, Open}},
	{"all lit", Misfire, []act{after(3*s, arming.Observe{Fate: arming.FateSaidLit}), after(30*s, arming.GoForward{}),
		after(40*s, arming.Inspect{Motor: 3, Found: "burned out"})}, nil, []Verdict{Wrong, Wrong}},
	{"another one dark", Misfire, []act{after(3*s, arming.Observe{Motor: 2, Fate: arming.FateMisfire}), after(30*s, arming.GoForward{})}, nil, []Verdict{Missing, Open}},
	{"dark too late", Misfire, []act{after(30*s, arming.GoForward{}), after(33*s, arming.Observe{Motor: 3, Fate: arming.FateMisfire})}, nil, []Verdict{Missing, Open}},

	{"everyone back", LateLight, []act{after(2*s, arming.HoldCall{}), after(40*s, arming.GoForward{})}, nil, []Verdict{Right, Right}},
	{"movement called", LateLight, []act{after(2*s, arming.Say{Fact: arming.FactMovement})}, nil, []Verdict{Right, Open}},
	{"said at rest instead", LateLight, []act{after(2*s, arming.Say{Fact: arming.FactAtRest}), after(8*s, arming.GoForward{})}, nil, []Verdict{Missing, Wrong}},

	{"everyone back and counted", Walker, []act{after(s, arming.HoldCall{}), after(6*s, arming.CloseLine{}), after(20*s, arming.GoForward{})}, nil, []Verdict{Right, Right, Right}},
	{"nobody cares", Walker, []act{after(8*s, arming.GoForward{})}, nil, []Verdict{Missing, Wrong, Wrong}},

	{"back, counted, waited", Smoke, []act{after(s, arming.HoldCall{}), after(6*s, arming.CloseLine{}), after(20*s, arming.GoForward{}),
		after(30*s, arming.Inspect{Motor: 1})}, nil, []Verdict{Right, Right, Right}},
	{"goes on inspecting", Smoke, []act{after(4*s, arming.Inspect{Motor: 2}), after(9*s, arming.HoldCall{})}, nil, []Verdict{Late, Wrong, Wrong}},
}

// sceneOf is a surprise at 100 s with what was done after it. The record ends
// at 200 s.
func sceneOf(t *testing.T, kind Kind, acts []act, turns []turn) *scene {
	b := &begun{at: 100 * s, phase: arming.Count, hands: hands{true, true}}
	b.crew.Spotter[0], b.crew.Spotter[1] = "Nia Moss", "Sol"
	return &scene{begun: b, s: &Surprise{Kind: kind, Motor: 3, Post: "north gate", Wind: 3.3}, plan: firing(t), acts: acts, turns: turns, last: 200 * s}
}

func TestVerdicts(t *testing.T) {
	seen := map[string]bool{}
	for _, c := range cases {
		sc := sceneOf(t, c.kind, c.acts, c.turns)
		rules := help(c.kind).rules
		if len(rules) != len(c.want) {
			t.Fatalf("%s, %s: %d rules, %d verdicts", c.kind, c.what, len(rules), len(c.want))
		}
		for i, r := range rules {
			f := r.find(sc)
			if f.Verdict != c.want[i] {
				t.Errorf("%s, %s: %q is %q (%s), want %q", c.kind, c.what, r.what, f.Verdict, f.Why, c.want[i])
			}
			seen[fmt.Sprintf("%s %d %t", c.kind, i, f.Verdict == Right)] = true
		}
	}
	// Every rule has been kept and broken: none that cannot fail.
	for _, h := range Kinds() {
		for i, r := range h.rules {
			for _, right := range []bool{true, false} {
				if !seen[fmt.Sprintf("%s %d %t", h.Kind, i, right)] {
					t.Errorf("%s: %q is never right %t in these cases", h.Kind, r.what, right)
				}
			}
		}
	}
}

// Where the key is out and the battery off already nothing is asked.
func TestRulesThatDoNotApply(t *testing.T) {
	sc := sceneOf(t, SilentBox, nil, nil)
	sc.keyIn, sc.battery = false, false
	for _, r := range help(SilentBox).rules[:2] {
		if f := r.find(sc); f != none {
			t.Errorf("%q: %+v", r.what, f)
		}
	}
}

// What the record has no time to show is neither for nor against anybody.
func TestAnEndTooEarlyIsNotHeldAgainstTheCrew(t *testing.T) {
	for _, h := range Kinds() {
		sc := sceneOf(t, h.Kind, nil, nil)
		sc.last = sc.at + s
		for _, r := range h.rules {
			if f := r.find(sc); f.Verdict != Open && f.Verdict != Right && f != none {
				t.Errorf("%s: %q: %+v", h.Kind, r.what, f)
			}
		}
	}
}

// tape is a record in the making, by the real machine.
type tape struct {
	t   *testing.T
	p   *arming.Plan
	s   arming.State
	j   Judge
	rec journal.Recorder
	at  time.Duration
	err error
}

func newTape(t *testing.T) *tape {
	x := &tape{t: t, p: firing(t)}
	body, err := journal.EncodePlan(x.p)
	if err != nil {
		t.Fatal(err)
	}
	x.entry(journal.KindPlan, body)
	x.do(arming.Start{})
	return x
}

func (x *tape) entry(kind string, body any) {
	x.t.Helper()
	text, err := json.Marshal(body)
	if err != nil {
		x.t.Fatal(err)
	}
	x.err = errors.Join(x.err, x.j.Entry(kind, x.at, text))
}

// do lets the machine take an event now.
func (x *tape) do(ev arming.Event) {
	x.t.Helper()
	now := arming.Instant{Mono: x.at, Wall: x.at}
	next, fx, refused := arming.Step(x.p, x.s, now, ev)
	lines, err := x.rec.Step(now, ev, &x.s, &next, fx, refused)
	if err != nil {
		x.t.Fatal(err)
	}
	x.s = next
	for _, l := range lines {
		x.entry(l.Kind, l.Body)
	}
}

func (x *tape) judgement() Judgement {
	x.t.Helper()
	if x.err != nil {
		x.t.Fatal(x.err)
	}
	j, err := x.j.Judgement()
	if err != nil {
		x.t.Fatal(err)
	}
	return j
}

func TestTheJudgementOfARecord(t *testing.T) {
	plan := made(t, 7, Choice{Kinds: []Kind{SpotterHold, Smoke}})
	run := func(after time.Duration) Judgement {
		x := newTape(t)
		x.entry(journal.KindDrill, PlanEntry(plan))
		x.entry(journal.KindDrill, HandEntry(KeyIn))
		x.at = 10 * s
		x.entry(journal.KindDrill, SurpriseEntry(&plan, 1))
		x.at += after
		x.do(arming.HoldCall{})
		x.at += 20 * s
		x.entry(journal.KindDrill, HandEntry(KeyOut))
		return x.judgement()
	}
	good := run(1900 * time.Millisecond)
	if good.Verdict != NotFinished || good.Came != 1 || good.Met != 1 || good.Planned != 2 || good.Seed != "7" {
		t.Errorf("%+v", good)
	}
	if r := good.Surprises[0].Reactions[0]; r.Verdict != Right || *r.TookS != 1.9 || *r.LimitS != 5 || good.SlowestS == nil || *good.SlowestS != 1.9 {
		t.Errorf("%+v", r)
	}
	late := run(8 * s)
	if late.Verdict != NotMet || late.Met != 0 || len(late.Practise) != 1 || late.Practise[0].Kind != SpotterHold {
		t.Errorf("%+v", late)
	}
	for _, want := range []string{"seed 7", "NOT MET", "TOO LATE", "after 8.0 s", "1 of 2 surprises did not come", "--surprises spotter-stop"} {
		if !strings.Contains(late.Text(), want) {
			t.Errorf("no %q in\n%s", want, late.Text())
		}
	}
	// Drawn for another number the same seed is another drill.
	if want := "holdline drill --seed 7 --surprises 2\n"; !strings.Contains(good.Text(), want) {
		t.Errorf("no %q in\n%s", want, good.Text())
	}
	if strings.Contains(late.Text(), "smoke") {
		t.Errorf("what did not come is given away:\n%s", late.Text())
	}
	for _, l := range strings.Split(late.Text()+good.Text()+List(), "\n") {
		if len([]rune(l)) > 80 {
			t.Errorf("a line of %d columns: %q", len([]rune(l)), l)
		}
	}
}

// The program's own stop is nobody's reaction.
func TestOnlyPeopleAreJudged(t *testing.T) {
	plan := made(t, 7, Choice{Kinds: []Kind{SpotterHold}})
	x := newTape(t)
	x.entry(journal.KindDrill, PlanEntry(plan))
	x.entry(journal.KindDrill, SurpriseEntry(&plan, 1))
	x.at = s
	for _, ev := range []arming.Event{arming.BoxLost{Why: "gone"}, arming.Stalled{Part: "screen"}, arming.FocusLost{}, arming.Tick{}} {
		x.do(ev)
	}
	x.at = 60 * s
	x.do(arming.FocusLost{})
	if j := x.judgement(); j.Verdict != NotMet || j.Surprises[0].Reactions[0].Verdict != Missing {
		t.Errorf("%+v", j)
	}
}

// A record that was taken up again is judged as far as the stop.
func TestWhatComesAfterAStopIsNoDrill(t *testing.T) {
	plan := made(t, 7, Choice{Kinds: []Kind{SpotterHold}})
	x := newTape(t)
	x.entry(journal.KindDrill, PlanEntry(plan))
	x.entry("recovered", map[string]any{})
	x.entry(journal.KindDrill, SurpriseEntry(&plan, 1))
	if j := x.judgement(); !j.BrokeOff || j.Came != 0 || j.Verdict != NotFinished {
		t.Errorf("%+v", j)
	}
}

func TestLinesThatCannotBeJudged(t *testing.T) {
	plan, other := made(t, 7, Choice{Kinds: []Kind{SpotterHold}}), made(t, 7, Choice{Kinds: []Kind{Wind}})
	for what, lines := range map[string][]any{
		"a surprise before the plan": {SurpriseEntry(&plan, 1)},
		"two plans":                  {PlanEntry(plan), PlanEntry(plan)},
		"not the plan's":             {PlanEntry(plan), SurpriseEntry(&other, 1)},
		"twice":                      {PlanEntry(plan), SurpriseEntry(&plan, 1), SurpriseEntry(&plan, 1)},
		"over without a number":      {PlanEntry(plan), OverEntry(9)},
		"no such hand":               {PlanEntry(plan), HandEntry("wave")},
	} {
		x := newTape(t)
		for _, l := range lines {
			x.entry(journal.KindDrill, l)
		}
		if x.err == nil {
			t.Errorf("%s: judged", what)
		}
	}
	x := newTape(t)
	if _, err := x.j.Judgement(); !errors.Is(err, ErrNoDrill) {
		t.Errorf("a firing without a drill: %v", err)
	}
}

func TestEverySurpriseIsExplained(t *testing.T) {
	list := List()
	for _, h := range Kinds() {
		if h.Meaning == "" || h.Advice == "" || len(h.rules) == 0 || len(h.Right()) != len(h.rules) || !strings.Contains(list, string(h.Kind)) {
			t.Errorf("%+v", h)
		}
		if slices.ContainsFunc(h.rules, func(r rule) bool { return r.source == "" || r.find == nil }) {
			t.Errorf("%s: a rule without a source", h.Kind)
		}
	}
}
