package canvas

import "strings"

// Pen writes lines one below the other.
type Pen struct {
	C Canvas
	Y int // the row that comes next
}

// Text writes text wrapped. The hold line stays in one piece: a line that ends
// in the word would read as the call to stop.
func (p *Pen) Text(s Style, text string) {
	text = strings.ReplaceAll(text, "hold line", "hold\u00a0line")
	for _, l := range Wrap(text, p.C.Width()) {
		p.Line(s, l)
	}
}

// Line writes one line as it is.
func (p *Pen) Line(s Style, text string) {
	p.C.Put(0, p.Y, s, text)
	p.Y++
}

// Left returns how many rows are left.
func (p *Pen) Left() int { return p.C.Height() - p.Y }
