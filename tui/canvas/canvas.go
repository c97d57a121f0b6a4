// Package canvas is a grid of character cells that panels draw on. It knows
// styles by number only, clips everything to its size, and turns its rows into
// text with one escape sequence for each run of one style.
package canvas

import (
	"iter"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/charmbracelet/x/ansi"
)

// Style is a meaning that a theme paints. 0 is plain text.
type Style uint8

// cell is one column of a row. A wide character fills its own cell and leaves
// the next one empty with wide 0.
type cell struct {
	text  string
	wide  int8
	style Style
}

type grid struct {
	w, h  int
	cells []cell
	ascii bool
}

// Canvas is a rectangle of a grid. Its zero value draws nowhere.
type Canvas struct {
	g          *grid
	x, y, w, h int
}

// New returns an empty canvas of w columns and h rows. With ascii, everything
// drawn is written in ASCII.
func New(w, h int, ascii bool) Canvas {
	return Empty(Canvas{}, w, h, ascii, 0)
}

// Empty returns a canvas like New's whose cells have the style s. It is old
// itself, if that was New's and has the size, so that a screen that is drawn ten
// times a second leaves nothing behind.
func Empty(old Canvas, w, h int, ascii bool, s Style) Canvas {
	w, h = max(w, 0), max(h, 0)
	g := old.g
	if g == nil || g.w != w || g.h != h || g.ascii != ascii {
		g = &grid{w: w, h: h, cells: make([]cell, w*h), ascii: ascii}
	}
	c := Canvas{g: g, w: w, h: h}
	c.Fill(s)
	return c
}

// Width returns the number of columns.
func (c Canvas) Width() int { return c.w }

// Height returns the number of rows.
func (c Canvas) Height() int { return c.h }

// ASCII reports whether everything drawn is written in ASCII.
func (c Canvas) ASCII() bool { return c.g != nil && c.g.ascii }

// Sub returns the part of c at x, y with w columns and h rows, clipped to c.
func (c Canvas) Sub(x, y, w, h int) Canvas {
	x0, y0 := max(x, 0), max(y, 0)
	x1, y1 := min(x+w, c.w), min(y+h, c.h)
	return Canvas{g: c.g, x: c.x + x0, y: c.y + y0, w: max(x1-x0, 0), h: max(y1-y0, 0)}
}

// Fill sets the style of every cell and empties it.
func (c Canvas) Fill(s Style) {
	if c.w <= 0 {
		return
	}
	for y := 0; y < c.h; y++ {
		row := c.g.cells[(c.y+y)*c.g.w : (c.y+y+1)*c.g.w]
		c.free(row, c.x) // wide characters that reach over an edge
		c.free(row, c.x+c.w-1)
		inside := row[c.x : c.x+c.w]
		for x := range inside {
			inside[x] = cell{" ", 1, s}
		}
	}
}

// Put writes text at x, y, clipped, and returns the column after it. Control
// and invisible formatting characters are left out, so that a name cannot
// paint the screen.
func (c Canvas) Put(x, y int, s Style, text string) int {
	if c.g == nil {
		return x
	}
	if c.g.ascii {
		text = ASCII(text)
	}
	for cluster, w := range clusters(text) {
		c.set(x, y, cluster, w, s)
		x += w
	}
	return x
}

// clusters goes through the characters of a text as people see them, each with
// its columns. What has no picture of its own is left out.
func clusters(text string) iter.Seq2[string, int] {
	return func(yield func(string, int) bool) {
		for len(text) > 0 {
			cluster, w := text[:1], 1
			if text[0] >= utf8.RuneSelf || len(text) > 1 && text[1] >= utf8.RuneSelf {
				cluster, w = ansi.FirstGraphemeCluster(text, ansi.GraphemeWidth)
			}
			if cluster == "" {
				return
			}
			text = text[len(cluster):]
			if cluster = visible(cluster); cluster != "" && w > 0 && !yield(cluster, w) {
				return
			}
		}
	}
}

// Frame draws a line round the edge.
func (c Canvas) Frame(s Style) {
	line := strings.Repeat("─", max(c.w-2, 0))
	c.Put(0, 0, s, "╭"+line+"╮")
	for y := 1; y < c.h-1; y++ {
		c.Put(0, y, s, "│")
		c.Put(c.w-1, y, s, "│")
	}
	c.Put(0, c.h-1, s, "╰"+line+"╯")
}

// PutRight writes text so that it ends before column x.
func (c Canvas) PutRight(x, y int, s Style, text string) {
	c.Put(x-c.TextWidth(text), y, s, text)
}

// Copy puts the rows of src from row fromY on into c.
func (c Canvas) Copy(src Canvas, fromY int) {
	for y := 0; y < c.h && fromY+y < src.h; y++ {
		if fromY+y < 0 {
			continue
		}
		row := src.g.cells[(src.y+fromY+y)*src.g.w+src.x:]
		for x := 0; x < min(c.w, src.w); x++ {
			if row[x].wide > 0 {
				c.set(x, y, row[x].text, int(row[x].wide), row[x].style)
			}
		}
	}
}

