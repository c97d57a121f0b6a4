package edit

import (
	"fmt"
	"slices"
	"strings"

	"holdline/checklist/sheet"
	"holdline/checklist/sheet/unit"
	"holdline/sim"
	"holdline/tui/canvas"
	"holdline/tui/limits"
	"holdline/tui/theme"
)

// The least size that the form needs.
const (
	leastW = 80
	leastH = 24
)

// Rows above and below the list.
const (
	headRows  = 3
	aboutRows = 5 // of the entry under the cursor
	keyRows   = 2
)

// listRows is how many rows of the list are seen.
func (m *Model) listRows() int { return max(1, m.h-headRows-1-aboutRows-keyRows) }

// listCols is the width of the list.
func (m *Model) listCols() int {
	switch {
	case m.w >= 160:
		return 64
	case m.w >= 110:
		return 54
	}
	return 44
}

// View returns the screen.
func (m *Model) View() string {
	c := canvas.New(m.w, m.h, m.cfg.ASCII)
	c.Fill(theme.Text)
	switch {
	case m.w < leastW || m.h < leastH:
		m.drawSmall(c)
	default:
		m.drawHead(c.Sub(0, 0, m.w, headRows))
		body := c.Sub(0, headRows, m.w, m.h-headRows-keyRows)
		switch m.screen {
		case screenHelp:
			m.drawHelp(body)
		case screenLeave:
			m.drawLeave(body)
		case screenChanged:
			m.drawChanged(body)
		default:
			m.drawForm(body)
		}
		m.drawKeys(c.Sub(0, m.h-keyRows, m.w, keyRows))
	}
	return m.theme.View(c)
}

func (m *Model) drawSmall(c canvas.Canvas) {
	p := canvas.Pen{C: c}
	p.Text(theme.Strong, "SHEET "+m.cfg.Path)
	p.Text(theme.Text, m.diskWord())
	p.Text(theme.Dim, "window too small: make it 80 by 24")
}

func (m *Model) diskWord() string {
	switch n := len(m.changed); {
	case m.saving:
		return "saving"
	case m.Unsaved() && n == 0:
		return "not saved"
	case m.Unsaved():
		return counted(n, "value") + " changed, not saved"
	case m.saves > 0:
		return "saved"
	}
	return "as on disk"
}

// drawHead is the sheet's name, whether it is saved, and the verdict.
func (m *Model) drawHead(c canvas.Canvas) {
	w := c.Width()
	disk, style := m.diskWord(), theme.Dim
	if m.Unsaved() {
		style = theme.Lapsing
	}
	c.PutRight(w, 0, style, disk)
	x := c.Put(0, 0, theme.Title, "SHEET") + 1
	c.Put(x, 0, theme.Strong, fitEnd(m.cfg.Path, w-x-canvas.Width(disk)-1))

	doing := ""
	if m.working {
		doing = fmt.Sprintf("%s %.0f %%", m.what, 100*m.share)
	}
	c.PutRight(w, 1, theme.Lapsing, doing)
	word, style, rest := m.verdict()
	x = 0
	if word != "" {
		x = c.Put(0, 1, style, " "+word+" ") + 1
	}
	c.Put(x, 1, theme.Text, canvas.Fit(rest, w-x-canvas.Width(doing)-1))
	drawRule(c.Sub(0, 2, w, 1))
}

// fitEnd is text in at most w columns, what is lost being its beginning: of a
// path the end says most.
func fitEnd(text string, w int) string {
	if canvas.Width(text) <= w {
		return text
	}
	runes := []rune(text)
	for len(runes) > 0 && canvas.Width(string(runes)) > w-1 {
		runes = runes[1:]
	}
	return "…" + string(runes)
}

func drawRule(c canvas.Canvas) { c.Put(0, 0, theme.Rule, strings.Repeat("─", c.Width())) }

