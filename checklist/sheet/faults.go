package sheet

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"unicode"
)

// Fault is one thing wrong with a sheet or with a curve file it names.
type Fault struct {
	File     string `json:"file"`     // the sheet, or the curve's path as the sheet writes it joined to the sheet's folder
	Line     int    `json:"line"`     // from 1
	Column   int    `json:"column"`   // from 1, in characters
	Key      string `json:"key"`      // dotted, tables of one name counted from 1: "motor[2].curve"; empty when there is none
	Found    string `json:"found"`    // a phrase
	Expected string `json:"expected"` // a phrase

	excerpt string // the line itself, for Text
}

// String is the fault in one line: file:line:column: key: found …, expected ….
func (f Fault) String() string {
	key := f.Key
	if key != "" {
		key += ": "
	}
	return fmt.Sprintf("%s:%d:%d: %sfound %s, expected %s", clean(f.File), f.Line, f.Column, clean(key), clean(f.Found), clean(f.Expected))
}

// Faults is everything wrong with a sheet, in the order of file, line and
// column, the sheet itself before the curve files.
type Faults []Fault

// Error is one line for each fault.
func (f Faults) Error() string {
	lines := make([]string, len(f))
	for i, fault := range f {
		lines[i] = fault.String()
	}
	return strings.Join(lines, "\n")
}

// Text is the faults for people: each with the line it stands in, a mark under
// the place, and what was found and expected, and at last how many there are.
func (f Faults) Text() string {
	var b strings.Builder
	for _, fault := range f {
		fmt.Fprintf(&b, "%s:%d:%d", clean(fault.File), fault.Line, fault.Column)
		if fault.Key != "" {
			fmt.Fprintf(&b, ": %s", clean(fault.Key))
		}
		b.WriteByte('\n')
		if line, mark := fault.marked(); line != "" {
			fmt.Fprintf(&b, "    %s\n    %s\n", line, mark)
		}
		fmt.Fprintf(&b, "    found %s\n    expected %s\n\n", clean(fault.Found), clean(fault.Expected))
	}
	switch len(f) {
	case 0:
		b.WriteString("no faults\n")
	case 1:
		b.WriteString("1 fault\n")
	default:
		fmt.Fprintf(&b, "%d faults\n", len(f))
	}
	return b.String()
}

// marked is the fault's line cut to a window around the column, and a line
// with a caret under the column.
func (f Fault) marked() (line, mark string) {
	const width = 70
	text := []rune(clean(f.excerpt))
	if strings.TrimSpace(string(text)) == "" {
		return "", ""
	}
	at := min(max(f.Column-1, 0), len(text))
	from := 0
	if at > width-10 {
		from = at - width/2
	}
	to := min(len(text), from+width)
	return strings.TrimRight(string(text[from:to]), " "), strings.Repeat(" ", at-from) + "^"
}

// JSON is the faults as a JSON array of objects with file, line, column, key,
// found and expected; an empty array for none.
func (f Faults) JSON() ([]byte, error) {
	if f == nil {
		f = Faults{}
	}
	return json.MarshalIndent([]Fault(f), "", "  ")
}

// clean replaces what a terminal could take for a command, so that a sheet
// cannot write to the screen, one character for one.
func clean(s string) string {
	return strings.Map(func(r rune) rune {
		if r == '\t' {
			return ' '
		}
		if unicode.IsControl(r) || unicode.Is(unicode.Cf, r) || r == unicode.ReplacementChar {
			return '\u00b7'
		}
		return r
	}, s)
}

// faultList gathers the faults of one file, and of the curve files it names.
type faultList struct {
	file string
	data []byte
	list Faults
}

// add notes a fault at an offset of the sheet.
func (l *faultList) add(offset int, key, found, expected string) {
	line, column := place(l.data, offset)
	l.list = append(l.list, Fault{l.file, line, column, key, found, expected, lineText(l.data, line)})
}

// addAt notes a fault of another file.
func (l *faultList) addAt(f Fault) { l.list = append(l.list, f) }

// sorted is the faults in order, each once.
func (l *faultList) sorted() Faults {
	out := slices.Clone(l.list)
	slices.SortStableFunc(out, func(a, b Fault) int {
		if own := a.File == l.file; own != (b.File == l.file) {
			if own {
				return -1
			}
			return 1
		}
		return cmp.Or(cmp.Compare(a.File, b.File),
			cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
	return slices.Compact(out)
}

// lineText is line n, from 1, of a text without its line end, at most 4096
// bytes of it.
func lineText(data []byte, n int) string {
	line, _, _ := bytes.Cut(data[offsetOf(data, n, 1):], []byte("\n"))
	return strings.TrimRight(string(line[:min(len(line), 4096)]), "\r")
}

// nearest is the candidate closest to word by edit distance, empty when none
// is close enough to be meant.
func nearest(word string, candidates []string) string {
	best, bestDistance := "", 1+len([]rune(word))/3
	for _, c := range candidates {
		if d := editDistance(word, c); d <= bestDistance && (best == "" || d < bestDistance) {
			best, bestDistance = c, d
		}
	}
	return best
}

// editDistance counts insertions, deletions, replacements and swaps of
// neighbours (optimal string alignment).
func editDistance(a, b string) int {
	x, y := []rune(a), []rune(b)
	if len(x) > 64 {
		return len(x)
	}
	before, last := make([]int, len(y)+1), make([]int, len(y)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(x); i++ {
		row := make([]int, len(y)+1)
		row[0] = i
		for j := 1; j <= len(y); j++ {
			cost := 1
			if x[i-1] == y[j-1] {
				cost = 0
			}
			row[j] = min(last[j]+1, row[j-1]+1, last[j-1]+cost)
			if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last = last, row
	}
	return last[len(y)]
}
