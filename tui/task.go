package tui

import (
	"fmt"
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

// one is an event as a form sends it.
func one(ev arming.Event) ([]arming.Event, string) { return []arming.Event{ev}, "" }

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
	if s.Line == arming.LineOpen && !hasTask(list, "line/close") && s.Crew.Range != "" {
		list = append(list, closeLineTask(f))
	}
	return list, at
}

// waitsForReading reports a step that was answered and stands again by itself
// with the next good reading of the box: nobody has to do anything.
func waitsForReading(f *Frame, i int) bool {
	return f.Plan.Mode == arming.ModeBox && f.Plan.Steps[i].Live && f.State.Evidence[i].Present
}

func hasTask(list []task, id string) bool {
	for i := range list {
		if list[i].id == id {
			return true
		}
	}
	return false
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
	if f.Plan.Mode == arming.ModeBox {
		return out
	}
	needs := st.Needs
	if len(out) > 0 && out[0].id == "line/open" {
		needs |= checklist.NeedKeyOut | checklist.NeedBatteryOff | checklist.NeedBusDead
	}
	var said []task
	for _, fact := range []struct {
		bit checklist.Needs
		f   arming.Fact
	}{{checklist.NeedKeyOut, arming.FactKeyOut}, {checklist.NeedBatteryOff, arming.FactBatteryOff}, {checklist.NeedBusDead, arming.FactBusDead}} {
		if needs&fact.bit != 0 && !saidFresh(f, fact.f) {
			said = append(said, sayTask(f, fact.f))
		}
	}
	return append(said, out...)
}

// saidFresh reports whether a fact was said and is young enough to count.
func saidFresh(f *Frame, fact arming.Fact) bool {
	s := &f.State
	at, said := s.Said.KeyOut, s.Said.KeyOutSaid
	switch fact {
	case arming.FactBatteryOff:
		at, said = s.Said.BatteryOff, s.Said.BatteryOffSaid
	case arming.FactBusDead:
		at, said = s.Said.BusDead, s.Said.BusDeadSaid
	}
	return said && s.Now.Since(at) <= f.Plan.Times.Typed
}

// openLineTask sends named people forward.
func openLineTask(f *Frame) task {
	s := &f.State
	t := task{id: "line/open", head: "LINE OPEN", who: "range officer", step: -1,
		ask:  "Who goes forward, and in whose pocket is the key?",
		hint: "key out, battery off and shunt on first; everybody else stays behind the line",
		kind: "names"}
	names := crewNames(s)
	t.open = func() *form {
		return &form{task: t.id, title: t.head, fields: []field{
			{label: "range officer, own name", ghost: "who orders it"},
			{label: "forward", ghost: "a name, or names with commas"},
			{label: "key with", ghost: "one of those"},
		}, send: func(v []string) ([]arming.Event, string) {
			ev := arming.OpenLine{By: as(v[0], s.Crew.Range)}
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
			ev.Key = v[2]
			if known, ok := pick(v[2], ev.Names[:len(going)]); ok {
				ev.Key = known
			}
			return one(ev)
		}}
	}
	return t
}

// closeLineTask counts people back.
func closeLineTask(f *Frame) task {
	s := &f.State
	t := task{id: "line/close", head: "LINE CLOSED", who: "range officer", step: -1, kind: "a count"}
	if gone := forwardNames(s); s.Line == arming.LineOpen && len(gone) > 0 {
		t.ask = "How many of those who went forward are back? " + strings.Join(gone, ", ")
		t.hint = "count them by name; the key comes back with them"
	} else {
		t.ask = "How many people stand behind the line?"
		t.hint = "everybody who signed on, counted by name: " + strings.Join(crewNames(s), ", ")
		if len(gone) > 0 {
			t.hint += "; and who went forward: " + strings.Join(gone, ", ")
		}
	}
	t.open = func() *form {
		return &form{task: t.id, title: t.head, fields: []field{
			{label: "range officer, own name", ghost: "who counts"},
			{label: "counted", ghost: "how many"},
		}, send: func(v []string) ([]arming.Event, string) {
			n, ok := whole(v[1])
			if !ok {
				return nil, "a count is a whole number"
			}
			return one(arming.CloseLine{By: as(v[0], s.Crew.Range), Count: n})
		}}
	}
	return t
}

// as returns the name on the crew list that was typed without its blanks, else
// what was typed, for the machine to refuse.
func as(typed, name string) string {
	if fold(typed) == fold(name) {
		return name
	}
	return typed
}

// crewNames lists everybody signed on, each once.
func crewNames(s *arming.State) []string {
	var out []string
	for _, n := range append([]string{s.Crew.Firing, s.Crew.Range}, s.Crew.Spotter[:]...) {
		if n == "" {
			continue
		}
		known := false
		for _, o := range out {
			known = known || fold(o) == fold(n)
		}
		if !known {
			out = append(out, n)
		}
	}
	return out
}

func forwardNames(s *arming.State) []string {
	var out []string
	for _, n := range s.Crew.Forward {
		if n != "" {
			out = append(out, n)
		}
	}
	return out
}

// sayTask states a fact that no box reads.
func sayTask(f *Frame, fact arming.Fact) task {
	s := &f.State
	said := sayings[fact]
	t := task{id: "say/" + said.word, head: said.head, who: "firing officer", ask: said.ask, step: -1,
		kind: fmt.Sprintf("the word %q", said.word), hint: "no box reads this: the record says who said it"}
	t.open = func() *form {
		return &form{task: t.id, title: t.head, fields: []field{{ghost: "type " + said.word}},
			send: func(v []string) ([]arming.Event, string) {
				if fold(v[0]) != said.word {
					return nil, "type " + said.word + ", or esc if it is not so"
				}
				return one(arming.Say{Fact: fact, By: s.Crew.Firing})
			}}
	}
	return t
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
	s := &f.State
	t := task{id: "scrub", head: "SCRUB", side: true, who: "firing officer or range officer", step: -1,
		ask: "Give this firing up?", hint: "key out; then the vehicle is made safe", kind: "a name and the reason"}
	t.open = func() *form {
		return &form{task: t.id, title: "SCRUB: give this firing up", fields: []field{
			{label: "own name", ghost: "firing officer or range officer", names: officers(s)},
			{label: "why", ghost: "the reason, for the record"},
		}, send: func(v []string) ([]arming.Event, string) { return one(arming.Scrub{By: v[0], Why: v[1]}) }}
	}
	return t
}

// officers lists the two who may scrub.
func officers(s *arming.State) []string {
	var out []string
	for _, n := range []string{s.Crew.Firing, s.Crew.Range} {
		if n != "" {
			out = append(out, n)
		}
	}
	return out
}
