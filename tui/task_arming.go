package tui

import (
	"holdline/arming"
	"holdline/checklist"
)

// proofTasks say what the hands do while the contacts are tried.
func proofTasks(f *Frame) []task {
	return []task{{id: "proof", head: "CONTACT PROOF", who: "firing officer", ask: f.State.Proof.String(),
		hint: "hands do this; the box looks on", step: -1}}
}

// readyTasks are the two arming acts, then the routine's steps, whose answers
// can be renewed.
func readyTasks(f *Frame) (list []task, at int) {
	s := &f.State
	if !s.ArmEntry {
		list = append(list, armTask(f))
	} else {
		list = append(list, tryCodeTask())
	}
	for i := range f.Plan.Steps {
		if f.Plan.Steps[i].Phase <= checklist.Poll {
			list = append(list, stepTask(f, i))
		}
	}
	return append(list, scrubTask(f)), 0
}

func armTask(f *Frame) task {
	t := task{id: "arm", head: "ARM", who: "firing officer", step: -1,
		ask:  "Every gate stands. Firing officer: do you arm?",
		hint: "both officers at the line, the key in the range officer's hand",
		kind: "the firing officer's own name"}
	return t.opensOwnName("ARM: the firing officer types their own name", &f.State.Crew.Firing,
		func(by string) arming.Event { return arming.ArmEntry{By: by} })
}

// tryCodeTask takes the range officer's code. The model hands it to the shell.
func tryCodeTask() task {
	t := task{id: "arm/code", head: "CODE", who: "range officer", step: -1,
		ask:  "Range officer: your code, within 30 s.",
		hint: "nobody else looks; three wrong codes are a HOLD",
		kind: "the code, not shown"}
	return t.opens("THE RANGE OFFICER'S CODE", []field{{label: "code", hidden: true, ghost: "not shown"}}, nil)
}

// armedTasks are the key, which a hand puts in, and the start of the count.
func armedTasks(f *Frame) []task {
	s := &f.State
	key := task{id: "key", head: "KEY IN", who: "range officer hands it over", step: -1, done: s.KeyInArmed,
		ask: "Turn the key in now.", hint: "only now; before this, or out again later, is a HOLD"}
	if f.Plan.Mode != arming.ModeBox {
		key = sayTask(f, arming.FactKeyIn)
		key.done = s.KeyInArmed
	}
	count := countTask(f, task{id: "count", head: "START THE COUNT", who: "firing officer, on the range officer's spoken go", step: -1,
		ask: "Start the count?", hint: "the range officer reads the screen's count aloud; space is HOLD for anyone"}, "type count to start")
	return []task{key, count, scrubTask(f)}
}

// countTask lets the firing officer start the clock by a typed word.
func countTask(f *Frame, t task, refusal string) task {
	t.kind = `the word "count"`
	fields, send := typed("count", "type count", refusal, arming.StartCount{By: f.State.Crew.Firing})
	return t.opens("", fields, send)
}

// goOnTask ends a pause that is built into the count.
func goOnTask(f *Frame) task {
	return countTask(f, task{id: "go on", head: "PAUSE", who: "firing officer, on the range officer's spoken go", step: -1,
		ask: "The count stands at " + toZero(&f.State) + ". All well? Go on with it?", hint: "as the sheet plans it, for 60 s at most; space is HOLD for anyone"},
		"type count to go on")
}

// runTasks say what the hand at the button does. Without a box the press and
// the release are said.
func runTasks(f *Frame) []task {
	var list []task
	switch f.State.Phase {
	case arming.Count:
		if f.State.Paused {
			return []task{goOnTask(f), scrubTask(f)}
		}
		return []task{{id: "counting", head: "COUNT", who: "everyone", ask: "Eyes on the vehicle. Any doubt: HOLD.", step: -1}}
	case arming.Window:
		list = append(list, task{id: "press", head: "PRESS", who: "firing officer, on the spoken go", step: -1,
			ask: "Press the button and keep it pressed.", hint: "any doubt: do not press, call HOLD"})
		if f.Plan.Mode != arming.ModeBox {
			list = []task{sayTask(f, arming.FactPressed)}
		}
	default:
		list = append(list, task{id: "pressed", head: "KEEP IT PRESSED", who: "firing officer", step: -1,
			ask: "Keep the button pressed until every motor has lit, then let go."})
		if f.Plan.Mode != arming.ModeBox {
			list = []task{sayTask(f, arming.FactReleased)}
		}
		see := observeTask(f)
		see.side = true
		list = append(list, see)
	}
	return list
}

// holdTasks ask who called, and lead on or out.
func holdTasks(f *Frame) []task {
	s := &f.State
	var list []task
	if s.Line != arming.LineClosed && s.Crew.Range != "" {
		list = append(list, closeLineTask(f))
	}
	list = append(list, unsaid(f, arming.FactKeyOut)...)
	return append(list, holdByTask(f), resumeTask(f), scrubTask(f))
}

func holdByTask(f *Frame) task {
	s := &f.State
	t := task{id: "caller", head: "WHO CALLED HOLD", who: "anyone", step: -1, done: s.HoldCaller != "",
		ask: "Who called it? It was right to; nobody is asked why until later.", kind: "a name"}
	return t.opens("", []field{{ghost: "a name, or: nobody, the program", names: crewNames(s), free: true}},
		func(v []string) (arming.Event, string) { return arming.HoldBy{Name: v[0]}, "" })
}

func resumeTask(f *Frame) task {
	t := task{id: "resume", head: "RESUME", who: "range officer", step: -1,
		ask:  "Key out, reason settled: back to the gates?",
		hint: "both arming acts are asked again", kind: "the range officer's own name"}
	return t.opensOwnName("RESUME: the range officer types their own name", &f.State.Crew.Range,
		func(by string) arming.Event { return arming.Resume{By: by} })
}
