package tui

import (
	"testing"

	tea "github.com/charmbracelet/bubbletea"
)

// Where the shell says when there is something new, the cockpit looks then, and
// waits for the next.
func TestTheCockpitLooksWhenThereIsSomethingNew(t *testing.T) {
	fresh, looks := make(chan struct{}), 0
	m := NewModel(Config{
		Latest: func() Frame { looks++; return Frame{} },
		Await:  func() { <-fresh },
	})
	before, cmd := looks, m.Init()
	for i := range 3 {
		came := make(chan tea.Msg)
		go func() { came <- cmd() }()
		select {
		case <-came:
			t.Fatal("a look with nothing new")
		case fresh <- struct{}{}:
		}
		m, cmd = m.Update(<-came)
		if looks != before+i+1 {
			t.Fatalf("%d looks at %d new frames", looks-before, i+1)
		}
		if cmd == nil {
			t.Fatal("it waits for no other")
		}
	}
}
