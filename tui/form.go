package tui

import (
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"holdline/arming"
	"holdline/checklist/sheet/unit"
	"holdline/tui/canvas"
	"holdline/tui/limits"
	"holdline/tui/strokes"
	"holdline/tui/theme"
)

// field is one line that takes text.
type field struct {
	label  string
	ghost  string   // what is expected, shown while the field is empty
	hidden bool     // a code: never shown, not even its length
	exact  bool     // taken as typed, with the blanks at its ends
	names  []string // to choose from; nil for free text
	free   bool     // any other name may be typed as well; only numbers stand for one of names
	text   string
}

// longest is how many characters a field takes.
const longest = 120

// form is a group of fields opened on purpose. Enter goes to the next field
// and, in the last one, sends. An empty field never sends, so that a key kept
// down confirms nothing.
type form struct {
	task   string // the task that it answers
	title  string
	fields []field
	at     int
	note   string
	wrong  string // why it was not sent
	send   sender
	// first gives a form that has to be answered before this one is sent, nil for
	// none. It is opened as ahead, and leads back to this one.
	first       func(texts []string) *form
	ahead, back *form
	// secret takes the first text beside the machine, which never sees it.
	secret func(text string)
}

// sender turns the texts of a form into an event, or says what is wrong with
// them. What the machine has no part in sends none.
type sender func(texts []string) (ev arming.Event, wrong string)

// typed is a field that takes one word, and sends the event for no other text:
// a key that repeats sends nothing.
func typed(word, ghost, wrong string, ev arming.Event) ([]field, sender) {
	return []field{{ghost: ghost}}, func(v []string) (arming.Event, string) {
		if fold(v[0]) != word {
			return nil, wrong
		}
		return ev, ""
	}
}

// press takes one key. It reports whether the form is finished, with what is
// to be sent.
func (fm *form) press(s strokes.Stroke, blank bool) (done bool, out arming.Event) {
	f := &fm.fields[fm.at]
	switch s.Name {
	case "enter":
		return fm.enter()
	case "tab", "down":
		if f.text != "" || fm.at+1 < len(fm.fields) {
			fm.at = (fm.at + 1) % len(fm.fields)
		}
	case "shift+tab", "up":
		fm.at = (fm.at + len(fm.fields) - 1) % len(fm.fields)
	case "backspace", "ctrl+h":
		if n := len(f.text); n > 0 {
			_, size := utf8.DecodeLastRuneInString(f.text)
			f.text = f.text[:n-size]
		}
		fm.wrong = ""
	case "ctrl+u":
		f.text, fm.wrong = "", ""
	case "space":
		if blank {
			fm.add(" ")
		}
	case "_":
		if !blank && !f.hidden {
			fm.add(" ")
			break
		}
		fm.add("_")
	default:
		fm.add(s.Text)
	}
	return false, nil
}

func (fm *form) add(text string) {
	f := &fm.fields[fm.at]
	if text == "" || utf8.RuneCountInString(f.text) >= longest {
		return
	}
	f.text += text
	fm.wrong = ""
}

// answer is the text as it is sent.
func (f *field) answer() string {
	if f.exact {
		return f.text
	}
	return strings.TrimSpace(f.text)
}

// enter goes on, or sends once every field has something in it.
func (fm *form) enter() (done bool, out arming.Event) {
	f := &fm.fields[fm.at]
	if f.answer() == "" {
		fm.wrong = "type the answer first: enter alone confirms nothing"
		return false, nil
	}
	if f.names != nil {
		name, ok := pick(f.text, f.names)
		switch {
		case ok && (!f.free || fold(name) == fold(f.text) || isNumber(f.text)):
			f.text = name
		case !f.free:
			fm.wrong = "one of: " + strings.Join(numbered(f.names), "  ")
			return false, nil
		}
	}
	for k := range fm.fields {
		if fm.fields[k].answer() == "" {
			fm.at = k
			return false, nil
		}
	}
	texts := make([]string, len(fm.fields))
	for k := range fm.fields {
		texts[k] = fm.fields[k].answer()
	}
	if fm.first != nil {
		if fm.ahead = fm.first(texts); fm.ahead != nil {
			return false, nil
		}
	}
	if fm.send != nil {
		out, fm.wrong = fm.send(texts)
	}
	if fm.wrong == "" && fm.secret != nil {
		fm.secret(texts[0])
	}
	return fm.wrong == "", out
}

// reading reads a value typed off an instrument, in SI. Any unit of its kind may
// stand behind it. For people who read US units one has to: the challenge, the
// record and the instrument need not mean the same by a bare number.
func reading(text, si string, sys unit.System) (v float64, ok bool) {
	d, known := limits.DimensionOf(si)
	if !known {
		return number(text, si)
	}
	text = strings.ReplaceAll(strings.TrimSpace(text), ",", ".")
	if _, err := strconv.ParseFloat(text, 64); err == nil && sys == unit.US {
		return 0, false
	}
	for _, t := range []string{text, strings.ToLower(text)} {
		if v, err := unit.ParseAs(t, d); err == nil {
			return v, true
		}
	}
	return number(text, si)
}

// unitsFor names the units that a value is typed in, "" for a bare number.
func unitsFor(si string, sys unit.System) string {
	if _, in := limits.In(1, 1, si, sys); in != si && si != "" && sys == unit.US {
		return in + " or " + si
	}
	return si
}

// number reads a value in the given unit; the unit itself may be typed too.
func number(text, si string) (float64, bool) {
	text = strings.ReplaceAll(strings.TrimSpace(text), ",", ".")
	if u := strings.ToLower(si); u != "" {
		text = strings.TrimSpace(strings.TrimSuffix(strings.ToLower(text), u))
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, false
	}
	return v, true
}

// draw puts the fields on c from row y on and returns the row after them.
func (fm *form) draw(c canvas.Canvas, y int, blank bool) int {
	for k := range fm.fields {
		if y >= c.Height() {
			return y
		}
		f := &fm.fields[k]
		x := 0
		if f.label != "" {
			x = c.Put(0, y, theme.Dim, canvas.Fit(f.label, max(c.Width()/2, 8))) + 1
		}
		line := c.Sub(x, y, c.Width()-x, 1)
		line.Fill(theme.Field)
		shown := f.text
		if f.hidden {
			shown = ""
			if f.text != "" {
				shown = "entered, not shown"
			}
		}
		for canvas.Width(shown) > line.Width()-3 && shown != "" {
			_, size := utf8.DecodeRuneInString(shown)
			shown = shown[size:]
		}
		at := line.Put(0, 0, theme.Field, choose(k == fm.at, "▸"+shown+"▏", " "+shown))
		if f.text == "" {
			line.Put(at, 0, theme.Ghost, canvas.Fit(f.ghost, line.Width()-at))
		}
		y++
	}
	if names := fm.fields[fm.at].names; names != nil && y < c.Height() {
		for _, l := range canvas.Wrap(strings.Join(numbered(names), "  "), c.Width()) {
			c.Put(0, y, theme.Dim, l)
			y++
		}
	}
	if !blank && y < c.Height() {
		c.Put(0, y, theme.Strong, canvas.Fit("space is HOLD: type _ for a blank", c.Width()))
		y++
	}
	return y
}
