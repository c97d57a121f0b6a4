package sheet

import (
	"bytes"
	"fmt"
	"slices"
	"unicode/utf8"
)

// kind is what a node of the parsed text is.
type kind int

const (
	kindTable kind = iota // [header], inline, or implied by a dotted key
	kindTables
	kindArray
	kindText
	kindInteger
	kindFloat
	kindBool
	kindDate
)

func (k kind) String() string {
	switch k {
	case kindTable:
		return "a table"
	case kindTables:
		return "tables in double brackets"
	case kindArray:
		return "an array"
	case kindText:
		return "text"
	case kindInteger, kindFloat:
		return "a bare number"
	case kindBool:
		return "true or false"
	case kindDate:
		return "a date or time"
	}
	return fmt.Sprintf("kind(%d)", int(k))
}

// node is a value of the sheet's text with the place where it stands. Tables
// keep their entries in the order of the text.
type node struct {
	kind   kind
	offset int    // of the value; for a table, of its header or brace
	end    int    // behind the value; 0 for a table with a header
	keyAt  int    // offset of the key
	text   string // of a string, or a scalar as it is written

	names   []string
	entries map[string]*node
	items   []*node // of an array or of tables

	written bool // a table with a header or a brace of its own, closed to a second one
	inline  bool // a table in braces or made by a dotted key: closed to headers
	tail    int  // offset behind the last line that belongs to a table with a header
}

func newTable(offset int) *node {
	return &node{kind: kindTable, offset: offset, keyAt: offset, entries: map[string]*node{}}
}

// child is the entry or item that a step of a key names, nil for none.
func (n *node) child(step keyStep) *node {
	if step.index == 0 {
		return n.entries[step.name]
	}
	if step.index <= len(n.items) {
		return n.items[step.index-1]
	}
	return nil
}

// children are the entries of a table in the order of the text, or the items.
func (n *node) children() []*node {
	out := slices.Clone(n.items)
	for _, name := range n.names {
		out = append(out, n.entries[name])
	}
	return out
}

// textOf is the text of an entry, "" for one that is not there or is no text.
func (n *node) textOf(name string) string {
	if n == nil || n.entries[name] == nil || n.entries[name].kind != kindText {
		return ""
	}
	return n.entries[name].text
}

// extent is the offset behind all that belongs to a table with a header.
func (n *node) extent() int {
	end := n.tail
	for _, c := range n.children() {
		end = max(end, c.extent())
	}
	return end
}

func (n *node) put(name string, child *node) {
	n.names = append(n.names, name)
	n.entries[name] = child
}

// document is the parsed text of a sheet.
type document struct {
	mark   []byte // a byte order mark, where the text has one
	data   []byte // the text behind it
	root   *node
	broken bool // syntax faults: what is missing cannot be told
}

// node finds what a key names, nil for none.
func (d *document) node(path []keyStep) *node {
	at := d.root
	for _, step := range path {
		if at = at.child(step); at == nil {
			return nil
		}
	}
	return at
}

// splice is the whole text with one piece replaced.
func (d *document) splice(from, to int, piece string) []byte {
	return slices.Concat(d.mark, d.data[:from], []byte(piece), d.data[to:])
}

// lineEnd is the offset behind the line in which offset stands.
func (d *document) lineEnd(offset int) int {
	if i := bytes.IndexByte(d.data[offset:], '\n'); i >= 0 {
		return offset + i + 1
	}
	return len(d.data)
}

// place turns an offset into line and column, both from 1; columns count
// characters, as editors do.
func place(data []byte, offset int) (line, column int) {
	offset = min(max(offset, 0), len(data))
	before := data[:offset]
	start := bytes.LastIndexByte(before, '\n') + 1
	return bytes.Count(before, []byte{'\n'}) + 1, utf8.RuneCount(before[start:]) + 1
}
