package export

import (
	"fmt"
	"strings"

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
			if l := arrange(p, m, size, false); l.pages <= try.most {
				return l.draw()
			}
		}
	}
	return best.draw()
}

// layout is a document being laid out: drawn things by page.
type layout struct {
	*page
	m     *measure
	size  float64 // of the body's type
	cut   bool    // table cells are cut to one line
	pages int
	y     float64
	ops   []op
}

// op is one drawn thing: a text, a line, or an area.
type op struct {
	page   int
	text   string
	x, y   float64
	size   float64
	bold   bool
	white  bool
	points [][2]float64
	fill   float64 // grey, 0 black to 1 white; below 0 for none
	width  float64 // of the line, 0 for none
	dash   []float64
}

func arrange(p *page, m *measure, size float64, cut bool) *layout {
	l := &layout{page: p, m: m, size: size, cut: cut, pages: 1, y: topY}
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
		l.pages++
		l.y = topY
	}
}

func (l *layout) text(x, y float64, text string, size float64, bold bool) {
	if text != "" {
		l.ops = append(l.ops, op{page: l.pages, text: text, x: x, y: y, size: size, bold: bold, fill: -1})
	}
}

func (l *layout) area(x, y, wide, high, grey float64) {
	l.ops = append(l.ops, op{page: l.pages, points: [][2]float64{{x, y}, {x + wide, y}, {x + wide, y + high}, {x, y + high}}, fill: grey})
}

func (l *layout) rule(y, width float64) {
	l.ops = append(l.ops, op{page: l.pages, points: [][2]float64{{marginX, y}, {paperWidth - marginX, y}}, width: width, fill: -1})
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
	from, page := l.y, l.pages
	for k, line := range l.m.wrap(b.title, gutter-6, l.size, true) {
		l.text(marginX, from+(1.22*float64(k+1)-0.3)*l.size, line, l.size, true)
	}
	for _, line := range b.lines {
		l.paragraph(marginX+gutter, paperWidth-2*marginX-gutter, line, l.size, false)
	}
	if below := from + l.leading()*float64(len(l.m.wrap(b.title, gutter-6, l.size, true))); page == l.pages && l.y < below {
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
		before := l.pages
		l.ensure(float64(most)*l.leading() + 1)
		if l.pages != before {
			l.heads(b.head, shares, x, width)
		}
		high := float64(most)*l.leading() + 0.3
		if n%2 == 0 {
			l.area(x-2, l.y+0.2, width+4, high, 0.94)
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
	chart := l.Forecast != nil && l.Forecast.Chart != nil && len(l.Forecast.Chart.Speed) > 1
	const high, wide = 124.0, 286.0
	l.gap()
	x, width := marginX, paperWidth-2*marginX
	if chart {
		x, width = marginX+wide+12, width-wide-12
	}
	// Beside the chart everything has to be on its page: measure first.
	probe := *l
	probe.ops = nil
	probe.pages, probe.y = 1, topY
	probe.besideChart(run, x, width)
	need := max(probe.y-topY, high)
	if probe.pages > 1 {
		need = bottomY - topY
	}
	l.ensure(need)
	l.rule(l.y, 0.4)
	from := l.y
	if chart {
		l.chart(*l.Forecast.Chart, marginX, from+4, wide, high-6)
	}
	l.besideChart(run, x, width)
	if chart {
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

// frame draws the head and the foot of every page.
func (l *layout) frame() {
	d := l.Document
	for n := 1; n <= l.pages; n++ {
		y := 24.0
		kind := d.Kind()
		if len(d.NotValid) > 0 {
			kind += ": NOT VALID"
		}
		wide := l.m.width(kind, 11, true) + 10
		box := [][2]float64{{marginX, y - 11}, {marginX + wide, y - 11}, {marginX + wide, y + 4}, {marginX, y + 4}}
		fill := -1.0
		if d.Practice || len(d.NotValid) > 0 {
			fill = 0 // white on black: nobody takes it for a real one
		}
		l.ops = append(l.ops, op{page: n, points: box, width: 1, fill: fill},
			op{page: n, text: kind, x: marginX + 5, y: y, size: 11, bold: true, white: fill == 0, fill: -1})
		number := fmt.Sprintf("page %d of %d", n, l.pages)
		right := paperWidth - marginX - l.m.width(number, 8, false)
		l.ops = append(l.ops, op{page: n, text: l.m.fit(d.Title, right-marginX-wide-16, 11), x: marginX + wide + 8, y: y, size: 11, fill: -1},
			op{page: n, text: number, x: right, y: y, size: 8, fill: -1})
		under := 38.5
		if d.CannotStop {
			l.ops = append(l.ops, op{page: n, text: strings.ToUpper(cannotStop), x: marginX, y: under, size: 7.5, bold: true, fill: -1})
		}
		l.ops = append(l.ops, op{page: n, points: [][2]float64{{marginX, 42.5}, {paperWidth - marginX, 42.5}}, width: 1, fill: -1})
		foot := fmt.Sprintf("%s · record %s · last line %.16s…", d.Kind(), d.Record, d.LastHash)
		l.ops = append(l.ops, op{page: n, text: l.m.fit(foot, paperWidth-2*marginX, 7), x: marginX, y: 826, size: 7, fill: -1})
	}
}