// TextWidth returns how many columns Put takes for text.
func (c Canvas) TextWidth(text string) int {
	if c.ASCII() {
		text = ASCII(text)
	}
	return Width(text)
}

// set puts one cluster of w columns in place. A wide one that does not fit
// becomes a blank.
func (c Canvas) set(x, y int, text string, w int, s Style) {
	if y < 0 || y >= c.h || x < 0 || x >= c.w {
		return
	}
	if text == "\u00a0" { // keeps two words together in Wrap, and is a blank here
		text = " "
	}
	row := c.g.cells[(c.y+y)*c.g.w : (c.y+y+1)*c.g.w]
	at := c.x + x
	if x+w > c.w || w > 2 {
		text, w = " ", 1
	}
	c.free(row, at)
	row[at] = cell{text, int8(w), s}
	if w == 2 {
		c.free(row, at+1)
		row[at+1] = cell{"", 0, s}
	}
}

// free blanks the other half of a wide character that is being overwritten.
func (c Canvas) free(row []cell, at int) {
	if row[at].wide == 0 && at > 0 {
		row[at-1] = cell{" ", 1, row[at-1].style}
	}
	if row[at].wide == 2 && at+1 < len(row) {
		row[at+1] = cell{" ", 1, row[at+1].style}
	}
}

// Painter writes the rows of a canvas.
type Painter interface {
	// Paint begins a run of one style. The run before it in the row had the
	// style was; first marks the beginning of a row.
	Paint(b *strings.Builder, was, s Style, first bool)
	// End ends a row whose last run had the style s.
	End(b *strings.Builder, s Style)
	// SameGround reports whether a blank looks the same in both styles.
	SameGround(a, b Style) bool
}

// Rows returns every row as text. Neighbours of one style make one run, and a
// blank takes the style of its neighbour where that looks the same.
func (c Canvas) Rows(p Painter) []string {
	rows := make([]string, c.h)
	for y := range rows {
		var line strings.Builder
		line.Grow(2 * c.w) // most rows have room in it
		row := c.g.cells[(c.y+y)*c.g.w+c.x : (c.y+y)*c.g.w+c.x+c.w]
		var was Style
		for x := 0; x < len(row); {
			from, s := x, row[x].style
			p.Paint(&line, was, s, from == 0)
			for ; x < len(row); x++ {
				if n := row[x].style; n != s && !(row[x].text == " " && p.SameGround(n, s)) {
					break
				}
				line.WriteString(row[x].text)
			}
			was = s
		}
		if len(row) > 0 {
			p.End(&line, was)
		}
		rows[y] = line.String()
	}
	return rows
}

// visible drops what has no picture of its own from a cluster.
func visible(cluster string) string {
	if len(cluster) == 1 && cluster[0] >= ' ' && cluster[0] < 0x7f {
		return cluster
	}
	drop := func(r rune) bool {
		return unicode.IsControl(r) || r == utf8.RuneError || (unicode.Is(unicode.Cf, r) && r != '\u200d') ||
			r == '\u2028' || r == '\u2029'
	}
	if strings.IndexFunc(cluster, drop) < 0 {
		return cluster
	}
	return strings.Map(func(r rune) rune {
		if drop(r) {
			return -1
		}
		return r
	}, cluster)
}

// Width returns the columns that text takes on a canvas that is not ASCII.
func Width(text string) int {
	n := 0
	for _, w := range clusters(text) {
		n += w
	}
	return n
}

// Wrap breaks text at blanks into lines of at most w columns; a longer word is
// cut. A no-break space keeps two words together.
func Wrap(text string, w int) []string {
	if w < 1 {
		return nil
	}
	var lines []string
	line, used := "", 0
	for _, word := range strings.FieldsFunc(text, func(r rune) bool { return r == ' ' || r == '\n' || r == '\t' }) {
		n := Width(word)
		for n > w {
			if used > 0 {
				lines, line, used = append(lines, line), "", 0
			}
			head := Cut(word, w)
			if head == "" {
				return lines
			}
			lines = append(lines, head)
			word = word[len(head):]
			n = Width(word)
		}
		switch {
		case n == 0:
		case used == 0:
			line, used = word, n
		case used+1+n <= w:
			line, used = line+" "+word, used+1+n
		default:
			lines = append(lines, line)
			line, used = word, n
		}
	}
	if used > 0 {
		lines = append(lines, line)
	}
	return lines
}

// Cut returns the longest beginning of text that takes at most w columns.
func Cut(text string, w int) string {
	used := 0
	for i := 0; i < len(text); {
		cluster, n := ansi.FirstGraphemeCluster(text[i:], ansi.GraphemeWidth)
		if cluster == "" || used+n > w {
			return text[:i]
		}
		used += n
		i += len(cluster)
	}
	return text
}

// Fit returns text in at most w columns, the loss shown by an ellipsis.
func Fit(text string, w int) string {
	if Width(text) <= w {
		return text
	}
	if w < 1 {
		return ""
	}
	return Cut(text, w-1) + "…"
}
