package export

import (
	"fmt"
	"image/color"
	"strings"

	"holdline/checklist/prediction/chart"
	"holdline/checklist/sheet/unit"
)

// A4, in points.
const (
	paperWidth  = 595.28
	paperHeight = 841.89
	marginX     = 34.0
	topY        = 47.0  // below the head of a page
	bottomY     = 815.0 // above its foot
	gutter      = 78.0  // for the titles at the left
)

// Sizes of the body's type that are tried, first for one page, then for two.
var (
	onePage  = []float64{7.8, 7.5, 7.2, 7, 6.8, 6.6, 6.4, 6.2, 6.1, 6}
	twoPages = []float64{8, 7.4, 6.8, 6.2}
)

// mostPages is how many pages a record takes, as long as its stops and waivers
// leave room: those are never shortened.
const mostPages = 2

// PDF returns the document on A4: one page for a normal firing, two at most
// unless its holds and waivers alone take more. Where two pages do not hold
// everything the answers in the table are cut to one line each, and the page
// says so; the other formats have them in full.
func PDF(d *Document, sys unit.System) ([]byte, error) {
	m, err := newMeasure()
	if err != nil {
		return nil, err
	}
	p := &page{Document: d, sys: sys}
	best := arrange(p, m, twoPages[len(twoPages)-1], true)
	for _, try := range []struct {
		sizes []float64
		most  int
	}{{onePage, 1}, {twoPages, mostPages}} {
		for _, size := range try.sizes {
			if l := arrange(p, m, size, false); len(l.pages) <= try.most {
				return l.draw()
			}
		}
	}
	return best.draw()
}

// layout is a document being laid out.
type layout struct {
	*page
	m     *measure
	size  float64 // of the body's type
	cut   bool    // table cells are cut to one line
	pages []*chart.Scene
	y     float64
}

// The greys of areas, and black.
var (
	black  = color.Gray{}
	white  = color.Gray{Y: 255}
	stripe = color.Gray{Y: 239}
)

func newPage() *chart.Scene { return &chart.Scene{Width: paperWidth, Height: paperHeight} }

func arrange(p *page, m *measure, size float64, cut bool) *layout {
	l := &layout{page: p, m: m, size: size, cut: cut, pages: []*chart.Scene{newPage()}, y: topY}
	for _, line := range p.banner() {
		l.paragraph(marginX, paperWidth-2*marginX, line, size+1.5, true)
	}
	for k, line := range p.lead() {
		l.paragraph(marginX, paperWidth-2*marginX, line, size, k == 0)
	}
	if cut {
		l.paragraph(marginX, paperWidth-2*marginX, "Long answers are cut here; the record and the other exports have them in full.", size, true)
	}
	for _, b := range l.short(p.blocks()) {
		switch b.id {
		case "people":
			b.lines = []string{strings.Join(b.lines, "  ·  ")}
			l.titled(b)
		case "checks":
			b.title += "; ages are those at arming"
			b.head[3] = "age"
			l.table(b, []float64{0.19, 0.375, 0.145, 0.06, 0.145, 0.085}, marginX, paperWidth-2*marginX)
		case "after":
			l.titled(block{title: b.title, lines: b.lines})
			table := block{head: b.head, rows: b.rows}
			if len(b.lines) == 0 {
				table.title = b.title
			}
			l.table(table, []float64{0.06, 0.34, 0.34, 0.26}, marginX, paperWidth-2*marginX)
		case "run":
			l.runAndCircuit(b)
		case "circuit": // beside the run
		default:
			l.titled(b)
		}
	}
	return l
}

// short leaves out of a normal firing's page what it says twice: people who
// signed on once stand in the table of the steps, and two empty blocks take one
// line.
func (l *layout) short(blocks []block) []block {
	seen, once := map[string]bool{}, true
	for _, q := range l.People {
		once = once && !seen[q.Role+q.Post]
		seen[q.Role+q.Post] = true
	}
	quiet := len(l.Waivers)+len(l.Holds) == 0
	out := make([]block, 0, len(blocks))
	for _, b := range blocks {
		switch {
		case b.id == "people" && once && len(l.People) > 0:
		case b.id == "holds" && quiet && len(out) > 0 && out[len(out)-1].id == "waivers":
			last := &out[len(out)-1]
			last.title, last.lines = last.title+", "+b.title, []string{"none, none"}
		default:
			out = append(out, b)
		}
	}
	return out
}

