package sheet

import (
	"bytes"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// treeBuilder reads expressions one by one into a tree.
type treeBuilder struct {
	doc    *document
	faults *faultList
	parser unstable.Parser
	base   int   // offset of the parser's text in the document
	table  *node // where keys go; nil after a broken header
	path   string
}

// parseTree reads TOML text into a tree. Syntax faults go to faults; reading
// goes on behind a faulty line where the next one can be told.
func parseTree(data []byte, faults *faultList) *document {
	doc := &document{data: data, root: newTable(0)}
	b := &treeBuilder{doc: doc, faults: faults, table: doc.root}
	start := 0
	for start <= len(data) {
		next, more := b.run(start)
		if !more {
			break
		}
		start = next
	}
	if !doc.broken {
		b.crossCheck()
	}
	return doc
}

// run reads from start to the end or to the first syntax fault, and then says
// where to go on.
func (b *treeBuilder) run(start int) (next int, more bool) {
	// The parser finds positions by the capacity left, so it must own its text.
	text := bytes.Clone(b.doc.data[start:])
	text = text[:len(text):len(text)]
	b.base = start
	b.parser = unstable.Parser{}
	b.parser.Reset(text)
	for b.parser.NextExpression() {
		b.expression(b.parser.Expression())
	}
	err := b.parser.Error()
	if err == nil {
		return 0, false
	}
	b.doc.broken = true
	at := start + len(text)
	found, expected := "the end of the text", "valid TOML"
	var perr *unstable.ParserError
	if errors.As(err, &perr) {
		r := b.parser.Range(perr.Highlight)
		at = start + int(r.Offset)
		if len(perr.Highlight) > 0 {
			found = snippet(perr.Highlight)
		}
		expected = syntaxExpected(perr.Message)
	}
	b.faults.add(at, "", found, expected)
	return b.resume(at)
}

// resume finds the next line behind a syntax fault. It gives up where the
// fault may lie inside a value of several lines, of which the remainder would be misread.
func (b *treeBuilder) resume(at int) (int, bool) {
	data := b.doc.data
	lineStart := bytes.LastIndexByte(data[:at], '\n') + 1
	lineEnd := bytes.IndexByte(data[at:], '\n')
	if lineEnd < 0 {
		return 0, false
	}
	line := data[lineStart : at+lineEnd]
	if bytes.Contains(line, []byte(`"""`)) || bytes.Contains(line, []byte("'''")) {
		return 0, false
	}
	open := bytes.ContainsRune(line, '=') && bytes.ContainsAny(line, "[{")
	trimmed := bytes.TrimLeft(line, " \t")
	header := len(trimmed) > 0 && trimmed[0] == '['
	if !header && (open || !bytes.ContainsRune(line, '=')) {
		return 0, false
	}
	if header {
		b.table = nil
	}
	return at + lineEnd + 1, true
}

// syntaxExpected words a parser's message as what was expected.
func syntaxExpected(message string) string {
	message, _, _ = strings.Cut(message, " but got ")
	message = strings.TrimPrefix(message, "toml: ")
	if rest, ok := strings.CutPrefix(message, "expected "); ok {
		rest, _, _ = strings.Cut(rest, ", not ")
		return strings.ReplaceAll(rest, "newline", "the end of the line")
	}
	if strings.HasPrefix(message, "unexpected character") && strings.HasSuffix(message, "at start of value") {
		return "a value"
	}
	return "valid TOML (" + message + ")"
}

// snippet quotes a piece of the text, cut at its line's end.
func snippet(b []byte) string {
	if i := bytes.IndexByte(b, '\n'); i == 0 {
		return "the end of the line"
	} else if i > 0 {
		b = b[:i]
	}
	return quoteText(string(b))
}

// quoteText quotes outside text, cut to a length that fits a message.
func quoteText(s string) string {
	const most = 60
	if r := []rune(s); len(r) > most {
		return strconv.Quote(string(r[:most])) + "…"
	}
	return strconv.Quote(s)
}

func (b *treeBuilder) expression(e *unstable.Node) {
	switch e.Kind {
	case unstable.Table, unstable.ArrayTable:
		b.header(e)
	case unstable.KeyValue:
		if b.table == nil {
			return // under a header that could not be read
		}
		b.keyValue(b.table, b.path, e)
		if b.table != b.doc.root {
			b.table.tail = b.doc.lineEnd(b.base + int(e.Raw.Offset+e.Raw.Length))
		}
	}
}

// keyParts are the parts of a dotted key with their offsets.
type keyPart struct {
	name string
	at   int
	end  int
}

func (b *treeBuilder) keyParts(it unstable.Iterator) []keyPart {
	var parts []keyPart
	for it.Next() {
		k := it.Node()
		at := b.base + int(k.Raw.Offset)
		parts = append(parts, keyPart{string(k.Data), at, at + int(k.Raw.Length)})
	}
	if n := len(parts); n > mostKeyParts { // each part is a table in the one before
		b.faults.add(parts[0].at, "", fmt.Sprintf("a key of %d parts", n), fmt.Sprintf("at most %d", mostKeyParts))
		b.doc.broken = true
		parts = append(parts[:mostKeyParts-1], parts[n-1])
	}
	return parts
}

// mostKeyParts is far more than any key of a sheet has.
const mostKeyParts = 16

// header moves to the table of a [header] or [[header]], making it.
func (b *treeBuilder) header(e *unstable.Node) {
	parts := b.keyParts(e.Key())
	if len(parts) == 0 {
		return
	}
	double := e.Kind == unstable.ArrayTable
	bracket := bytes.LastIndexByte(b.doc.data[:parts[0].at], '[')
	if double && bracket > 0 {
		bracket--
	}
	at, path := b.doc.root, ""
	for _, p := range parts[:len(parts)-1] {
		path = joinKey(path, p.name)
		child := at.entries[p.name]
		switch {
		case child == nil:
			child = newTable(p.at)
			at.put(p.name, child)
		case child.kind == kindTables:
			child = child.items[len(child.items)-1]
		case child.kind != kindTable || child.inline:
			b.refuse(p.at, path, child)
			return
		}
		at = child
	}
	last := parts[len(parts)-1]
	path = joinKey(path, last.name)
	if double {
		b.doubleHeader(at, last, path, bracket)
	} else {
		b.singleHeader(at, last, path, bracket)
	}
	if b.table != nil {
		b.table.tail = b.doc.lineEnd(last.end)
	}
}

func (b *treeBuilder) singleHeader(at *node, last keyPart, path string, bracket int) {
	child := at.entries[last.name]
	switch {
	case child == nil:
		child = newTable(bracket)
		at.put(last.name, child)
	case child.kind != kindTable || child.written || child.inline:
		b.refuse(bracket, path, child)
		return
	}
	child.written, child.offset = true, bracket
	b.table, b.path = child, path
}

func (b *treeBuilder) doubleHeader(at *node, last keyPart, path string, bracket int) {
	child := at.entries[last.name]
	if child == nil {
		child = &node{kind: kindTables, offset: bracket, keyAt: bracket}
		at.put(last.name, child)
	}
	if child.kind != kindTables {
		b.refuse(bracket, path, child)
		return
	}
	item := newTable(bracket)
	item.written = true
	child.items = append(child.items, item)
	b.table, b.path = item, indexKey(path, len(child.items))
}

// refuse reports a table that stands already as something else.
func (b *treeBuilder) refuse(at int, path string, other *node) {
	line, _ := place(b.doc.data, other.offset)
	b.faults.add(at, path, fmt.Sprintf("a second definition, the first is %s in line %d", other.kind, line), "each table once")
	b.doc.broken = true
	b.table = nil
}

// keyValue puts a key and its value into a table, and returns the offset behind
// the value.
func (b *treeBuilder) keyValue(into *node, path string, e *unstable.Node) (end int) {
	parts := b.keyParts(e.Key())
	last := parts[len(parts)-1]
	child := b.value(e.Value(), joinParts(path, parts), b.valueStart(last.end))
	child.keyAt = last.at
	for _, p := range parts[:len(parts)-1] {
		path = joinKey(path, p.name)
		table := into.entries[p.name]
		if table == nil {
			table = newTable(p.at)
			table.inline = true
			into.put(p.name, table)
		} else if table.kind != kindTable || table.written {
			b.duplicate(p.at, path, table)
			return child.end
		}
		into = table
	}
	path = joinKey(path, last.name)
	if other := into.entries[last.name]; other != nil {
		b.duplicate(last.at, path, other)
		return child.end
	}
	into.put(last.name, child)
	return child.end
}

func joinParts(path string, parts []keyPart) string {
	for _, p := range parts {
		path = joinKey(path, p.name)
	}
	return path
}

func (b *treeBuilder) duplicate(at int, path string, other *node) {
	line, _ := place(b.doc.data, other.keyAt)
	b.faults.add(at, path, fmt.Sprintf("the key again, first in line %d", line), "each key once")
}

// valueStart is the offset of the value behind a key that ends at end.
func (b *treeBuilder) valueStart(end int) int {
	return len(b.doc.data) - len(bytes.TrimLeft(b.doc.data[end:], " \t="))
}

// value reads a value that stands at offset at.
func (b *treeBuilder) value(v *unstable.Node, path string, at int) *node {
	n := &node{offset: at, keyAt: at, end: at + int(v.Raw.Length), text: string(v.Data)}
	switch v.Kind {
	case unstable.String:
		n.kind = kindText
	case unstable.Integer:
		n.kind = kindInteger
	case unstable.Float:
		n.kind = kindFloat
	case unstable.Bool:
		n.kind = kindBool
	case unstable.Array:
		n.kind = kindArray
		next := b.skipTrivia(at + 1)
		it := v.Children()
		for it.Next() {
			item := b.value(it.Node(), indexKey(path, len(n.items)+1), next)
			n.items = append(n.items, item)
			next = b.skipTrivia(item.end)
		}
		n.end = next + 1
	case unstable.InlineTable:
		n = newTable(at)
		next := b.skipTrivia(at + 1)
		it := v.Children()
		for it.Next() {
			next = b.keyValue(n, path, it.Node())
		}
		n.end = b.skipTrivia(next) + 1
		// From here on the braces are closed to further keys.
		n.written, n.inline = true, true
	default:
		n.kind = kindDate
	}
	return n
}

// skipTrivia is the offset of what follows behind spaces, line ends, commas
// and comments.
func (b *treeBuilder) skipTrivia(at int) int {
	for {
		rest := bytes.TrimLeft(b.doc.data[at:], " \t\r\n,")
		at = len(b.doc.data) - len(rest)
		if !bytes.HasPrefix(rest, []byte("#")) {
			return at
		}
		at = b.doc.lineEnd(at)
	}
}

// crossCheck gives the text to the library's full decoder too, which refuses
// what the tree above does not look at, such as a number written 1__0.
func (b *treeBuilder) crossCheck() {
	var sink map[string]any
	err := toml.Unmarshal(b.doc.data, &sink)
	if err == nil || len(b.faults.list) > 0 {
		return
	}
	at := 0
	var derr *toml.DecodeError
	if errors.As(err, &derr) {
		line, column := derr.Position()
		at = offsetOf(b.doc.data, line, column)
	}
	b.doc.broken = true
	b.faults.add(at, "", "text that is not TOML", syntaxExpected(strings.TrimPrefix(err.Error(), "toml: ")))
}

// offsetOf is the offset of a line and a byte column, both from 1.
func offsetOf(data []byte, line, column int) int {
	at := 0
	for ; line > 1; line-- {
		i := bytes.IndexByte(data[at:], '\n')
		if i < 0 {
			return len(data)
		}
		at += i + 1
	}
	return min(at+column-1, len(data))
}
