package sheet

import (
	"bytes"
	"cmp"
	_ "embed"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Kinds is what can be added to a sheet as an example, for a table of several
// kinds; nil for a table of one.
func Kinds(table string) []string {
	if table == "stop" {
		return stopWords()
	}
	return nil
}

//go:embed examples.toml
var exampleText string

// examples are new tables, by table and, after a blank, kind.
var examples = func() map[string]string {
	out := map[string]string{}
	for _, part := range strings.Split(strings.ReplaceAll(exampleText, "\r\n", "\n"), "\n## ")[1:] {
		name, text, _ := strings.Cut(part, "\n")
		out[name] = strings.TrimRight(text, "\n") + "\n"
	}
	return out
}()

// Add puts one more table into a sheet's text, behind the last of its name, and
// returns the new text with the new table's key; everything else stays as it
// is. group is a Group's Key: "motor[2]" adds a motor like the second,
// "igniter.bridge" a kind of igniter like it, and "crew" one more post. A table
// that is not there yet is an example, and so is one of a kind that is named
// (Kinds). Names that must differ do.
func Add(data []byte, group, kind string) (text []byte, key string, err error) {
	doc, err := editable(data)
	if err != nil {
		return nil, "", err
	}
	path, err := splitKey(group)
	if err != nil {
		return nil, "", err
	}
	table := path[0].name
	if table == "crew" {
		return addPost(data, doc)
	}
	many, named := isMany(table), table == "igniter"
	there, like := cmp.Or(doc.root.entries[table], &node{}), doc.node(path)
	copied := kind == "" && like != nil && like.kind == kindTable && like.tail > 0 && (many || named)
	what := strings.TrimSpace(table + " " + kind)
	block := examples[what]
	switch {
	case copied:
		block = string(doc.data[like.offset:like.extent()])
	case block == "":
		return nil, "", fmt.Errorf("sheet: add: no example of %s", what)
	case doc.root.entries[table] != nil && !many && !named:
		return nil, "", fmt.Errorf("sheet: add: there is one %s already", table)
	}
	key = table
	switch {
	case many:
		key = indexKey(table, len(there.items)+1)
	case named:
		name := "bridge"
		if len(path) > 1 {
			name = path[1].name
		}
		key = joinKey(table, freshName(there.names, name, "-"))
		block = strings.Replace(block, "["+joinKey(table, name)+"]", "["+key+"]", 1)
	}
	text = doc.put(cmp.Or(there.extent(), len(doc.data)), block)
	if own := like.textOf("name"); copied && many && own != "" && table != "post" {
		var used []string
		for _, item := range there.items {
			used = append(used, item.textOf("name"))
		}
		if text, err = Set(text, key+".name", freshName(used, own, " ")); err != nil {
			return nil, "", err
		}
	}
	if err := onlyDiffersBy(key, text, data); err != nil {
		return nil, "", err
	}
	return text, key, nil
}

func isMany(table string) bool {
	return slices.ContainsFunc(tableAbouts, func(t tableAbout) bool { return t.table == table && t.many })
}

// freshName is name, or name with the first number that makes it differ from
// those used.
func freshName(used []string, name, gap string) string {
	fresh := name
	for n := 2; slices.Contains(used, fresh); n++ {
		fresh = name + gap + strconv.Itoa(n)
	}
	return fresh
}

// put writes a block of lines into the text, behind a blank line.
func (d *document) put(at int, block string) []byte {
	nl := d.newline()
	block = strings.ReplaceAll(strings.ReplaceAll(block, "\r\n", "\n"), "\n", nl)
	if !strings.HasSuffix(block, nl) {
		block += nl
	}
	if at > 0 && d.data[at-1] != '\n' {
		block = nl + block
	}
	return d.splice(at, at, nl+block)
}

// addPost adds a post at the end of the spotters' list.
func addPost(data []byte, doc *document) ([]byte, string, error) {
	n := doc.node([]keyStep{{name: "crew"}, {name: "spotters"}})
	if n == nil || n.kind != kindArray || len(n.items) == 0 {
		return nil, "", errors.New("sheet: add: crew.spotters is no list with a post in it")
	}
	var used []string
	for _, item := range n.items {
		used = append(used, item.text)
	}
	end := n.items[len(n.items)-1].end
	text, key := doc.splice(end, end, ", "+quoteTOML(freshName(used, "new post", " "))), indexKey("crew.spotters", len(n.items)+1)
	if err := onlyDiffersBy(key, text, data); err != nil {
		return nil, "", err
	}
	return text, key, nil
}

// Remove takes a value or a whole table out of a sheet's text, with its line or
// lines; everything else stays as it is. Those after it in double brackets or
// in a list get the numbers before theirs. Whether the sheet can do without it
// is not looked at.
func Remove(data []byte, key string) ([]byte, error) {
	doc, err := editable(data)
	if err != nil {
		return nil, err
	}
	path, err := splitKey(key)
	if err != nil {
		return nil, err
	}
	above, n := doc.node(path[:len(path)-1]), doc.node(path)
	if n == nil {
		return nil, fmt.Errorf("sheet: remove: there is no %s", key)
	}
	siblings, braces := above.children(), above.inline && above.written
	var from, to int
	switch {
	case n.tail > 0: // a table with a header
		from, to = doc.lines(n.offset, n.extent()-1)
	case braces && len(siblings) == 1:
		return Remove(data, wholeKey(path[:len(path)-1]))
	case above.kind == kindArray && len(siblings) == 1:
		return nil, fmt.Errorf("sheet: remove: %s is the only one", key)
	case braces, above.kind == kindArray:
		from, to = besideComma(siblings, slices.Index(siblings, n))
	case n.kind == kindTables || n.kind == kindTable && n.end == 0:
		return nil, fmt.Errorf("sheet: remove: %s is not one value or table", key)
	default:
		from, to = doc.lines(n.keyAt, n.end-1)
	}
	text := doc.splice(from, to, "")
	if err := onlyDiffersBy(key, data, text); err != nil {
		return nil, err
	}
	return text, nil
}

// lines widens a range of the text to whole lines. Of the blank lines before
// and behind, one group goes too, so that no gap is left.
func (d *document) lines(first, last int) (from, to int) {
	blank := func(line []byte) bool { return len(bytes.TrimSpace(line)) == 0 }
	from, to = bytes.LastIndexByte(d.data[:first], '\n')+1, d.lineEnd(last)
	before := bytes.LastIndexByte(d.data[:max(from-1, 0)], '\n') + 1
	if from > 0 && blank(d.data[before:from]) && blank(d.data[to:d.lineEnd(to)]) {
		from = before
	}
	return from, to
}

// besideComma is the place of one of several siblings, with the comma on one
// side of it.
func besideComma(siblings []*node, i int) (from, to int) {
	if i+1 < len(siblings) {
		return siblings[i].keyAt, siblings[i+1].keyAt
	}
	return siblings[i-1].end, siblings[i].end
}

// onlyDiffersBy refuses an edit after which one text has more than what key
// names over the other.
func onlyDiffersBy(key string, with, without []byte) error {
	long, err := Entries(with)
	short, err2 := Entries(without)
	if err = errors.Join(err, err2); err != nil {
		return fmt.Errorf("sheet: %s cannot be changed here: %w", key, err)
	}
	long = slices.DeleteFunc(long, func(e Entry) bool {
		rest, below := strings.CutPrefix(e.Key, key)
		return below && (rest == "" || rest[0] == '.' || rest[0] == '[')
	})
	if !slices.EqualFunc(long, short, func(a, b Entry) bool { return renumbered(a.Key, key) == b.Key && a.Value == b.Value }) {
		return fmt.Errorf("sheet: %s cannot be changed without touching other values: change it in the text", key)
	}
	return nil
}

// renumbered is a key once the item named by gone has been taken out before it.
func renumbered(key, gone string) string {
	path, _ := splitKey(key) // both were made by Entries
	out, _ := splitKey(gone)
	if last := len(out) - 1; len(path) > last && slices.Equal(path[:last], out[:last]) && out[last].index > 0 && path[last].index > out[last].index {
		path[last].index--
	}
	return wholeKey(path)
}