// lead is the distance from line to line.
func (l *layout) leading() float64 { return 1.22 * l.size }

// ensure begins another page when h points are not left on this one.
func (l *layout) ensure(h float64) {
	if l.y+h > bottomY && l.y > topY {
		l.pages = append(l.pages, newPage())
		l.y = topY
	}
}

// here is the page that is being filled.
func (l *layout) here() *chart.Scene { return l.pages[len(l.pages)-1] }

func (l *layout) text(x, y float64, text string, size float64, bold bool) {
	l.here().Write(black, size, bold, chart.Left, x, y, l.m.known(text))
}

func (l *layout) rule(y, width float64) { rule(l.here(), y, width) }

func rule(s *chart.Scene, y, width float64) {
	s.Line(black, width, nil, chart.Point{X: marginX, Y: y}, chart.Point{X: paperWidth - marginX, Y: y})
}

// paragraph writes wrapped text and moves on below it.
func (l *layout) paragraph(x, width float64, text string, size float64, bold bool) {
	for _, line := range l.m.wrap(text, width, size, bold) {
		l.ensure(1.22 * size)
		l.y += 1.22 * size
		l.text(x, l.y-0.3*size, line, size, bold)
	}
}

// titled is a block with its title at the left and its lines beside it.
func (l *layout) titled(b block) {
	if len(b.lines) == 0 {
		return
	}
	l.gap()
	l.ensure(2 * l.leading())
	l.rule(l.y, 0.4)
	l.y += 0.25 * l.size
	from, page := l.y, len(l.pages)
	for k, line := range l.m.wrap(b.title, gutter-6, l.size, true) {
		l.text(marginX, from+(1.22*float64(k+1)-0.3)*l.size, line, l.size, true)
	}
	for _, line := range b.lines {
		l.paragraph(marginX+gutter, paperWidth-2*marginX-gutter, line, l.size, false)
	}
	if below := from + l.leading()*float64(len(l.m.wrap(b.title, gutter-6, l.size, true))); page == len(l.pages) && l.y < below {
		l.y = below
	}
}

func (l *layout) gap() { l.y += 0.45 * l.size }

// table is a block as a table of that width; shares are those of its columns.
func (l *layout) table(b block, shares []float64, x, width float64) {
	l.gap()
	l.ensure(4 * l.leading())
	if b.title != "" {
		l.rule(l.y, 0.4)
		l.y += 0.25 * l.size
		l.paragraph(x, width, b.title, l.size, true)
	}
	l.heads(b.head, shares, x, width)
	for n, cells := range b.rows {
		lines := make([][]string, len(cells))
		most := 1
		for k, c := range cells {
			lines[k] = l.m.wrap(c, shares[k]*width-5, l.size, false)
			if l.cut && len(lines[k]) > 1 {
				lines[k] = []string{l.m.fit(c, shares[k]*width-5, l.size)}
			}
			most = max(most, len(lines[k]))
		}
		before := len(l.pages)
		l.ensure(float64(most)*l.leading() + 1)
		if len(l.pages) != before {
			l.heads(b.head, shares, x, width)
		}
		high := float64(most)*l.leading() + 0.3
		if n%2 == 0 {
			l.here().Rect(stripe, x-2, l.y+0.2, width+4, high)
		}
		at := x
		for k := range cells {
			for n, line := range lines[k] {
				l.text(at, l.y+(1.22*float64(n+1)-0.3)*l.size, line, l.size, false)
			}
			at += shares[k] * width
		}
		l.y += high
	}
}

func (l *layout) heads(head []string, shares []float64, x, width float64) {
	for k, h := range head {
		l.text(x, l.y+0.92*l.size, h, l.size*0.92, true)
		x += shares[k] * width
	}
	l.y += l.leading()
}

