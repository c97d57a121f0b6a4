package prediction

import "math"

// dots is a picture in braille cells: two dots wide and four high each.
type dots struct {
	columns, rows int
	cells         []rune
}

func newDots(columns, rows int) *dots {
	return &dots{columns: columns, rows: rows, cells: make([]rune, columns*rows)}
}

// brailleBits are the dots of a cell by row and column (ISO/IEC 10646, block
// Braille Patterns: dots 1 2 3 7 on the left, 4 5 6 8 on the right).
var brailleBits = [4][2]rune{{0x01, 0x08}, {0x02, 0x10}, {0x04, 0x20}, {0x40, 0x80}}

// set sets the dot at x, y from the lower left corner; outside it does nothing.
func (d *dots) set(x, y int) {
	if x < 0 || y < 0 || x >= 2*d.columns || y >= 4*d.rows {
		return
	}
	row := d.rows - 1 - y/4
	d.cells[row*d.columns+x/2] |= brailleBits[3-y%4][x%2]
}

// line sets the dots from one place to another.
func (d *dots) line(x0, y0, x1, y1 float64) {
	n := int(math.Ceil(max(math.Abs(x1-x0), math.Abs(y1-y0), 1)))
	for i := range n + 1 {
		f := float64(i) / float64(n)
		d.set(int(math.Round(x0+f*(x1-x0))), int(math.Round(y0+f*(y1-y0))))
	}
}

// row returns a row of cells, the highest first.
func (d *dots) row(i int) string {
	text := make([]rune, d.columns)
	for j := range text {
		text[j] = ' '
		if bits := d.cells[i*d.columns+j]; bits != 0 {
			text[j] = 0x2800 + bits
		}
	}
	return string(text)
}
