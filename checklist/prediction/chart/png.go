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
func (s *scene) png() ([]byte, error) {
	faces, err := loadFaces()
	if err != nil {
		return nil, fmt.Errorf("chart: png: face: %w", err)
	}
	img := image.NewRGBA(image.Rect(0, 0, int(math.Ceil(s.width*dotsPerPoint)), int(math.Ceil(s.height*dotsPerPoint))))
	draw.Draw(img, img.Bounds(), image.White, image.Point{}, draw.Src)
	for _, sh := range s.shapes {
		if sh.text != "" {
			if err := pngText(img, faces, sh); err != nil {
				return nil, fmt.Errorf("chart: png: text %q: %w", sh.text, err)
			}
			continue
		}
		if sh.fill != nil {
			fillPolygons(img, sh.fill, [][]point{sh.points})
		}
		if sh.stroke != nil {
			points := sh.points
			if sh.closed {
				points = append(append([]point(nil), points...), points[0])
			}
			var outline [][]point
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
	x := fixed.Int26_6(sh.at.x * dotsPerPoint * 64)
	switch sh.anchor {
	case middle:
		x -= width / 2
	case right:
		x -= width
	}
	d.Dot = fixed.Point26_6{X: x, Y: fixed.Int26_6(sh.at.y * dotsPerPoint * 64)}
	d.DrawString(sh.text)
	return nil
}

// fillPolygons fills the union of polygons. The rasterizer adds signed areas,
// so all must turn the same way: those that do not are turned round.
func fillPolygons(img *image.RGBA, c color.Color, polygons [][]point) {
	low, high := point{math.Inf(1), math.Inf(1)}, point{math.Inf(-1), math.Inf(-1)}
	for _, polygon := range polygons {
		for _, p := range polygon {
			low = point{min(low.x, p.x), min(low.y, p.y)}
			high = point{max(high.x, p.x), max(high.y, p.y)}
		}
	}
	box := image.Rect(int(math.Floor(low.x*dotsPerPoint)), int(math.Floor(low.y*dotsPerPoint)),
		int(math.Ceil(high.x*dotsPerPoint))+1, int(math.Ceil(high.y*dotsPerPoint))+1)
	if len(polygons) == 0 || box.Intersect(img.Bounds()).Empty() {
		return
	}
	r := vector.NewRasterizer(box.Dx(), box.Dy())
	at := func(p point) (float32, float32) {
		return float32(p.x*dotsPerPoint - float64(box.Min.X)), float32(p.y*dotsPerPoint - float64(box.Min.Y))
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
func signedArea(polygon []point) float64 {
	sum := 0.0
	for i, p := range polygon {
		q := polygon[(i+1)%len(polygon)]
		sum += p.x*q.y - q.x*p.y
	}
	return sum
}

// strokeOutline is a line of some width as polygons: one for each piece, and a
// disc at every joint so that corners are round.
func strokeOutline(points []point, width float64) [][]point {
	var out [][]point
	half := width / 2
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		length := math.Hypot(b.x-a.x, b.y-a.y)
		if length == 0 {
			continue
		}
		nx, ny := -(b.y-a.y)/length*half, (b.x-a.x)/length*half
		out = append(out, []point{{a.x + nx, a.y + ny}, {b.x + nx, b.y + ny}, {b.x - nx, b.y - ny}, {a.x - nx, a.y - ny}})
		if i > 1 {
			out = append(out, disc(a, half))
		}
	}
	return out
}

// disc is a circle as a polygon of 12 corners, which is enough at line widths.
func disc(centre point, radius float64) []point {
	const corners = 12
	out := make([]point, corners)
	for i := range out {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / corners)
		out[i] = point{centre.x + radius*cos, centre.y + radius*sin}
	}
	return out
}

// dashes cuts a line by a pattern of dash and gap lengths; no pattern leaves
// it whole.
func dashes(points []point, pattern []float64) [][]point {
	if len(pattern) < 2 {
		return [][]point{points}
	}
	var out [][]point
	index, left, on := 0, pattern[0], true
	current := []point{points[0]}
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		length := math.Hypot(b.x-a.x, b.y-a.y)
		done := 0.0
		for length-done > left {
			done += left
			p := point{a.x + (b.x-a.x)*done/length, a.y + (b.y-a.y)*done/length}
			if on {
				out = append(out, append(current, p))
			}
			current, on = []point{p}, !on
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
