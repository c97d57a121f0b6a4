package tui

import (
	"github.com/charmbracelet/bubbles/key"

	"holdline/arming"
	"holdline/tui/strokes"
)

// KeyMap holds every key of the cockpit. Keys are few and mean the same on
// every page; a field that is open takes the characters itself.
type KeyMap struct {
	Hold  key.Binding
	Enter key.Binding
	Next  key.Binding
	Prev  key.Binding
	Back  key.Binding

	Scrub    key.Binding
	TakeBack key.Binding
	Waive    key.Binding

	Run     key.Binding
	Circuit key.Binding
	People  key.Binding
	Log     key.Binding
	Steps   key.Binding
	Help    key.Binding
	Words   key.Binding
	Tour    key.Binding
	Theme   key.Binding
	Bell    key.Binding
	Leave   key.Binding

	HandKey      key.Binding
	HandBattery  key.Binding
	HandIgniters key.Binding
	HandShunt    key.Binding
	HandButton   key.Binding
}

func bind(k, help string, more ...string) key.Binding {
	return key.NewBinding(key.WithKeys(append([]string{k}, more...)...), key.WithHelp(k, help))
}

// Keys returns the cockpit's keys.
func Keys() KeyMap {
	return KeyMap{
		Hold:  bind("space", "HOLD", " "),
		Enter: bind("enter", "answer"),
		Next:  bind("tab", "next", "down"),
		Prev:  bind("shift+tab", "back one", "up"),
		Back:  bind("esc", "back"),

		Scrub:    bind("x", "scrub"),
		TakeBack: bind("w", "take back"),
		Waive:    bind("v", "waive"),

		Run:     bind("p", "run"),
		Circuit: bind("c", "circuit"),
		People:  bind("o", "people"),
		Log:     bind("l", "log"),
		Steps:   bind("s", "steps"),
		Help:    bind("?", "keys"),
		Words:   bind("g", "words"),
		Tour:    bind("i", "tour"),
		Theme:   bind("t", "colours"),
		Bell:    bind("b", "bell"),
		Leave:   bind("ctrl+c", "leave"),

		HandKey:      bind("f5", "key"),
		HandBattery:  bind("f6", "battery"),
		HandIgniters: bind("f7", "igniters"),
		HandShunt:    bind("f8", "shunt"),
		HandButton:   bind("f9", "button"),
	}
}

// all lists every binding.
func (k KeyMap) all() []key.Binding {
	return []key.Binding{k.Hold, k.Enter, k.Next, k.Prev, k.Back, k.Scrub, k.TakeBack, k.Waive, k.Run, k.Circuit, k.People,
		k.Log, k.Steps, k.Help, k.Words, k.Tour, k.Theme, k.Bell, k.Leave, k.HandKey, k.HandBattery, k.HandIgniters, k.HandShunt, k.HandButton}
}

// Table lists every key with what it does, for a manual.
func (k KeyMap) Table() [][2]string {
	var out [][2]string
	for _, b := range k.all() {
		out = append(out, [2]string{b.Help().Key, b.Help().Desc})
	}
	return out
}

// is reports whether a stroke is the binding's key.
func is(s strokes.Stroke, b key.Binding) bool {
	if !b.Enabled() {
		return false
	}
	for _, k := range b.Keys() {
		if k == s.Name {
			return true
		}
	}
	return false
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
	f, k := &m.frame, m.keys
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
		return append(out, hintOf(k.Help))
	}
	t := m.atHand()
	if t.open != nil {
		out = append(out, hint{"enter", enterDoes(t)})
	}
	if len(m.list) > 1 {
		out = append(out, hintOf(k.Next))
	}
	switch f.State.Phase {
	case arming.Count, arming.Window, arming.Run:
		return out
	}
	out = append(out, hintOf(k.Help))
	if m.mayTakeBack(t) {
		out = append(out, hintOf(k.TakeBack))
	}
	if m.mayWaive(t) {
		out = append(out, hintOf(k.Waive))
	}
	out = append(out, hintOf(k.Run), hintOf(k.Circuit), hintOf(k.Steps), hintOf(k.People), hintOf(k.Log))
	if m.mayScrub() {
		out = append(out, hintOf(k.Scrub))
	}
	return append(out, hintOf(k.Words), hintOf(k.Theme), hintOf(k.Leave))
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
