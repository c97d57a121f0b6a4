// Package chart plots lines and bands in braille cells, two dots across and
// four down in each.
package chart

import (
	"math"

	"holdline/tui/canvas"
)

// Plot is a field of dots over a range of x and y.
type Plot struct {
	cols, rows int
	x0, x1     float64
	y0, y1     float64
	bits       []rune
	style      []canvas.Style
}

// braille has the bit of each dot by column and row of a cell.
var braille = [2][4]rune{{0x01, 0x02, 0x04, 0x40}, {0x08, 0x10, 0x20, 0x80}}

// New returns an empty plot of cols by rows cells over the given ranges. A
// range of no length plots nothing.
func New(cols, rows int, x0, x1, y0, y1 float64) *Plot {
	cols, rows = max(cols, 0), max(rows, 0)
	return &Plot{cols: cols, rows: rows, x0: x0, x1: x1, y0: y0, y1: y1,
		bits: make([]rune, cols*rows), style: make([]canvas.Style, cols*rows)}
}

// dot sets one dot; col and row count dots from the upper left.
func (p *Plot) dot(col, row int, s canvas.Style) {
	if col < 0 || row < 0 || col >= 2*p.cols || row >= 4*p.rows {
		return
	}
	at := row/4*p.cols + col/2
	p.bits[at] |= braille[col%2][row%4]
	p.style[at] = s
}

// place returns the dot of a point, in fractions of dots.
func (p *Plot) place(x, y float64) (col, row float64) {
	return (x - p.x0) / (p.x1 - p.x0) * float64(2*p.cols-1), (p.y1 - y) / (p.y1 - p.y0) * float64(4*p.rows-1)
}

// Line joins the points in order. Points that are not finite break it.
func (p *Plot) Line(xs, ys []float64, s canvas.Style) {
	for i := range min(len(xs), len(ys)) {
		from := max(i-1, 0)
		p.segment(xs[from], ys[from], xs[i], ys[i], s)
	}
}

func (p *Plot) segment(xa, ya, xb, yb float64, s canvas.Style) {
	ca, ra := p.place(xa, ya)
	cb, rb := p.place(xb, yb)
	for _, v := range [...]float64{ca, ra, cb, rb} {
		if math.IsNaN(v) || math.Abs(v) > 1e5 {
			return
		}
	}
	steps := int(math.Ceil(max(math.Abs(cb-ca), math.Abs(rb-ra)))) + 1
	for k := 0; k <= steps; k++ {
		f := float64(k) / float64(steps)
		p.dot(int(math.Round(ca+f*(cb-ca))), int(math.Round(ra+f*(rb-ra))), s)
	}
}

// Column draws a dotted upright at x over the whole height.
func (p *Plot) Column(x float64, s canvas.Style) {
	c, _ := p.place(x, p.y0)
	if math.IsNaN(c) || math.Abs(c) > 1e5 {
		return
	}
	for row := 0; row < 4*p.rows; row += 2 {
		p.dot(int(math.Round(c)), row, s)
	}
}

// Draw puts the plot on c.
func (p *Plot) Draw(c canvas.Canvas) {
	for row := 0; row < p.rows; row++ {
		for col := 0; col < p.cols; col++ {
			if b := p.bits[row*p.cols+col]; b != 0 {
				c.Put(col, row, p.style[row*p.cols+col], string(0x2800+b))
			}
		}
	}
}
