package tui

import (
	"cmp"
	"fmt"
	"strings"
	"unicode"

	"holdline/arming"
	"holdline/checklist"
	"holdline/checklist/sheet/unit"
)

// stepTask asks step i of the routine.
func stepTask(f *Frame, i int) task {
	st := &f.Plan.Steps[i]
	stands, _ := f.State.Stands(f.Plan, i)
	t := task{id: st.ID, head: headOf(st), who: whoAnswers(st), ask: st.Challenge, hint: st.Hint, step: i, done: stands}
	switch st.Kind {
	case checklist.KindWords:
		t.kind = "what is seen, in words"
		t.open = func() *form { return wordsForm(f, st, i) }
	case checklist.KindName:
		t.kind = "a name"
		t.open = func() *form { return nameForm(f, st) }
	case checklist.KindQuantity:
		t.kind = "read off an instrument, twice"
		t.open = func() *form { return quantityForm(st, f.Units) }
		if metered(f, st) {
			t.kind = `the word "read": the meter is read twice at that moment`
			t.open = func() *form { return meterForm(st) }
		}
		if st.Whole {
			t.kind = "counted, twice"
			t.open = func() *form { return countForm(st) }
		}
	case checklist.KindMeasured:
		t.hint, t.kind = "", `the word "read": the box is read at that moment`
		if st.Motor > 0 {
			t.kind = fmt.Sprintf("the number %d: the box is read at that moment", st.Motor)
		}
		t.open = func() *form { return measuredForm(st) }
	case checklist.KindAccept:
		t.kind = "own name, after reading it"
		t.see = pageRun
		t.open = func() *form { return acceptForm(f, st) }
	case checklist.KindSecret:
		t.kind = "a code, not shown"
		t.open = func() *form { return codeForm(f, st) }
	case checklist.KindProof:
		t.kind = `the word "prove"`
		t.open = func() *form { return proofForm(st) }
	case checklist.KindLine:
		t.kind = "a count by the range officer"
	}
	return t
}

// headOf names a step in a few words.
func headOf(st *checklist.Step) string {
	if st.ID == arming.StepKeyHeld {
		return "KEY HANDED OVER"
	}
	return strings.ToUpper(strings.Map(func(r rune) rune {
		if r == '/' || r == '-' {
			return ' '
		}
		return r
	}, st.ID))
}

func whoAnswers(st *checklist.Step) string {
	if st.Post != "" {
		return "spotter, " + st.Post
	}
	return st.Role.String()
}

// wordsForm takes what is seen.
func wordsForm(f *Frame, st *checklist.Step, i int) *form {
	if st.CallWord {
		return callForm(f, st, i)
	}
	ghost := cmp.Or(st.Hint, "what is seen")
	if st.Match != "" {
		ghost = "as it is written there"
	}
	return stepForm(st, []field{{ghost: ghost}}, saidWords(st))
}

// stepForm is a form that answers a step.
func stepForm(st *checklist.Step, fields []field, send sender) *form {
	return &form{task: st.ID, title: headOf(st), fields: fields, send: send}
}

// saidWords answers a step with the words of the only field.
func saidWords(st *checklist.Step) sender {
	return func(v []string) (arming.Event, string) {
		return arming.Answer{Step: st.ID, Words: v[0], Means: arming.MeansSaid}, ""
	}
}

// callForm takes a spotter's report with the figures of this call, so that
// nobody enters silence, or an older call, as a report.
func callForm(f *Frame, st *checklist.Step, i int) *form {
	word := f.State.CallWord(i)
	fm := stepForm(st, []field{
		{label: "figures heard back", ghost: "as the spotter said them"},
		{label: "report", ghost: "what the spotter sees"},
	}, func(v []string) (arming.Event, string) {
		if heard := strings.Join(strings.Fields(v[0]), ""); heard != word {
			return nil, "those are not the figures of this call: it counts as not heard, call again"
		}
		return arming.Answer{Step: st.ID, Words: word + ", " + v[1], Means: arming.MeansSaid}, ""
	})
	fm.note = fmt.Sprintf("Call %s and say the figures %s. None heard back is NO.", st.Post, strings.Join(strings.Split(word, ""), " "))
	return fm
}

func nameForm(f *Frame, st *checklist.Step) *form {
	fd := field{ghost: "the person's own name"}
	if st.Phase != checklist.Briefing {
		fd.names, fd.free = crewNames(&f.State), true
	}
	return stepForm(st, []field{fd}, saidWords(st))
}

// quantityForm takes a reading twice. The band stays hidden until both are in
// so it is not in the form at all.
func quantityForm(st *checklist.Step, sys unit.System) *form {
	in := cmp.Or(unitsFor(st.Band.Unit, sys), "a number")
	return stepForm(st, []field{{label: "first reading", ghost: in}, {label: "second reading", ghost: in}}, func(v []string) (arming.Event, string) {
		a, okA := reading(v[0], st.Band.Unit, sys)
		b, okB := reading(v[1], st.Band.Unit, sys)
		if !okA || !okB {
			return nil, dueIn(in, sys)
		}
		return arming.Answer{Step: st.ID, Value: a, Again: b, Means: arming.MeansTyped}, ""
	})
}

