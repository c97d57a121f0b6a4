package tui

import (
	"fmt"
	"regexp"
	"strings"
	"testing"
	"time"

	"holdline/arming"
	"holdline/arming/groundbox/wire"
)

// newcomer goes through a firing with nothing but what the screen says: which
// keys there are, what is asked, what eyes see and what hands do. It knows
// names for the people it plays, and that a count is how many names are read
// out; it knows no key, no step and no order.
type newcomer struct {
	w     *world
	open  string            // the key that opens what is due, as the first screen has it
	crew  map[string]string // who does what, by the words of the screen
	eyes  string            // what eyes saw last
	count int               // names read out last
}

// names for whoever is asked for.
var strangers = []string{"Ivo Marsh", "Lena Holt", "Pia Stone", "Tom Vale", "Una Reed", "Wim Yard"}

var (
	opensKey  = regexp.MustCompile(`(\S+) opens the field of what is due`)
	handsSay  = regexp.MustCompile(`PRACTICE hands: (F\d)`)
	eyesSee   = regexp.MustCompile(`PRACTICE eyes: .*?(?:shows|count|says|see|:) ([\w.-]+(?: out)?)`)
	typeWord  = regexp.MustCompile(`type (\S+)`)
	figuresOf = regexp.MustCompile(`figures (\d) (\d)`)
	asksRole  = regexp.MustCompile(`(firing officer|range officer|spotter, [a-z ]+?|hook-up person):`)
	typesIt   = regexp.MustCompile(`the (\w+ officer) types`)
	listed    = regexp.MustCompile(`(?:by name: |back\? )([A-Z]\w+ [A-Z]\w+(?:, [A-Z]\w+ [A-Z]\w+)*)`)
)

// reads returns the words of the screen in one line: the panel of what is due
// where there is one, and all of it otherwise.
func reads(view string) (panel, all string) {
	var right, whole []string
	for _, row := range strings.Split(view, "\n") {
		whole = append(whole, strings.TrimSpace(row))
		if _, r, two := strings.Cut(row, "│ "); two && !strings.Contains(r, "──") && !strings.Contains(r, "PREDICTED") {
			right = append(right, strings.TrimSpace(r))
		}
	}
	return strings.Join(right, " "), strings.Join(whole, " ")
}

// keyNamed is the message of a key by the name that the screen gives it.
func keyNamed(name string) string { return strings.ToLower(name) }

// act does one thing that the screen asks for, and says what.
func (n *newcomer) act() string {
	view := n.w.m.View()
	panel, all := reads(view)
	if m := opensKey.FindStringSubmatch(all); m != nil {
		n.open = m[1]
	}
	fielding := strings.Contains(all, "esc close")
	if m := eyesSee.FindStringSubmatch(all); m != nil {
		n.eyes = m[1]
	} else if !fielding {
		n.eyes = ""
	}
	if m := listed.FindStringSubmatch(panel); m != nil {
		n.count = strings.Count(m[1], ",") + 1
	}
	if fielding {
		return n.field(view, panel)
	}
	if m := handsSay.FindStringSubmatch(all); m != nil {
		n.w.key(keyNamed(m[1]))
		n.pass(1200 * time.Millisecond)
		return "hand " + m[1]
	}
	if n.open == "" {
		n.w.t.Fatalf("the first screen does not say how to begin\n%s", view)
	}
	if n.offers(view, n.open) {
		n.w.key(keyNamed(n.open))
		return "key " + n.open
	}
	n.pass(500 * time.Millisecond)
	return "wait"
}

// pass lets time pass, with a box whose watchdog opens the permit when nobody
// renews it.
func (n *newcomer) pass(d time.Duration) {
	for ; d > 0; d -= 50 * time.Millisecond {
		n.w.pass(50 * time.Millisecond)
		if n.w.permit && n.w.s.Proof == arming.ProofWatchdog {
			n.w.permit = false
			n.w.step(arming.BoxEvents{Bits: wire.EventWatchdog})
		}
	}
}