// verdict says in a word and a few more whether the sheet as it stands is a go.
func (m *Model) verdict() (word string, s canvas.Style, rest string) {
	a := &m.newest
	all := a.limits()
	var no []string
	n := 0
	for i := range all {
		if l := &all[i]; !l.Pass {
			n++
			if !slices.Contains(no, l.Name) {
				no = append(no, l.Name)
			}
		}
	}
	switch {
	case len(a.faults) > 0:
		return "FAULTS", theme.Bad, counted(len(a.faults), "fault") + ": not a sheet yet; f goes from one to the next"
	case a.err != nil:
		return "NO-GO", theme.Bad, a.err.Error()
	case !a.both():
		return "", theme.Text, "not predicted yet"
	case a.isGo():
		return "GO", theme.Proved, fmt.Sprintf("all %d limits are kept", len(all))
	}
	return "NO-GO", theme.Live, fmt.Sprintf("%d of %d limits %s not kept: %s", n, len(all), choose(n == 1, "is", "are"), strings.Join(no, ", "))
}

// drawForm is the list, the limits beside it, and below what the entry under
// the cursor is.
func (m *Model) drawForm(c canvas.Canvas) {
	w, h, list := c.Width(), m.listRows(), m.listCols()
	m.drawList(c.Sub(0, 0, list, h))
	for y := range h {
		c.Put(list, y, theme.Rule, "│")
	}
	side := c.Sub(list+2, 0, w-list-2, h)
	if m.field != nil && len(m.field.choices) > 0 {
		m.drawChoices(side)
	} else {
		m.drawSide(side)
	}
	drawRule(c.Sub(0, h, w, 1))
	m.drawAbout(c.Sub(0, h+1, w, aboutRows))
}

// drawList is the part of the list round the cursor.
func (m *Model) drawList(c canvas.Canvas) {
	h := c.Height()
	m.top = max(0, min(m.top, len(m.rows)-h))
	const near = 2 // rows kept in sight above and below the cursor
	m.top = max(m.top, min(m.at+near, len(m.rows)-1)-h+1)
	m.top = min(m.top, max(0, m.at-near))
	for y := 0; y < h && m.top+y < len(m.rows); y++ {
		m.drawRow(c.Sub(0, y, c.Width(), 1), m.top+y)
	}
}

func (m *Model) drawRow(c canvas.Canvas, i int) {
	r := &m.rows[i]
	w := c.Width()
	mark := " "
	if i == m.at {
		mark = "▸"
	}
	c.Put(0, 0, theme.Key, mark)
	if r.fault != "" {
		c.PutRight(w, 0, theme.Bad, "╱")
	} else if r.changed {
		c.PutRight(w, 0, theme.Lapsing, "●")
	}
	if r.heading {
		g := &m.groups[r.group]
		x := c.Put(1, 0, theme.Title, canvas.Fit(g.Title, w-3)) + 1
		if !g.There && len(g.Rows) == 0 {
			c.Put(x, 0, theme.Dim, "none; a adds one")
		}
		return
	}
	style := theme.Text
	if i == m.at {
		style = theme.Strong
	}
	const at = 24
	c.Put(3, 0, style, canvas.Fit(r.entry.About.Label, at-4))
	room := c.Sub(at, 0, w-at-2, 1)
	if i == m.at && m.field != nil && m.field.key == r.entry.Key {
		m.field.draw(room)
		return
	}
	value, style := m.valueOf(r)
	room.Put(0, 0, style, canvas.Fit(value, room.Width()))
}

// cut reports whether the list cannot show the whole of an entry's value.
func (m *Model) cut(r *row) bool { return canvas.Width(m.read(r.entry.Value)) > m.listCols()-24-2 }

// valueOf is an entry's value, or what stands in for it.
func (m *Model) valueOf(r *row) (string, canvas.Style) {
	a := &r.entry.About
	switch {
	case r.entry.There && r.entry.Value == "":
		return `""`, theme.Text
	case r.entry.There:
		return m.read(r.entry.Value), theme.Text
	case a.Needed:
		return "needed", theme.Bad
	case a.Otherwise != "":
		return "left out: " + m.read(a.Otherwise), theme.Dim
	}
	return "left out", theme.Dim
}

// draw is the field where the value stands, the part round its cursor.
func (f *field) draw(c canvas.Canvas) {
	c.Fill(theme.Field)
	w := c.Width()
	before, after := string(f.text[:f.at]), string(f.text[f.at:])
	for canvas.Width(before) > w-2 {
		before = string([]rune(before)[1:])
	}
	x := c.Put(0, 0, theme.Field, before)
	x = c.Put(x, 0, theme.Field, "▏")
	c.Put(x, 0, theme.Field, canvas.Cut(after, w-x))
}

