package sheet

import (
	"bytes"
	"fmt"
	"maps"
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

// examples are new tables as Add writes them, by table and, after a blank, its
// kind. Their values are invented.
var examples = map[string]string{
	"guide": `[guide]
kind = "wire"
drag = "1.5 N"
friction = 0.15
bearing_spacing = "0.30 m"
height = "40 mm"
rating = "400 N"
`,
	"motor": `[[motor]]
curve = "builtin:plateau-c"
propellant = "11 g"
lateral = "0 mm"
height = "50 mm"
igniter = "bridge"
`,
	"igniter": `[igniter.bridge]
resistance = "0.8 ohm"
tolerance = "12 %"
no_fire = "0.15 A"
all_fire = "0.60 A"
source = "invented example: replace it by the maker's data sheet or lot card"
time_constant = "4 ms"
pressurisation = { mean = "35 ms", deviation = "8 ms" }
`,
	"stop wheel-brake": `[[stop]]
name = "wheel brakes"
kind = "wheel-brake"
after = "2.0 s"
friction = 0.6
braked_share = 0.5
`,
	"stop chute": `[[stop]]
name = "chute"
kind = "chute"
after = "2.0 s"
area = "0.05 m2"
fill_time = "0.2 s"
`,
	"stop weighted-line": `[[stop]]
name = "weighted line"
kind = "weighted-line"
at = "100 m"
mass = "3 kg"
ground_friction = 0.5
stiffness = "900 N/m"
hook_height = "40 mm"
rating = "1500 N"
`,
	"stop elastic-line": `[[stop]]
name = "elastic line"
kind = "elastic-line"
at = "100 m"
slack = "1 m"
stiffness = "20 N/m"
damping = "2 N*s/m"
hook_height = "40 mm"
rating = "1500 N"
`,
	"stop arrest-bed": `[[stop]]
name = "gravel bed"
kind = "arrest-bed"
at = "100 m"
length = "30 m"
friction = 0.5
`,
	"post": `[[post]]
name = "far end"
distance = "45 m"
`,
	"pause": `[[pause]]
at = "5 s"
`,
	"radio": `[[radio]]
name = "steering transmitter"
power = "0.1 W"
frequency = "2.4 GHz"
distance = "30 m"
`,
	"step": `[[step]]
phase = "setup"
text = "Extinguisher and water at the hold line: what stands there?"
role = "range officer"
`,
}

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
	if group == "crew" {
		return addPost(data, doc)
	}
	table, _, _ := strings.Cut(strings.TrimRight(group, "]"), "[")
	table, name, named := strings.Cut(table, ".")
	name = unquoted(name)
	like := doc.node(group)
	copied := kind == "" && like != nil && like.kind == kindTable && like.tail > 0 && (isMany(table) || table == "igniter")
	block := examples[strings.TrimSpace(table+" "+kind)]
	switch {
	case copied:
		block = string(doc.data[like.offset:like.extent()])
	case block == "":
		return nil, "", fmt.Errorf("sheet: add: no example of %s", strings.TrimSpace(table+" "+kind))
	case doc.root.entries[table] != nil && !isMany(table) && table != "igniter":
		return nil, "", fmt.Errorf("sheet: add: there is one %s already", table)
	}
	key = table
	switch {
	case isMany(table):
		key = indexKey(table, len(doc.items(table))+1)
	case table == "igniter":
		if !named {
			name = "bridge"
		}
		fresh := freshName(doc.names("igniter"), name, "-")
		block = strings.Replace(block, "["+joinKey("igniter", name)+"]", "["+joinKey("igniter", fresh)+"]", 1)
		key = joinKey("igniter", fresh)
	}
	next := doc.put(table, block)
	if copied && isMany(table) {
		if own := like.entries["name"]; own != nil && own.kind == kindText && table != "post" {
			var used []string
			for _, item := range doc.items(table) {
				if n := item.entries["name"]; n != nil {
					used = append(used, n.text)
				}
			}
			if next, err = Set(next, key+".name", freshName(used, own.text, " ")); err != nil {
				return nil, "", err
			}
		}
	}
	if err := sameBut(data, next, key, false); err != nil {
		return nil, "", err
	}
	return withMark(data, doc, next), key, nil
}

