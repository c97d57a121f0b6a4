package edit

import (
	"errors"
	"strings"
	"testing"

	tea "github.com/charmbracelet/bubbletea"
)

func TestSavingAndLeaving(t *testing.T) {
	w := newWorld(t)
	if w.key("q"); !w.quit {
		t.Error("nothing changed, and leaving asks")
	}
	change := func() *world {
		w := newWorld(t)
		w.to("vehicle.mass")
		w.enter("1.9 kg")
		return w
	}
	w = change()
	w.key("s")
	if times, text := w.m.Saved(); times != 1 || string(text) != string(w.disk) || !strings.Contains(string(w.disk), "1.9 kg") || w.m.Unsaved() || w.m.Lost() != 0 {
		t.Errorf("saved %d times", times)
	}
	if w.key("q"); !w.quit {
		t.Error("saved, and leaving asks")
	}
	w = change()
	if w.key("q"); w.quit || w.m.screen != screenLeave {
		t.Error("left with a change that is not saved, unasked")
	}
	if w.key("x", "enter", "q"); w.quit || w.m.screen != screenLeave {
		t.Error("another key answers")
	}
	if w.key("esc"); w.quit || w.m.screen != screenForm {
		t.Error("esc does not stay")
	}
	if w.key("ctrl+c", "s"); !w.quit || !strings.Contains(string(w.disk), "1.9 kg") {
		t.Error("s does not save and leave")
	}
	w = change()
	if w.key("q", "n"); !w.quit || strings.Contains(string(w.disk), "1.9 kg") || w.m.Lost() != 1 {
		t.Error("n does not leave without saving")
	}
	w = change()
	if w.key("ctrl+c", "ctrl+c"); !w.quit || strings.Contains(string(w.disk), "1.9 kg") {
		t.Error("ctrl+c again does not leave")
	}
	w = change()
	w.saveE = errors.New("the disk is full")
	if w.key("q", "s"); w.quit || !w.m.bad || !strings.Contains(w.m.said, "the disk is full") || !w.m.Unsaved() {
		t.Errorf("a save that failed: said %q", w.m.said)
	}
}

// Leaving while the file is being written waits for it, and asks when
// something was changed meanwhile.
func TestLeavingWhileSaving(t *testing.T) {
	for _, meanwhile := range []bool{false, true} {
		w := newWorld(t)
		w.to("vehicle.mass")
		w.enter("1.9 kg")
		_, save := w.m.Update(tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune("s")})
		if meanwhile {
			w.enter("2.1 kg")
		}
		if w.key("q"); w.quit || w.m.screen == screenLeave {
			t.Fatal("does not wait")
		}
		w.send(save())
		if w.quit == meanwhile || (w.m.screen == screenLeave) != meanwhile || !strings.Contains(string(w.disk), "1.9 kg") {
			t.Errorf("changed meanwhile %v: left %v", meanwhile, w.quit)
		}
	}
}

func TestAFileThatChangedIsNotOverwrittenUnasked(t *testing.T) {
	w := newWorld(t)
	w.to("vehicle.mass")
	w.enter("1.9 kg")
	w.disk = []byte("somebody else's")
	w.key("q", "s")
	if w.quit || w.m.screen != screenChanged || string(w.disk) != "somebody else's" {
		t.Fatal("overwritten")
	}
	if w.key("enter", "s", "esc"); w.quit || string(w.disk) != "somebody else's" || !w.m.Unsaved() {
		t.Error("esc does not keep both")
	}
	w.key("s", "o")
	if !strings.Contains(string(w.disk), "1.9 kg") || w.m.Unsaved() || w.quit {
		t.Error("o does not save over it")
	}
}
