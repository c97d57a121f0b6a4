package sheet

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"holdline/checklist/sheet/unit"
)

// The readers of this file return NaN for a number and "" for text that could
// not be read, once its fault is noted. NaN is neither above nor below
// anything, so that a check between two values is silent when one of them has
// a fault of its own. A sheet with faults is never given out.

// bounds is the range in which a value must lie.
type bounds struct {
	low, high         float64
	lowOpen, highOpen bool // the bound itself is outside
}

func above(low, high float64) bounds   { return bounds{low: low, high: high, lowOpen: true} }
func between(low, high float64) bounds { return bounds{low: low, high: high} }
func below(low, high float64) bounds   { return bounds{low: low, high: high, highOpen: true} }

func (b bounds) contains(v float64) bool {
	if v < b.low || v > b.high || math.IsNaN(v) {
		return false
	}
	return !(b.lowOpen && v == b.low) && !(b.highOpen && v == b.high)
}

// words says the range for a dimension, or for a bare number.
func (b bounds) words(format func(float64) string) string {
	low := "from " + format(b.low)
	if b.lowOpen {
		low = "above " + format(b.low)
	}
	if math.IsInf(b.high, 1) {
		if !b.lowOpen {
			low = "at least " + format(b.low)
		}
		return low
	}
	if b.highOpen {
		return low + " to below " + format(b.high)
	}
	if b.lowOpen {
		return low + ", at most " + format(b.high)
	}
	return low + " to " + format(b.high)
}

// reader turns the tree into values.
type reader struct {
	doc    *document
	faults *faultList
	notes  []Note
}

func (r *reader) note(offset int, key, format string, args ...any) {
	line, column := place(r.doc.data, offset)
	r.notes = append(r.notes, Note{line, column, key, fmt.Sprintf(format, args...)})
}

// table is a table being read, with the keys that were asked for.
type table struct {
	r     *reader
	n     *node
	path  string
	known []string
}

func (r *reader) open(n *node, path string) *table { return &table{r: r, n: n, path: path} }

func (t *table) key(name string) string { return joinKey(t.path, name) }

// get is the entry of a name, nil for none, and makes the name known.
func (t *table) get(name string) *node {
	if !slices.Contains(t.known, name) {
		t.known = append(t.known, name)
	}
	return t.n.entries[name]
}

// need is get for an entry that must be there.
func (t *table) need(name, expected string) *node {
	n := t.get(name)
	if n == nil {
		t.missing(name, expected)
	}
	return n
}

// missing notes that a key is not there. After a syntax fault nobody can tell.
func (t *table) missing(name, expected string) {
	if !t.r.doc.broken {
		t.r.faults.add(t.n.offset, t.key(name), "nothing", expected)
	}
}

// fault notes a fault of an entry's value.
func (t *table) fault(name string, n *node, found, expected string) {
	t.r.faults.add(n.offset, t.key(name), found, expected)
}

// close notes every key that nothing asked for. what says of what the keys
// are, such as "a chute".
func (t *table) close(what string) {
	for _, name := range t.n.names {
		if slices.Contains(t.known, name) {
			continue
		}
		expected := "no such key; those of " + what + " are " + strings.Join(t.known, " ")
		if near := nearest(name, t.known); near != "" {
			expected = strconv.Quote(near)
		}
		n := t.n.entries[name]
		at := n.keyAt
		if n.kind == kindTables {
			at = n.items[0].offset
		} else if n.kind == kindTable && n.written && !n.inline {
			at = n.offset
		}
		t.r.faults.add(at, t.key(name), unknownKey+quoteText(name), expected)
	}
}

const unknownKey = "the unknown key "

// describe says what a value is.
func describe(n *node) string {
	switch n.kind {
	case kindText:
		return quoteText(n.text)
	case kindInteger, kindFloat:
		return "the bare number " + n.text
	case kindBool:
		return "the bare word " + n.text
	}
	return n.kind.String()
}

// quantityOr reads a value with a unit that may be left out.
func (t *table) quantityOr(name string, d unit.Dimension, b bounds, otherwise float64) float64 {
	if t.get(name) == nil {
		return otherwise
	}
	return t.quantity(name, d, b)
}

