package edit

import (
	"slices"

	"holdline/tui/canvas"
	"holdline/tui/theme"
)

// hint is a key with what it does.
type hint struct{ key, does string }

// keys are the form's keys, the most needed first.
var keys = []struct{ key, short, long string }{
	{"↑ ↓", "go", "from entry to entry; also tab and shift+tab, page up and page down"},
	{"← →", "table", "to the table before and the next"},
	{"enter", "change", "open the entry, then take what was typed; an empty value leaves an entry out that may be"},
	{"a", "add", "one more motor, device, post, transmitter or step; a guide where there is none"},
	{"d", "take out", "leave the entry out; on a heading the whole table"},
	{"u", "undo", "the last change; as often as there were changes"},
	{"r", "redo", "do again what was undone"},
	{"m", "what makes a go", "look for the values of this entry at which every limit is kept"},
	{"s", "save", "write the sheet; comments and all that was not changed stay as they are"},
	{"?", "help", "this page"},
	{"f", "next fault", "go to the next fault"},
	{"/", "find", "go to the next entry with a word in its name"},
	{"t", "colours", "light, dark or plain"},
	{"q", "leave", "asks when something is not saved; ctrl+c too, and again to leave without saving"},
}

// hints lists what the keys do now.
func (m *Model) hints() []hint {
	switch {
	case m.screen == screenHelp:
		return []hint{{"↑ ↓", "scroll"}, {"any other key", "back"}}
	case m.screen == screenLeave:
		return []hint{{"s", "save and leave"}, {"n", "leave without saving"}, {"esc", "stay"}}
	case m.screen == screenChanged:
		return []hint{{"o", "save over it"}, {"esc", "do not save"}}
	case m.field != nil:
		out := []hint{{"enter", "take"}, {"esc", "leave as it was"}, {"ctrl+u", "empty"}}
		if len(m.field.choices) > 0 {
			out = append(out, hint{"↑ ↓", "choose"})
		}
		return out
	}
	var out []hint
	for _, k := range keys {
		if k.key == "f" && len(m.newest.faults) == 0 {
			continue
		}
		out = append(out, hint{k.key, k.short})
	}
	if len(m.newest.faults) > 0 {
		at := slices.IndexFunc(out, func(h hint) bool { return h.key == "f" })
		fault := out[at]
		out = slices.Insert(slices.Delete(out, at, at+1), 0, fault)
	}
	return out
}

// drawKeys is what came of the last key, then what the keys do now.
func (m *Model) drawKeys(c canvas.Canvas) {
	y := 0
	if m.said != "" && m.screen == screenForm {
		style := theme.Strong
		if m.bad {
			style = theme.Broken
		}
		c.Put(0, 0, style, canvas.Fit(m.said, c.Width()))
		y = 1
	}
	x := 0
	for _, h := range m.hints() {
		need := c.TextWidth(h.key) + 1 + c.TextWidth(h.does)
		if x+need > c.Width() {
			x, y = 0, y+1
		}
		if y >= c.Height() {
			return
		}
		x = c.Put(x, y, theme.Key, h.key) + 1
		x = c.Put(x, y, theme.Text, h.does) + 2
	}
}

// drawHelp is the keys and how the form works. It scrolls.
func (m *Model) drawHelp(c canvas.Canvas) {
	w := c.Width()
	long := canvas.New(w, 80, c.ASCII())
	long.Fill(theme.Text)
	p := canvas.Pen{C: long}
	p.Text(theme.Title, "HELP")
	p.Text(theme.Text, "This form changes a run sheet. It opens no port and arms nothing. What is right is taken at once, into the "+
		"form and not into the file: s saves. What cannot be read is refused at the entry, with the reason.")
	p.Y++
	for _, k := range keys {
		long.Put(0, p.Y, theme.Key, k.key)
		for _, l := range canvas.Wrap(k.long, w-9) {
			long.Put(8, p.Y, theme.Text, l)
			p.Y++
		}
	}
	p.Y++
	p.Text(theme.Text, "GO is said only when run and circuit both keep every limit, with the draws of the prediction. ● marks a value that is "+
		"not as it is on disk, ╱ a fault.")
	p.Text(theme.Text, "A GO WITH says, for the cleared length, the mass and the number of motors, which values would be a go while "+
		"everything else stays as it is; m looks for those of any other number. It searches from a fourth of the value to four times it.")
	p.Text(theme.Text, "A cockpit that is open on this sheet keeps what it was opened with: when the file changes it takes the accepted "+
		"prediction back. Leave it, then open it anew.")
	m.scroll = max(0, min(m.scroll, p.Y-c.Height()))
	c.Copy(long, m.scroll)
}

// drawLeave asks what becomes of what is not saved.
func (m *Model) drawLeave(c canvas.Canvas) {
	p := canvas.Pen{C: c.Sub(2, 1, c.Width()-4, c.Height()-1)}
	p.Text(theme.Title, "LEAVE?")
	p.Text(theme.Strong, "Not everything is saved: "+m.diskWord()+".")
	p.Text(theme.Text, "s saves and leaves, n leaves without saving, esc stays. ctrl+c again leaves without saving.")
	p.Y++
	m.drawChanges(&p)
}

// drawChanges lists what is not as it is on disk.
func (m *Model) drawChanges(p *canvas.Pen) {
	list := Changes(m.saved, m.text)
	for i, l := range list {
		if p.Y == p.C.Height()-1 && i < len(list)-1 {
			p.C.Put(0, p.Y, theme.Dim, "and "+counted(len(list)-i, "more value"))
			return
		}
		p.Line(theme.Text, canvas.Fit(l, p.C.Width()))
	}
}

func (m *Model) drawChanged(c canvas.Canvas) {
	p := canvas.Pen{C: c.Sub(2, 1, c.Width()-4, c.Height()-1)}
	p.Text(theme.Title, "THE FILE HAS CHANGED")
	p.Text(theme.Strong, "Somebody has changed "+m.cfg.Path+" on disk since this form read it. Nothing was saved.")
	p.Text(theme.Text, "o saves over it: what the other has changed is lost. esc does not save; your values stay in the form.")
	p.Y++
	m.drawChanges(&p)
}
