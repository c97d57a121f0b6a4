package tui

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"holdline/arming"
	"holdline/checklist"
)

// task is one thing that can be done now: a step of the routine, an order, a
// fact to say.
type task struct {
	id    string // stays the same from frame to frame
	head  string // "RANGE CLEAR"
	who   string // who answers
	ask   string // the challenge
	hint  string // what a good answer says
	kind  string // what is typed
	step  int    // index into Plan.Steps, -1 for none
	motor int    // the motor that it inspects, 0 for none
	done  bool
	side  bool         // can be done, but is never what is due
	open  func() *form // nil where hands, not keys, do it
	see   page         // a page to read before answering
}

// tasks lists what can be done in the frame's phase, in order, and which of
// them is at hand: -1 when nothing is.
func tasks(f *Frame) (list []task, at int) {
	if f.Plan == nil {
		return nil, -1
	}
	s := &f.State
	switch s.Phase {
	case arming.Setup:
		return setupTasks(f)
	case arming.Proof:
		list = proofTasks(f)
	case arming.Ready:
		return readyTasks(f)
	case arming.Armed:
		list = armedTasks(f)
	case arming.Count, arming.Window, arming.Run:
		list = runTasks(f)
	case arming.Hold:
		list = holdTasks(f)
	case arming.Wait:
		list = waitTasks(f)
	case arming.MakeSafe:
		list = makeSafeTasks(f)
	case arming.Closed:
		list = counterTasks(f)
	}
	for i := range list {
		if !list[i].done && !list[i].side {
			return list, i
		}
	}
	return list, -1
}

// opens gives a task the form that enter opens, under the task's own heading
// where title is empty.
func (t task) opens(title string, fields []field, send sender) task {
	t.open = func() *form {
		return &form{task: t.id, title: cmp.Or(title, t.head), fields: slices.Clone(fields), send: send}
	}
	return t
}

// after lets a task's form be sent only once another has been answered, where
// first gives one.
func (t task) after(first func(texts []string) *form) task {
	open := t.open
	t.open = func() *form {
		fm := open()
		fm.first = first
		return fm
	}
	return t
}

// opensOwnName gives a task the form in which an officer types their own name.
func (t task) opensOwnName(title string, officer *string, ev func(by string) arming.Event) task {
	return t.opens(title, []field{{ghost: "own name in full"}}, func(v []string) (arming.Event, string) {
		return ev(as(v[0], *officer)), ""
	})
}

// setupTasks are the steps of the routine, with the orders about the line put
// before the step that needs them.
func setupTasks(f *Frame) (list []task, at int) {
	s, p := &f.State, f.Plan
	cursor := s.Cursor(p)
	at = -1
	for i := range p.Steps {
		if p.Steps[i].Phase > checklist.Poll {
			continue
		}
		if i == cursor {
			for _, t := range ordersBefore(f, &p.Steps[i]) {
				if at < 0 {
					at = len(list)
				}
				list = append(list, t)
			}
			if p.Steps[i].Kind == checklist.KindLine && at >= 0 {
				continue
			}
			if at < 0 && !waitsForReading(f, i) {
				at = len(list)
			}
		}
		list = append(list, stepTask(f, i))
	}
	if s.Line == arming.LineOpen && !slices.ContainsFunc(list, func(t task) bool { return t.id == "line/close" }) && s.Crew.Range != "" {
		list = append(list, closeLineTask(f))
	}
	return list, at
}

// waitsForReading reports a step that was answered and stands again by itself
// with the next good reading of the box: nobody has to do anything.
func waitsForReading(f *Frame, i int) bool {
	return f.Plan.Mode == arming.ModeBox && f.Plan.Steps[i].Live && f.State.Evidence[i].Present
}

// ordersBefore returns what the range officer has to order, or somebody has to
// say, before the step can be answered.
func ordersBefore(f *Frame, st *checklist.Step) []task {
	s := &f.State
	var out []task
	wantsClosed := st.Needs&checklist.NeedLineClosed != 0 || st.Kind == checklist.KindProof || st.Kind == checklist.KindLine
	switch {
	case s.Crew.Range == "":
	case st.Needs&checklist.NeedLineOpen != 0 && s.Line == arming.LineClosed:
		out = append(out, openLineTask(f))
	case st.Needs&checklist.NeedLineOpen != 0 && s.Line == arming.LineUnknown, wantsClosed && s.Line != arming.LineClosed:
		out = append(out, closeLineTask(f))
	}
	needs := st.Needs
	if len(out) > 0 && out[0].id == "line/open" {
		needs |= checklist.NeedKeyOut | checklist.NeedBatteryOff | checklist.NeedBusDead
	}
	var facts []arming.Fact
	for _, need := range []struct {
		bit  checklist.Needs
		fact arming.Fact
	}{{checklist.NeedKeyOut, arming.FactKeyOut}, {checklist.NeedBatteryOff, arming.FactBatteryOff}, {checklist.NeedBusDead, arming.FactBusDead}} {
		if needs&need.bit != 0 {
			facts = append(facts, need.fact)
		}
	}
	return append(unsaid(f, facts...), out...)
}

