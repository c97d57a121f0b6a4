package tui

import (
	"testing"

	tea "github.com/charmbracelet/bubbletea"
)

// The bell rings once for each frame that calls for it, never twice for the
// same, and not at all while it is silent.
func TestBellRingsOnceAndIsSilenced(t *testing.T) {
	rung := 0
	f := Frame{}
	m := NewModel(Config{Latest: func() Frame { return f }, Bell: func() { rung++ }}).(*Model)
	quiet := func() tea.Msg { return nil }
	ring := func() {
		m.take()
		run(m.ring(quiet))
	}
	ring()
	f.Rings = 1
	ring()
	ring()
	if rung != 1 {
		t.Errorf("rung %d times, want once", rung)
	}
	m.Update(tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune{'b'}})
	f.Rings = 2
	ring()
	if rung != 1 {
		t.Error("the bell rang while it was silent")
	}
	m.Update(tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune{'b'}})
	f.Rings = 3
	ring()
	if rung != 2 {
		t.Errorf("rung %d times, want twice", rung)
	}
}

// run runs a command and what it is made of.
func run(cmd tea.Cmd) {
	if batch, is := cmd().(tea.BatchMsg); is {
		for _, c := range batch {
			run(c)
		}
	}
}