// offers reports whether the last rows, which are the keys', name a key.
func (n *newcomer) offers(view, key string) bool {
	rows := strings.Split(view, "\n")
	for _, hint := range strings.Split(rows[len(rows)-2]+"  "+rows[len(rows)-1], "  ") {
		if strings.HasPrefix(hint, key+" ") {
			return true
		}
	}
	return false
}

// field answers the field with the cursor and sends it.
func (n *newcomer) field(view, panel string) string {
	label, ghost := "", ""
	for _, row := range strings.Split(view, "\n") {
		before, after, is := strings.Cut(row, "▏")
		if !is {
			continue
		}
		if _, right, two := strings.Cut(before, "│ "); two {
			before = right
		}
		label, ghost = strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(before), "▸")), strings.TrimSpace(after)
	}
	answer := n.answer(panel, label, ghost)
	for _, r := range answer {
		if r == ' ' && strings.Contains(view, "type _ for a blank") {
			r = '_'
		}
		n.w.write(string(r))
	}
	n.w.key(keyNamed(n.open))
	return fmt.Sprintf("field %q %q: %q", label, ghost, answer)
}

// someone is the person who does what is asked for, the same each time.
func (n *newcomer) someone(role string) string {
	if n.crew[role] == "" {
		n.crew[role] = strangers[len(n.crew)]
	}
	return n.crew[role]
}

// answer is what a person would type there.
func (n *newcomer) answer(panel, label, ghost string) string {
	role := ""
	if m := asksRole.FindStringSubmatch(panel); m != nil {
		role = m[1]
	}
	if m := typesIt.FindStringSubmatch(ghost + " " + panel); m != nil {
		role = m[1]
	}
	all := label + " " + ghost
	figures := figuresOf.FindStringSubmatch(panel)
	has := func(words ...string) bool {
		for _, w := range words {
			if strings.Contains(all, w) {
				return true
			}
		}
		return false
	}
	switch {
	case strings.Contains(label, "figures") && figures != nil:
		return figures[1] + figures[2]
	case typeWord.MatchString(ghost):
		return typeWord.FindStringSubmatch(ghost)[1]
	case has("not shown"):
		return "heron88"
	case strings.HasPrefix(label, "range officer"): // the row is cut in a small window
		return n.someone("range officer")
	case has("own name", "types it"):
		return n.someone(role)
	case has("or all"):
		return "all"
	case has("lit, dark"):
		return "lit"
	case label != "in words" && has("or -"):
		return "-"
	case has("a number or a name"):
		return "1"
	case has("forward", "one of those"):
		return n.someone("firing officer")
	case label == "counted":
		return fmt.Sprint(n.count)
	case n.eyes != "":
		return n.eyes
	case strings.Contains(panel, "in whose hand"):
		return n.someone("range officer")
	}
	return "seen and in order"
}

// The whole job, from the first screen to the signed record, by somebody who
// has never seen it.
func TestFirstTimeWalk(t *testing.T) {
	t.Parallel()
	for _, size := range [][2]int{{80, 24}, {120, 36}} {
		w := newWorld(t, arming.ModeBox)
		resize(w, size)
		mass := w.planned("mass") // the tests' plan is of a lighter vehicle than the scale shows
		mass.Band.Low, mass.Band.High = 1.7, 2
		n := &newcomer{w: w, crew: map[string]string{}}
		var done []string
		for range 500 {
			if _, all := reads(w.m.View()); strings.Contains(all, "THE FIRING IS OVER") {
				break
			}
			done = append(done, n.act())
			n.pass(100 * time.Millisecond)
			if last := len(done) - 1; last > 9 && strings.HasPrefix(done[last], "field") && done[last] == done[last-3] && done[last] == done[last-6] && done[last] == done[last-9] {
				break // goes round in a circle
			}
		}
		if w.s.Phase != arming.Closed {
			t.Fatalf("%v: a newcomer came to %v and no further; the last acts: %q\nrefused: %q\n%s", size, w.s.Phase, done[max(0, len(done)-12):], w.refusal.Why, w.m.View())
		}
		t.Logf("%v: %d acts", size, len(done))
	}
}