func isMany(table string) bool {
	for _, t := range tableAbouts {
		if t.table == table {
			return t.many
		}
	}
	return false
}

func unquoted(name string) string {
	if s, err := strconv.Unquote(name); err == nil {
		return s
	}
	return name
}

// freshName is name, or name with the first number that makes it differ from
// those used.
func freshName(used []string, name, gap string) string {
	taken := map[string]bool{}
	for _, u := range used {
		taken[u] = true
	}
	fresh := name
	for n := 2; taken[fresh]; n++ {
		fresh = name + gap + strconv.Itoa(n)
	}
	return fresh
}

// withMark puts the byte order mark back in front, where there was one.
func withMark(data []byte, doc *document, next []byte) []byte {
	mark := data[:len(data)-len(doc.data)]
	return append(bytes.Clone(mark), next...)
}

// node finds a key's node, nil for none.
func (d *document) node(key string) *node {
	path, err := splitKey(key)
	if err != nil {
		return nil
	}
	at := d.root
	for _, step := range path {
		if at = at.child(step); at == nil {
			return nil
		}
	}
	return at
}

func (d *document) items(table string) []*node {
	if n := d.root.entries[table]; n != nil {
		return n.items
	}
	return nil
}

func (d *document) names(table string) []string {
	if n := d.root.entries[table]; n != nil {
		return n.names
	}
	return nil
}

// extent is the offset behind all that belongs to a table with a header.
func (n *node) extent() int {
	end := n.tail
	for _, name := range n.names {
		end = max(end, n.entries[name].extent())
	}
	for _, item := range n.items {
		end = max(end, item.extent())
	}
	return end
}

// put writes a block of lines behind the last table of a name, or at the end.
func (d *document) put(table, block string) []byte {
	nl := d.newline()
	at := len(d.data)
	if n := d.root.entries[table]; n != nil {
		if end := n.extent(); end > 0 {
			at = end
		}
	}
	block = strings.ReplaceAll(strings.ReplaceAll(block, "\r\n", "\n"), "\n", nl)
	if !strings.HasSuffix(block, nl) {
		block += nl
	}
	before := nl
	if at > 0 && d.data[at-1] != '\n' {
		before = nl + nl
	}
	var b bytes.Buffer
	b.Write(d.data[:at])
	b.WriteString(before + block)
	b.Write(d.data[at:])
	return b.Bytes()
}

// addPost adds a post at the end of the spotters' list.
func addPost(data []byte, doc *document) ([]byte, string, error) {
	n := doc.node("crew.spotters")
	if n == nil || n.kind != kindArray || len(n.items) == 0 {
		return nil, "", fmt.Errorf("sheet: add: crew.spotters is no list with a post in it")
	}
	var used []string
	for _, item := range n.items {
		used = append(used, item.text)
	}
	last := n.items[len(n.items)-1]
	var b bytes.Buffer
	b.Write(doc.data[:last.end])
	b.WriteString(", " + quoteTOML(freshName(used, "new post", " ")))
	b.Write(doc.data[last.end:])
	key := indexKey("crew.spotters", len(n.items)+1)
	if err := sameBut(data, b.Bytes(), key, false); err != nil {
		return nil, "", err
	}
	return withMark(data, doc, b.Bytes()), key, nil
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
	n := doc.node(key)
	if n == nil {
		return nil, fmt.Errorf("sheet: remove: there is no %s", key)
	}
	above := doc.root
	if len(path) > 1 {
		above = doc.node(wholeKey(path[:len(path)-1]))
	}
	var from, to int
	switch {
	case n.tail > 0: // a table with a header
		from, to = doc.lines(n.offset, n.extent()-1)
	case above.kind == kindArray:
		if from, to = besideComma(above.items, path[len(path)-1].index-1); len(above.items) == 1 {
			return nil, fmt.Errorf("sheet: remove: %s is the only one", key)
		}
	case above.inline && above.written: // in braces
		if len(above.names) == 1 {
			return Remove(data, wholeKey(path[:len(path)-1]))
		}
		from, to = inBraces(above, path[len(path)-1].name)
	case n.kind == kindTables || n.kind == kindTable && n.end == 0:
		return nil, fmt.Errorf("sheet: remove: %s is not one value or table", key)
	default:
		from, to = doc.lines(n.keyAt, n.end-1)
	}
	next := append(bytes.Clone(doc.data[:from]), doc.data[to:]...)
	if err := sameBut(data, next, key, true); err != nil {
		return nil, err
	}
	return withMark(data, doc, next), nil
}

