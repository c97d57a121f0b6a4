package edit

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"holdline/checklist/prediction"
	"holdline/checklist/sheet"
	"holdline/checklist/sheet/unit"
	"holdline/sim"
	"holdline/tui/canvas"
	"holdline/tui/chart"
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

// drawSide is the limits, what makes it a go, and the run where there is room.
func (m *Model) drawSide(c canvas.Canvas) {
	w, h := c.Width(), c.Height()
	a := &m.newest
	old := !a.both() && len(a.faults) == 0 && a.err == nil
	if old {
		a = &m.shown
	}
	all := limits.Tightest(a.limits())
	plot := 0
	if w >= 130 { // room for the run beside the limits
		if a.run != nil {
			drawRun(c.Sub(84, 0, w-84, min(h/2, 18)), a.run, m.cfg.Units)
			drawCases(c.Sub(84, min(h/2, 18)+1, w-84, h-min(h/2, 18)-1), a.run, m.cfg.Units)
		}
		w = 80
		c = c.Sub(0, 0, w, h)
	}
	ways := m.ways(w)
	if spare := h - len(all) - 3 - len(ways); spare >= 8 && a.run != nil && w >= 50 && w < 80 {
		plot = min(spare, 16)
	}
	room := max(4, h-len(ways)-1-plot)
	title := "LIMITS"
	if old && len(all) > 0 {
		title = "LIMITS of the values before"
	}
	x := c.Put(0, 0, theme.Title, title) + 1
	if n := len(all) - room + 1; n > 0 && !old {
		c.Put(x, 0, theme.Dim, fmt.Sprintf("tightest %d of %d", room-1, len(all)))
	}
	if w < narrow && len(all) > 0 {
		c.PutRight(w, 0, theme.Dim, "left")
	}
	drawLimits(c.Sub(0, 1, w, room-1), all, m.cfg.Units)
	y := room + 1
	if len(all) > 0 {
		y = min(room, len(all)+2) + 1
	}
	c.Put(0, y-1, theme.Title, "A GO WITH, all else as it is")
	p := canvas.Pen{C: c.Sub(0, y, w, h-y-plot)}
	for _, l := range ways {
		p.C.Put(0, p.Y, theme.Dim, l.label)
		p.C.Put(labelCols, p.Y, l.style, l.text)
		p.Y++
	}
	if plot > 0 {
		drawRun(c.Sub(0, h-plot, w, plot), a.run, m.cfg.Units)
	}
}

// narrow is below how many columns the limits are names and what is left.
const narrow = 36

// drawLimits is one row a limit.
func drawLimits(c canvas.Canvas, all []prediction.Limit, sys unit.System) {
	w := c.Width()
	if w >= narrow {
		limits.Draw(c, all, sys)
		return
	}
	for y := 0; y < c.Height() && y < len(all); y++ {
		l := &all[y]
		sign, style, left := "●", theme.Good, limits.Value(l, l.Left, sys)
		if !l.Pass {
			sign, style = "╱", theme.Bad
		}
		if limits.Counted(l) {
			left = choose(l.Pass, "met", "NOT MET")
		}
		c.Put(0, y, style, sign)
		c.PutRight(w, y, style, left)
		c.Put(2, y, theme.Text, canvas.Fit(l.Name, w-3-c.TextWidth(left)))
	}
}

// labelCols is the width of the labels of what makes a go.
const labelCols = 15

// line is one row of what makes a go.
type line struct {
	label, text string
	style       canvas.Style
}

// ways is what makes it a go, in rows of w columns: what was asked for, what
// is known to, what is a remedy of the circuit, and last what does not.
func (m *Model) ways(w int) []line {
	var first, found, none []line
	rows := func(label, text string, s canvas.Style) (out []line) {
		for i, l := range canvas.Wrap(text, w-labelCols) {
			out = append(out, line{choose(i == 0, canvas.Fit(label, labelCols-1), ""), l, s})
		}
		return out
	}
	put := func(asked bool, label, text string, s canvas.Style) {
		into := &found
		switch {
		case asked:
			into = &first
		case s == theme.Bad:
			into = &none
		}
		*into = append(*into, rows(label, text, s)...)
	}
	for _, key := range slices.Compact(append([]string{m.asked}, standing...)) {
		if key != "" {
			text, s := m.rangeText(key)
			put(key == m.asked, m.label(key), text, s)
		}
	}
	text, s := m.countText()
	put(false, "motors", text, s)
	for i, r := range m.remedies() {
		if w < narrow {
			r, _, _ = strings.Cut(r, " gives a margin")
		}
		put(false, choose(i == 0, "circuit", ""), r, theme.Text)
	}
	return slices.Concat(first, found, none)
}

