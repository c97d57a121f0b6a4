package sheet

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"
)

// Entry is one value of a sheet's text, as a form shows it.
type Entry struct {
	Key          string // dotted, tables of one name counted from 1
	Value        string // text without its quotes, or a number or word as written
	Line, Column int    // of the value
}

// Entries lists every single value of a sheet's text in the order of the
// tables, each with a key that Set takes. The error is a Faults when the text
// is not TOML.
func Entries(data []byte) ([]Entry, error) {
	doc, err := editable(data)
	if err != nil {
		return nil, err
	}
	var out []Entry
	var walk func(n *node, path string)
	walk = func(n *node, path string) {
		switch n.kind {
		case kindTable:
			for _, name := range n.names {
				walk(n.entries[name], joinKey(path, name))
			}
		case kindTables, kindArray:
			for i, item := range n.items {
				walk(item, indexKey(path, i+1))
			}
		default:
			line, column := place(doc.data, n.offset)
			out = append(out, Entry{path, n.text, line, column})
		}
	}
	walk(doc.root, "")
	return out, nil
}

// Set replaces one value in a sheet's text and returns the new text; comments,
// order and layout stay as they are, and data is not changed. key is dotted as
// in Fault and Entry: "site.headwind", "motor[2].lateral",
// "crew.spotters[1]". value is what a person would write without quotes:
// "2 m/s", "0.45", "true"; Set quotes it where quotes are due.
//
// A key that is not there is added at the end of its table, and its table at
// the end of the text, or in braces at the end of the table that it belongs to.
// Nothing is added to an array.
//
// The error is a Faults when the text is not TOML or when value is not one that
// the key can take; other keys are not looked at, so that two that depend on
// each other can be set one after the other. For any other reason, such as a
// key that cannot be there, it is a plain error.
func Set(data []byte, key, value string) ([]byte, error) {
	path, err := splitKey(key)
	if err != nil {
		return nil, err
	}
	doc, err := editable(data)
	if err != nil {
		return nil, err
	}
	at, err := doc.spot(path, key)
	if err != nil {
		return nil, err
	}
	var refused error
	for _, literal := range literals(value, at.now) {
		next := at.write(doc, literal)
		err := checkKey(next, path)
		if err == nil {
			return next, nil
		}
		if refused == nil {
			refused = err
		}
	}
	return nil, refused
}

// editable reads text that must be TOML.
func editable(data []byte) (*document, error) {
	p, err := editableParser(data)
	if err != nil {
		return nil, err
	}
	return p.doc, nil
}

func editableParser(data []byte) (*parser, error) {
	p := newParser("sheet", data, nil)
	if p == nil {
		return nil, fmt.Errorf("sheet: set: a text of more than %d bytes", mostSheetBytes)
	}
	if len(p.faults.list) > 0 {
		return nil, p.faults.sorted()
	}
	return p, nil
}

// checkKey reads the text without its curves and returns the faults of one
// key, its not being there included.
func checkKey(data []byte, path []keyStep) error {
	key := wholeKey(path)
	p, err := editableParser(data)
	if err != nil {
		return err
	}
	if p.doc.node(path) == nil {
		return fmt.Errorf("sheet: set: %s cannot be added there", key)
	}
	p.sheet()
	own := slices.DeleteFunc(p.faults.sorted(), func(f Fault) bool {
		unknownTable := strings.HasPrefix(key, f.Key+".") && strings.HasPrefix(f.Found, unknownKey)
		return f.Key != key && !unknownTable
	})
	if len(own) > 0 {
		return own
	}
	return nil
}

// spot is the place of a value in the text.
type spot struct {
	now      *node  // what stands there; nil for a new key
	from, to int    // the text replaced
	before   string // written before the value of a new key
	after    string
}

