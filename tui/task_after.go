package tui

import (
	"fmt"
	"strings"

	"holdline/arming"
	"holdline/checklist"
	"holdline/checklist/sheet/unit"
	"holdline/tui/limits"
)

// waitTasks are what is said while nobody goes forward, and the order that
// ends it. Names are chosen from the list: the space bar is HOLD here.
func waitTasks(f *Frame) []task {
	s := &f.State
	list := missingCrew(f)
	list = append(list, unsaid(f, arming.FactKeyOut, arming.FactBusDead, arming.FactBatteryOff)...)
	if s.Line != arming.LineClosed && s.Crew.Range != "" {
		list = append(list, closeLineTask(f))
	}
	rest := factTask(f, arming.FactAtRest, "AT REST", "Is the vehicle at rest, nothing burning?", "the wait starts with this, with the key out and the bus dead")
	rest.done = s.AtRest
	see := observeTask(f)
	see.done = observed(f) || s.WaitLeft <= 0
	list = append(list, rest, see)
	list = append(list, batteryTask(f)...)
	if s.WaitLeft <= 0 && s.AtRest && s.Line == arming.LineClosed {
		list = append(list, forwardTask(f))
	}
	move := factTask(f, arming.FactMovement, "MOVEMENT SEEN", "Movement, smoke, light, or a person forward?", "the wait starts again from full")
	move.side = true
	result := resultTask(f)
	result.side = true
	return append(list, move, result)
}

// batteryTask has the battery taken off by hand, where the box still reads it.
func batteryTask(f *Frame) []task {
	s := &f.State
	if f.Plan.Mode != arming.ModeBox || !s.Box.Up || s.Box.Battery.Level == arming.LevelDead {
		return nil
	}
	return []task{{id: "battery", head: "BATTERY OFF", who: "firing officer, by hand", step: -1,
		ask: "Take the battery off, both leads.", hint: "the box reads it; nobody goes forward before"}}
}

// missingCrew asks for the sign-on that a restart in WAIT has lost.
func missingCrew(f *Frame) []task {
	s := &f.State
	var list []task
	for i := range f.Plan.Steps {
		st := &f.Plan.Steps[i]
		if st.Kind == checklist.KindName && st.Phase == checklist.Briefing && !s.Evidence[i].Present {
			list = append(list, stepTask(f, i))
		}
	}
	return list
}

// factTask states a fact by name.
func factTask(f *Frame, fact arming.Fact, head, ask, hint string) task {
	t := task{id: "fact/" + head, head: head, who: "anyone who sees it", ask: ask, hint: hint, step: -1, kind: "who says it"}
	return t.opens("", []field{nameField("said by", crewNames(&f.State))},
		func(v []string) (arming.Event, string) { return arming.Say{Fact: fact, By: v[0]}, "" })
}

// nameField takes one of the names, any name where there are none.
func nameField(label string, names []string) field {
	return field{label: label, ghost: "a number or a name", names: names, free: len(names) == 0}
}

// fates are the words for what was seen of a motor.
var fates = map[string]arming.Fate{"lit": arming.FateSaidLit, "dark": arming.FateMisfire, "unknown": arming.FateUnknown}

// observeTask takes what an observer saw, of one motor or of all.
func observeTask(f *Frame) task {
	t := task{id: "observe", head: "WHAT LIT", who: "whoever looked", step: -1,
		ask:  "Which motors were seen to light?",
		hint: "lit, dark or unknown, for each; all of them stay LIVE until inspected",
		kind: "motor, what was seen, by whom"}
	which := fmt.Sprintf("1 to %d, or all", f.Plan.Motors)
	return t.opens("", []field{
		{label: "motor", ghost: which},
		{label: "seen", ghost: "lit, dark or unknown", names: []string{"lit", "dark", "unknown"}},
		nameField("by", crewNames(&f.State)),
	}, func(v []string) (arming.Event, string) {
		motor, ok := whole(fold(v[0]))
		if fold(v[0]) != "all" && (!ok || motor < 1 || motor > f.Plan.Motors) {
			return nil, "a motor is " + which
		}
		return arming.Observe{Motor: motor, Fate: fates[v[1]], By: v[2]}, ""
	})
}

// observed reports whether somebody has said something of every motor.
func observed(f *Frame) bool {
	for k := 0; k < f.Plan.Motors; k++ {
		if f.State.Fate[k] == arming.FateUnknown {
			return false
		}
	}
	return true
}

// forwardTask sends one person forward.
func forwardTask(f *Frame) task {
	s := &f.State
	t := task{id: "forward", head: "ONE GOES FORWARD", who: "range officer", step: -1,
		ask:  "Who goes forward, alone, with the key in their pocket?",
		hint: "not in line with the nozzles; extinguisher and a second person ready first",
		kind: "two names"}
	t = t.opens("", []field{
		{label: "range officer, own name", ghost: "who orders it"},
		{label: "goes forward", ghost: "a number or a name", names: mayGo(f), free: true},
	}, func(v []string) (arming.Event, string) {
		return arming.GoForward{By: as(v[0], s.Crew.Range), Person: v[1]}, ""
	})
	return t.after(func(v []string) *form { return signOnFirst(f, v[1:]) })
}

