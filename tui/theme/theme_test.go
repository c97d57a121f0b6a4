package theme

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/muesli/termenv"

	"holdline/tui/canvas"
)

// luminance is the relative luminance of an sRGB colour.
//
// Source: WCAG 2.2, definition of relative luminance.
func luminance(t *testing.T, hex string) float64 {
	t.Helper()
	n, err := strconv.ParseUint(strings.TrimPrefix(hex, "#"), 16, 32)
	if err != nil || len(hex) != 7 {
		t.Fatalf("%q is no colour", hex)
	}
	part := func(shift uint) float64 {
		c := float64(n>>shift&0xff) / 255
		if c <= 0.04045 {
			return c / 12.92
		}
		return math.Pow((c+0.055)/1.055, 2.4)
	}
	return 0.2126*part(16) + 0.7152*part(8) + 0.0722*part(0)
}

// contrast is the contrast ratio of two colours.
//
// Source: WCAG 2.2, definition of contrast ratio.
func contrast(t *testing.T, a, b string) float64 {
	t.Helper()
	la, lb := luminance(t, a), luminance(t, b)
	return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)
}

// The ends of the scale, from the definition: black on white is 21:1, and a
// colour on itself 1:1.
func TestContrastOfKnownPairs(t *testing.T) {
	if got := contrast(t, "#000000", "#ffffff"); math.Abs(got-21) > 1e-9 {
		t.Errorf("black on white is %v, want 21", got)
	}
	if got := contrast(t, "#767676", "#767676"); got != 1 {
		t.Errorf("a colour on itself is %v, want 1", got)
	}
}

// WCAG 2.2, success criterion 1.4.3: 4.5:1 at least for text.
func TestEveryPairHasContrast(t *testing.T) {
	for _, p := range []palette{light, dark} {
		for s := range p.pairs {
			if got := contrast(t, p.pairs[s].fg, p.pairs[s].bg); got < 4.5 {
				t.Errorf("%s, meaning %d: %s on %s is %.2f:1, want 4.5:1 at least", p.name, s, p.pairs[s].fg, p.pairs[s].bg, got)
			}
		}
	}
}

// A few places of the palette as ncurses' and xterm's 256-colour charts have
// them, from memory.
func TestPlacesInThePalette(t *testing.T) {
	for hex, want := range map[string]int{"#000000": 16, "#ffffff": 231, "#af0000": 124, "#005f00": 22, "#87d7ff": 117,
		"#121212": 233, "#1c1c1c": 234, "#dadada": 253, "#ffaf00": 214, "#010203": -1, "": -1} {
		if got := index256(hex); got != want {
			t.Errorf("%q is %d, want %d", hex, got, want)
		}
	}
}

func TestEveryColourIsInThePaletteOf256(t *testing.T) {
	for _, p := range []palette{light, dark} {
		for s, pair := range p.pairs {
			if index256(pair.fg) < 0 || index256(pair.bg) < 0 {
				t.Errorf("%s, meaning %d: %s on %s is not in the palette", p.name, s, pair.fg, pair.bg)
			}
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
