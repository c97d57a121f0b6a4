package chart

import (
	"cmp"
	"fmt"
	"image/color"
	"math"
	"path/filepath"
	"slices"
	"strings"
)

// Chart is what a picture of a predicted run shows. Lengths, speeds and forces
// are SI; US draws them in feet, miles an hour and pounds-force.
type Chart struct {
	Title  string
	Answer string // one line under the title: the answer and what decided it
	Source string // small print: hash of the sheet, runs, seed
	US     bool

	ClearLengthM float64
	StopMarginM  float64

	Run         []Sample // the nominal run, in order of time
	Band        []Band   // spread of the speed, in order of position; nil when not computed
	FrontLimitN float64  // least front axle load the sheet asks for; 0 draws none
	Devices     []Device
	Rests       []Rest
	RestSpread  *Spread // nil when not computed

	MeasuredRestM, MeasuredMps *float64 // nil when not measured
}

// Sample is one moment of the nominal run.
type Sample struct {
	PositionM, SpeedMps   float64
	FrontLoadN, RearLoadN float64
}

// Band is the spread of the speed at a position: the 5th and 95th percentile.
type Band struct{ PositionM, LowMps, HighMps float64 }

// Device is a stopping device and where it begins to act in the nominal run.
type Device struct {
	Name string
	AtM  float64
}

// Rest is where a case comes to rest.
type Rest struct {
	Case string
	AtM  float64
	Kind RestKind
}

// RestKind says how a case's rest is marked.
type RestKind int

// The kinds of rest.
const (
	SingleFault RestKind = iota // held to the cleared length
	Nominal
	AllAbsent // shown, not held to anything
)

// Spread is the spread of the rest position.
type Spread struct{ P05M, P50M, P95M, P999M float64 }

// Formats are the file name endings that Draw knows.
var Formats = []string{".svg", ".png", ".pdf"}

// Draw draws a chart in the format that a file name's ending asks for.
func Draw(c Chart, fileName string) ([]byte, error) {
	switch ending := strings.ToLower(filepath.Ext(fileName)); ending {
	case ".svg":
		return c.scene().SVG(), nil
	case ".png":
		return c.scene().png()
	case ".pdf":
		return PDF(c.Title, c.scene())
	default:
		return nil, fmt.Errorf("chart: %q: ending %q, expected one of %s", fileName, ending, strings.Join(Formats, " "))
	}
}

// Colours that stay apart for the colour-blind and in grey print; line style
// and shape say the same without them.
var (
	ink    = color.NRGBA{0x1c, 0x1c, 0x1c, 0xff}
	quiet  = color.NRGBA{0x59, 0x59, 0x59, 0xff}
	grid   = color.NRGBA{0xdd, 0xdd, 0xdd, 0xff}
	blue   = color.NRGBA{0x00, 0x4f, 0x8c, 0xff}
	shade  = color.NRGBA{0x00, 0x4f, 0x8c, 0x30}
	orange = color.NRGBA{0xb3, 0x4a, 0x00, 0xff}
	danger = color.NRGBA{0xa3, 0x00, 0x1e, 0xff}
	margin = color.NRGBA{0xa3, 0x00, 0x1e, 0x18}
	paper  = color.NRGBA{0xff, 0xff, 0xff, 0xe0}
)

// look is what differs between the picture of its own and the one on a page of
// black and grey.
type look struct {
	size                    float64 // of the type at the axes
	run, band, end, margins color.NRGBA
}

var (
	coloured = look{8, blue, shade, danger, margin}
	grey     = look{6.2, color.NRGBA{A: 0xff}, color.NRGBA{0xc7, 0xc7, 0xc7, 0xff}, color.NRGBA{A: 0xff}, color.NRGBA{0xeb, 0xeb, 0xeb, 0xff}}
)

const (
	pageWidth    = 842.0 // A4 on its side
	pageHeight   = 595.0
	plotLeft     = 168.0
	plotRight    = 800.0
	speedTop     = 96.0
	speedBottom  = 270.0
	loadTop      = 306.0
	loadBottom   = 416.0
	restTop      = 452.0
	restRow      = 12.0
	footerHeight = 58.0
	deviceLines  = 3 // lines of names above the speed panel
)

// page is a chart being laid out.
type page struct {
	Chart
	Scene
	look
	left, right, edge                float64      // of the axes; edge is where texts end at the right
	panels                           [][2]float64 // top and bottom of each
	lengthUnit, speedUnit, forceUnit unit
	farM                             float64 // right end of the distance axis
	bottom                           float64 // of the last panel
	peakText                         string  // "" for a run that does not move
	peakAt                           Point
}

