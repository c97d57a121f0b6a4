package theme

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/muesli/termenv"

	"holdline/tui/canvas"
)

// luminance is the relative luminance of an sRGB colour.
//
// Source: WCAG 2.2, definition of relative luminance.
func luminance(t *testing.T, n termenv.ANSI256Color) float64 {
	t.Helper()
	part := func(v int) float64 {
		c := float64(v) / 255
		if c <= 0.04045 {
			return c / 12.92
		}
		return math.Pow((c+0.055)/1.055, 2.4)
	}
	r, g, b := rgb(t, n)
	return 0.2126*part(r) + 0.7152*part(g) + 0.0722*part(b)
}

// rgb is the colour at a place of the xterm palette: a cube of six levels from
// 16 on, then 24 greys from 232 on. The first 16 are the terminal's own and
// known to nobody.
func rgb(t *testing.T, n termenv.ANSI256Color) (r, g, b int) {
	t.Helper()
	if n < 16 || n > 255 {
		t.Fatalf("%d is no colour of its own", n)
	}
	if n >= 232 {
		grey := 8 + 10*int(n-232)
		return grey, grey, grey
	}
	level := [6]int{0, 95, 135, 175, 215, 255}
	n -= 16
	return level[n/36], level[n/6%6], level[n%6]
}

// contrast is the contrast ratio of two colours.
//
// Source: WCAG 2.2, definition of contrast ratio.
func contrast(t *testing.T, a, b termenv.ANSI256Color) float64 {
	t.Helper()
	la, lb := luminance(t, a), luminance(t, b)
	return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)
}

// The ends of the scale, from the definition: black on white is 21:1, and a
// colour on itself 1:1.
func TestContrastOfKnownPairs(t *testing.T) {
	if got := contrast(t, 16, 231); math.Abs(got-21) > 1e-9 {
		t.Errorf("black on white is %v, want 21", got)
	}
	if got := contrast(t, 243, 243); got != 1 {
		t.Errorf("a colour on itself is %v, want 1", got)
	}
}

// WCAG 2.2, success criterion 1.4.3: 4.5:1 at least for text.
func TestEveryPairHasContrast(t *testing.T) {
	for s, l := range looks {
		for name, p := range map[string]pair{"light": l.light, "dark": l.dark} {
			if got := contrast(t, p.fg, p.bg); got < 4.5 {
				t.Errorf("%s, meaning %d: %d on %d is %.2f:1, want 4.5:1 at least", name, s, p.fg, p.bg, got)
			}
		}
	}
}

// A few places of the palette as ncurses' and xterm's 256-colour charts have
// them, from memory.
func TestPlacesInThePalette(t *testing.T) {
	for n, want := range map[termenv.ANSI256Color]int{16: 0, 231: 0xffffff, 124: 0xaf0000, 22: 0x005f00, 117: 0x87d7ff, 233: 0x121212,
		234: 0x1c1c1c, 253: 0xdadada, 214: 0xffaf00} {
		if r, g, b := rgb(t, n); r<<16|g<<8|b != want {
			t.Errorf("%d is %02x%02x%02x, want %06x", n, r, g, b, want)
		}
	}
}

// With fewer colours than all, the same colours come out.
func TestColoursDoNotMoveWith256(t *testing.T) {
	for _, name := range []string{"light", "dark"} {
		th := build(name, termenv.ANSI256)
		for s := range th.fg {
			if !strings.HasPrefix(th.fg[s], "38;5;") || !strings.HasPrefix(th.bg[s], "48;5;") {
				t.Errorf("%s, meaning %d: %q on %q are no colours of the palette", name, s, th.fg[s], th.bg[s])
			}
		}
	}
}

func TestPlainWritesNoEscape(t *testing.T) {
	var b strings.Builder
	th := New("plain")
	for s := canvas.Style(0); s < End; s++ {
		th.Paint(&b, 0, s, s == 0)
		th.End(&b, s)
	}
	if b.Len() > 0 {
		t.Errorf("plain wrote %q", b.String())
	}
}

// A run writes only what differs from the run before, and a row leaves nothing
// behind.
func TestPaintWritesWhatDiffers(t *testing.T) {
	th := build("light", termenv.TrueColor)
	c := canvas.New(12, 1, false)
	c.Put(0, 0, Text, "ab")
	c.Put(2, 0, Strong, "cd")
	c.Put(5, 0, Strong, "e")
	c.Put(6, 0, Text, "f")
	c.Put(8, 0, Stop, "g")
	got := c.Rows(th)[0]
	want := "\x1b[38;5;234;48;5;231mab\x1b[1;38;5;16mcd e\x1b[22;38;5;234mf \x1b[1;38;5;16;48;5;214mg\x1b[22;38;5;234;48;5;231m   \x1b[0m"
	if got != want {
		t.Errorf("got  %q\nwant %q", got, want)
	}
}

func TestUnknownThemeIsPlain(t *testing.T) {
	if got := New("neon").Name; got != "plain" {
		t.Errorf("an unknown theme is %q, want plain", got)
	}
}

func TestNextGoesRound(t *testing.T) {
	at := "light"
	var seen []string
	for range Names() {
		at = Next(at)
		seen = append(seen, at)
	}
	if got := fmt.Sprint(seen); got != "[dark plain light]" {
		t.Errorf("the themes go %s", got)
	}
}
