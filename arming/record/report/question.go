package report

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"holdline/arming"
	"holdline/checklist"
)

// counted are the answers that say what went on the vehicle.
var counted = []string{"motors", "igniters", checklist.BroughtStep("motors"), checklist.BroughtStep("igniters")}

// swapped notes what is said or counted otherwise once igniters are connected:
// what went on the vehicle is then not what was read off before.
func (w *walk) swapped(st *checklist.Step, is *arming.Evidence) {
	if !slices.Contains(counted, st.ID) {
		return
	}
	words := is.Words
	if st.Whole {
		words = strconv.FormatFloat(is.Value, 'g', -1, 64)
	}
	was, known := w.counted[st.ID]
	if known && w.before.Hooked && !strings.EqualFold(was, words) {
		w.question(fmt.Sprintf("%s was %q before the igniters were connected and %q after it", st.ID, was, words))
	}
	w.counted[st.ID] = words
}

func (w *walk) question(text string) {
	if !slices.Contains(w.d.InQuestion, text) {
		w.d.InQuestion = append(w.d.InQuestion, text)
	}
}

// found is what the inspections say of the motors on the vehicle.
type found struct {
	burned, unlit int
	unclear       []string // said, and neither or both
	missing       []string // not inspected
}

func (w *walk) foundOut() found {
	var f found
	for _, m := range w.d.Motors {
		burned, unlit := checklist.SaysBurned(m.Found), checklist.SaysUnlit(m.Found)
		switch {
		case m.Found == "":
			f.missing = append(f.missing, strconv.Itoa(m.Motor))
		case burned == unlit:
			f.unclear = append(f.unclear, fmt.Sprintf("motor %d was found %q: that does not say whether it burned out", m.Motor, m.Found))
		case burned:
			f.burned++
		default:
			f.unlit++
		}
	}
	return f
}

// inQuestion holds the motors and igniters that were counted against those that
// went on the vehicle and what was found at each. What is not said clearly is
// in question too: nothing here counts as agreed because nobody spoke of it.
func (w *walk) inQuestion(p *arming.Plan, s *arming.State) {
	if !s.Hooked && !w.before.Hooked {
		return // nothing went on the vehicle
	}
	if words, known := w.counted["motors"]; known && !says(words, p.Motors) {
		w.question(fmt.Sprintf("the motors were read off as %q: that does not say %d, as the sheet does", words, p.Motors))
	} else if !known {
		w.question("nobody read the motors off their cases in this record")
	}
	f := w.foundOut()
	if len(f.missing) > 0 {
		w.question(fmt.Sprintf("not inspected after the igniters were connected: motor %s", strings.Join(f.missing, ", ")))
	}
	for _, text := range f.unclear {
		w.question(text)
	}
	for m, found := range w.d.Motors {
		if s.WaitOhm[m] == arming.OhmValue && checklist.SaysBurned(found.Found) {
			w.question(fmt.Sprintf("motor %d was found %q, but its circuit conducted at the last reading", m+1, found.Found))
		}
	}
	least, most := f.burned, f.burned+len(f.unclear)+len(f.missing)
	against := func(n int, what, counted string, there int, as string) {
		w.question(fmt.Sprintf("%s counted as %s, but %d of those on the vehicle found %s", plural(n, what), counted, there, as))
	}
	if n, known := w.number(p, checklist.UsedStep("motors")); known && (n < least || n > most) {
		against(n, "motor", "used", f.burned, "burned out")
	}
	if n, known := w.number(p, checklist.UsedStep("igniters")); known && n < least {
		w.question(fmt.Sprintf("%s counted as used, but %s found burned out", plural(n, "igniter"), plural(f.burned, "motor")))
	}
	if n, known := w.number(p, checklist.LeftStep("motors")); known && n < f.unlit {
		against(n, "motor", "left over", f.unlit, "unlit")
	}
}

// number is a count that stands.
func (w *walk) number(p *arming.Plan, id string) (n int, known bool) {
	for i := range p.Steps {
		if a := &w.checks[i]; p.Steps[i].ID == id && a.count > 0 && a.gone == "" {
			return int(a.last.Value), true
		}
	}
	return 0, false
}

// numerals are the words for the counts that a vehicle can have.
var numerals = [checklist.MaxMotors + 1]string{"none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
	"thirteen", "fourteen", "fifteen", "sixteen"}

// says reports whether a count stands among words, in digits or spelled out. A
// number inside a designation is none.
func says(words string, n int) bool {
	for _, w := range strings.FieldsFunc(strings.ToLower(words), func(r rune) bool {
		return !unicode.IsLetter(r) && !unicode.IsDigit(r) && r != '.' && r != '-' && r != '/'
	}) {
		w = strings.TrimRight(w, ".-")
		if digits := strconv.Itoa(n); w == digits || w == digits+"x" || w == numerals[n] {
			return true
		}
	}
	return false
}
