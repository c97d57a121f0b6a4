// Package strokes takes a terminal's messages apart into the keys that a
// person pressed.
package strokes

import (
	"strings"
	"unicode"
	"unicode/utf8"

	tea "github.com/charmbracelet/bubbletea"
)

// Stroke is one key as a person pressed it.
type Stroke struct {
	Name string // as bubbletea names it: "enter", "a", "ctrl+c"
	Text string // the character it types, "" for none
}

// Of takes one message apart. Keys that were read together arrive as one
// message of several characters (bubbletea v1); taken whole they would match
// no key at all and be lost.
func Of(msg tea.KeyMsg) []Stroke {
	if msg.Type != tea.KeyRunes && msg.Type != tea.KeySpace {
		return []Stroke{{Name: msg.String()}}
	}
	out := make([]Stroke, 0, len(msg.Runes))
	for _, r := range msg.Runes {
		s := Stroke{Name: string(r), Text: string(r)}
		switch {
		case r == ' ':
			s.Name = "space"
		case r == utf8.RuneError || unicode.IsControl(r):
			continue
		case msg.Alt:
			s = Stroke{Name: "alt+" + string(r)}
		}
		out = append(out, s)
	}
	if msg.Type == tea.KeySpace && len(out) == 0 {
		out = append(out, Stroke{Name: "space", Text: " "})
	}
	return out
}

// IsSpace reports whether a message contains the space bar in any dress.
func IsSpace(msg tea.KeyMsg) bool {
	if msg.Type == tea.KeySpace || msg.Type == tea.KeyCtrlAt {
		return true
	}
	return msg.Type == tea.KeyRunes && strings.ContainsRune(string(msg.Runes), ' ')
}
