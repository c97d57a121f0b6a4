package sheet

import (
	"fmt"
	"slices"
	"strings"
)

// Group is one table of a sheet as a form shows it, with the keys that could
// stand in it.
type Group struct {
	Key   string // as Fault and Set write it: "site", "motor[2]"; empty for the top
	Table string // "site", "motor"
	Title string // "site", "motor 2", "device 1, tail chute"
	There bool
	Rows  []Row
}

// Row is one key of a group.
type Row struct {
	Key   string
	About About
	Value string // as Entry has it; empty when it is not there
	There bool
}

// tableAbout is one table of a sheet.
type tableAbout struct {
	table string
	title string
	many  bool // in double brackets
	named bool // one for each name
	whole bool // shown only when it is there: its keys belong together
}

var tableAbouts = []tableAbout{
	{table: "", title: "firing"},
	{table: "site", title: "site"},
	{table: "vehicle", title: "vehicle"},
	{table: "guide", title: "guide", whole: true},
	{table: "motor", title: "motor", many: true},
	{table: "igniter", title: "igniter", named: true},
	{table: "firing", title: "firing circuit"},
	{table: "stop", title: "device", many: true},
	{table: "limits", title: "limits"},
	{table: "uncertainty", title: "uncertainty"},
	{table: "late_light", title: "late motor"},
	{table: "crew", title: "spotters"},
	{table: "post", title: "post", many: true},
	{table: "times", title: "times"},
	{table: "pause", title: "pause of the count", many: true},
	{table: "radio", title: "transmitter", many: true},
	{table: "step", title: "further step", many: true},
}

// Outline lists every table of a sheet's text with every key that is there or
// could be, in the order in which people fill a sheet in. A table of which
// there may be several or none stands there without rows when there is none.
// The error is a Faults when the text is not TOML.
func Outline(data []byte) ([]Group, error) {
	doc, err := editable(data)
	if err != nil {
		return nil, err
	}
	var out []Group
	for _, t := range tableAbouts {
		n := doc.root
		if t.table != "" {
			n = doc.root.entries[t.table]
		}
		switch {
		case t.many && n != nil && n.kind == kindTables || t.many && n != nil && n.kind == kindArray:
			for i, item := range n.items {
				g := Group{Key: indexKey(t.table, i+1), Table: t.table, Title: fmt.Sprintf("%s %d", t.title, i+1), There: true}
				if name := item.entries["name"]; name != nil && name.kind == kindText {
					g.Title += ", " + name.text
				}
				out = append(out, g.with(item))
			}
		case t.named && n != nil && n.kind == kindTable:
			for _, name := range n.names {
				g := Group{Key: joinKey(t.table, name), Table: t.table, Title: t.title + " " + name, There: true}
				out = append(out, g.with(n.entries[name]))
			}
		case t.many, t.named, t.whole && n == nil:
			out = append(out, Group{Key: t.table, Table: t.table, Title: t.title})
		default:
			out = append(out, Group{Key: t.table, Table: t.table, Title: t.title, There: n != nil}.with(n))
		}
	}
	return out, nil
}

// with fills in the rows from the group's own node, nil for none.
func (g Group) with(n *node) Group {
	if g.Table == "crew" {
		g.Rows = crewRows(n)
		return g
	}
	kind := ""
	if n != nil && g.Table == "stop" && n.entries["kind"] != nil {
		kind = n.entries["kind"].text
	}
	seen := map[string]bool{}
	for _, a := range abouts {
		below, ok := belowTable(a.Table, g.Table)
		if !ok || a.Kind != "" && !slices.Contains(strings.Fields(a.Kind), kind) {
			continue
		}
		path := below
		path = append(slices.Clone(path), a.Name)
		row := Row{Key: g.Key, About: a}
		at := n
		for _, name := range path {
			row.Key = joinKey(row.Key, name)
			if at != nil {
				at = at.entries[name]
			}
		}
		if at != nil && at.kind != kindTable {
			row.Value, row.There = at.text, true
		}
		seen[row.Key] = true
		if a.Former && !row.There {
			continue
		}
		g.Rows = append(g.Rows, row)
	}
	if n != nil && g.Table != "" {
		g.Rows = append(g.Rows, unknownRows(n, g.Key, seen)...)
	}
	return g
}

// belowTable splits a key's table into the group's and what is below it.
func belowTable(table, group string) (below []string, ok bool) {
	if table == group {
		return nil, true
	}
	rest, ok := strings.CutPrefix(table, group+".")
	if !ok || group == "" {
		return nil, false
	}
	return strings.Split(rest, "."), true
}

// unknownRows are the keys that no kind of the table has.
func unknownRows(n *node, key string, seen map[string]bool) []Row {
	var out []Row
	for _, name := range n.names {
		child, at := n.entries[name], joinKey(key, name)
		switch {
		case seen[at]:
		case child.kind == kindTable:
			out = append(out, unknownRows(child, at, seen)...)
		default:
			out = append(out, Row{Key: at, Value: child.text, There: true,
				About: About{Name: name, Label: name, What: "No such key belongs here: take it out, or spell it as the others."}})
		}
	}
	return out
}

func crewRows(n *node) []Row {
	if n == nil || n.entries["spotters"] == nil {
		return nil
	}
	a := AboutKey("crew.spotters")
	var out []Row
	for i, item := range n.entries["spotters"].items {
		row := Row{Key: indexKey("crew.spotters", i+1), About: a, Value: item.text, There: true}
		row.About.Label = fmt.Sprintf("post %d", i+1)
		out = append(out, row)
	}
	return out
}

// AboutKey is what is known of a key without its indexes, such as
// "motor.lateral"; of a stop, the first kind that has it. The zero About for a
// key that no sheet has.
func AboutKey(key string) About {
	for _, a := range abouts {
		if joinDots(a.Table, a.Name) == key {
			return a
		}
	}
	return About{}
}

func joinDots(table, name string) string {
	if table == "" {
		return name
	}
	return table + "." + name
}