// makeSafeTasks account for every motor and end the firing.
func makeSafeTasks(f *Frame) []task {
	s := &f.State
	list := append(missingCrew(f), unsaid(f, arming.FactKeyOut, arming.FactBusDead, arming.FactBatteryOff)...)
	work := s.Live(f.Plan) > 0 || s.Hooked && !s.MakeSafe.Shunted
	switch {
	case s.Line == arming.LineUnknown && s.Crew.Range != "":
		list = append(list, closeLineTask(f))
	case s.Line == arming.LineClosed && work:
		list = append(list, forwardTask(f))
	}
	for k := 0; s.Hooked && k < f.Plan.Motors; k++ {
		list = append(list, inspectTask(f, k+1))
	}
	if s.Hooked {
		shunt := makeSafeFact(f, arming.FactShunted, "LEADS SHUNTED", "Are all igniter leads shunted?", "shunted")
		shunt.done = s.MakeSafe.Shunted
		list = append(list, shunt)
	}
	list = append(list, batteryTask(f)...)
	if s.Line == arming.LineOpen {
		list = append(list, closeLineTask(f))
	}
	fire := makeSafeFact(f, arming.FactFireWatched, "FIRE WATCH", "Was the ground looked over for fire, from start to rest?", "watched")
	fire.done = s.MakeSafe.FireWatched
	result := resultTask(f)
	result.done = s.ResultIn || !s.PermitEver
	move := factTask(f, arming.FactMovement, "MOVEMENT SEEN", "Movement, smoke or light?", "back to WAIT, from full")
	move.side = true
	due, more := countTasks(f)
	list = append(append(list, fire, result), due...)
	return append(append(list, allClearTask(f), move), more...)
}

func inspectTask(f *Frame, motor int) task {
	s := &f.State
	t := task{id: fmt.Sprintf("inspect/%d", motor), head: fmt.Sprintf("MOTOR %d", motor), who: "the person forward", step: -1, motor: motor,
		ask:  fmt.Sprintf("Motor %d, looked at from the side: what is seen?", motor),
		hint: "burned out; or unlit and its igniter taken out",
		kind: "what is seen, in words", done: s.Fate[motor-1] == arming.FateInspected}
	return t.opens(t.head+" INSPECTED", []field{{ghost: "burned out; or unlit, igniter out"}}, func(v []string) (arming.Event, string) {
		return arming.Inspect{Motor: motor, Found: v[0], By: s.Crew.Forward[0]}, ""
	})
}

// makeSafeFact states a fact of MAKESAFE with a word of its own and a name.
func makeSafeFact(f *Frame, fact arming.Fact, head, ask, word string) task {
	t := task{id: "fact/" + head, head: head, who: "who did it", ask: ask, step: -1, kind: fmt.Sprintf("the word %q and a name", word)}
	return t.opens("", []field{
		{label: "done", ghost: "type " + word},
		{label: "by", ghost: "a number or a name", names: crewNames(&f.State), free: true},
	}, func(v []string) (arming.Event, string) {
		if fold(v[0]) != word {
			return nil, "type " + word + ", or esc if it is not so"
		}
		return arming.Say{Fact: fact, By: v[1]}, ""
	})
}

// resultTask takes what was measured of the run.
func resultTask(f *Frame) task {
	_, far := limits.In(1, 1, "m", f.Units)
	_, fast := limits.In(1, 1, "m/s", f.Units)
	t := task{id: "result", head: "RESULT", who: "firing officer", step: -1, done: f.State.ResultIn,
		ask: "What was measured of the run?", hint: "a dash where nothing was measured", kind: fmt.Sprintf("rest in %s, speed in %s, words", far, fast)}
	return t.opens("MEASURED RESULT", []field{
		{label: "came to rest at", ghost: unitsFor("m", f.Units) + " from the start, or -"},
		{label: "top speed", ghost: unitsFor("m/s", f.Units) + ", or -"},
		{label: "in words", ghost: "what was seen; due without numbers"},
	}, func(v []string) (arming.Event, string) {
		ev := arming.Result{Words: v[2]}
		var okRest, okSpeed bool
		ev.RestM, ev.HasRest, okRest = measured(v[0], "m", f.Units)
		ev.SpeedMps, ev.HasSpeed, okSpeed = measured(v[1], "m/s", f.Units)
		if strings.Trim(v[2], "-–") == "" {
			ev.Words = ""
		}
		if !okRest || !okSpeed {
			return nil, "a number" + choose(f.Units == unit.US, " with its unit", "") + " or a dash is due for rest and speed"
		}
		return ev, ""
	})
}

// measured reads a number, or a dash for what was not measured.
func measured(text, si string, sys unit.System) (value float64, has, ok bool) {
	if strings.Trim(text, "-–") == "" {
		return 0, false, true
	}
	value, ok = reading(text, si, sys)
	return value, ok, ok
}

func allClearTask(f *Frame) task {
	s := &f.State
	t := task{id: "all-clear", head: "ALL CLEAR", who: "range officer", step: -1, ask: "Is the firing over?", kind: "the range officer's own name"}
	if missing := s.AllClearMissing(f.Plan); len(missing) > 0 {
		t.hint = "still open: " + strings.Join(missing, "; ")
	}
	return t.opensOwnName("ALL CLEAR: the range officer types their own name", &s.Crew.Range,
		func(by string) arming.Event { return arming.AllClear{By: by} })
}