// unit turns an SI value into what is drawn.
type unit struct {
	name string
	per  float64 // SI value of one
}

func (c Chart) page(l look, s Scene, left, right, edge float64) *page {
	p := &page{Chart: c, look: l, Scene: s, left: left, right: right, edge: edge, farM: c.far(),
		lengthUnit: unit{"m", 1}, speedUnit: unit{"m/s", 1}, forceUnit: unit{"N", 1}}
	if c.US {
		p.lengthUnit, p.speedUnit, p.forceUnit = unit{"ft", 0.3048}, unit{"mph", 0.44704}, unit{"lbf", 4.4482216152605}
	}
	return p
}

func (c Chart) scene() *Scene {
	bottom := restTop + restRow*float64(len(c.Rests)) + 6
	if c.RestSpread != nil {
		bottom += restRow
	}
	s := Scene{title: c.Title, Width: pageWidth, Height: max(pageHeight, bottom+footerHeight)}
	p := c.page(coloured, s, plotLeft, plotRight, pageWidth-20)
	p.panels, p.bottom = [][2]float64{{speedTop, speedBottom}, {loadTop, loadBottom}, {restTop, bottom}}, bottom
	p.Write(ink, 16, true, Left, 40, 38, p.Title)
	p.Write(ink, 10, false, Left, 40, 56, p.Answer)
	p.ground()
	p.speedPanel()
	p.loadPanel()
	p.restPanel()
	p.devices()
	p.peak()
	p.Write(quiet, 7, false, Left, 40, p.Height-16, c.Source)
	return &p.Scene
}

// far is the end of the distance axis: past the cleared length and past every
// case that is held to it. A case beyond is drawn as an arrow at the edge.
func (c Chart) far() float64 {
	far := 1.12 * c.ClearLengthM
	if len(c.Run) > 0 {
		far = max(far, 1.05*c.Run[len(c.Run)-1].PositionM)
	}
	for _, r := range c.Rests {
		if r.Kind != AllAbsent {
			far = max(far, 1.12*r.AtM)
		}
	}
	if c.MeasuredRestM != nil {
		far = max(far, 1.08**c.MeasuredRestM)
	}
	return max(far, 1)
}

func (p *page) x(positionM float64) float64 {
	return p.left + (p.right-p.left)*min(max(positionM/p.farM, 0), 1)
}

// ground draws what all panels share: the distance grid, the cleared length
// and the margin before its end.
func (p *page) ground() {
	end := p.x(p.ClearLengthM)
	from := p.x(p.ClearLengthM - p.StopMarginM)
	distances := ticks(0, p.farM/p.lengthUnit.per, (p.right-p.left)/55)
	for _, panel := range p.panels {
		p.Rect(p.margins, from, panel[0], end-from, panel[1]-panel[0])
		for _, tick := range distances {
			x := p.x(tick * p.lengthUnit.per)
			p.Line(grid, 0.5, nil, Point{x, panel[0]}, Point{x, panel[1]})
		}
		p.Line(p.end, 1.5, nil, Point{end, panel[0]}, Point{end, panel[1]})
		p.Line(ink, 0.75, nil, Point{p.left, panel[0]}, Point{p.left, panel[1]}, Point{p.right, panel[1]})
	}
	for _, tick := range distances {
		p.Write(ink, p.size, false, Middle, p.x(tick*p.lengthUnit.per), p.bottom+1.5*p.size, trimmed(tick))
	}
	p.Write(ink, p.size, false, Right, p.right, p.bottom+3*p.size, "distance from the start line, "+p.lengthUnit.name)
}

func (p *page) speedPanel() {
	y := p.speeds("speed, "+p.speedUnit.name, Point{40, speedTop + 8})
	if len(p.Run) < 2 {
		p.Write(ink, 10, true, Middle, (plotLeft+plotRight)/2, (speedTop+speedBottom)/2, "the nominal run does not move")
		return
	}
	peak := slices.MaxFunc(p.Run, func(a, b Sample) int { return cmp.Compare(a.SpeedMps, b.SpeedMps) })
	p.diamond(blue, p.x(peak.PositionM), y(peak.SpeedMps), 3)
	p.peakText = fmt.Sprintf("peak %.1f %s at %s", peak.SpeedMps/p.speedUnit.per, p.speedUnit.name, p.length(peak.PositionM))
	p.peakAt = Point{p.x(peak.PositionM) + 6, y(peak.SpeedMps) - 4}
	legend := "line: nominal run"
	if len(p.Band) > 1 {
		legend += legendGap + "shaded: 5th to 95th percentile"
	}
	p.Write(quiet, 8, false, Right, plotRight, speedBottom+12, legend)
}

