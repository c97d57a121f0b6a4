// Package bigtext draws words and figures large enough to be read from two
// metres, from a dot pattern of its own.
package bigtext

import (
	"strings"

	"holdline/tui/canvas"
)

// dots is the height of every pattern.
const dots = 5

// patterns has the letters of the states and the figures, each as five rows of
// dots.
var patterns = map[rune][dots]string{
	'A': {"###", "#.#", "###", "#.#", "#.#"},
	'C': {"###", "#..", "#..", "#..", "###"},
	'D': {"##.", "#.#", "#.#", "#.#", "##."},
	'E': {"###", "#..", "##.", "#..", "###"},
	'F': {"###", "#..", "##.", "#..", "#.."},
	'H': {"#.#", "#.#", "###", "#.#", "#.#"},
	'I': {"###", ".#.", ".#.", ".#.", "###"},
	'K': {"#.#", "#.#", "##.", "#.#", "#.#"},
	'L': {"#..", "#..", "#..", "#..", "###"},
	'M': {"#...#", "##.##", "#.#.#", "#...#", "#...#"},
	'N': {"#..#", "##.#", "#.##", "#..#", "#..#"},
	'O': {"###", "#.#", "#.#", "#.#", "###"},
	'P': {"###", "#.#", "###", "#..", "#.."},
	'R': {"###", "#.#", "##.", "#.#", "#.#"},
	'S': {"###", "#..", "###", "..#", "###"},
	'T': {"###", ".#.", ".#.", ".#.", ".#."},
	'U': {"#.#", "#.#", "#.#", "#.#", "###"},
	'W': {"#...#", "#...#", "#.#.#", "##.##", "#...#"},
	'Y': {"#.#", "#.#", ".#.", ".#.", ".#."},
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
}

// Size is how large a word is drawn.
type Size int

// The sizes, by the rows they take.
const (
	Low  Size = iota // 3 rows: two dots to a row, one column to a dot
	Tall             // 5 rows: one row and two columns to a dot
	Huge             // 10 rows: two rows and four columns to a dot
)

// dot is how large one dot is drawn, and how far letters stand apart.
type dot struct{ across, down, gap int }

var dotOf = [...]dot{Low: {1, 0, 1}, Tall: {2, 1, 2}, Huge: {4, 2, 4}}

// Rows returns the rows that a size takes.
func Rows(s Size) int {
	if s == Low {
		return (dots + 1) / 2
	}
	return dots * dotOf[s].down
}

// Width returns the columns that word takes.
func Width(word string, s Size) int {
	n := 0
	for _, r := range strings.ToUpper(word) {
		n += advance(r, s)
	}
	return max(n-dotOf[s].gap, 0)
}

// advance is how far a letter moves the next one on.
func advance(r rune, s Size) int { return len(pattern(r)[0])*dotOf[s].across + dotOf[s].gap }

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
		if s == Low {
			drawHalf(c, x, y, style, pattern(r))
		} else {
			drawBlock(c, x, y, style, pattern(r), dotOf[s])
		}
		x += advance(r, s)
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
func drawBlock(c canvas.Canvas, x, y int, style canvas.Style, p [dots]string, d dot) {
	for row := range p {
		for col, mark := range p[row] {
			for k := 0; mark == '#' && k < d.down; k++ {
				c.Put(x+col*d.across, y+row*d.down+k, style, strings.Repeat("█", d.across))
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
