package report

import (
	"cmp"
	"context"
	"fmt"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"holdline/arming"
	"holdline/arming/record"
)

// PracticeFolder is the folder of practice records inside the one of the real
// ones.
const PracticeFolder = "practice"

// Tally counts holds and waivers over the records of a folder, real ones and
// practice ones apart. The same hold again and again is a nuisance that a crew
// learns to work round; so it is shown before it is a habit.
type Tally struct {
	Real     Counts `json:"real"`
	Practice Counts `json:"practice"`
}

// Counts are those of one kind of record.
type Counts struct {
	Records    int     `json:"records"`     // counted
	NotCounted int     `json:"not_counted"` // that cannot be believed, or read
	Holds      []Count `json:"holds"`       // most frequent first
	Waivers    []Count `json:"waivers"`
}

// Count is how often something happened, and in how many records.
type Count struct {
	What    string `json:"what"`
	Called  bool   `json:"called"` // by a person; false for a waiver
	Times   int    `json:"times"`
	Records int    `json:"records"`
}

// TallyFolder counts over the records of dir and of the folder of practice
// records in it. Which is which the records' first lines say. A folder that
// does not exist has none. The record at the path except is left out: it is the
// one being written. It ends early, with the context's error, when that is over.
func TallyFolder(ctx context.Context, dir, except string) (Tally, error) {
	real, practice := newCounter(), newCounter()
	for _, folder := range []string{dir, filepath.Join(dir, PracticeFolder)} {
		paths, err := record.Paths(folder)
		if err != nil {
			return Tally{}, fmt.Errorf("report: count over %q: %w", folder, err)
		}
		for _, path := range paths {
			if err := ctx.Err(); err != nil {
				return Tally{}, fmt.Errorf("report: count over %q: %w", folder, err)
			}
			if path == except {
				continue
			}
			r := record.VerifyFile(path, record.Options{AnySigner: true})
			counter := real
			if r.Log.Header.Practice || len(r.Log.Entries) == 0 && folder != dir {
				counter = practice
			}
			counter.add(r)
		}
	}
	return Tally{Real: real.counts(), Practice: practice.counts()}, nil
}

// counter counts over one kind of record.
type counter struct {
	records, not   int
	holds, waivers map[string]*Count
}

func newCounter() *counter {
	return &counter{holds: map[string]*Count{}, waivers: map[string]*Count{}}
}

func (c *counter) add(r record.Result) {
	if len(r.Log.Entries) == 0 {
		c.not++
		return
	}
	d := Build(r)
	if len(d.NotValid) > 0 {
		c.not++
		return
	}
	c.records++
	here := map[*Count]bool{}
	for _, h := range d.Holds {
		here[count(c.holds, cause(h.Why), h.Called)] = true
	}
	for _, w := range d.Waivers {
		here[count(c.waivers, w.Step, false)] = true
	}
	for k := range here {
		k.Records++
	}
}

func count(in map[string]*Count, what string, called bool) *Count {
	what = arming.Plain(what)
	if in[what] == nil {
		in[what] = &Count{What: what, Called: called}
	}
	in[what].Times++
	return in[what]
}

func (c *counter) counts() Counts {
	return Counts{Records: c.records, NotCounted: c.not, Holds: sorted(c.holds), Waivers: sorted(c.waivers)}
}

func sorted(in map[string]*Count) []Count {
	out := make([]Count, 0, len(in))
	for _, c := range in {
		out = append(out, *c)
	}
	slices.SortFunc(out, func(a, b Count) int { return cmp.Or(cmp.Compare(b.Times, a.Times), cmp.Compare(a.What, b.What)) })
	return out
}

var (
	numbers  = regexp.MustCompile(`-?[0-9]+(\.[0-9]+)?`)
	scrubbed = regexp.MustCompile(`^(scrubbed( after the permit)?) by .*$`)
)

// cause is a hold's sentence without what differs from time to time: figures,
// and names.
func cause(why string) string {
	if m := scrubbed.FindStringSubmatch(why); m != nil {
		return m[1]
	}
	if who := strings.Index(why, " seen by "); who >= 0 {
		why = why[:who] + " seen"
	}
	return numbers.ReplaceAllString(why, "#")
}

// Text tells the counts in full.
func (t Tally) Text() string {
	var b strings.Builder
	for _, part := range []struct {
		name string
		Counts
	}{{"real", t.Real}, {"PRACTICE", t.Practice}} {
		fmt.Fprintf(&b, "%s: %s\n", part.name, part.summary())
		for _, h := range part.Holds {
			by := "by the program"
			if h.Called {
				by = "called"
			}
			fmt.Fprintf(&b, "  %4d ×  %s (%s, in %s)\n", h.Times, h.What, by, plural(h.Records, "record"))
		}
		for _, w := range part.Waivers {
			fmt.Fprintf(&b, "  %4d ×  waived: %s (in %s)\n", w.Times, w.What, plural(w.Records, "record"))
		}
	}
	return b.String()
}

func (c Counts) summary() string {
	text := fmt.Sprintf("%s, %s, %s", plural(c.Records, "record"), plural(total(c.Holds), "hold"), plural(total(c.Waivers), "waiver"))
	if c.NotCounted > 0 {
		text += fmt.Sprintf("; %s not counted: not valid", plural(c.NotCounted, "record"))
	}
	return text
}

func total(list []Count) int {
	n := 0
	for _, c := range list {
		n += c.Times
	}
	return n
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// signOnCauses is how many causes the sign-on shows.
const signOnCauses = 3

// SignOn is the short text that a crew reads when it signs on: the counts of
// its kind of record, the most frequent holds and waivers by name. It is empty
// when there is nothing to tell.
func (t Tally) SignOn(practice bool) string {
	c, kind := t.Real, "real"
	if practice {
		c, kind = t.Practice, "PRACTICE"
	}
	if len(c.Holds)+len(c.Waivers)+c.NotCounted == 0 {
		return ""
	}
	text := fmt.Sprintf("So far, %s: %s", kind, c.summary())
	var parts []string
	for _, h := range c.Holds {
		parts = append(parts, fmt.Sprintf("%d × %s", h.Times, h.What))
	}
	parts = parts[:min(len(parts), signOnCauses)]
	for k, w := range c.Waivers {
		if k < signOnCauses {
			parts = append(parts, fmt.Sprintf("%d × waived %s", w.Times, w.What))
		}
	}
	if len(parts) > 0 {
		text += ": " + strings.Join(parts, "; ")
	}
	return text
}