// spot finds where a key's value stands, or would be added.
func (d *document) spot(path []keyStep, key string) (spot, error) {
	at := d.root
	for i, step := range path {
		last := i == len(path)-1
		next := at.child(step)
		switch {
		case next != nil && last:
			if next.kind == kindTable || next.kind == kindTables || next.kind == kindArray {
				return spot{}, fmt.Errorf("sheet: set: %s is %s, not a single value", key, next.kind)
			}
			return spot{now: next, from: next.offset, to: next.end}, nil
		case next != nil:
			at = next
		case step.index > 0:
			return spot{}, fmt.Errorf("sheet: set: there is no %s", key)
		case last:
			return d.newKey(at, step.name, key)
		case at == d.root && i == len(path)-2 && path[i+1].index == 0:
			return d.newTable(step.name, path[i+1].name), nil
		case i == len(path)-2 && path[i+1].index == 0:
			return d.newBraces(at, step.name, path[i+1].name, key)
		default:
			return spot{}, fmt.Errorf("sheet: set: there is no table for %s", key)
		}
	}
	return spot{}, fmt.Errorf("sheet: set: malformed key %q", key)
}

// newKey is the place of a new key at the end of a table with a header.
func (d *document) newKey(table *node, name, key string) (spot, error) {
	if table.kind == kindTable && table.inline && table.end > 0 {
		s := spot{from: table.end - 1, to: table.end - 1, before: joinKey("", name) + " = ", after: " "}
		// Behind the last value, before the space that stands before the brace.
		for s.from > 0 && (d.data[s.from-1] == ' ' || d.data[s.from-1] == '\t') {
			s.from--
		}
		if len(table.names) > 0 {
			s.before = ", " + s.before
		} else {
			s.before = " " + s.before
		}
		return s, nil
	}
	if table.kind != kindTable || table.inline || table.tail == 0 {
		return spot{}, fmt.Errorf("sheet: set: %s is not there and cannot be added to %s", key, table.kind)
	}
	s := spot{from: table.tail, to: table.tail, before: joinKey("", name) + " = ", after: d.newline()}
	if s.from > 0 && d.data[s.from-1] != '\n' {
		s.before = d.newline() + s.before
	}
	return s, nil
}

// newTable is the place of a new key in a new table at the end of the text.
func (d *document) newTable(table, name string) spot {
	nl := d.newline()
	before := nl + "[" + joinKey("", table) + "]" + nl + joinKey("", name) + " = "
	if len(d.data) > 0 && d.data[len(d.data)-1] != '\n' {
		before = nl + before
	}
	return spot{from: len(d.data), to: len(d.data), before: before, after: nl}
}

// newBraces is the place of a new key in a new table in braces, at the end of
// a table with a header.
func (d *document) newBraces(at *node, table, name, key string) (spot, error) {
	s, err := d.newKey(at, table, key)
	s.before += "{ " + joinKey("", name) + " = "
	s.after = " }" + s.after
	return s, err
}

// newline is the line end that the text uses.
func (d *document) newline() string {
	if bytes.Contains(d.data, []byte("\r\n")) {
		return "\r\n"
	}
	return "\n"
}

// write puts a literal into the place. A comment behind it stays in its
// column where there is room.
func (s spot) write(d *document, literal string) []byte {
	rest, to, after := d.data[s.to:], s.to, s.after
	if gap := len(rest) - len(bytes.TrimLeft(rest, " ")); s.now != nil && gap > 0 && bytes.HasPrefix(rest[gap:], []byte("#")) {
		longer := utf8.RuneCountInString(literal) - utf8.RuneCount(d.data[s.from:s.to])
		to, after = s.to+gap, strings.Repeat(" ", max(1, gap-longer))
	}
	return d.splice(s.from, to, s.before+literal+after)
}

// literals are the ways to write a value in TOML, the likeliest first: as text
// where text stood, bare where a number or a word stood.
func literals(value string, now *node) []string {
	value = strings.TrimSpace(value)
	quoted := quoteTOML(value)
	bare := value == "true" || value == "false" || plainNumber(value)
	switch {
	case !bare:
		return []string{quoted}
	case now != nil && now.kind == kindText:
		return []string{quoted, value}
	}
	return []string{value, quoted}
}

// plainNumber reports a decimal number that TOML takes as it is.
func plainNumber(s string) bool {
	if strings.Trim(s, "0123456789+-.eE") != "" {
		return false
	}
	p := newParser("sheet", []byte("x = "+s), nil)
	return len(p.faults.list) == 0
}

// quoteTOML writes text as a TOML basic string.
func quoteTOML(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r < 0x20 || r == 0x7f:
			fmt.Fprintf(&b, `\u%04X`, r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}
