package export

import (
	"bytes"
	"fmt"
	"strings"
	"sync"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
)

// newDoc is an empty document with its two faces. Its dates are fixed, so that
// the same page gives the same bytes.
func newDoc() *fpdf.Fpdf {
	doc := fpdf.NewCustom(&fpdf.InitType{UnitStr: "pt", Size: fpdf.SizeType{Wd: paperWidth, Ht: paperHeight}})
	doc.SetCatalogSort(true)
	epoch := time.Unix(0, 0).UTC()
	doc.SetCreationDate(epoch)
	doc.SetModificationDate(epoch)
	doc.SetMargins(0, 0, 0)
	doc.SetAutoPageBreak(false, 0)
	doc.AddUTF8FontFromBytes("go", "", goregular.TTF)
	doc.AddUTF8FontFromBytes("go", "B", gobold.TTF)
	return doc
}

// measure knows how wide a text is.
type measure struct {
	doc  *fpdf.Fpdf
	face *sfnt.Font
	has  map[rune]bool // characters that the face has a sign for
}

var loadFace = sync.OnceValues(func() (*sfnt.Font, error) { return sfnt.Parse(goregular.TTF) })

func newMeasure() (*measure, error) {
	face, err := loadFace()
	if err != nil {
		return nil, fmt.Errorf("export: pdf: %w", err)
	}
	m := &measure{doc: newDoc(), face: face, has: map[rune]bool{}}
	if err := m.doc.Error(); err != nil {
		return nil, fmt.Errorf("export: pdf: %w", err)
	}
	return m, nil
}

func style(bold bool) string {
	if bold {
		return "B"
	}
	return ""
}

func (m *measure) width(text string, size float64, bold bool) float64 {
	m.doc.SetFont("go", style(bold), size)
	return m.doc.GetStringWidth(m.known(text))
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
	}, plain(text))
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

// draw writes the pages.
func (l *layout) draw() ([]byte, error) {
	l.frame()
	doc := newDoc()
	doc.SetTitle(l.m.known(l.Kind()+": "+l.Title), true)
	doc.SetLineJoinStyle("round")
	for n := 1; n <= l.pages; n++ {
		doc.AddPage()
		for _, o := range l.ops {
			if o.page != n {
				continue
			}
			if o.text != "" {
				grey := 0
				if o.white {
					grey = 255
				}
				doc.SetTextColor(grey, grey, grey)
				doc.SetFont("go", style(o.bold), o.size)
				doc.Text(o.x, o.y, l.m.known(o.text))
				continue
			}
			drawPath(doc, o)
		}
	}
	var b bytes.Buffer
	if err := doc.Output(&b); err != nil {
		return nil, fmt.Errorf("export: pdf: %w", err)
	}
	return b.Bytes(), nil
}

func drawPath(doc *fpdf.Fpdf, o op) {
	how := ""
	if o.fill >= 0 {
		grey := int(255 * o.fill)
		doc.SetFillColor(grey, grey, grey)
		how = "F"
	}
	if o.width > 0 {
		doc.SetDrawColor(0, 0, 0)
		doc.SetLineWidth(o.width)
		doc.SetDashPattern(o.dash, 0)
		how += "D"
	}
	for i, p := range o.points {
		if i == 0 {
			doc.MoveTo(p[0], p[1])
		} else {
			doc.LineTo(p[0], p[1])
		}
	}
	if len(o.points) > 2 && o.fill >= 0 || len(o.points) == 4 {
		doc.ClosePath()
	}
	doc.DrawPath(how)
}
