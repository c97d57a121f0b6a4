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

// xterm256 reports whether a colour is one of the fixed ones of the xterm
// palette: the cube of 6 levels and the 24 greys.
//
// Source: xterm's 256colres.h as every terminal copies it, from memory.
func xterm256(hex string) bool {
	n, _ := strconv.ParseUint(strings.TrimPrefix(hex, "#"), 16, 32)
	r, g, b := n>>16, n>>8&0xff, n&0xff
	level := func(v uint64) bool { return v == 0 || v >= 95 && (v-95)%40 == 0 }
	return level(r) && level(g) && level(b) || r == g && g == b && r >= 8 && (r-8)%10 == 0
}

func TestEveryColourIsInThePaletteOf256(t *testing.T) {
	for _, p := range []palette{light, dark} {
		for s, pair := range p.pairs {
			if !xterm256(pair.fg) || !xterm256(pair.bg) {
				t.Errorf("%s, meaning %d: %s on %s is not in the palette", p.name, s, pair.fg, pair.bg)
			}
		}
	}
}

// With fewer colours than all, the same colours come out.
func TestColoursDoNotMoveWith256(t *testing.T) {
	for _, name := range []string{"light", "dark"} {
		th := build(name, termenv.ANSI256)
		for s := range th.on {
			if !strings.Contains(th.on[s], "38;5;") || !strings.Contains(th.on[s], "48;5;") {
				t.Errorf("%s, meaning %d: %q names no colours", name, s, th.on[s])
			}
		}
	}
}

func TestPlainWritesNoEscape(t *testing.T) {
	var b strings.Builder
	th := New("plain")
	for s := canvas.Style(0); s < End; s++ {
		th.Paint(&b, s, "x")
	}
	if want := strings.Repeat("x", int(End)); b.String() != want {
		t.Errorf("plain wrote %q, want %q", b.String(), want)
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
