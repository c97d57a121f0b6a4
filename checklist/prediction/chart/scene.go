// Package chart draws a predicted run as a picture for paper or a report:
// speed, axle loads and the ground with the rest of every case, all over the
// same distance, as SVG, PDF or PNG.
//
// A chart is laid out once into a scene of plain shapes; each format only
// writes shapes. The same chart gives the same bytes every time.
package chart

import (
	"image/color"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
)

// point is a place on the page in points of 1/72 inch, y downwards.
type point struct{ x, y float64 }

// shape is one drawn thing: a path, or text when text is not empty.
type shape struct {
	points []point
	closed bool
	fill   color.Color // nil: not filled
	stroke color.Color // nil: no line
	width  float64
	dash   []float64 // lengths of dash and gap, nil for a solid line

	text   string
	at     point // on the base line
	anchor anchor
	size   float64
	bold   bool
}

// anchor is which end of a text its place is.
type anchor int

const (
	left anchor = iota
	middle
	right
)

// scene is a page of shapes, drawn in order.
type scene struct {
	title         string
	width, height float64
	shapes        []shape
}

func (s *scene) line(c color.Color, width float64, dash []float64, points ...point) {
	if len(points) > 1 {
		s.shapes = append(s.shapes, shape{points: points, stroke: c, width: width, dash: dash})
	}
}

func (s *scene) area(fill, stroke color.Color, width float64, points ...point) {
	if len(points) > 2 {
		s.shapes = append(s.shapes, shape{points: points, closed: true, fill: fill, stroke: stroke, width: width})
	}
}

func (s *scene) rect(fill, stroke color.Color, x, y, w, h float64) {
	s.area(fill, stroke, 0.75, point{x, y}, point{x + w, y}, point{x + w, y + h}, point{x, y + h})
}

func (s *scene) write(c color.Color, size float64, bold bool, a anchor, x, y float64, text string) {
	if text != "" {
		s.shapes = append(s.shapes, shape{text: text, at: point{x, y}, anchor: a, size: size, bold: bold, stroke: c})
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

// textWidth is a text's width in points, an estimate when the face fails.
func textWidth(text string, size float64, bold bool) float64 {
	estimate := 0.6 * size * float64(len([]rune(text)))
	faces, err := loadFaces()
	if err != nil {
		return estimate
	}
	face, err := faces.face(size, 1, bold)
	if err != nil {
		return estimate
	}
	defer face.Close()
	return float64(font.MeasureString(face, text)) / 64
}
