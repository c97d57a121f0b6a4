package arming

import (
	"strings"
	"unicode"
)

// Clean makes text from outside fit for an event, an entry of the record and
// the screen: UTF-8, no control characters, of a bounded length.
func Clean(text string) string {
	text = strings.ToValidUTF8(text, "\uFFFD")
	text = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return ' '
		}
		return r
	}, text)
	if runes := []rune(text); len(runes) > 400 {
		text = string(runes[:400])
	}
	return text
}
