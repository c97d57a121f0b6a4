// Package theme says how each meaning on the screen looks. Panels name
// meanings; only this package names colours.
//
// Every pair of colours keeps a contrast of 4.5:1 at least, the level AA of
// WCAG 2.2, success criterion 1.4.3; a test computes it.
package theme

import (
	"io"
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

// Light is for the sun: dark on white.
var light = palette{"light", [End]pair{
	Text:     {"#14181c", "#ffffff", false},
	Strong:   {"#000000", "#ffffff", true},
	Dim:      {"#545b62", "#ffffff", false},
	Rule:     {"#6a7178", "#ffffff", false},
	Title:    {"#003a70", "#ffffff", true},
	Stands:   {"#00573c", "#ffffff", false},
	Broken:   {"#a01600", "#ffffff", true},
	Lapsing:  {"#7a4a00", "#ffffff", true},
	Live:     {"#ffffff", "#a01600", true},
	Practice: {"#ffffff", "#5b2a86", true},
	Bar:      {"#14181c", "#dde3e8", false},
	Stop:     {"#000000", "#ffc21a", true},
	Key:      {"#003a70", "#ffffff", true},
	Field:    {"#000000", "#e4edf6", false},
	Ghost:    {"#4a5660", "#e4edf6", false},
	Good:     {"#00573c", "#ffffff", false},
	Bad:      {"#a01600", "#ffffff", true},
	Track:    {"#3d444b", "#ffffff", false},
	Curve:    {"#003a70", "#ffffff", false},
	Spread:   {"#5b6b7a", "#ffffff", false},
	Count:    {"#000000", "#ffffff", true},
	Proved:   {"#ffffff", "#00573c", true},
	Hands:    {"#5b2a86", "#ffffff", false},
}}

// Dark is for dusk.
var dark = palette{"dark", [End]pair{
	Text:     {"#d9dde0", "#0d1216", false},
	Strong:   {"#ffffff", "#0d1216", true},
	Dim:      {"#97a1aa", "#0d1216", false},
	Rule:     {"#7a848d", "#0d1216", false},
	Title:    {"#8cc4ff", "#0d1216", true},
	Stands:   {"#6fd6a4", "#0d1216", false},
	Broken:   {"#ff9a7d", "#0d1216", true},
	Lapsing:  {"#f3c454", "#0d1216", true},
	Live:     {"#1a0500", "#ff9a7d", true},
	Practice: {"#16052a", "#c9a3f5", true},
	Bar:      {"#d9dde0", "#242d35", false},
	Stop:     {"#000000", "#ffc21a", true},
	Key:      {"#8cc4ff", "#0d1216", true},
	Field:    {"#ffffff", "#1d3045", false},
	Ghost:    {"#a9b8c6", "#1d3045", false},
	Good:     {"#6fd6a4", "#0d1216", false},
	Bad:      {"#ff9a7d", "#0d1216", true},
	Track:    {"#b4bcc3", "#0d1216", false},
	Curve:    {"#8cc4ff", "#0d1216", false},
	Spread:   {"#8b98a4", "#0d1216", false},
	Count:    {"#ffffff", "#0d1216", true},
	Proved:   {"#00180e", "#6fd6a4", true},
	Hands:    {"#c9a3f5", "#0d1216", false},
}}

// Theme paints meanings.
type Theme struct {
	Name    string
	on, off [End]string
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

// build works out the escape sequences of every meaning once.
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
	r := lipgloss.NewRenderer(io.Discard)
	r.SetColorProfile(profile)
	for s := range t.on {
		pair := p.pairs[s]
		style := r.NewStyle().Foreground(lipgloss.Color(pair.fg)).Background(lipgloss.Color(pair.bg)).Bold(pair.bold)
		t.on[s], t.off[s], _ = strings.Cut(style.Render("x"), "x")
	}
	return t
}

// Paint writes a run of one meaning.
func (t *Theme) Paint(b *strings.Builder, s canvas.Style, run string) {
	if s >= End {
		s = Text
	}
	b.WriteString(t.on[s])
	b.WriteString(run)
	b.WriteString(t.off[s])
}
