package strokes

import (
	"strings"
	"testing"

	tea "github.com/charmbracelet/bubbletea"
)

// Keys that were read together come out one by one; what has no key is
// dropped.
func TestKeysReadTogetherComeOneByOne(t *testing.T) {
	for _, c := range []struct {
		msg  tea.KeyMsg
		want string
	}{
		{tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune("aB ä")}, "a:a B:B space:  ä:ä"},
		{tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune("x\x1b\ufffdy")}, "x:x y:y"},
		{tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune("q"), Alt: true}, "alt+q:"},
		{tea.KeyMsg{Type: tea.KeySpace, Runes: []rune(" ")}, "space: "},
		{tea.KeyMsg{Type: tea.KeySpace}, "space: "},
		{tea.KeyMsg{Type: tea.KeyEnter}, "enter:"},
		{tea.KeyMsg{Type: tea.KeyCtrlC}, "ctrl+c:"},
	} {
		var got []string
		for _, s := range Of(c.msg) {
			got = append(got, s.Name+":"+s.Text)
		}
		if strings.Join(got, " ") != c.want {
			t.Errorf("%v: %q, want %q", c.msg, got, c.want)
		}
	}
}

func TestSpaceInAnyDress(t *testing.T) {
	for _, m := range []tea.KeyMsg{{Type: tea.KeySpace}, {Type: tea.KeyCtrlAt}, {Type: tea.KeyRunes, Runes: []rune("a b")}} {
		if !IsSpace(m) {
			t.Errorf("%v is no space", m)
		}
	}
	for _, m := range []tea.KeyMsg{{Type: tea.KeyEnter}, {Type: tea.KeyRunes, Runes: []rune("ab")}} {
		if IsSpace(m) {
			t.Errorf("%v is a space", m)
		}
	}
}
