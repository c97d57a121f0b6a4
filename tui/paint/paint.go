// Package paint turns a screen, as rows of text with colours, into what a
// terminal has to be sent to show it: nothing for a row that stands already,
// and of a changed row the changed cells alone. It keeps what the terminal
// shows and opens nothing.
package paint

import (
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/charmbracelet/x/ansi"
)

// look is the style of a cell, as parameters of the SGR sequence (ECMA-48,
// 8.3.117): "" stands for the terminal's own colour.
type look struct {
	bold   bool
	fg, bg string
}

// cell is one column. A wide character stands in its first one; the next has
// wide 0 and no text.
type cell struct {
	text string
	wide int8
	look int // place in the painter's looks; 0 is the terminal's own
}

var blank = cell{text: " ", wide: 1}

// Painter remembers what a terminal shows. The zero value knows nothing of
// it; Resize begins.
type Painter struct {
	w, h  int
	texts []string // the rows as given
	rows  [][]cell
	spare []cell // to parse into
	looks []look // seen so far
	clear bool   // nothing is known of what the terminal shows
	out   strings.Builder
	is    look // of the terminal, while out is written
}

// Resize says that the terminal has w columns and h rows, and that nothing is
// known of what it shows.
func (p *Painter) Resize(w, h int) {
	p.w, p.h, p.clear = max(w, 0), max(h, 0), true
	p.texts, p.rows = make([]string, p.h), make([][]cell, p.h)
	p.looks = append(p.looks[:0], look{})
	for y := range p.rows {
		p.rows[y] = p.parse(make([]cell, 0, p.w), "")
	}
	p.spare = make([]cell, 0, p.w)
}

// Paint returns what makes the terminal show view, "" when it does already.
// Rows and columns beyond the terminal's are left out.
func (p *Painter) Paint(view string) string {
	p.out.Reset()
	p.is = look{}
	if p.clear {
		p.out.WriteString("\x1b[0m\x1b[2J")
		p.clear = false
	}
	for y := range p.rows {
		text := ""
		text, view, _ = strings.Cut(view, "\n")
		if text == p.texts[y] {
			continue
		}
		was, now := p.rows[y], p.parse(p.spare[:0], text)
		p.row(y, was, now)
		p.texts[y], p.rows[y], p.spare = text, now, was
	}
	p.wear(look{})
	return p.out.String()
}

// nearby is how many unchanged cells are written again rather than passed
// over: to pass over them takes about as many bytes.
const nearby = 6

// row paints what differs in row y.
func (p *Painter) row(y int, was, now []cell) {
	if unsure(was) || unsure(now) {
		p.whole(y, now)
		return
	}
	for x := 0; x < len(now); x++ {
		if was[x] == now[x] {
			continue
		}
		end := x + 1 // after the last changed cell of this stretch
		for at := end; at < len(now) && at-end < nearby; at++ {
			if was[at] != now[at] {
				end = at + 1
			}
		}
		p.move(x, y)
		for ; x < end; x++ {
			p.put(now[x])
		}
	}
}

// whole paints a row from its first column on. Terminals differ in how wide
// they take some characters for, so the row is emptied first and nothing in it
// is placed by its column.
func (p *Painter) whole(y int, now []cell) {
	p.move(0, y)
	p.wear(look{})
	p.out.WriteString("\x1b[2K")
	for _, c := range now {
		p.put(c)
	}
}

// unsure reports a row with a character that is wide, or made of several.
func unsure(row []cell) bool {
	for i := range row {
		if row[i].wide != 1 || len(row[i].text) > 1 && utf8.RuneCountInString(row[i].text) > 1 {
			return true
		}
	}
	return false
}

func (p *Painter) move(x, y int) {
	p.out.WriteString("\x1b[" + strconv.Itoa(y+1) + ";" + strconv.Itoa(x+1) + "H")
}

func (p *Painter) put(c cell) {
	if c.wide == 0 {
		return
	}
	p.wear(p.looks[c.look])
	p.out.WriteString(c.text)
}

