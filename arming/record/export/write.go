package export

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"holdline/arming"
	"holdline/checklist/sheet/unit"
)

// Endings are the file name endings that Write knows.
var Endings = []string{".pdf", ".md", ".json", ".csv"}

// Known reports whether Write knows the ending of a file name.
func Known(fileName string) bool {
	return slices.Contains(Endings, strings.ToLower(filepath.Ext(fileName)))
}

// Write returns the document in the format that a file name's ending asks for.
// sys is the system of units that people read; JSON and CSV are SI.
func Write(d *Document, fileName string, sys unit.System) ([]byte, error) {
	switch ending := strings.ToLower(filepath.Ext(fileName)); ending {
	case ".pdf":
		return PDF(d, sys)
	case ".md":
		return Markdown(d, sys), nil
	case ".json":
		return JSON(d)
	case ".csv":
		return CSV(d)
	default:
		return nil, fmt.Errorf("export: %q: ending %q, expected one of %s", fileName, ending, strings.Join(Endings, " "))
	}
}

// JSON returns the document as one indented object.
func JSON(d *Document) ([]byte, error) {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	if err := enc.Encode(struct {
		Kind string `json:"kind"` // PRACTICE or REAL, before all else
		*Document
	}{d.Kind(), d}); err != nil {
		return nil, fmt.Errorf("export: json: %w", err)
	}
	return b.Bytes(), nil
}

// Markdown returns the document as text with tables.
func Markdown(d *Document, sys unit.System) []byte {
	var b strings.Builder
	p := page{Document: d, sys: sys}
	fmt.Fprintf(&b, "# %s: %s\n\n", d.Kind(), escape(d.Title))
	for _, line := range p.banner() {
		fmt.Fprintf(&b, "**%s**\n\n", escape(line))
	}
	for _, line := range p.lead() {
		fmt.Fprintf(&b, "%s\n\n", escape(line))
	}
	for _, bl := range p.blocks() {
		title := bl.title
		if d.Practice {
			title += " (" + d.Kind() + ")"
		}
		fmt.Fprintf(&b, "## %s\n\n", escape(title))
		for _, line := range bl.lines {
			fmt.Fprintf(&b, "- %s\n", escape(line))
		}
		if len(bl.lines) > 0 {
			b.WriteByte('\n')
		}
		if len(bl.rows) > 0 {
			row(&b, bl.head)
			row(&b, slices.Repeat([]string{"---"}, len(bl.head)))
			for _, cells := range bl.rows {
				row(&b, cells)
			}
			b.WriteByte('\n')
		}
	}
	fmt.Fprintf(&b, "%s, record %s, last line %s\n", d.Kind(), escape(d.Record), d.LastHash)
	return []byte(b.String())
}

func row(b *strings.Builder, cells []string) {
	b.WriteByte('|')
	for _, c := range cells {
		if c != "---" {
			c = escape(c)
		}
		fmt.Fprintf(b, " %s |", c)
	}
	b.WriteByte('\n')
}

// escape keeps what people typed from being taken for markup.
func escape(text string) string {
	var b strings.Builder
	for _, r := range arming.Plain(text) {
		if strings.ContainsRune("\\`*_[]<>|#~&", r) {
			b.WriteByte('\\')
		}
		b.WriteRune(r)
	}
	return b.String()
}

// csvHead names the columns of the CSV form: one row for one fact.
var csvHead = []string{"practice", "valid", "section", "item", "value", "unit", "low", "high", "text", "by", "means", "at", "age_at_arming_s"}

// CSV returns the document as one table of facts, SI.
func CSV(d *Document) ([]byte, error) {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	valid := "valid"
	if len(d.NotValid) > 0 {
		valid = "NOT VALID"
	}
	rows := [][]string{csvHead}
	for _, f := range facts(d) {
		rows = append(rows, []string{d.Kind(), valid, f.section, cell(f.item), number(f.value), f.Unit, number(f.Low), number(f.High),
			cell(f.text), cell(f.by), f.means, f.at.csv(), number(f.ageS)})
	}
	if err := w.WriteAll(rows); err != nil {
		return nil, fmt.Errorf("export: csv: %w", err)
	}
	return b.Bytes(), nil
}

func (s Stamp) csv() string {
	if s.IsZero() {
		return ""
	}
	return s.UTC().Format("2006-01-02T15:04:05.000Z")
}

func number(v *float64) string {
	if v == nil {
		return ""
	}
	return strconv.FormatFloat(*v, 'g', -1, 64)
}

// cell keeps what people typed from being run as a formula by a spreadsheet.
func cell(text string) string {
	text = arming.Plain(text)
	if text != "" && strings.ContainsRune("=+-@", rune(text[0])) {
		return "'" + text
	}
	return text
}