// drawChoices is what the open field's value can be chosen from.
func (m *Model) drawChoices(c canvas.Canvas) {
	f := m.field
	c.Put(0, 0, theme.Title, "CHOOSE")
	c.PutRight(c.Width(), 0, theme.Dim, "↑ ↓, then enter")
	h := c.Height() - 1
	at := slices.Index(f.choices, string(f.text))
	top := max(0, min(at-h/2, len(f.choices)-h))
	for y := 0; y < h && top+y < len(f.choices); y++ {
		one := f.choices[top+y]
		s, mark := theme.Text, " "
		if top+y == at {
			s, mark = theme.Strong, "▸"
		}
		c.Put(0, y+1, theme.Key, mark)
		x := c.Put(2, y+1, s, canvas.Fit(one, c.Width()-2))
		if name, ok := strings.CutPrefix(one, "builtin:"); ok {
			if curve, err := sim.BuiltinCurve(name); err == nil && c.Width()-x > 8 {
				note := strings.Replace(limits.Quantity(curve.TotalImpulseNs(), "N*s", m.cfg.Units), "*", "·", 1)
				if c.Width() >= 44 {
					note += " in " + limits.Figure(curve.BurnTimeS()) + " s"
				}
				c.PutRight(c.Width(), y+1, theme.Dim, canvas.Fit(note, c.Width()-x-1))
			}
		}
	}
}

// drawAbout tells what the entry under the cursor is and how it is written,
// what is wrong with it first.
func (m *Model) drawAbout(c canvas.Canvas) {
	r := &m.rows[m.at]
	p := canvas.Pen{C: c}
	if f := m.field; f != nil && f.key == "" {
		line := c.Sub(len(f.title)+1, 0, min(40, c.Width()-len(f.title)-1), 1)
		c.Put(0, 0, theme.Strong, f.title)
		f.draw(line)
		p.Y = 1
		p.Text(theme.Bad, f.wrong)
		return
	}
	if r.heading {
		m.drawAboutGroup(&p, r)
		return
	}
	a := &r.entry.About
	x := c.Put(0, 0, theme.Strong, a.Label) + 2
	c.Put(x, 0, theme.Dim, r.entry.Key)
	note := ""
	if was, is := m.changed[r.entry.Key]; is {
		note = "on disk: " + m.read(was)
		if was == "" {
			note = "not on disk"
		}
	}
	if r.entry.There && m.read(r.entry.Value) != r.entry.Value {
		note = strings.TrimPrefix(note+"  in the sheet: "+r.entry.Value, "  ")
	}
	c.PutRight(c.Width(), 0, theme.Text, canvas.Fit(note, c.Width()/2))
	p.Y = 1
	switch {
	case m.field != nil && m.field.wrong != "":
		p.Text(theme.Bad, "not taken: "+m.field.wrong)
	case r.fault != "" && m.field == nil:
		p.Text(theme.Bad, r.fault)
	case m.cut(r) && m.field == nil:
		p.Text(theme.Strong, m.read(r.entry.Value))
	}
	p.Text(theme.Text, a.What)
	p.Text(theme.Dim, a.Forms()+choose(a.Needed, "", "; may be left out"))
}

func (m *Model) drawAboutGroup(p *canvas.Pen, r *row) {
	g := &m.groups[r.group]
	p.Text(theme.Strong, g.Title)
	if r.fault != "" {
		p.Text(theme.Bad, r.fault)
	}
	switch {
	case !g.There && len(g.Rows) == 0:
		p.Text(theme.Text, "There is none in the sheet. enter or a adds an example, to be changed value by value.")
	case sheet.Kinds(g.Table) != nil:
		p.Text(theme.Text, "a adds one more of any kind, d takes this one out.")
	case g.Key != g.Table:
		p.Text(theme.Text, "a adds one more like this, d takes this one out.")
	case g.Table == "crew":
		p.Text(theme.Text, "a adds one more post.")
	case g.Table == "guide":
		p.Text(theme.Text, "d takes the guide out: the vehicle runs free then.")
	}
}

// read is a value of the sheet as people read it.
func (m *Model) read(value string) string { return unit.In(value, m.cfg.Units) }

func choose(is bool, yes, no string) string {
	if is {
		return yes
	}
	return no
}
