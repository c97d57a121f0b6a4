package canvas

import (
	"fmt"
	"strings"
	"testing"

	"github.com/charmbracelet/lipgloss"
)

// marked writes the number of a run's style before it. Style 9 alone has a
// ground of its own.
type marked struct{}

func (marked) Paint(b *strings.Builder, was, s Style, first bool) {
	if s != was {
		fmt.Fprintf(b, "<%d>", s)
	}
}
func (marked) End(*strings.Builder, Style) {}
func (marked) SameGround(a, b Style) bool  { return (a == 9) == (b == 9) }

func rows(c Canvas) []string { return c.Rows(marked{}) }

// Whatever is written, a row keeps its width.
func TestRowsKeepTheirWidth(t *testing.T) {
	for _, text := range []string{"plain", "Zoë Å", "e\u0301e\u0301e\u0301", "日本語の名前", "👩‍🚀 rider", "a\u202eb", "\x1b[31mred", "tab\there", "\xff\xfe", "한글", "ก็็็"} {
		for x := -3; x < 12; x++ {
			c := New(10, 1, false)
			c.Put(x, 0, 0, text)
			if got := lipgloss.Width(rows(c)[0]); got != 10 {
				t.Errorf("%q at %d: a row of %d columns, want 10", text, x, got)
			}
		}
	}
}

func TestControlCharactersAreLeftOut(t *testing.T) {
	c := New(12, 1, false)
	c.Put(0, 0, 0, "a\x1b[2Jb\u202ec\u200bd\u2066e")
	if got, want := rows(c)[0], "a[2Jbcde    "; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestAWideCharacterOverwrittenByHalfLeavesABlank(t *testing.T) {
	c := New(4, 1, false)
	c.Put(0, 0, 0, "日本")
	c.Put(1, 0, 0, "x")
	if got, want := rows(c)[0], " x本"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	c.Put(2, 0, 0, "y")
	if got, want := rows(c)[0], " xy "; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestRunsOfOneStyleAreWrittenOnce(t *testing.T) {
	c := New(8, 1, false)
	c.Put(0, 0, 1, "ab")
	c.Put(2, 0, 1, "cd")
	c.Put(4, 0, 2, "ef")
	if got, want := rows(c)[0], "<1>abcd<2>ef  "; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestABlankTakesTheStyleOfItsNeighbour(t *testing.T) {
	c := New(9, 1, false)
	c.Put(0, 0, 1, "ab")
	c.Put(3, 0, 1, "cd")
	c.Put(6, 0, 9, " e ")
	if got, want := rows(c)[0], "<1>ab cd <9> e "; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestSubClips(t *testing.T) {
	c := New(6, 2, false)
	s := c.Sub(2, 1, 3, 5)
	s.Put(0, 0, 0, "abcdef")
	s.Put(-1, 0, 0, "Z")
	s.Put(0, 1, 0, "below")
	if got, want := strings.Join(rows(c), "|"), "      |  abc "; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	var none Canvas
	none.Put(0, 0, 0, "nowhere") // must not panic
}

func TestWrapAndFit(t *testing.T) {
	for _, w := range []int{1, 2, 3, 5, 8, 20} {
		for _, text := range []string{"", "one two three", "a verylongwordthatdoesnotfit b", "日本語 の 名前 とても長い", "e\u0301 e\u0301e\u0301e\u0301"} {
			for _, l := range Wrap(text, w) {
				if n := Width(l); n > w && w > 1 {
					t.Errorf("wrapped to %d: %q is %d wide", w, l, n)
				}
			}
			if got := Fit(text, w); Width(got) > w {
				t.Errorf("fitted to %d: %q is %d wide", w, got, Width(got))
			}
		}
	}
	if got := strings.Join(Wrap("one two three", 7), "|"); got != "one two|three" {
		t.Errorf("got %q", got)
	}
	if got := Fit("abcdef", 4); got != "abc…" {
		t.Errorf("got %q", got)
	}
}

func TestASCII(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"plain", "plain"}, {"Zoë Łåß", "Zoe ?a?"}, {"2.05 Ω", "2.05 ohm"}, {"┣● gate", "+* gate"}, {"a → b", "a > b"},
		{"日本", "??"}, {"é", "e"},
	} {
		if got := ASCII(c.in); got != c.want {
			t.Errorf("%q became %q, want %q", c.in, got, c.want)
		}
	}
}

func TestCopyScrolls(t *testing.T) {
	src := New(3, 4, false)
	for y, text := range []string{"aaa", "bbb", "ccc", "ddd"} {
		src.Put(0, y, 1, text)
	}
	c := New(2, 2, false)
	c.Copy(src, 1)
	if got, want := strings.Join(rows(c), "|"), "<1>bb|<1>cc"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	c.Copy(src, 9) // beyond: nothing to copy
}

// A canvas that is drawn on again begins as a new one, whatever was on it; one
// of another kind is left alone.
func TestEmptyIsLikeNew(t *testing.T) {
	old := New(12, 3, false)
	old.Put(0, 0, 1, "日本語の名")
	old.Put(3, 2, 9, "x")
	fresh := New(12, 3, false)
	fresh.Fill(2)
	again := Empty(old.Sub(2, 1, 4, 1), 12, 3, false, 2)
	if got, want := strings.Join(rows(again), "|"), strings.Join(rows(fresh), "|"); got != want {
		t.Errorf("got  %q\nwant %q", got, want)
	}
	old.Put(0, 0, 1, "kept")
	for _, other := range []Canvas{Empty(old, 11, 3, false, 0), Empty(old, 12, 3, true, 0), Empty(Canvas{}, 12, 3, false, 0)} {
		other.Put(0, 0, 1, "lost")
		if got := rows(old)[0]; !strings.Contains(got, "kept") {
			t.Errorf("drawing on another canvas changed this one: %q", got)
		}
	}
}

// Emptying a part leaves no half of a wide character at its edges.
func TestFillCutsNoWideCharacterInHalf(t *testing.T) {
	c := New(8, 1, false)
	c.Put(0, 0, 0, "日本語の")
	c.Sub(3, 0, 2, 1).Fill(0)
	if got, want := rows(c)[0], "日    の"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}
