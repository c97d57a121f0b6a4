package edit

import (
	"errors"
	"slices"
	"strings"
	"unicode/utf8"

	"holdline/checklist/sheet"
	"holdline/tui/strokes"
	"holdline/tui/theme"
)

// longest is how many characters a field takes: what a sheet takes.
const longest = 200

// field is the one line that takes text.
type field struct {
	title   string
	key     string // the entry it sets, "" for another purpose
	text    []rune
	at      int // the cursor
	choices []string
	wrong   string // why the text was not taken
	take    func(text string) (wrong string)
}

// open opens the field of the entry under the cursor.
func (m *Model) open() {
	r := &m.rows[m.at]
	if r.heading {
		m.openHeading(r)
		return
	}
	e := r.entry
	text := []rune(m.read(e.Value))
	m.field = &field{title: e.About.Label, key: e.Key, text: text, at: len(text), choices: m.choices(&e.About)}
	m.field.take = func(text string) string { return m.set(e, text) }
}

// openHeading adds the table where there is none, or goes on to its first
// entry.
func (m *Model) openHeading(r *row) {
	if m.groups[r.group].There || len(m.groups[r.group].Rows) > 0 {
		m.at = m.next(m.at, 1, func(*row) bool { return true })
		return
	}
	m.add()
}

// choices is what an entry's value may be chosen from, nil for free text.
func (m *Model) choices(a *sheet.About) []string {
	var out []string
	switch a.Sort {
	case sheet.KindName:
		for _, g := range m.groups {
			if name, ok := strings.CutPrefix(g.Key, "igniter."); ok {
				out = append(out, strings.Trim(name, `"`))
			}
		}
		return out
	case sheet.PostName:
		for _, g := range m.groups {
			for _, r := range g.Rows {
				if g.Table == "crew" && r.There {
					out = append(out, r.Value)
				}
			}
		}
		return out
	case sheet.CurveName:
		// Curve files that the sheet names already come before the built-in ones.
		for _, g := range m.groups {
			for _, r := range g.Rows {
				if r.About.Sort == sheet.CurveName && r.There && !slices.Contains(out, r.Value) && !strings.HasPrefix(r.Value, "builtin:") {
					out = append(out, r.Value)
				}
			}
		}
	}
	return append(out, a.Choices()...)
}

// set puts a value into the text. An empty one leaves an entry out that may
// be.
func (m *Model) set(e sheet.Row, value string) string {
	value = strings.TrimSpace(value)
	var text []byte
	var err error
	switch {
	case value == "" && e.There && !e.About.Needed:
		text, err = sheet.Remove(m.text, e.Key)
	case value == "" && !e.There, e.There && value != e.Value && value == m.read(e.Value):
		return "" // a value that was only looked at stays as it is written
	default:
		text, err = sheet.Set(m.text, e.Key, value)
	}
	if err != nil {
		return plain(err)
	}
	m.change(text, e.Key)
	return ""
}

// plain is an error in words, of faults the first.
func plain(err error) string {
	var faults sheet.Faults
	if errors.As(err, &faults) && len(faults) > 0 {
		return sentence(faults[0])
	}
	_, rest, ok := strings.Cut(err.Error(), ": ")
	for ok && (strings.HasPrefix(rest, "set: ") || strings.HasPrefix(rest, "add: ") || strings.HasPrefix(rest, "remove: ")) {
		_, rest, _ = strings.Cut(rest, ": ")
	}
	if !ok || !strings.HasPrefix(err.Error(), "sheet: ") {
		return err.Error()
	}
	return rest
}

// likeThis adds a copy.
const likeThis = "one like this"

// openAdd asks of which kind the added table is to be.
func (m *Model) openAdd(g *sheet.Group) {
	kinds := sheet.Kinds(g.Table)
	if g.There {
		kinds = append([]string{likeThis}, kinds...)
	}
	key, table := g.Key, g.Table
	m.field = &field{title: "add which kind", choices: kinds, text: []rune(kinds[0]), at: len([]rune(kinds[0]))}
	m.field.take = func(text string) string {
		switch {
		case text == likeThis && slices.Contains(kinds, likeThis):
			m.addOf(key, "")
		case slices.Contains(kinds, text):
			m.addOf(table, text)
		default:
			return "one of: " + strings.Join(kinds, ", ")
		}
		return ""
	}
}

// openFind asks for a word to go to.
func (m *Model) openFind() {
	m.field = &field{title: "find", text: []rune(m.found), at: len([]rune(m.found))}
	m.field.take = func(text string) string {
		word := strings.ToLower(strings.TrimSpace(text))
		if word == "" {
			return ""
		}
		m.found = word
		for k := 1; k <= len(m.rows); k++ {
			i := (m.at + k) % len(m.rows)
			if m.names(i, word) {
				m.at = i
				return ""
			}
		}
		return "no entry has " + word + " in its name"
	}
}

// names reports whether a row has a word in its label, key or heading.
func (m *Model) names(i int, word string) bool {
	r := &m.rows[i]
	if r.heading {
		return strings.Contains(strings.ToLower(m.groups[r.group].Title), word)
	}
	return strings.Contains(strings.ToLower(r.entry.About.Label), word) || strings.Contains(strings.ToLower(r.entry.Key), word)
}

// onFieldKey takes a key for the open field.
func (m *Model) onFieldKey(s strokes.Stroke) {
	f := m.field
	switch s.Name {
	case "esc":
		m.field = nil
	case "enter":
		m.field = nil
		if wrong := f.take(string(f.text)); wrong != "" {
			f.wrong = wrong
			m.field = f
		}
	case "up", "shift+tab":
		f.choose(-1)
	case "down", "tab":
		f.choose(1)
	default:
		f.edit(s)
	}
}

// choose puts the next choice into the field.
func (f *field) choose(by int) {
	if len(f.choices) == 0 {
		return
	}
	i := slices.Index(f.choices, string(f.text))
	switch {
	case i < 0 && by > 0:
		i = 0
	case i < 0:
		i = len(f.choices) - 1
	default:
		i = (i + by + len(f.choices)) % len(f.choices)
	}
	f.text, f.wrong = []rune(f.choices[i]), ""
	f.at = len(f.text)
}

// edit changes the field's text.
func (f *field) edit(s strokes.Stroke) {
	was := string(f.text)
	switch s.Name {
	case "left":
		f.at = max(0, f.at-1)
	case "right":
		f.at = min(len(f.text), f.at+1)
	case "home", "ctrl+a":
		f.at = 0
	case "end", "ctrl+e":
		f.at = len(f.text)
	case "backspace", "ctrl+h":
		if f.at > 0 {
			f.text = slices.Delete(f.text, f.at-1, f.at)
			f.at--
		}
	case "delete", "ctrl+d":
		if f.at < len(f.text) {
			f.text = slices.Delete(f.text, f.at, f.at+1)
		}
	case "ctrl+u":
		f.text, f.at = nil, 0
	default:
		if s.Text == "" || len(f.text)+utf8.RuneCountInString(s.Text) > longest {
			return
		}
		f.text = slices.Insert(f.text, f.at, []rune(s.Text)...)
		f.at += utf8.RuneCountInString(s.Text)
	}
	if string(f.text) != was {
		f.wrong = ""
	}
}

func (m *Model) turnTheme() {
	m.theme = theme.New(theme.Next(m.theme.Name))
	m.say(false, "colours: "+m.theme.Name)
}