// runAndCircuit puts the chart at the left, the comparison and the circuit's
// table at the right of it.
func (l *layout) runAndCircuit(run block) {
	charted := l.Forecast != nil && l.Forecast.Chart != nil && len(l.Forecast.Chart.Speed) > 1
	const high, wide = 124.0, 286.0
	l.gap()
	x, width := marginX, paperWidth-2*marginX
	if charted {
		x, width = marginX+wide+12, width-wide-12
	}
	// Beside the chart everything has to be on its page: measure first.
	probe := *l
	probe.pages, probe.y = []*chart.Scene{newPage()}, topY
	probe.besideChart(run, x, width)
	need := max(probe.y-topY, high)
	if len(probe.pages) > 1 {
		need = bottomY - topY
	}
	l.ensure(need)
	l.rule(l.y, 0.4)
	from := l.y
	if charted {
		l.here().Place(l.speeds().Speeds(wide, high-6), marginX, from+4)
	}
	l.besideChart(run, x, width)
	if charted {
		l.y = max(l.y, from+high)
	}
}

func (l *layout) besideChart(run block, x, width float64) {
	l.y += 0.25 * l.size
	l.paragraph(x, width, run.title, l.size, true)
	for _, line := range run.lines {
		l.paragraph(x, width, line, l.size, false)
	}
	if len(l.Igniters) > 0 {
		l.table(block{head: []string{"motor", "reading", "band", "worst current", "margin"}, rows: l.circuit().rows},
			[]float64{0.12, 0.22, 0.29, 0.23, 0.14}, x, width)
	}
}

// speeds is the chart of what was predicted and what was measured.
func (l *layout) speeds() chart.Chart {
	f := l.Forecast
	c := chart.Chart{US: l.sys == unit.US, ClearLengthM: f.Chart.ClearLengthM, StopMarginM: f.Chart.StopMarginM,
		RestSpread:    &chart.Spread{P05M: f.RestM.P05, P50M: f.RestM.P50, P95M: f.RestM.P95},
		MeasuredRestM: l.rest(), MeasuredMps: l.speed()}
	for _, p := range f.Chart.Speed {
		c.Run = append(c.Run, chart.Sample{PositionM: p.DistanceM, SpeedMps: p.SpeedMps})
	}
	for _, b := range f.Chart.Band {
		c.Band = append(c.Band, chart.Band{PositionM: b.DistanceM, LowMps: b.P05Mps, HighMps: b.P95Mps})
	}
	return c
}

// frame draws the head and the foot of every page.
func (l *layout) frame() {
	d := l.Document
	kind := d.Kind()
	if len(d.NotValid) > 0 {
		kind += ": NOT VALID"
	}
	const y = 24.0
	wide := l.m.width(kind, 11, true) + 10
	box := []chart.Point{{X: marginX, Y: y - 11}, {X: marginX + wide, Y: y - 11}, {X: marginX + wide, Y: y + 4}, {X: marginX, Y: y + 4}}
	fill, ink := white, black
	if d.Practice || len(d.NotValid) > 0 {
		fill, ink = black, white // nobody takes it for a real one
	}
	for n, s := range l.pages {
		s.Area(fill, black, 1, box...)
		s.Write(ink, 11, true, chart.Left, marginX+5, y, kind)
		number := fmt.Sprintf("page %d of %d", n+1, len(l.pages))
		s.Write(black, 8, false, chart.Right, paperWidth-marginX, y, number)
		room := paperWidth - 2*marginX - l.m.width(number, 8, false) - wide - 16
		s.Write(black, 11, false, chart.Left, marginX+wide+8, y, l.m.fit(d.Title, room, 11))
		if d.CannotStop {
			s.Write(black, 7.5, true, chart.Left, marginX, 38.5, strings.ToUpper(cannotStop))
		}
		rule(s, 42.5, 1)
		foot := fmt.Sprintf("%s · record %s · last line %.16s…", d.Kind(), d.Record, d.LastHash)
		s.Write(black, 7, false, chart.Left, marginX, 826, l.m.fit(foot, paperWidth-2*marginX, 7))
	}
}

// draw writes the pages.
func (l *layout) draw() ([]byte, error) {
	l.frame()
	return chart.PDF(l.m.known(l.Kind()+": "+l.Title), l.pages...)
}
