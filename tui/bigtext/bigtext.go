// Package bigtext draws words and figures large enough to be read from two
// metres, from a dot pattern of its own.
package bigtext

import (
	"strings"

	"holdline/tui/canvas"
)

// dots is the height of every pattern.
const dots = 5

// patterns holds one letter as five rows of dots.
var patterns = map[rune][dots]string{
	'A': {"###", "#.#", "###", "#.#", "#.#"},
	'B': {"##.", "#.#", "##.", "#.#", "##."},
	'C': {"###", "#..", "#..", "#..", "###"},
	'D': {"##.", "#.#", "#.#", "#.#", "##."},
	'E': {"###", "#..", "##.", "#..", "###"},
	'F': {"###", "#..", "##.", "#..", "#.."},
	'G': {"###", "#..", "#.#", "#.#", "###"},
	'H': {"#.#", "#.#", "###", "#.#", "#.#"},
	'I': {"###", ".#.", ".#.", ".#.", "###"},
	'J': {"..#", "..#", "..#", "#.#", "###"},
	'K': {"#.#", "#.#", "##.", "#.#", "#.#"},
	'L': {"#..", "#..", "#..", "#..", "###"},
	'M': {"#...#", "##.##", "#.#.#", "#...#", "#...#"},
	'N': {"#..#", "##.#", "#.##", "#..#", "#..#"},
	'O': {"###", "#.#", "#.#", "#.#", "###"},
	'P': {"###", "#.#", "###", "#..", "#.."},
	'Q': {"###", "#.#", "#.#", "###", "..#"},
	'R': {"###", "#.#", "##.", "#.#", "#.#"},
	'S': {"###", "#..", "###", "..#", "###"},
	'T': {"###", ".#.", ".#.", ".#.", ".#."},
	'U': {"#.#", "#.#", "#.#", "#.#", "###"},
	'V': {"#.#", "#.#", "#.#", "#.#", ".#."},
	'W': {"#...#", "#...#", "#.#.#", "##.##", "#...#"},
	'X': {"#.#", "#.#", ".#.", "#.#", "#.#"},
	'Y': {"#.#", "#.#", ".#.", ".#.", ".#."},
	'Z': {"###", "..#", ".#.", "#..", "###"},
	'0': {"###", "#.#", "#.#", "#.#", "###"},
	'1': {".#.", "##.", ".#.", ".#.", "###"},
	'2': {"###", "..#", "###", "#..", "###"},
	'3': {"###", "..#", ".##", "..#", "###"},
	'4': {"#.#", "#.#", "###", "..#", "..#"},
	'5': {"###", "#..", "###", "..#", "###"},
	'6': {"###", "#..", "###", "#.#", "###"},
	'7': {"###", "..#", "..#", ".#.", ".#."},
	'8': {"###", "#.#", "###", "#.#", "###"},
	'9': {"###", "#.#", "###", "..#", "###"},
	'-': {"...", "...", "###", "...", "..."},
	'.': {".", ".", ".", ".", "#"},
	':': {".", "#", ".", "#", "."},
	' ': {"..", "..", "..", "..", ".."},
}

// Size is how large a word is drawn.
type Size int

// The sizes, by the rows they take.
const (
	Low  Size = iota // 3 rows: two dots to a row, one column to a dot
	Tall             // 5 rows: one row and two columns to a dot
	Huge             // 10 rows: two rows and four columns to a dot
)

// Rows returns the rows that a size takes.
func Rows(s Size) int {
	switch s {
	case Tall:
		return dots
	case Huge:
		return 2 * dots
	}
	return (dots + 1) / 2
}

// Width returns the columns that word takes.
func Width(word string, s Size) int {
	n := 0
	for _, r := range strings.ToUpper(word) {
		n += letterWidth(r, s) + gap(s)
	}
	return max(n-gap(s), 0)
}

func letterWidth(r rune, s Size) int {
	n := len(pattern(r)[0])
	switch s {
	case Tall:
		return 2 * n
	case Huge:
		return 4 * n
	}
	return n
}

func gap(s Size) int {
	switch s {
	case Tall:
		return 2
	case Huge:
		return 4
	}
	return 1
}

func pattern(r rune) [dots]string {
	if p, known := patterns[r]; known {
		return p
	}
	return patterns['-']
}

// Draw draws word at x, y and returns the column after it. On an ASCII canvas
// the low size, which needs half blocks, is the word itself spread out.
func Draw(c canvas.Canvas, x, y int, style canvas.Style, word string, s Size) int {
	word = strings.ToUpper(word)
	if c.ASCII() && s == Low {
		return drawSpread(c, x, y, style, word)
	}
	for _, r := range word {
		p := pattern(r)
		switch s {
		case Low:
			drawHalf(c, x, y, style, p)
		case Tall:
			drawBlock(c, x, y, style, p, 2, 1)
		default:
			drawBlock(c, x, y, style, p, 4, 2)
		}
		x += letterWidth(r, s) + gap(s)
	}
	return x
}

// drawHalf puts two dots into a row.
func drawHalf(c canvas.Canvas, x, y int, style canvas.Style, p [dots]string) {
	for row := 0; row < dots; row += 2 {
		for col := range p[row] {
			upper, lower := p[row][col] == '#', row+1 < dots && p[row+1][col] == '#'
			switch {
			case upper && lower:
				c.Put(x+col, y+row/2, style, "█")
			case upper:
				c.Put(x+col, y+row/2, style, "▀")
			case lower:
				c.Put(x+col, y+row/2, style, "▄")
			}
		}
	}
}

// drawBlock draws every dot across columns and rows.
func drawBlock(c canvas.Canvas, x, y int, style canvas.Style, p [dots]string, across, down int) {
	for row := range p {
		for col, dot := range p[row] {
			if dot != '#' {
				continue
			}
			for d := 0; d < down; d++ {
				c.Put(x+col*across, y+row*down+d, style, strings.Repeat("█", across))
			}
		}
	}
}

// drawSpread frames the word between two lines, in the width that the drawn
// letters would have taken.
func drawSpread(c canvas.Canvas, x, y int, style canvas.Style, word string) int {
	w := max(Width(word, Low), 2*len(word)+1)
	rule := strings.Repeat("=", w)
	c.Put(x, y, style, rule)
	c.Put(x, y+2, style, rule)
	spread := strings.Join(strings.Split(word, ""), " ")
	c.Put(x+(w-len(spread))/2, y+1, style, spread)
	return x + w + 1
}
