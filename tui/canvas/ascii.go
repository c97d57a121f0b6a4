package canvas

import (
	"strings"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// spelled are the characters that the cockpit draws with, as ASCII has them.
// Those that stand in a drawing take one column on both sides.
var spelled = map[rune]string{
	'\u00a0': " ", '┃': "|", '│': "|", '┆': ":", '╱': "/", '╲': "\\", '╹': "|", '╻': "|", '┳': "+", '┻': "+", '┣': "+", '┫': "+",
	'━': "-", '─': "-", '┄': ".", '╌': ".", '┅': ".", '┼': "+", '┬': "+", '┴': "+", '├': "+", '┤': "+", '╋': "+",
	'┏': "+", '┓': "+", '┗': "+", '┛': "+", '┌': "+", '┐': "+", '└': "+", '┘': "+", '╍': ".", '╸': "-", '╺': "-",
	'●': "*", '○': "o", '◐': "|", '◓': "/", '◑': "-", '◒': "\\", '◆': "X", '◇': "x", '▲': "^", '▼': "v", '△': "^",
	'▸': ">", '▷': ">", '▶': ">", '═': "=", '╪': "=", '⋯': "~", '╾': "-", '╼': "-", '◖': "(", '◗': ")", '╭': "+", '╮': "+", '╰': "+", '╯': "+", '◂': "<", '▏': "_", '▎': "|", '▍': "|", '▌': "|", '▋': "|", '▊': "#", '▉': "#", '█': "#", '▐': "|",
	'▀': "\"", '▄': "_", '░': ".", '▒': ":", '▓': "#", '▰': "#", '▱': "-", '■': "#", '□': "o", '·': "-", '•': "*",
	'…': "~", '–': "-", '—': "-", '−': "-", '±': "+-", '×': "x", '→': ">", '←': "<", '↑': "^", '↓': "v", '⇥': ">",
	'≥': ">=", '≤': "<=", '≠': "!=", '°': "deg", 'Ω': "ohm", 'µ': "u", 'μ': "u", '’': "'", '‘': "'", '“': "\"", '”': "\"",
	'✓': "+", '✗': "x", '⚑': "!", '⏎': "enter", '²': "2", '³': "3", '½': "1/2", '⟂': "_", '┊': ":", '╎': ":", '╿': "|",
}

// ASCII returns text in ASCII alone: the drawing characters by their likes,
// letters without their marks, everything else as a question mark.
func ASCII(text string) string {
	plain := true
	for i := 0; i < len(text); i++ {
		plain = plain && text[i] < utf8.RuneSelf
	}
	if plain {
		return text
	}
	var b strings.Builder
	for _, r := range text {
		switch s, known := spelled[r]; {
		case r < utf8.RuneSelf:
			b.WriteRune(r)
		case known:
			b.WriteString(s)
		case r >= 0x2800 && r <= 0x28ff:
			b.WriteString(brailleASCII(r))
		default:
			b.WriteString(letterASCII(r))
		}
	}
	return b.String()
}

// brailleASCII stands for a cell of a dotted drawing.
func brailleASCII(r rune) string {
	switch dots := r - 0x2800; {
	case dots == 0:
		return " "
	case dots&0x1b == 0: // the lower half only: dots 3, 6, 7, 8
		return "."
	case dots&0xe4 == 0: // the upper half only
		return "'"
	}
	return ":"
}

// letterASCII returns a letter without its marks.
func letterASCII(r rune) string {
	if d, _ := utf8.DecodeRuneInString(norm.NFD.String(string(r))); d < utf8.RuneSelf {
		return string(d)
	}
	if r >= 0x300 && r < 0x370 { // a mark by itself
		return ""
	}
	return "?"
}