// unsaid asks for those of the facts that nobody has said lately, where no box
// reads them.
func unsaid(f *Frame, facts ...arming.Fact) []task {
	var out []task
	for _, fact := range facts {
		if f.Plan.Mode != arming.ModeBox && !f.State.SaidLately(f.Plan, fact) {
			out = append(out, sayTask(f, fact))
		}
	}
	return out
}

// openLineTask sends named people forward.
func openLineTask(f *Frame) task {
	s := &f.State
	t := task{id: "line/open", head: "LINE OPEN", who: "range officer", step: -1,
		ask:  "Who goes forward, and in whose pocket is the key?",
		hint: "key out, battery off and shunt on first; everybody else stays behind the line",
		kind: "names"}
	names := mayGo(f)
	t = t.opens("", []field{
		{label: "range officer, own name", ghost: "who orders it"},
		{label: "forward", ghost: "a name, or names with commas"},
		{label: "key with", ghost: "one of those"},
	}, func(v []string) (arming.Event, string) {
		ev := arming.OpenLine{By: as(v[0], s.Crew.Range), Key: v[2]}
		going := strings.Split(v[1], ",")
		if len(going) > len(ev.Names) {
			return nil, fmt.Sprintf("%d can be named at most", len(ev.Names))
		}
		for k, n := range going {
			n = strings.TrimSpace(n)
			if known, ok := pick(n, names); ok && fold(known) == fold(n) {
				n = known
			}
			ev.Names[k] = n
		}
		if known, ok := pick(v[2], ev.Names[:len(going)]); ok {
			ev.Key = known
		}
		return ev, ""
	})
	return t.after(func(v []string) *form { return signOnFirst(f, strings.Split(v[1], ",")) })
}

// closeLineTask counts people back.
func closeLineTask(f *Frame) task {
	s := &f.State
	t := task{id: "line/close", head: "LINE CLOSED", who: "range officer", step: -1, kind: "a count"}
	if gone := s.ForwardNames(); s.Line == arming.LineOpen && len(gone) > 0 {
		t.ask = "How many of those who went forward are back? " + strings.Join(gone, ", ")
		t.hint = "count them by name; the key comes back with them"
	} else {
		t.ask = "How many people stand behind the line?"
		t.hint = "everybody who signed on, counted by name: " + strings.Join(crewNames(s), ", ")
		if len(gone) > 0 {
			t.hint += "; and who went forward: " + strings.Join(gone, ", ")
		}
	}
	return t.opens("", []field{{label: "range officer, own name", ghost: "who counts"}, {label: "counted", ghost: "how many"}},
		func(v []string) (arming.Event, string) {
			n, ok := whole(v[1])
			if !ok {
				return nil, "a count is a whole number"
			}
			return arming.CloseLine{By: as(v[0], s.Crew.Range), Count: n}, ""
		})
}

// sayTask states a fact that no box reads.
func sayTask(f *Frame, fact arming.Fact) task {
	said := sayings[fact]
	t := task{id: "say/" + said.word, head: said.head, who: "firing officer", ask: said.ask, step: -1,
		kind: fmt.Sprintf("the word %q", said.word), hint: "no box reads this: the record says who said it"}
	fields, send := typed(said.word, "type "+said.word, "type "+said.word+", or esc if it is not so",
		arming.Say{Fact: fact, By: f.State.Crew.Firing})
	return t.opens("", fields, send)
}

type saying struct{ head, ask, word string }

// sayings are the facts about switches that are said where no box reads them.
var sayings = map[arming.Fact]saying{
	arming.FactKeyOut:     {"KEY OUT", "Is the key out, and who carries it?", "out"},
	arming.FactKeyIn:      {"KEY IN", "Is the key in?", "in"},
	arming.FactBatteryOff: {"BATTERY OFF", "Is the battery off, both leads?", "off"},
	arming.FactBusDead:    {"BUS DEAD", "Does the meter read dead at the firing bus?", "dead"},
	arming.FactPressed:    {"BUTTON PRESSED", "Was the button pressed?", "pressed"},
	arming.FactReleased:   {"BUTTON LET GO", "Is the button let go?", "released"},
}

// scrubTask gives the firing up.
func scrubTask(f *Frame) task {
	t := task{id: "scrub", head: "SCRUB", side: true, who: "firing officer or range officer", step: -1,
		ask: "Give this firing up?", hint: "key out; then the vehicle is made safe", kind: "a name and the reason"}
	return t.opens("SCRUB: give this firing up", []field{
		{label: "own name", ghost: "firing officer or range officer", names: officers(&f.State)},
		{label: "why", ghost: "the reason, for the record"},
	}, func(v []string) (arming.Event, string) { return arming.Scrub{By: v[0], Why: v[1]}, "" })
}
