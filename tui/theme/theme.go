// Package theme says how each meaning on the screen looks. Panels name
// meanings; only this package names colours.
//
// Every colour is one of the 256 of the xterm palette, so that a terminal with
// 256 colours shows the same as one with all. Every pair of colours keeps a contrast of 4.5:1 at least, the level AA of
// WCAG 2.2, success criterion 1.4.3; a test computes it.
package theme

import (
	"strconv"
	"strings"

	"github.com/charmbracelet/lipgloss"
	"github.com/muesli/termenv"

	"holdline/tui/canvas"
)

// The meanings. Word, shape and place say the same, colour only supports them.
const (
	Text     canvas.Style = iota
	Strong                // what to read first
	Dim                   // beside the matter
	Rule                  // lines that part panels
	Title                 // a panel's name
	Stands                // a contact that carries on
	Broken                // the open contact, a refusal
	Lapsing               // about to go stale
	Live                  // a motor that may light, a fault that needs somebody now
	Practice              // the badge of practice
	Bar                   // the row of readings
	Stop                  // HOLD, across the width
	Key                   // a key that can be pressed
	Field                 // a field that takes text
	Ghost                 // what a field expects
	Good                  // a limit with something left
	Bad                   // a limit passed
	Track                 // the ground of the strip
	Curve                 // a line of a chart
	Spread                // the spread round it
	Count                 // the digits of the count
	Proved                // the word SAFE, proved
	Hands                 // the practice box's hands, which are not the cockpit's
	End
)

// pair is a foreground on a background.
type pair struct {
	fg, bg string
	bold   bool
}

// palette is one theme's colours by meaning.
type palette struct {
	name  string
	pairs [End]pair
}

// light is for the sun: dark on white.
var light = palette{"light", [End]pair{
	Text:     {"#1c1c1c", "#ffffff", false},
	Strong:   {"#000000", "#ffffff", true},
	Dim:      {"#585858", "#ffffff", false},
	Rule:     {"#767676", "#ffffff", false},
	Title:    {"#005f87", "#ffffff", true},
	Stands:   {"#005f00", "#ffffff", false},
	Broken:   {"#af0000", "#ffffff", true},
	Lapsing:  {"#875f00", "#ffffff", true},
	Live:     {"#ffffff", "#af0000", true},
	Practice: {"#ffffff", "#5f00af", true},
	Bar:      {"#1c1c1c", "#dadada", false},
	Stop:     {"#000000", "#ffaf00", true},
	Key:      {"#005f87", "#ffffff", true},
	Field:    {"#000000", "#ffffd7", false},
	Ghost:    {"#585858", "#ffffd7", false},
	Good:     {"#005f00", "#ffffff", false},
	Bad:      {"#af0000", "#ffffff", true},
	Track:    {"#444444", "#ffffff", false},
	Curve:    {"#005faf", "#ffffff", false},
	Spread:   {"#6c6c6c", "#ffffff", false},
	Count:    {"#000000", "#ffffff", true},
	Proved:   {"#ffffff", "#005f00", true},
	Hands:    {"#5f00af", "#ffffff", false},
}}

// dark is for dusk.
var dark = palette{"dark", [End]pair{
	Text:     {"#dadada", "#121212", false},
	Strong:   {"#ffffff", "#121212", true},
	Dim:      {"#a8a8a8", "#121212", false},
	Rule:     {"#808080", "#121212", false},
	Title:    {"#87d7ff", "#121212", true},
	Stands:   {"#5fd787", "#121212", false},
	Broken:   {"#ff875f", "#121212", true},
	Lapsing:  {"#ffd75f", "#121212", true},
	Live:     {"#000000", "#ff875f", true},
	Practice: {"#000000", "#d7afff", true},
	Bar:      {"#dadada", "#303030", false},
	Stop:     {"#000000", "#ffaf00", true},
	Key:      {"#87d7ff", "#121212", true},
	Field:    {"#ffffff", "#005f87", false},
	Ghost:    {"#d7d7d7", "#005f87", false},
	Good:     {"#5fd787", "#121212", false},
	Bad:      {"#ff875f", "#121212", true},
	Track:    {"#bcbcbc", "#121212", false},
	Curve:    {"#87d7ff", "#121212", false},
	Spread:   {"#8a8a8a", "#121212", false},
	Count:    {"#ffffff", "#121212", true},
	Proved:   {"#000000", "#5fd787", true},
	Hands:    {"#d7afff", "#121212", false},
}}

