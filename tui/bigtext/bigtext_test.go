package bigtext

import (
	"strings"
	"testing"

	"holdline/arming"
	"holdline/tui/canvas"
)

// Every state can be written, in its own letters.
func TestEveryStateHasItsLetters(t *testing.T) {
	for p := arming.Setup; p <= arming.Hold; p++ {
		for _, r := range p.String() + "0123456789.:-" {
			if _, known := patterns[r]; !known {
				t.Errorf("%v: no pattern for %q", p, r)
			}
		}
	}
}

func TestPatternsAreSquare(t *testing.T) {
	for r, p := range patterns {
		for _, row := range p {
			if len(row) != len(p[0]) || strings.Trim(row, "#.") != "" {
				t.Errorf("%q: row %q", r, row)
			}
		}
	}
}

func TestDrawKeepsToItsWidth(t *testing.T) {
	for _, s := range []Size{Low, Tall, Huge} {
		for p := arming.Setup; p <= arming.Hold; p++ {
			w := Width(p.String(), s)
			c := canvas.New(w+20, Rows(s), false)
			Draw(c, 0, 0, 1, p.String(), s)
			for _, row := range c.Rows(plain{}) {
				if n := canvas.Width(strings.TrimRight(row, " ")); n > w {
					t.Errorf("%v in size %d is %d wide, Width says %d", p, s, n, w)
				}
			}
		}
	}
}

// The two letters that are told apart by one dot stay apart in every size.
func TestDigitsDiffer(t *testing.T) {
	seen := map[[dots]string]rune{}
	for _, r := range "0123456789" {
		if other, twice := seen[patterns[r]]; twice {
			t.Errorf("%q and %q look alike", r, other)
		}
		seen[patterns[r]] = r
	}
}

// plain writes no style.
type plain struct{}

func (plain) Paint(*strings.Builder, canvas.Style, canvas.Style, bool) {}
func (plain) End(*strings.Builder, canvas.Style)                       {}
func (plain) SameGround(a, b canvas.Style) bool                        { return true }
