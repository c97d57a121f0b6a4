package tui

import (
	"slices"

	"github.com/charmbracelet/bubbles/key"

	"holdline/arming"
	"holdline/tui/strokes"
)

// The keys of the cockpit. They are few and mean the same on every page; a
// field that is open takes the characters itself.
var (
	keyHold  = bind("space", "HOLD", " ")
	keyEnter = bind("enter", "answer")
	keyNext  = bind("tab", "next", "down")
	keyPrev  = bind("shift+tab", "back one", "up")
	keyBack  = bind("esc", "back")

	keyScrub    = bind("x", "scrub")
	keyTakeBack = bind("w", "take back")
	keyWaive    = bind("v", "waive")
	keyPass     = bind("n", "pass over")

	keyRun     = bind("p", "run")
	keyCircuit = bind("c", "circuit")
	keyPeople  = bind("o", "people")
	keyLog     = bind("l", "log")
	keySteps   = bind("s", "steps")
	keyHelp    = bind("?", "keys")
	keyWords   = bind("g", "words")
	keyTour    = bind("i", "tour")
	keyTheme   = bind("t", "colours")
	keyBell    = bind("b", "bell")
	keyLeave   = bind("ctrl+c", "leave")

	keyHandKey      = bind("f5", "key")
	keyHandBattery  = bind("f6", "battery")
	keyHandIgniters = bind("f7", "igniters")
	keyHandShunt    = bind("f8", "shunt")
	keyHandButton   = bind("f9", "button")
)

func bind(k, help string, more ...string) key.Binding {
	return key.NewBinding(key.WithKeys(append([]string{k}, more...)...), key.WithHelp(k, help))
}

// Keys lists every key of the cockpit, for a manual.
func Keys() []key.Binding {
	return []key.Binding{keyHold, keyEnter, keyNext, keyPrev, keyBack, keyScrub, keyTakeBack, keyWaive, keyPass, keyRun, keyCircuit, keyPeople, keyLog,
		keySteps, keyHelp, keyWords, keyTour, keyTheme, keyBell, keyLeave, keyHandKey, keyHandBattery, keyHandIgniters, keyHandShunt, keyHandButton}
}

// is reports whether a stroke is the binding's key.
func is(s strokes.Stroke, b key.Binding) bool {
	return slices.Contains(b.Keys(), s.Name)
}

// hint is one key with what it does, as the bottom row and the help show it.
type hint struct{ key, does string }

func hintOf(b key.Binding) hint { return hint{b.Help().Key, b.Help().Desc} }

// holdHint says what the space bar does now.
func holdHint(p arming.Phase) hint {
	switch p {
	case arming.Setup:
		return hint{"space", "everyone back"}
	case arming.Wait, arming.MakeSafe:
		return hint{"space", "everyone back, WAIT"}
	case arming.Closed:
		return hint{"space", "call HOLD"}
	}
	return hint{"space", "HOLD"}
}

// hints lists what the keys do now, the most needed first.
func (m *Model) hints() []hint {
	f := &m.frame
	if m.form != nil {
		out := []hint{{"enter", "next, then send"}, {"esc", "close"}, {"ctrl+u", "empty"}}
		if !m.blankTypes() {
			out = append([]hint{holdHint(f.State.Phase)}, out...)
		}
		return out
	}
	if m.touring() {
		return m.tourHints()
	}
	out := []hint{holdHint(f.State.Phase)}
	if m.page != pageMain {
		out = append(out, hint{"esc", "back"}, hint{"↑ ↓", "scroll"})
		if m.page == pageRun && m.atHand().see == pageRun {
			out = append(out, hint{"enter", "accept"})
		}
		return append(out, hintOf(keyHelp))
	}
	t := m.atHand()
	if t.open != nil {
		out = append(out, hint{"enter", enterDoes(t)})
	}
	if len(m.list) > 1 {
		out = append(out, hintOf(keyNext))
	}
	switch f.State.Phase {
	case arming.Count, arming.Window, arming.Run:
		return out
	}
	for _, k := range []struct {
		key key.Binding
		may bool
	}{
		{keyHelp, true}, {keyTakeBack, m.mayTakeBack(t)}, {keyWaive, m.mayWaive(t)}, {keyPass, m.mayPass(t)}, {keyRun, true}, {keyCircuit, true},
		{keySteps, true}, {keyPeople, true}, {keyLog, true}, {keyScrub, m.mayScrub()}, {keyWords, true}, {keyTheme, true}, {keyLeave, true},
	} {
		if k.may {
			out = append(out, hintOf(k.key))
		}
	}
	return out
}

// enterDoes names what enter opens.
func enterDoes(t task) string {
	switch {
	case t.see == pageRun:
		return "read and accept"
	case t.id == "arm":
		return "arm"
	case t.id == taskCounter:
		return "sign, or decline"
	case t.step < 0:
		return "say"
	}
	return "answer"
}