// wear changes the terminal's style, by what differs alone.
func (p *Painter) wear(to look) {
	if p.is == to {
		return
	}
	var parts []string
	switch {
	case to == look{}:
		parts = append(parts, "")
	default:
		switch {
		case to.bold && !p.is.bold:
			parts = append(parts, "1")
		case p.is.bold && !to.bold:
			parts = append(parts, "22")
		}
		if to.fg != p.is.fg {
			parts = append(parts, orElse(to.fg, "39"))
		}
		if to.bg != p.is.bg {
			parts = append(parts, orElse(to.bg, "49"))
		}
	}
	p.out.WriteString("\x1b[" + strings.Join(parts, ";") + "m")
	p.is = to
}

func orElse(text, other string) string {
	if text == "" {
		return other
	}
	return text
}

// place returns where a look stands among those seen so far.
func (p *Painter) place(l look) int {
	if at := slices.Index(p.looks, l); at >= 0 {
		return at
	}
	p.looks = append(p.looks, l)
	return len(p.looks) - 1
}

// parse takes one row apart into the terminal's columns, and appends them to
// row.
func (p *Painter) parse(row []cell, text string) []cell {
	wears := 0
	for len(text) > 0 && len(row) < p.w {
		switch b := text[0]; {
		case b == '\x1b':
			var parameters string
			if parameters, text = sgr(text); parameters != none {
				wears = p.place(p.looks[wears].with(parameters))
			}
			continue
		case b < ' ' || b == 0x7f: // paints nothing
			text = text[1:]
			continue
		case b < utf8.RuneSelf && (len(text) == 1 || text[1] < utf8.RuneSelf):
			row = append(row, cell{text[:1], 1, wears})
			text = text[1:]
			continue
		}
		cluster, width := ansi.FirstGraphemeCluster(text, ansi.GraphemeWidth)
		text = text[len(cluster):]
		switch {
		case width == 1:
			row = append(row, cell{cluster, 1, wears})
		case width == 2 && len(row)+2 <= p.w:
			row = append(row, cell{cluster, 2, wears}, cell{look: wears})
		case width >= 2: // has no room
			row = append(row, cell{" ", 1, wears})
		}
	}
	for len(row) < p.w {
		row = append(row, blank)
	}
	return row
}

// none stands for a sequence that is no SGR.
const none = "none"

// sgr takes the escape sequence at the start of text off and returns its
// parameters, or none.
func sgr(text string) (parameters, rest string) {
	if len(text) < 2 || text[1] != '[' {
		return none, text[1:]
	}
	for i := 2; i < len(text); i++ {
		if b := text[i]; b >= 0x40 && b <= 0x7e { // the final byte, ECMA-48, 5.4
			if b == 'm' {
				return text[2:i], text[i+1:]
			}
			return none, text[i+1:]
		}
	}
	return none, ""
}

// with is the style after one SGR sequence. What no theme of ours uses is left
// out.
func (l look) with(parameters string) look {
	parts := strings.Split(parameters, ";")
	for i := 0; i < len(parts); i++ {
		colour := parts[i]
		if colour == "38" || colour == "48" {
			more := 2 // 5;n
			if i+1 < len(parts) && parts[i+1] == "2" {
				more = 4 // 2;r;g;b
			}
			end := min(i+more, len(parts)-1)
			colour = strings.Join(parts[i:end+1], ";")
			i = end
		}
		switch {
		case colour == "" || colour == "0":
			l = look{}
		case colour == "1":
			l.bold = true
		case colour == "22":
			l.bold = false
		case colour == "39":
			l.fg = ""
		case colour == "49":
			l.bg = ""
		case len(colour) > 1 && (colour[0] == '3' || colour[0] == '9'):
			l.fg = colour
		case len(colour) > 1 && (colour[0] == '4' || colour[0] == '1'):
			l.bg = colour
		}
	}
	return l
}