// lines widens a range of the text to whole lines. Of the blank lines before
// and behind, one group goes too, so that no gap is left.
func (d *document) lines(first, last int) (from, to int) {
	from = bytes.LastIndexByte(d.data[:first], '\n') + 1
	to = len(d.data)
	if i := bytes.IndexByte(d.data[last:], '\n'); i >= 0 {
		to = last + i + 1
	}
	blank := func(line []byte) bool { return len(bytes.TrimSpace(line)) == 0 }
	before := bytes.LastIndexByte(d.data[:max(from-1, 0)], '\n') + 1
	after := len(d.data)
	if i := bytes.IndexByte(d.data[to:], '\n'); i >= 0 {
		after = to + i
	}
	if from > 0 && blank(d.data[before:from]) && blank(d.data[to:after]) {
		from = before
	}
	return from, to
}

// besideComma is an array's item with the comma on one side of it.
func besideComma(items []*node, i int) (from, to int) {
	if i+1 < len(items) {
		return items[i].offset, items[i+1].offset
	}
	if i > 0 {
		return items[i-1].end, items[i].end
	}
	return items[i].offset, items[i].end
}

// inBraces is an entry of a table in braces with the comma on one side of it.
func inBraces(table *node, name string) (from, to int) {
	for i, other := range table.names {
		if other != name {
			continue
		}
		if i+1 < len(table.names) {
			return table.entries[name].keyAt, table.entries[table.names[i+1]].keyAt
		}
		return table.entries[table.names[i-1]].end, table.entries[name].end
	}
	return 0, 0
}

// sameBut holds an edited text against the one before: nothing but what key
// names may have come, or gone.
func sameBut(before, after []byte, key string, gone bool) error {
	old, err := Entries(before)
	if err != nil {
		return err
	}
	now, err := Entries(after)
	if err != nil {
		return fmt.Errorf("sheet: %s cannot be changed here: %w", key, err)
	}
	kept := func(list []Entry, without bool) map[string]string {
		out := map[string]string{}
		for _, e := range list {
			k := e.Key
			if without {
				if k == key || strings.HasPrefix(k, key+".") || strings.HasPrefix(k, key+"[") {
					continue
				}
				if gone {
					k = renumbered(k, key)
				}
			}
			out[k] = e.Value
		}
		return out
	}
	if maps.Equal(kept(old, gone), kept(now, !gone)) {
		return nil
	}
	return fmt.Errorf("sheet: %s cannot be changed without touching other values: change it in the text", key)
}

// renumbered is a key after the item named by gone has been taken out before
// it.
func renumbered(key, gone string) string {
	open := strings.LastIndexByte(gone, '[')
	if open < 0 || !strings.HasSuffix(gone, "]") {
		return key
	}
	n, err := strconv.Atoi(gone[open+1 : len(gone)-1])
	rest, ok := strings.CutPrefix(key, gone[:open]+"[")
	digits, tail, closed := strings.Cut(rest, "]")
	m, err2 := strconv.Atoi(digits)
	if err != nil || err2 != nil || !ok || !closed || m <= n {
		return key
	}
	return indexKey(gone[:open], m-1) + tail
}
