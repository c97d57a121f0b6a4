package edit

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"holdline/checklist/prediction"
	"holdline/checklist/sheet/unit"
	"holdline/tui/canvas"
	"holdline/tui/chart"
	"holdline/tui/limits"
	"holdline/tui/theme"
)

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
	if w < limits.Narrow && len(all) > 0 {
		c.PutRight(w, 0, theme.Dim, "left")
	}
	limits.Draw(c.Sub(0, 1, w, room-1), all, m.cfg.Units)
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
		if w < limits.Narrow {
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
