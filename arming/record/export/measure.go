package export

import (
	"fmt"
	"strings"
	"sync"

	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"

	"holdline/arming"
	"holdline/checklist/prediction/chart"
)

// measure knows how wide a text is.
type measure struct {
	face *sfnt.Font
	has  map[rune]bool // characters that the face has a sign for
}

var loadFace = sync.OnceValues(func() (*sfnt.Font, error) { return sfnt.Parse(goregular.TTF) })

func newMeasure() (*measure, error) {
	face, err := loadFace()
	if err != nil {
		return nil, fmt.Errorf("export: pdf: %w", err)
	}
	return &measure{face: face, has: map[rune]bool{}}, nil
}

func (m *measure) width(text string, size float64, bold bool) float64 {
	return chart.TextWidth(m.known(text), size, bold)
}

// known puts a question mark where the face has no sign for a character, so
// that it is seen that something stands there.
func (m *measure) known(text string) string {
	return strings.Map(func(r rune) rune {
		has, asked := m.has[r]
		if !asked {
			index, err := m.face.GlyphIndex(nil, r)
			has = err == nil && index != 0 && r <= 0xFFFF
			m.has[r] = has
		}
		if !has {
			return '?'
		}
		return r
	}, arming.Plain(text))
}

// longest is how many characters of one text a page takes. Nothing that the
// cockpit lets people type comes near it; a forged line may.
const longest = 4000

// wrap breaks a text into lines of that width, between words where it can.
func (m *measure) wrap(text string, width, size float64, bold bool) []string {
	if runes := []rune(text); len(runes) > longest {
		text = string(runes[:longest]) + "… (cut here; the record has it in full)"
	}
	var out []string
	line := ""
	for _, word := range strings.Fields(m.known(text)) {
		for {
			joined := strings.TrimPrefix(line+" "+word, " ")
			if m.width(joined, size, bold) <= width {
				line = joined
				break
			}
			if line != "" {
				out, line = append(out, line), ""
				continue
			}
			head := m.head(word, width, size, bold)
			out, word = append(out, head), word[len(head):]
			if word == "" {
				break
			}
		}
	}
	if line != "" || len(out) == 0 {
		out = append(out, line)
	}
	return out
}

// head is as much of a word as the width holds, one character at least.
func (m *measure) head(word string, width, size float64, bold bool) string {
	end := 0
	for i, r := range word {
		next := i + len(string(r))
		if end > 0 && m.width(word[:next], size, bold) > width {
			break
		}
		end = next
	}
	return word[:end]
}

// fit cuts a text with an ellipsis to one line.
func (m *measure) fit(text string, width, size float64) string {
	runes := []rune(m.known(text))
	if m.width(string(runes), size, false) <= width {
		return string(runes)
	}
	for len(runes) > 1 && m.width(string(runes)+"…", size, false) > width {
		runes = runes[:len(runes)-1]
	}
	return string(runes) + "…"
}