// dueIn says what a field of a reading takes.
func dueIn(units string, sys unit.System) string {
	if strings.Contains(units, " or ") && sys == unit.US {
		return "a number with its unit is due: " + units
	}
	return "a number is due, in " + units
}

// measuredForm has the box's reading taken. A word is typed for it, because a
// key that repeats must not take one reading after another.
func measuredForm(st *checklist.Step) *form {
	word := "read"
	if st.Motor > 0 {
		word = fmt.Sprint(st.Motor)
	}
	return readForm(st, word, arming.MeansBox)
}

// readForm has a reading taken once the word is typed.
func readForm(st *checklist.Step, word string, by arming.Means) *form {
	how := "type " + word + " to take the reading"
	fields, send := typed(word, how, how, arming.Answer{Step: st.ID, Means: by})
	return stepForm(st, fields, send)
}

// metered reports a step that the multimeter on its serial line answers.
func metered(f *Frame, st *checklist.Step) bool {
	return f.Plan.Mode == arming.ModeMeter && (st.Band.Unit == "ohm" || st.Band.Unit == "V")
}

// meterForm has the multimeter read where its leads lie now. The shell reads
// it, twice, and puts the values in.
func meterForm(st *checklist.Step) *form {
	where := "on what is asked for"
	if st.Motor > 0 {
		where = fmt.Sprintf("on motor %d", st.Motor)
	}
	fm := readForm(st, "read", arming.MeansMeter)
	fm.note = "Meter leads " + where + ", then read."
	return fm
}

// acceptForm takes one officer's name under the prediction. Whether it is a go
// is the shell's to say.
func acceptForm(f *Frame, st *checklist.Step) *form {
	name := f.State.Crew.Range
	if st.Role == checklist.FiringOfficer {
		name = f.State.Crew.Firing
	}
	fm := stepForm(st, []field{{label: "own name", ghost: "the " + st.Role.String() + " types it"}}, func(v []string) (arming.Event, string) {
		switch {
		case f.Run == nil || f.Circuit == nil:
			return nil, "the prediction is not computed yet"
		case fold(v[0]) != fold(name) || name == "":
			return nil, "that is not the name of the " + st.Role.String()
		}
		return arming.Answer{Step: st.ID, Words: "accepted by " + name, Value: goes[predictedGo(f)], Means: arming.MeansSaid}, ""
	})
	fm.title = "ACCEPT: " + st.Role.String()
	return fm
}

// goes is the value of an acceptance.
var goes = map[bool]float64{true: 1}

// codeForm takes the range officer's new code twice, hidden. The machine only
// learns its length.
func codeForm(f *Frame, st *checklist.Step) *form {
	fm := &form{task: st.ID, title: "THE RANGE OFFICER'S CODE", note: "New for this firing. Nobody else looks; it is kept in memory only."}
	fm.fields = []field{{label: "code", hidden: true, ghost: "not shown"}, {label: "again", hidden: true, ghost: "not shown"}}
	fm.send = func(v []string) (arming.Event, string) {
		again := func(why string) (arming.Event, string) {
			fm.fields[0].text, fm.fields[1].text, fm.at = "", "", 0
			return nil, why
		}
		switch {
		case v[0] != v[1]:
			return again("the two entries differ")
		case strings.ContainsFunc(v[0], unicode.IsSpace):
			return again("a code has no blanks: where it is entered, the space bar is HOLD")
		}
		return arming.Answer{Step: st.ID, Value: float64(len([]rune(v[0]))), Means: arming.MeansSaid}, ""
	}
	return fm
}

func proofForm(st *checklist.Step) *form {
	const how = "type prove to begin"
	fields, send := typed("prove", how, how, arming.StartProof{})
	return &form{task: st.ID, title: "CONTACT PROOF", fields: fields, send: send,
		note: "No igniter connected, line CLOSED, key out. The box closes the permit for a moment."}
}

// waiveForm lets the range officer pass an advisory band.
func waiveForm(f *Frame, st *checklist.Step) *form {
	return &form{task: st.ID, title: "WAIVE " + headOf(st), fields: []field{
		{label: "value seen", ghost: cmp.Or(unitsFor(st.Band.Unit, f.Units), "a number")},
		{label: "why it may pass", ghost: "the reason, for the record"},
		{label: "range officer, own name", ghost: "types it"},
	}, send: func(v []string) (arming.Event, string) {
		value, ok := reading(v[0], st.Band.Unit, f.Units)
		if !ok {
			return nil, dueIn(cmp.Or(unitsFor(st.Band.Unit, f.Units), "figures"), f.Units)
		}
		return arming.Waive{Step: st.ID, Value: value, Why: v[1], By: as(v[2], f.State.Crew.Range)}, ""
	}}
}

// withdrawForm takes an answer back.
func withdrawForm(st *checklist.Step) *form {
	return &form{task: st.ID, title: "TAKE BACK " + headOf(st), fields: []field{{label: "why", ghost: "the reason, for the record"}},
		send: func(v []string) (arming.Event, string) { return arming.Withdraw{Step: st.ID, Why: v[0]}, "" }}
}
