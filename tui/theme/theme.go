// Package theme says how each meaning on the screen looks. Panels name
// meanings; only this package names colours.
//
// Every colour is one of the 256 of the xterm palette, so that a terminal with
// 256 colours shows the same as one with all. Every pair of colours keeps a
// contrast of 4.5:1 at least, the level AA of WCAG 2.2, success criterion
// 1.4.3; a test computes it.
package theme

import (
	"slices"
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

// pair is a foreground on a background, by their places in the palette.
type pair struct{ fg, bg termenv.ANSI256Color }

// look is how one meaning looks: in the light theme, for the sun, and in the
// dark one, for dusk.
type look struct {
	light, dark pair
	bold        bool
}

var looks = [End]look{
	Text:     {pair{234, 231}, pair{253, 233}, false},
	Strong:   {pair{16, 231}, pair{231, 233}, true},
	Dim:      {pair{240, 231}, pair{248, 233}, false},
	Rule:     {pair{243, 231}, pair{244, 233}, false},
	Title:    {pair{24, 231}, pair{117, 233}, true},
	Stands:   {pair{22, 231}, pair{78, 233}, false},
	Broken:   {pair{124, 231}, pair{209, 233}, true},
	Lapsing:  {pair{94, 231}, pair{221, 233}, true},
	Live:     {pair{231, 124}, pair{16, 209}, true},
	Practice: {pair{231, 55}, pair{16, 183}, true},
	Bar:      {pair{234, 253}, pair{253, 236}, false},
	Stop:     {pair{16, 214}, pair{16, 214}, true},
	Key:      {pair{24, 231}, pair{117, 233}, true},
	Field:    {pair{16, 230}, pair{231, 24}, false},
	Ghost:    {pair{240, 230}, pair{188, 24}, false},
	Good:     {pair{22, 231}, pair{78, 233}, false},
	Bad:      {pair{124, 231}, pair{209, 233}, true},
	Track:    {pair{238, 231}, pair{250, 233}, false},
	Curve:    {pair{25, 231}, pair{117, 233}, false},
	Spread:   {pair{242, 231}, pair{245, 233}, false},
	Count:    {pair{16, 231}, pair{231, 233}, true},
	Proved:   {pair{231, 22}, pair{16, 78}, true},
	Hands:    {pair{55, 231}, pair{183, 233}, false},
}

// Theme paints meanings.
type Theme struct {
	Name   string
	fg, bg [End]string // colour sequences, empty in plain
}

// Names lists the themes in the order in which a key goes through them.
func Names() []string { return []string{"light", "dark", "plain"} }

// Next returns the name after name.
func Next(name string) string { return Names()[(slices.Index(Names(), name)+1)%len(Names())] }

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
	t := &Theme{Name: name}
	if name != "light" && name != "dark" {
		t.Name = "plain"
		return t
	}
	for s, l := range looks {
		p := l.dark
		if name == "light" {
			p = l.light
		}
		t.fg[s] = profile.Convert(p.fg).Sequence(false)
		t.bg[s] = profile.Convert(p.bg).Sequence(true)
	}
	return t
}

// SameGround reports whether a blank looks the same in both meanings.
func (t *Theme) SameGround(a, b canvas.Style) bool { return t.bg[known(a)] == t.bg[known(b)] }

// known keeps a style that no theme has from painting anything else than text.
func known(s canvas.Style) canvas.Style {
	if s >= End {
		return Text
	}
	return s
}

// Paint begins a run of one meaning: it writes what differs from the run before.
func (t *Theme) Paint(b *strings.Builder, was, s canvas.Style, first bool) {
	if t.Name == "plain" {
		return
	}
	was, s = known(was), known(s)
	from, to := looks[was], looks[s]
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
	if t.Name != "plain" {
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
