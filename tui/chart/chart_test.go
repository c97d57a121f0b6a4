package chart

import (
	"math"
	"strings"
	"testing"

	"holdline/tui/canvas"
)

func draw(p *Plot, w, h int) []string {
	c := canvas.New(w, h, false)
	p.Draw(c)
	return c.Rows(plain{})
}

// A level line at the bottom fills the lowest dots: dots 7 and 8 of the cell,
// by the numbering of Unicode's braille block (U+2800 plus the bits).
func TestLevelLine(t *testing.T) {
	p := New(3, 2, 0, 10, 0, 1)
	p.Line([]float64{0, 10}, []float64{0, 0}, 1)
	got := draw(p, 3, 2)
	if want := []string{"   ", "⣀⣀⣀"}; got[0] != want[0] || got[1] != want[1] {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestUpright(t *testing.T) {
	p := New(1, 1, 0, 1, 0, 1)
	p.Line([]float64{0, 0}, []float64{0, 1}, 1)
	if got := draw(p, 1, 1)[0]; got != "⡇" {
		t.Errorf("got %q, want a left upright", got)
	}
}

// What is not finite, beyond the field, or over an empty range draws nothing
// outside it and never panics.
func TestOddInput(t *testing.T) {
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e300, -1e300, 50} {
		p := New(4, 2, 0, 1, 0, 1)
		p.Line([]float64{0, v, 1}, []float64{0, v, 1}, 1)
		p.Column(v, 1)
		draw(p, 4, 2)
	}
	p := New(4, 2, 1, 1, 0, 0)
	p.Line([]float64{1, 1}, []float64{0, 0}, 1)
	draw(p, 4, 2)
	New(-1, -1, 0, 1, 0, 1).Line([]float64{0, 1}, []float64{0}, 1)
}

// plain writes no style.
type plain struct{}

func (plain) Paint(*strings.Builder, canvas.Style, canvas.Style, bool) {}
func (plain) End(*strings.Builder, canvas.Style)                       {}
func (plain) SameGround(a, b canvas.Style) bool                        { return true }
