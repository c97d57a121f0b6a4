package edit

import (
	"fmt"
	"strings"

	tea "github.com/charmbracelet/bubbletea"
	"holdline/checklist/sheet"
	"holdline/tui/strokes"
)

// row is one line of the list: the heading of a table or one of its entries.
type row struct {
	heading bool
	group   int // in Model.groups
	entry   sheet.Row
	changed bool
	fault   string // what is wrong here, "" for nothing
}

// key is the row's own key: the table's for a heading.
func (m *Model) key(r *row) string {
	if r.heading {
		return m.groups[r.group].Key
	}
	return r.entry.Key
}

// outline reads the rows from the text.
func (m *Model) outline() error {
	groups, err := sheet.Outline(m.text)
	if err != nil {
		return err
	}
	m.groups, m.rows = groups, nil
	for g := range groups {
		m.rows = append(m.rows, row{heading: true, group: g})
		for _, e := range groups[g].Rows {
			m.rows = append(m.rows, row{group: g, entry: e})
		}
	}
	m.mark()
	m.flag()
	return nil
}

// mark notes which entries are not as they are on disk.
func (m *Model) mark() {
	m.changed = differences(m.saved, m.text)
	for i := range m.rows {
		_, is := m.changed[m.rows[i].entry.Key]
		m.rows[i].changed = is && !m.rows[i].heading
	}
}

// flag puts each fault of the newest check at its row: at the entry itself,
// else at the first below it, else at the heading of its table.
func (m *Model) flag() {
	for i := range m.rows {
		m.rows[i].fault = ""
	}
	for _, f := range m.newest.faults {
		if i := m.placeOf(f); i >= 0 && m.rows[i].fault == "" {
			m.rows[i].fault = sentence(f)
		}
	}
}

// sentence is a fault in words. One without a key is of a curve file.
func sentence(f sheet.Fault) string {
	text := "found " + f.Found + ", expected " + f.Expected
	if f.Key == "" {
		text = fmt.Sprintf("%s, line %d: %s", f.File, f.Line, text)
	}
	return text
}

// placeOf finds the row of a fault, or -1.
func (m *Model) placeOf(f sheet.Fault) int {
	for i := range m.rows {
		if !m.rows[i].heading && m.rows[i].entry.Key == f.Key {
			return i
		}
	}
	for i := range m.rows {
		r := &m.rows[i]
		if !r.heading && f.Key != m.groups[r.group].Key && strings.HasPrefix(r.entry.Key, f.Key+".") {
			return i
		}
	}
	for i := range m.rows {
		key := m.groups[m.rows[i].group].Key
		if m.rows[i].heading && (key == f.Key || key != "" && strings.HasPrefix(f.Key, key+".")) {
			return i
		}
	}
	return 0
}

// here is the key under the cursor.
func (m *Model) here() string { return m.key(&m.rows[m.at]) }

// goTo puts the cursor on a key, or keeps it near where it is.
func (m *Model) goTo(key string) {
	for i := range m.rows {
		if m.key(&m.rows[i]) == key && (m.rows[i].heading || key != "") {
			m.at = i
			if m.rows[i].heading && i+1 < len(m.rows) && !m.rows[i+1].heading {
				m.at = i + 1
			}
			return
		}
	}
	m.at = max(0, min(m.at, len(m.rows)-1))
}

// next finds the next row that is, walking by steps from a row; the row itself
// when there is none.
func (m *Model) next(from, by int, is func(*row) bool) int {
	for i := from + by; i >= 0 && i < len(m.rows); i += by {
		if is(&m.rows[i]) {
			return i
		}
	}
	return max(from, 0)
}

// onFormKey takes a key while no field is open.
func (m *Model) onFormKey(s strokes.Stroke) tea.Cmd {
	if m.walk(s.Name) {
		m.say(false, "")
		return nil
	}
	m.say(false, "")
	switch s.Name {
	case "enter":
		m.open()
	case "a":
		m.add()
	case "d", "delete":
		m.takeOut()
	case "u":
		m.undo(false)
	case "r":
		m.undo(true)
	case "m":
		m.askRange()
	case "s":
		return m.save(false)
	case "f":
		m.toFault()
	case "/":
		m.openFind()
	case "t":
		m.turnTheme()
	case "?":
		m.screen = screenHelp
	case "q":
		return m.leave()
	}
	return nil
}

// walk moves the cursor.
func (m *Model) walk(key string) bool {
	all := func(*row) bool { return true }
	heading := func(r *row) bool { return r.heading }
	switch key {
	case "down", "tab":
		m.at = m.next(m.at, 1, all)
	case "up", "shift+tab":
		m.at = m.next(m.at, -1, all)
	case "right": // a table begins high in the list
		m.at = m.next(m.at, 1, heading)
		m.top = m.at
	case "left":
		m.at = m.next(m.at, -1, heading)
		m.top = m.at
	case "pgdown":
		m.at = min(m.at+m.listRows(), len(m.rows)-1)
	case "pgup":
		m.at = max(m.at-m.listRows(), 0)
	case "home":
		m.at = 0
	case "end":
		m.at = len(m.rows) - 1
	default:
		return false
	}
	return true
}

// toFault goes to the next fault, from the top again after the last.
func (m *Model) toFault() {
	if len(m.newest.faults) == 0 {
		m.say(false, "no fault")
		return
	}
	faulty := func(r *row) bool { return r.fault != "" }
	if i := m.next(m.at, 1, faulty); i != m.at {
		m.at = i
		return
	}
	if m.at = m.next(-1, 1, faulty); m.rows[m.at].fault == "" {
		m.at = 0
	}
}

// askRange asks at which values of the entry the sheet is a go.
func (m *Model) askRange() {
	r := &m.rows[m.at]
	switch {
	case r.heading || !r.entry.There:
		m.say(true, "go to a value first: this asks at which values it is a go")
	case len(m.newest.faults) > 0:
		m.say(true, "mend the faults first: "+counted(len(m.newest.faults), "fault"))
	default:
		m.asked = r.entry.Key
		delete(m.newest.ranges, m.asked)
		m.work(!m.newest.both())
		m.say(false, "looking for the values of "+r.entry.About.Label+" that make it a go")
	}
}

// add puts one more table like the one under the cursor into the sheet, or
// asks of which kind.
func (m *Model) add() {
	g := &m.groups[m.rows[m.at].group]
	switch {
	case sheet.Kinds(g.Table) != nil:
		m.openAdd(g)
	default:
		m.addOf(g.Key, "")
	}
}

func (m *Model) addOf(group, kind string) {
	text, key, err := sheet.Add(m.text, group, kind)
	if err != nil {
		m.say(true, "none can be added here: "+plain(err))
		return
	}
	m.change(text, key)
	m.say(false, "added "+key+": look at every value of it")
}

// takeOut leaves an entry out, or takes a whole table out from its heading.
func (m *Model) takeOut() {
	r := &m.rows[m.at]
	key := m.key(r)
	switch {
	case r.heading && !m.groups[r.group].There, !r.heading && !r.entry.There:
		m.say(true, "it is not in the sheet")
		return
	case key == "":
		m.say(true, "the top of a sheet stays")
		return
	}
	text, err := sheet.Remove(m.text, key)
	if err != nil {
		m.say(true, plain(err))
		return
	}
	m.change(text, key)
	m.say(false, key+" is out; u brings it back")
}
