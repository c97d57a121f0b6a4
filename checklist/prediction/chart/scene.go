// Package chart draws a predicted run as a picture for paper or a report:
// speed, axle loads and the ground with the rest of every case, all over the
// same distance, as SVG, PDF or PNG.
//
// A chart is laid out once into a scene of plain shapes; each format only
// writes shapes. The same chart gives the same bytes every time.
package chart

import (
	"image/color"
	"slices"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
)

// Point is a place on the page in points of 1/72 inch, y downwards.
type Point struct{ X, Y float64 }

// shape is one drawn thing: a path, or text when text is not empty.
type shape struct {
	points []Point
	closed bool
	fill   color.Color // nil: not filled
	stroke color.Color // nil: no line
	width  float64
	dash   []float64 // lengths of dash and gap, nil for a solid line

	text   string
	at     Point // on the base line
	anchor Anchor
	size   float64
	bold   bool
}

// Anchor is which end of a text its place is.
type Anchor int

const (
	Left Anchor = iota
	Middle
	Right
)

// Scene is a page of shapes, drawn in order.
type Scene struct {
	Width, Height float64
	title         string
	shapes        []shape
}

// Line draws a line through points; dash has the lengths of dash and gap, nil
// for a solid line.
func (s *Scene) Line(c color.Color, width float64, dash []float64, points ...Point) {
	if len(points) > 1 {
		s.shapes = append(s.shapes, shape{points: points, stroke: c, width: width, dash: dash})
	}
}

// Area draws an area with its outline; nil leaves either away.
func (s *Scene) Area(fill, stroke color.Color, width float64, points ...Point) {
	if len(points) > 2 {
		s.shapes = append(s.shapes, shape{points: points, closed: true, fill: fill, stroke: stroke, width: width})
	}
}

// Rect fills a rectangle.
func (s *Scene) Rect(fill color.Color, x, y, w, h float64) {
	s.Area(fill, nil, 0, Point{x, y}, Point{x + w, y}, Point{x + w, y + h}, Point{x, y + h})
}

// Write writes text on the base line at y, with that end of it at x.
func (s *Scene) Write(c color.Color, size float64, bold bool, a Anchor, x, y float64, text string) {
	if text != "" {
		s.shapes = append(s.shapes, shape{text: text, at: Point{x, y}, anchor: a, size: size, bold: bold, stroke: c})
	}
}

// Place draws another scene with its corner at x and y.
func (s *Scene) Place(other *Scene, x, y float64) {
	for _, sh := range other.shapes {
		sh.at = Point{sh.at.X + x, sh.at.Y + y}
		sh.points = slices.Clone(sh.points)
		for i, p := range sh.points {
			sh.points[i] = Point{p.X + x, p.Y + y}
		}
		s.shapes = append(s.shapes, sh)
	}
}

// typefaces are the two faces every format measures and draws with: the Go
// fonts, which know Greek and the ohm sign.
type typefaces struct{ regular, bold *opentype.Font }

var loadFaces = sync.OnceValues(func() (typefaces, error) {
	regular, err := opentype.Parse(goregular.TTF)
	if err != nil {
		return typefaces{}, err
	}
	bold, err := opentype.Parse(gobold.TTF)
	return typefaces{regular, bold}, err
})

// face is a face that measures size points at a scale of dots a point.
func (t typefaces) face(size, scale float64, bold bool) (font.Face, error) {
	f := t.regular
	if bold {
		f = t.bold
	}
	return opentype.NewFace(f, &opentype.FaceOptions{Size: size * scale, DPI: 72, Hinting: font.HintingNone})
}

// TextWidth is a text's width in points, an estimate when the face fails.
func TextWidth(text string, size float64, bold bool) float64 {
	rulers.Lock()
	defer rulers.Unlock()
	face, ok := rulers.faces[bold]
	if !ok {
		if faces, err := loadFaces(); err == nil {
			face, _ = faces.face(rulerSize, 1, bold) // nil: the estimate
		}
		rulers.faces[bold] = face
	}
	if face == nil {
		return 0.6 * size * float64(len([]rune(text)))
	}
	return float64(font.MeasureString(face, text)) / 64 / rulerSize * size
}

// rulerSize is large, so that rounding to a face's own units does not count.
const rulerSize = 1000

// rulers are the faces that texts are measured with: one measures one text at a
// time.
var rulers = struct {
	sync.Mutex
	faces map[bool]font.Face
}{faces: map[bool]font.Face{}}