// quantityIf is quantityOr with nil for a value left out.
func (t *table) quantityIf(name string, d unit.Dimension, b bounds) *float64 {
	if t.get(name) == nil {
		return nil
	}
	v := t.quantity(name, d, b)
	return &v
}

// quantity reads a value with a unit that must be there.
func (t *table) quantity(name string, d unit.Dimension, b bounds) float64 {
	n := t.need(name, unit.Expected(d))
	if n == nil {
		return math.NaN()
	}
	if n.kind != kindText {
		found := describe(n)
		if n.kind == kindInteger || n.kind == kindFloat {
			found += ", without a unit"
		}
		t.fault(name, n, found, unit.Expected(d)+", in quotes")
		return math.NaN()
	}
	v, err := unit.ParseAs(n.text, d)
	var uerr *unit.Error
	if errors.As(err, &uerr) {
		t.fault(name, n, uerr.Found, uerr.Expected)
		return math.NaN()
	}
	if !b.contains(v) {
		words := b.words(func(v float64) string { return unit.Format(v, d, unit.Metric) })
		t.fault(name, n, quoteText(n.text), d.String()+" "+words)
		return math.NaN()
	}
	return v
}

const ratioWords = `a number without quotes, such as 0.45, or a percentage, such as "2 %"`

// ratio reads a bare number or a percentage that must be there.
func (t *table) ratio(name string, b bounds) float64 { return t.ratioAs(name, b, ratioWords) }

// ratioOr reads a bare number or a percentage that may be left out.
func (t *table) ratioOr(name string, b bounds, otherwise float64) float64 {
	if t.get(name) == nil {
		return otherwise
	}
	return t.ratio(name, b)
}

func (t *table) ratioAs(name string, b bounds, expected string) float64 {
	n := t.need(name, expected)
	if n == nil {
		return math.NaN()
	}
	var v float64
	switch n.kind {
	case kindInteger, kindFloat:
		v = number(n.text)
	case kindText:
		q, err := unit.ParseAs(n.text, unit.Ratio)
		var uerr *unit.Error
		if errors.As(err, &uerr) {
			t.fault(name, n, uerr.Found, expected)
			return math.NaN()
		}
		v = q
	default:
		t.fault(name, n, describe(n), expected)
		return math.NaN()
	}
	if !b.contains(v) || math.IsInf(v, 0) {
		format := func(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }
		if n.kind == kindText {
			format = func(v float64) string { return unit.Format(v, unit.Ratio, unit.Metric) }
		}
		t.fault(name, n, describe(n), "a value "+b.words(format))
		return math.NaN()
	}
	return v
}

// slope reads a rise over run: a number, a percentage or an angle in degrees.
func (t *table) slope(name string) float64 {
	n := t.get(name)
	if n == nil {
		return 0
	}
	const words = `a rise over run, such as 0.002 or "0.2 %", or an angle, such as "0.5 deg"`
	steepest := between(-1, 1)
	if n.kind == kindText {
		if q, err := unit.Parse(n.text); err == nil && q.Unit.Dimension == unit.Angle {
			// Rounding must not put 45 degrees outside, nor 135 inside.
			if v := math.Tan(q.SI); math.Abs(q.SI) <= math.Pi/4 && steepest.contains(v) {
				return v
			}
			t.fault(name, n, quoteText(n.text), "a slope from -45 deg to 45 deg")
			return math.NaN()
		}
	}
	return t.ratioAs(name, steepest, words)
}

// number reads a TOML integer or float; NaN when it is none, or too large.
func number(text string) float64 {
	text = strings.ReplaceAll(text, "_", "")
	if v, err := strconv.ParseFloat(text, 64); err == nil && !strings.ContainsAny(text, "xX") {
		return v
	}
	if v, err := strconv.ParseInt(text, 0, 64); err == nil {
		return float64(v)
	}
	return math.NaN()
}

// whole reads a whole number that must be there; -1 when it cannot.
func (t *table) whole(name string, low, high int) int {
	expected := fmt.Sprintf("a whole number from %d to %d", low, high)
	n := t.need(name, expected)
	if n == nil {
		return -1
	}
	if n.kind == kindInteger {
		if v := number(n.text); v >= float64(low) && v <= float64(high) {
			return int(v)
		}
	}
	t.fault(name, n, describe(n), expected)
	return -1
}

