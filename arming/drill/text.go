package drill

import (
	"fmt"
	"strings"
)

// words are the verdicts as people read them.
var words = map[Verdict]string{Right: "right", Late: "TOO LATE", Wrong: "WRONG", Missing: "NOT DONE", Open: "not seen", Machine: "not judged"}

// width is how wide the text for people is.
const width = 78

// Text says for people how the drill went: surprise by surprise, then the
// figures, then what to practise next.
func (j *Judgement) Text() string {
	var b strings.Builder
	wrap(&b, "", fmt.Sprintf("PRACTICE DRILL, seed %s: %s", j.Seed, headline(j)))
	for _, a := range j.Surprises {
		if a.Came {
			b.WriteString("\n")
			a.write(&b)
		}
	}
	b.WriteString("\n")
	if n := j.Planned - j.Came; n > 0 {
		fmt.Fprintf(&b, "%d of %d surprises did not come; they stay a surprise.\n", n, j.Planned)
	}
	if j.Judged > 0 {
		fmt.Fprintf(&b, "%d of %d surprises met, %d of %d reactions right.\n", j.Met, j.Planned, j.Right, j.Judged)
	}
	if j.MeanS != nil {
		fmt.Fprintf(&b, "Where time counts: %.1f s in the mean, %.1f s at the slowest.\n", *j.MeanS, *j.SlowestS)
	}
	if j.BrokeOff {
		b.WriteString("The program stopped; what came after is no part of the drill.\n")
	}
	b.WriteString("\nPractise next:\n")
	for _, a := range j.Practise {
		wrap(&b, "  "+string(a.Kind)+": ", a.Text)
	}
	// How many there are is part of what the seed is drawn for.
	next := fmt.Sprintf("holdline drill --seed %s --surprises %d", j.Seed, j.Planned)
	switch {
	case len(j.Practise) > 0:
		var kinds []string
		for _, a := range j.Practise {
			kinds = append(kinds, string(a.Kind))
		}
		next = "holdline drill --surprises " + strings.Join(kinds, ",")
	case j.Verdict == Met:
		next = fmt.Sprintf("holdline drill --surprises %d", min(j.Planned+1, Most))
	default:
		wrap(&b, "  ", "The drill did not come to its end: once more, with as many surprises.")
	}
	b.WriteString("  " + next + "\n")
	return b.String()
}

func headline(j *Judgement) string {
	switch j.Verdict {
	case Met:
		return "every surprise was met, rightly and in time"
	case NotFinished:
		return fmt.Sprintf("NOT FINISHED, %d of %d surprises came, and it ends in %s", j.Came, j.Planned, j.Phase)
	}
	return "NOT MET, see below"
}

func (a *Answered) write(b *strings.Builder) {
	wrap(b, fmt.Sprintf("%d. ", a.Number), fmt.Sprintf("%s, %s: %s", a.Phase, a.Kind, a.Meaning))
	if a.Heard != "" {
		wrap(b, "   heard: ", a.Heard)
	}
	for _, r := range a.Reactions {
		what := r.What
		if r.LimitS != nil {
			what += fmt.Sprintf(", within %.0f s", *r.LimitS)
		}
		wrap(b, fmt.Sprintf("   %-10s ", words[r.Verdict]), what+": "+r.Why)
	}
}

// wrap writes a text behind a first word, further lines set in under it.
func wrap(b *strings.Builder, first, text string) {
	indent := strings.Repeat(" ", len([]rune(first)))
	b.WriteString(first)
	column := len(indent)
	for i, word := range strings.Fields(text) {
		n := len([]rune(word))
		switch {
		case i == 0:
		case column+1+n > width:
			b.WriteString("\n" + indent)
			column = len(indent)
		default:
			b.WriteString(" ")
			column++
		}
		b.WriteString(word)
		column += n
	}
	b.WriteString("\n")
}

// List describes every surprise for people.
func List() string {
	var b strings.Builder
	for i, h := range Kinds() {
		if i > 0 {
			b.WriteString("\n")
		}
		var in []string
		for _, p := range h.Phases {
			in = append(in, p.String())
		}
		wrap(&b, fmt.Sprintf("%-16s ", h.Kind), h.Meaning)
		wrap(&b, "  comes in       ", strings.Join(in, ", "))
		for _, r := range h.rules {
			text := r.String()
			if r.source != custom {
				text += " [" + r.source + "]"
			}
			wrap(&b, "  right          ", text)
		}
	}
	b.WriteString("\nWhere no source is named it is " + custom + ".\n")
	return b.String()
}
