package chart

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"math"

	"golang.org/x/image/font"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
)

// dotsPerPoint makes a PNG 144 dots an inch.
const dotsPerPoint = 2

// png is the scene as a PNG at 144 dots an inch.
func (s *Scene) png() ([]byte, error) {
	faces, err := loadFaces()
	if err != nil {
		return nil, fmt.Errorf("chart: png: face: %w", err)
	}
	img := image.NewRGBA(image.Rect(0, 0, int(math.Ceil(s.Width*dotsPerPoint)), int(math.Ceil(s.Height*dotsPerPoint))))
	draw.Draw(img, img.Bounds(), image.White, image.Point{}, draw.Src)
	for _, sh := range s.shapes {
		if sh.text != "" {
			if err := pngText(img, faces, sh); err != nil {
				return nil, fmt.Errorf("chart: png: text %q: %w", sh.text, err)
			}
			continue
		}
		if sh.fill != nil {
			fillPolygons(img, sh.fill, [][]Point{sh.points})
		}
		if sh.stroke != nil {
			points := sh.points
			if sh.closed {
				points = append(append([]Point(nil), points...), points[0])
			}
			var outline [][]Point
			for _, run := range dashes(points, sh.dash) {
				outline = append(outline, strokeOutline(run, sh.width)...)
			}
			fillPolygons(img, sh.stroke, outline)
		}
	}
	var b bytes.Buffer
	if err := png.Encode(&b, img); err != nil {
		return nil, fmt.Errorf("chart: png: %w", err)
	}
	return b.Bytes(), nil
}

func pngText(img *image.RGBA, faces typefaces, sh shape) error {
	face, err := faces.face(sh.size, dotsPerPoint, sh.bold)
	if err != nil {
		return err
	}
	defer face.Close()
	d := font.Drawer{Dst: img, Src: image.NewUniform(sh.stroke), Face: face}
	width := d.MeasureString(sh.text)
	x := fixed.Int26_6(sh.at.X * dotsPerPoint * 64)
	switch sh.anchor {
	case Middle:
		x -= width / 2
	case Right:
		x -= width
	}
	d.Dot = fixed.Point26_6{X: x, Y: fixed.Int26_6(sh.at.Y * dotsPerPoint * 64)}
	d.DrawString(sh.text)
	return nil
}

// fillPolygons fills the union of polygons. The rasterizer adds signed areas,
// so all must turn the same way: those that do not are turned round.
func fillPolygons(img *image.RGBA, c color.Color, polygons [][]Point) {
	low, high := Point{math.Inf(1), math.Inf(1)}, Point{math.Inf(-1), math.Inf(-1)}
	for _, polygon := range polygons {
		for _, p := range polygon {
			low = Point{min(low.X, p.X), min(low.Y, p.Y)}
			high = Point{max(high.X, p.X), max(high.Y, p.Y)}
		}
	}
	box := image.Rect(int(math.Floor(low.X*dotsPerPoint)), int(math.Floor(low.Y*dotsPerPoint)),
		int(math.Ceil(high.X*dotsPerPoint))+1, int(math.Ceil(high.Y*dotsPerPoint))+1)
	if len(polygons) == 0 || box.Intersect(img.Bounds()).Empty() {
		return
	}
	r := vector.NewRasterizer(box.Dx(), box.Dy())
	at := func(p Point) (float32, float32) {
		return float32(p.X*dotsPerPoint - float64(box.Min.X)), float32(p.Y*dotsPerPoint - float64(box.Min.Y))
	}
	for _, polygon := range polygons {
		if len(polygon) < 3 {
			continue
		}
		turned := signedArea(polygon) < 0
		for i := range polygon {
			p := polygon[i]
			if turned {
				p = polygon[len(polygon)-1-i]
			}
			x, y := at(p)
			if i == 0 {
				r.MoveTo(x, y)
			} else {
				r.LineTo(x, y)
			}
		}
		r.ClosePath()
	}
	r.Draw(img, box, image.NewUniform(c), image.Point{})
}

// signedArea is twice a polygon's area, its sign the sense of turning.
func signedArea(polygon []Point) float64 {
	sum := 0.0
	for i, p := range polygon {
		q := polygon[(i+1)%len(polygon)]
		sum += p.X*q.Y - q.X*p.Y
	}
	return sum
}

// strokeOutline is a line of some width as polygons: one for each piece, and a
// disc at every joint so that corners are round.
func strokeOutline(points []Point, width float64) [][]Point {
	var out [][]Point
	half := width / 2
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		length := math.Hypot(b.X-a.X, b.Y-a.Y)
		if length == 0 {
			continue
		}
		nx, ny := -(b.Y-a.Y)/length*half, (b.X-a.X)/length*half
		out = append(out, []Point{{a.X + nx, a.Y + ny}, {b.X + nx, b.Y + ny}, {b.X - nx, b.Y - ny}, {a.X - nx, a.Y - ny}})
		if i > 1 {
			out = append(out, disc(a, half))
		}
	}
	return out
}

// disc is a circle as a polygon of 12 corners, which is enough at line widths.
func disc(centre Point, radius float64) []Point {
	const corners = 12
	out := make([]Point, corners)
	for i := range out {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / corners)
		out[i] = Point{centre.X + radius*cos, centre.Y + radius*sin}
	}
	return out
}

// dashes cuts a line by a pattern of dash and gap lengths; no pattern leaves
// it whole.
func dashes(points []Point, pattern []float64) [][]Point {
	if len(pattern) < 2 {
		return [][]Point{points}
	}
	var out [][]Point
	index, left, on := 0, pattern[0], true
	current := []Point{points[0]}
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		length := math.Hypot(b.X-a.X, b.Y-a.Y)
		done := 0.0
		for length-done > left {
			done += left
			p := Point{a.X + (b.X-a.X)*done/length, a.Y + (b.Y-a.Y)*done/length}
			if on {
				out = append(out, append(current, p))
			}
			current, on = []Point{p}, !on
			index = (index + 1) % len(pattern)
			left = pattern[index]
		}
		left -= length - done
		if on {
			current = append(current, b)
		}
	}
	if on && len(current) > 1 {
		out = append(out, current)
	}
	return out
}