// flagOr reads true or false.
func (t *table) flagOr(name string, otherwise bool) bool {
	n := t.get(name)
	if n == nil {
		return otherwise
	}
	if n.kind != kindBool {
		t.fault(name, n, describe(n), "true or false, without quotes")
		return otherwise
	}
	return n.text == "true"
}

// mostText is the longest text of a sheet in characters.
const mostText = 200

// text reads text that must be there and say something.
func (t *table) text(name, expected string) string {
	n := t.need(name, expected)
	if n == nil {
		return ""
	}
	return t.r.plainText(t.key(name), n, expected)
}

// textOr reads text that may be left out, but not be blank.
func (t *table) textOr(name, expected string) string {
	if t.get(name) == nil {
		return ""
	}
	return t.text(name, expected)
}

// plainText reads a node that must be text that says something.
func (r *reader) plainText(key string, n *node, expected string) string {
	if n.kind != kindText {
		r.faults.add(n.offset, key, describe(n), expected+", in quotes")
		return ""
	}
	s := strings.TrimSpace(n.text)
	switch {
	case s == "":
		r.faults.add(n.offset, key, "a blank", expected)
		return ""
	case utf8.RuneCountInString(s) > mostText:
		r.faults.add(n.offset, key, fmt.Sprintf("a text of %d characters", utf8.RuneCountInString(s)), fmt.Sprintf("at most %d", mostText))
		return ""
	case strings.IndexFunc(s, unprintable) >= 0:
		r.faults.add(n.offset, key, quoteText(s)+", with a character that cannot be shown", expected)
		return ""
	}
	return s
}

// unprintable reports characters that would move the cursor, turn the writing
// direction or hide.
func unprintable(r rune) bool {
	return unicode.IsControl(r) || unicode.Is(unicode.Cf, r) || r == utf8.RuneError || r == '\u2028' || r == '\u2029'
}

// choice reads one of several words; its index, or -1.
func (t *table) choice(name string, words []string) int {
	expected := "one of " + strings.Join(words, ", ")
	n := t.need(name, expected)
	if n == nil {
		return -1
	}
	if n.kind == kindText {
		if i := slices.Index(words, n.text); i >= 0 {
			return i
		}
		if near := nearest(n.text, words); near != "" {
			expected += "; " + strconv.Quote(near) + " is meant?"
		}
	}
	t.fault(name, n, describe(n), expected)
	return -1
}

// table opens a table below this one that must be there, nil when it is not.
func (t *table) table(name, expected string) *table {
	n := t.need(name, expected)
	if n == nil {
		return nil
	}
	if n.kind != kindTable {
		t.fault(name, n, describe(n), expected)
		return nil
	}
	return t.r.open(n, t.key(name))
}

// tableIf opens a table below this one that may be left out.
func (t *table) tableIf(name, expected string) *table {
	if t.get(name) == nil {
		return nil
	}
	return t.table(name, expected)
}

// tables opens every table of one name in double brackets.
func (t *table) tables(name string) []*table {
	n := t.get(name)
	if n == nil {
		return nil
	}
	expected := "tables, each headed [[" + name + "]]"
	if n.kind == kindTable {
		t.fault(name, n, "a table in single brackets", expected)
		return nil
	}
	if n.kind != kindTables && n.kind != kindArray {
		t.fault(name, n, describe(n), expected)
		return nil
	}
	var out []*table
	for i, item := range n.items {
		if item.kind != kindTable {
			t.r.faults.add(item.offset, indexKey(t.key(name), i+1), describe(item), expected)
			continue
		}
		out = append(out, t.r.open(item, indexKey(t.key(name), i+1)))
	}
	return out
}

// names keeps names apart: it notes a second use of one.
type names struct {
	what string
	seen map[string]int // line of the first use
}

func (u *names) take(t *table, key, name string) {
	n := t.n.entries[key]
	if name == "" || n == nil {
		return
	}
	u.takeAt(t.r, n, t.key(key), name)
}

func (u *names) takeAt(r *reader, n *node, key, name string) {
	line, _ := place(r.doc.data, n.offset)
	if first, ok := u.seen[name]; ok {
		r.faults.add(n.offset, key, fmt.Sprintf("%s again, first in line %d", quoteText(name), first), u.what+" names that differ")
		return
	}
	if u.seen == nil {
		u.seen = map[string]int{}
	}
	u.seen[name] = line
}
