package arming

import (
	"strings"
	"unicode"
)

// Plain makes text from outside one line that a screen only shows: UTF-8, without
// control characters and line ends, and without marks that turn the direction of
// writing round or stand there unseen. The two joiners stay: names need them.
func Plain(text string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case unicode.IsControl(r) || r == '\u2028' || r == '\u2029':
			return ' '
		case unicode.Is(unicode.Cf, r) && r != '\u200c' && r != '\u200d':
			return '\uFFFD'
		}
		return r
	}, strings.ToValidUTF8(text, "\uFFFD"))
}

// Clean makes text from outside fit for an event, an entry of the record and
// the screen: plain, and of a bounded length.
func Clean(text string) string {
	text = Plain(text)
	if runes := []rune(text); len(runes) > 400 {
		text = string(runes[:400])
	}
	return text
}