// legendGap parts the words of a legend where runs of blanks become one.
const legendGap = " · "

func (p *page) loadPanel() {
	low, high := 0.0, 1.0
	for _, s := range p.Run {
		low = min(low, s.FrontLoadN, s.RearLoadN)
		high = max(high, s.FrontLoadN, s.RearLoadN)
	}
	y := p.scale("axle load, "+p.forceUnit.name, Point{40, loadTop + 8}, p.panels[1], 1.06*low, 1.06*high, p.forceUnit)
	if low < 0 {
		p.Line(ink, 0.75, nil, Point{plotLeft, y(0)}, Point{plotRight, y(0)})
	}
	if len(p.Run) < 2 {
		return
	}
	var front, rear []Point
	for _, s := range p.Run {
		front = append(front, Point{p.x(s.PositionM), y(s.FrontLoadN)})
		rear = append(rear, Point{p.x(s.PositionM), y(s.RearLoadN)})
	}
	p.Line(orange, 1.2, []float64{5, 3}, thin(rear)...)
	p.Line(blue, 1.6, nil, thin(front)...)
	legend := "line: front" + legendGap + "dashed: rear"
	if p.FrontLimitN > 0 {
		p.Line(danger, 1, []float64{1.5, 2}, Point{plotLeft, y(p.FrontLimitN)}, Point{plotRight, y(p.FrontLimitN)})
		legend += legendGap + "dotted: least front load of the sheet"
	}
	p.Write(quiet, 8, false, Right, plotRight, loadBottom+12, legend)
}

// restPanel lists every case with where it comes to rest.
func (p *page) restPanel() {
	p.Write(ink, 9, true, Left, 40, restTop-5, "comes to rest")
	row := restTop + restRow*0.75
	for _, r := range p.Rests {
		c, bold := blue, false
		switch {
		case r.Kind == Nominal:
			bold = true
		case r.Kind == AllAbsent:
			c = quiet
		case r.AtM > p.ClearLengthM-p.StopMarginM:
			c = danger
		}
		p.Write(ink, 8, bold, Right, plotLeft-8, row+2.5, fit(r.Case, plotLeft-48, 8, bold))
		p.rest(r, c, row)
		row += restRow
	}
	if p.RestSpread != nil {
		p.spread(*p.RestSpread, row)
	}
}

// spread draws the quantiles of the rest position: thick from P5 to P95, thin
// to P99.9, which is an arrow when it lies beyond the edge.
func (p *page) spread(s Spread, row float64) {
	p.Write(ink, 8, false, Right, plotLeft-8, row+2.5, "spread P5, P50, P95, P99.9")
	label, end := p.length(s.P999M), p.x(s.P999M)
	if s.P999M > p.farM {
		p.Area(blue, nil, 0, Point{end, row}, Point{end - 8, row - 4}, Point{end - 8, row + 4})
		p.Write(blue, 8, false, Right, end-12, row+2.5, label)
		end -= 16 + TextWidth(label, 8, false)
	} else {
		p.Line(blue, 1.2, nil, Point{end, row - 4}, Point{end, row + 4})
		if end+6+TextWidth(label, 8, false) <= p.Width-8 {
			p.Write(blue, 8, false, Left, end+6, row+2.5, label)
		}
	}
	high := min(p.x(s.P95M), end)
	p.Line(blue, 3, nil, Point{min(p.x(s.P05M), high), row}, Point{high, row})
	p.Line(blue, 1, nil, Point{high, row}, Point{end, row})
	if middle := p.x(s.P50M); middle <= end {
		p.Line(blue, 1.2, nil, Point{middle, row - 4}, Point{middle, row + 4})
	}
}

// rest draws one case: a disc for the nominal run, a diamond for a single
// fault, a ring for the case that is only shown, an arrow beyond the edge.
func (p *page) rest(r Rest, c color.NRGBA, row float64) {
	x := p.x(r.AtM)
	label := p.length(r.AtM)
	if r.AtM > p.farM {
		p.Area(c, nil, 0, Point{x, row}, Point{x - 8, row - 4}, Point{x - 8, row + 4})
		p.Write(c, 8, false, Right, x-12, row+2.5, label)
		return
	}
	switch r.Kind {
	case Nominal:
		p.Area(c, nil, 0, disc(Point{x, row}, 3.4)...)
	case AllAbsent:
		p.Area(nil, c, 1, disc(Point{x, row}, 3.2)...)
	default:
		p.diamond(c, x, row, 3.8)
	}
	if width := TextWidth(label, 8, false); x+6+width > plotRight {
		p.Write(c, 8, false, Right, x-6, row+2.5, label)
		return
	}
	p.Write(c, 8, false, Left, x+6, row+2.5, label)
}

