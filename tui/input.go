package tui

import (
	"strings"
	"unicode"
	"unicode/utf8"

	tea "github.com/charmbracelet/bubbletea"

	"holdline/arming"
)

// stroke is one key as a person pressed it.
type stroke struct {
	name string // as bubbletea names it: "enter", "a", "ctrl+c"
	text string // the character it types, "" for none
}

// strokes takes one message apart. Keys that were read together arrive as one
// message of several characters (bubbletea v1); taken whole they would match
// no key at all and be lost.
func strokes(msg tea.KeyMsg) []stroke {
	if msg.Type != tea.KeyRunes && msg.Type != tea.KeySpace {
		return []stroke{{name: msg.String()}}
	}
	out := make([]stroke, 0, len(msg.Runes))
	for _, r := range msg.Runes {
		s := stroke{name: string(r), text: string(r)}
		switch {
		case r == ' ':
			s.name = "space"
		case r == utf8.RuneError || unicode.IsControl(r):
			continue
		case msg.Alt:
			s = stroke{name: "alt+" + string(r)}
		}
		out = append(out, s)
	}
	if msg.Type == tea.KeySpace && len(out) == 0 {
		out = append(out, stroke{name: "space", text: " "})
	}
	return out
}

// isSpace reports whether a message contains the space bar in any dress.
func isSpace(msg tea.KeyMsg) bool {
	if msg.Type == tea.KeySpace || msg.Type == tea.KeyCtrlAt {
		return true
	}
	return msg.Type == tea.KeyRunes && strings.ContainsRune(string(msg.Runes), ' ')
}

// holds reports whether the space bar is HOLD in the phase, whatever is open on
// the screen.
func holds(p arming.Phase) bool {
	switch p {
	case arming.Ready, arming.Armed, arming.Count, arming.Window, arming.Run, arming.Proof, arming.Wait:
		return true
	}
	return false
}

// fold is how names are compared: without case and without blanks, because a
// blank cannot be typed where the space bar is HOLD.
func fold(name string) string {
	return strings.ToLower(strings.Join(strings.Fields(name), ""))
}

// pick returns the name that was meant: by its number in the list, or by its
// beginning when only one begins so.
func pick(typed string, names []string) (string, bool) {
	want := fold(typed)
	if want == "" {
		return "", false
	}
	if n, ok := whole(want); ok && n >= 1 && n <= len(names) {
		return names[n-1], true
	}
	found := ""
	for _, n := range names {
		switch f := fold(n); {
		case f == want:
			return n, true
		case strings.HasPrefix(f, want):
			if found != "" {
				return "", false
			}
			found = n
		}
	}
	return found, found != ""
}

// whole reads a count of at most four figures.
func whole(text string) (int, bool) {
	if text == "" || len(text) > 4 {
		return 0, false
	}
	n := 0
	for _, r := range text {
		if r < '0' || r > '9' {
			return 0, false
		}
		n = 10*n + int(r-'0')
	}
	return n, true
}