// Theme paints meanings.
type Theme struct {
	Name  string
	pairs *[End]pair // nil for plain
	fg    [End]string
	bg    [End]string
}

// Names lists the themes in the order in which a key goes through them.
func Names() []string { return []string{"light", "dark", "plain"} }

// Next returns the name after name.
func Next(name string) string {
	for i, n := range Names() {
		if n == name {
			return Names()[(i+1)%len(Names())]
		}
	}
	return Names()[0]
}

// New returns the named theme; "" stands for plain where the terminal has no
// colours or NO_COLOR is set, and for dark elsewhere. An unknown name is plain.
func New(name string) *Theme {
	profile := lipgloss.ColorProfile()
	if name == "" {
		name = "dark"
		if profile == termenv.Ascii {
			name = "plain"
		}
	}
	if profile == termenv.Ascii && name != "plain" {
		profile = termenv.ANSI256 // a theme was asked for by name
	}
	return build(name, profile)
}

// build works out the colour sequences of every meaning once.
func build(name string, profile termenv.Profile) *Theme {
	p := &palette{name: "plain"}
	switch name {
	case light.name:
		p = &light
	case dark.name:
		p = &dark
	}
	t := &Theme{Name: p.name}
	if p.name == "plain" {
		return t
	}
	t.pairs = &p.pairs
	color := profile.Color
	if profile <= termenv.ANSI256 { // with all colours too: the same ones, in fewer bytes
		color = func(hex string) termenv.Color { return termenv.ANSI256Color(index256(hex)) }
	}
	for s := range t.fg {
		t.fg[s] = color(p.pairs[s].fg).Sequence(false)
		t.bg[s] = color(p.pairs[s].bg).Sequence(true)
	}
	return t
}

// index256 returns the place of a colour in the xterm palette: the cube of six
// levels from 16 on, then 24 greys from 232 on; -1 for a colour that is not in
// it. (The library's own conversion moves greys.)
func index256(hex string) int {
	n, err := strconv.ParseUint(strings.TrimPrefix(hex, "#"), 16, 32)
	if err != nil {
		return -1
	}
	r, g, b := int(n>>16&0xff), int(n>>8&0xff), int(n&0xff)
	level := func(v int) int {
		switch {
		case v == 0:
			return 0
		case v >= 95 && v <= 255 && (v-95)%40 == 0:
			return 1 + (v-95)/40
		}
		return -1
	}
	if x, y, z := level(r), level(g), level(b); x >= 0 && y >= 0 && z >= 0 {
		return 16 + 36*x + 6*y + z
	}
	if r == g && g == b && r >= 8 && r <= 238 && (r-8)%10 == 0 {
		return 232 + (r-8)/10
	}
	return -1
}

// SameGround reports whether a blank looks the same in both meanings.
func (t *Theme) SameGround(a, b canvas.Style) bool {
	return t.pairs == nil || t.pairs[known(a)].bg == t.pairs[known(b)].bg
}

// known keeps a style that no theme has from painting anything else than text.
func known(s canvas.Style) canvas.Style {
	if s >= End {
		return Text
	}
	return s
}

// Paint begins a run of one meaning: it writes what differs from the run before.
func (t *Theme) Paint(b *strings.Builder, was, s canvas.Style, first bool) {
	if t.pairs == nil {
		return
	}
	was, s = known(was), known(s)
	from, to := &t.pairs[was], &t.pairs[s]
	before := termenv.CSI
	add := func(part string) {
		b.WriteString(before)
		b.WriteString(part)
		before = ";"
	}
	if first && to.bold || !first && to.bold && !from.bold {
		add("1")
	}
	if !first && from.bold && !to.bold {
		add("22")
	}
	if first || t.fg[was] != t.fg[s] {
		add(t.fg[s])
	}
	if first || t.bg[was] != t.bg[s] {
		add(t.bg[s])
	}
	if before != termenv.CSI {
		b.WriteByte('m')
	}
}

// End ends a row.
func (t *Theme) End(b *strings.Builder, _ canvas.Style) {
	if t.pairs != nil {
		b.WriteString(termenv.CSI + termenv.ResetSeq + "m")
	}
}

// View is the whole canvas as text, a line for each row. Without colours
// nothing stands at the end of a row.
func (t *Theme) View(c canvas.Canvas) string {
	rows := c.Rows(t)
	if t.Name == "plain" {
		for i := range rows {
			rows[i] = strings.TrimRight(rows[i], " ")
		}
	}
	return strings.Join(rows, "\n")
}