// rangeText says at which values of an entry it is a go.
func (m *Model) rangeText(key string) (string, canvas.Style) {
	got, known := m.newest.ranges[key]
	switch {
	case known && got.Err != nil:
		return "not a number to search along", theme.Dim
	case known && got.Range.Found:
		return got.Range.String(), theme.Good
	case known && len(got.Range.Failing) > 0:
		return "none mends " + strings.Join(got.Range.Failing, ", "), theme.Bad
	case known:
		return got.Range.String(), theme.Bad
	}
	return m.pending()
}

func (m *Model) pending() (string, canvas.Style) {
	if len(m.newest.faults) > 0 || !m.working {
		return "not known", theme.Dim
	}
	return "…", theme.Dim
}

// countText says with how many motors it is a go.
func (m *Model) countText() (string, canvas.Style) {
	got := m.newest.counts
	if got == nil {
		return m.pending()
	}
	if got.Err != nil {
		return plain(got.Err), theme.Bad
	}
	var goes []string
	var first prediction.MotorCount
	for _, c := range got.Counts {
		if c.Go {
			if len(goes) == 0 {
				first = c
			}
			goes = append(goes, fmt.Sprint(c.Motors))
		}
	}
	all := len(got.Counts)
	if len(goes) == 0 {
		return fmt.Sprintf("none from %d down to 1", all), theme.Bad
	}
	text := strings.Join(goes, ", ") + fmt.Sprintf(" of %d", all)
	if len(first.Out) > 0 {
		var out []string
		for _, k := range first.Out {
			out = append(out, fmt.Sprint(k+1))
		}
		text += fmt.Sprintf(": %d without motor %s, weighed again", first.Motors, strings.Join(out, ", "))
	}
	return text, theme.Good
}

// remedies are those of the circuit, each by itself.
func (m *Model) remedies() []string {
	if m.newest.circuit == nil {
		return nil
	}
	var out []string
	for _, r := range m.newest.circuit.Remedies {
		if r.Possible {
			out = append(out, prediction.RemedyText(r, m.cfg.Units))
		}
	}
	return out
}

// label is an entry's name for people.
func (m *Model) label(key string) string {
	for i := range m.rows {
		if !m.rows[i].heading && m.rows[i].entry.Key == key {
			return m.rows[i].entry.About.Label
		}
	}
	return key
}

// drawRun is the nominal run's speed over the distance, to the end of the
// strip.
func drawRun(c canvas.Canvas, r *prediction.Run, sys unit.System) {
	w, h := c.Width(), c.Height()
	var xs, ys []float64
	fast := 0.0
	for _, p := range r.Path {
		xs, ys = append(xs, p.PositionM), append(ys, p.SpeedMps)
		fast = max(fast, p.SpeedMps)
	}
	far := r.ClearLengthM
	for i := range r.Results {
		if r.Results[i].Case.SingleFault() {
			far = max(far, r.Results[i].Outcome.StopPositionM)
		}
	}
	c.Put(0, 0, theme.Title, "SPEED OVER DISTANCE")
	c.PutRight(w, 0, theme.Dim, "peak "+limits.Quantity(fast, "m/s", sys))
	if h < 5 || far <= 0 || fast <= 0 {
		return
	}
	far *= 1.02
	p := chart.New(w, h-3, 0, far, 0, 1.05*fast)
	p.Column(r.ClearLengthM, theme.Rule)
	p.Line(xs, ys, theme.Curve)
	p.Draw(c.Sub(0, 1, w, h-3))
	drawRule(c.Sub(0, h-2, w, 1))
	place := func(m float64) int { return int(math.Round(m / far * float64(w-1))) }
	c.Put(place(r.Cases[0].StopPositionM), h-2, theme.Strong, "▲")
	end := "end " + limits.Quantity(r.ClearLengthM, "m", sys)
	c.Put(0, h-1, theme.Dim, "0")
	stop := "rest " + limits.Quantity(r.Cases[0].StopPositionM, "m", sys)
	x := min(place(r.ClearLengthM)-len(end)+1, w-len(end))
	c.Put(max(2, min(place(r.Cases[0].StopPositionM)-len(stop)/2, x-len(stop)-1)), h-1, theme.Text, stop)
	c.Put(x, h-1, theme.Dim, end)
}

// drawCases is the stopping position in each case, and what is left of
// the strip there.
func drawCases(c canvas.Canvas, r *prediction.Run, sys unit.System) {
	w := c.Width()
	c.Put(0, 0, theme.Title, "WHAT IF")
	c.PutRight(w-14, 0, theme.Dim, "rest")
	c.PutRight(w, 0, theme.Dim, "left of strip")
	for i := range r.Results {
		stop := r.Results[i].Outcome.StopPositionM
		style := theme.Text
		if r.ClearLengthM-stop < r.StopMarginM {
			style = theme.Bad
		}
		c.Put(0, i+1, style, canvas.Fit(r.Results[i].Case.Name, w-24))
		c.PutRight(w-14, i+1, style, limits.Quantity(stop, "m", sys))
		c.PutRight(w, i+1, style, limits.Quantity(r.ClearLengthM-stop, "m", sys))
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