func (p *page) diamond(c color.NRGBA, x, y, r float64) {
	p.Area(c, nil, 0, Point{x, y - r}, Point{x + r, y}, Point{x, y + r}, Point{x - r, y})
}

// devices marks where each stopping device begins to act, and names them and
// the end of the cleared strip above the speed panel, on a higher line where
// names would touch.
func (p *page) devices() {
	type mark struct {
		atM  float64
		name string
		end  bool
	}
	marks := []mark{{p.ClearLengthM, "end of the cleared strip", true}}
	for _, d := range p.Devices {
		if d.AtM >= 0 && d.AtM <= p.farM {
			marks = append(marks, mark{d.AtM, d.Name, false})
		}
	}
	slices.SortStableFunc(marks, func(a, b mark) int { return cmp.Compare(a.atM, b.atM) })
	var busy [deviceLines]float64 // right end of the last label on each line
	top := p.panels[0][0]
	for _, m := range marks {
		c, x := ink, p.x(m.atM)
		if m.end {
			c = p.end
		} else {
			for _, panel := range p.panels[:min(2, len(p.panels))] { // of speed and loads
				p.Line(quiet, 0.8, []float64{2, 2}, Point{x, panel[0]}, Point{x, panel[1]})
			}
		}
		label := m.name + " " + p.length(m.atM)
		wide := TextWidth(label, p.size, m.end)
		from, anchor, at := x, Left, x
		if x+wide > p.edge { // held by its right end, so that no face makes it leave the page
			from, anchor, at = p.edge-wide, Right, p.edge
		}
		line := 0
		for line < deviceLines-1 && busy[line] > from {
			line++
		}
		p.Write(c, p.size, m.end, anchor, at, top-4-9*float64(line), label)
		busy[line] = from + 8 + wide
	}
}

// peak names the top speed, after the devices, so that none of their lines runs
// through it.
func (p *page) peak() {
	if p.peakText != "" {
		p.onPaper(p.peakAt.X, p.peakAt.Y, p.peakText)
	}
}

// scale draws a panel's vertical axis with its name and returns the place of a
// value.
func (p *page) scale(name string, at Point, panel [2]float64, low, high float64, u unit) func(float64) float64 {
	y := func(v float64) float64 { return panel[1] - (panel[1]-panel[0])*(v-low)/(high-low) }
	for _, tick := range ticks(low/u.per, high/u.per, 5) {
		p.Line(grid, 0.5, nil, Point{p.left, y(tick * u.per)}, Point{p.right, y(tick * u.per)})
		p.Write(ink, p.size, false, Right, p.left-5, y(tick*u.per)+0.375*p.size, trimmed(tick))
	}
	p.Write(ink, p.size+1, true, Left, at.X, at.Y, name)
	return y
}

func (p *page) length(m float64) string {
	return fmt.Sprintf("%.0f %s", m/p.lengthUnit.per, p.lengthUnit.name)
}

// thin drops points closer than a third of a point to the last one kept.
func thin(points []Point) []Point {
	if len(points) == 0 {
		return nil
	}
	out := points[:1:1]
	for i, q := range points[1:] {
		last := out[len(out)-1]
		if math.Hypot(q.X-last.X, q.Y-last.Y) >= 1.0/3 || i == len(points)-2 {
			out = append(out, q)
		}
	}
	return out
}

// fit cuts a text with an ellipsis to a width in points.
func fit(text string, width, size float64, bold bool) string {
	if TextWidth(text, size, bold) <= width {
		return text
	}
	runes := []rune(text)
	for len(runes) > 1 && TextWidth(string(runes)+"…", size, bold) > width {
		runes = runes[:len(runes)-1]
	}
	return string(runes) + "…"
}

// ticks are round numbers from low to high, about n of them, 1, 2 or 5 times a
// power of ten apart.
func ticks(low, high, n float64) []float64 {
	if !(high > low) || math.IsInf(high-low, 0) {
		return nil
	}
	rough := (high - low) / n
	power := math.Pow(10, math.Floor(math.Log10(rough)))
	step := 10 * power
	for _, k := range []float64{1, 2, 5} {
		if k*power >= rough {
			step = k * power
			break
		}
	}
	var out []float64
	for i := math.Ceil(low / step); i*step <= high*(1+1e-12); i++ {
		out = append(out, i*step)
	}
	return out
}

// trimmed is a tick's number without spare zeros.
func trimmed(v float64) string {
	if math.Abs(v) < 1e-12 {
		return "0"
	}
	return fmt.Sprintf("%.6g", v)
}
