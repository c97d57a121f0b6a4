package sheet

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"holdline/sim"
)

// mostCurveBytes is the largest curve file that is read: sim.MaxCurvePoints
// lines of 100 bytes, and as much again for comments.
const mostCurveBytes = 200 * sim.MaxCurvePoints

// mostCurveFaults bounds how many faults one curve file may add.
const mostCurveFaults = 20

// ParseCurve reads a thrust curve: CSV by RFC 4180 with the header
// time_s,thrust_n and one point a line, in seconds and newtons; lines that
// begin with # are comments. name is the file's name for the faults, whose
// lines are the file's own.
//
// The error is a Faults. A file of more than 2,000,000 bytes or 10,000 points
// is refused.
func ParseCurve(name string, data []byte) (*sim.Curve, error) {
	p := curveParser{name: name, data: bytes.TrimPrefix(data, []byte(byteOrderMark))}
	if len(data) > mostCurveBytes {
		p.add(1, 1, "", fmt.Sprintf("a file of more than %d bytes", mostCurveBytes), "a thrust curve of at most 10,000 points")
		return nil, p.faults
	}
	points, lines := p.points()
	if len(p.faults) > 0 {
		return nil, p.faults
	}
	curve, err := sim.NewCurve(points)
	if err != nil {
		p.curveErrors(err, lines)
		return nil, p.faults
	}
	return curve, nil
}

type curveParser struct {
	name   string
	data   []byte
	faults Faults
}

// columns are the names of the two columns, which faults use as keys.
var columns = [2]string{"time_s", "thrust_n"}

func (p *curveParser) add(line, column int, key, found, expected string) {
	switch n := len(p.faults); {
	case n < mostCurveFaults:
		p.faults = append(p.faults, Fault{p.name, line, column, key, found, expected, lineText(p.data, line)})
	case n == mostCurveFaults: // once; it stands for all that follow
		p.faults = append(p.faults, Fault{p.name, line, column, key, "a fault here and perhaps more below, which are not listed", "those above mended first", ""})
	}
}

// points reads header and points, with the line of each point.
func (p *curveParser) points() ([]sim.Point, []int) {
	const header = "the header time_s,thrust_n"
	r := csv.NewReader(bytes.NewReader(p.data))
	r.Comment = '#'
	r.FieldsPerRecord = -1
	r.ReuseRecord = true
	record, err := r.Read()
	switch {
	case errors.Is(err, io.EOF):
		p.add(1, 1, "", "an empty file", header)
		return nil, nil
	case err != nil:
		p.syntax(err)
		return nil, nil
	case len(record) != 2 || strings.TrimSpace(record[0]) != "time_s" || strings.TrimSpace(record[1]) != "thrust_n":
		line, column := r.FieldPos(0)
		p.add(line, column, "", quoteText(strings.Join(record, ",")), header)
		return nil, nil
	}
	var points []sim.Point
	var lines []int
	for {
		record, err := r.Read()
		if errors.Is(err, io.EOF) {
			return points, lines
		}
		if err != nil {
			p.syntax(err)
			return points, lines
		}
		line, _ := r.FieldPos(0)
		if len(points) == sim.MaxCurvePoints {
			p.add(line, 1, "", "one point more", fmt.Sprintf("at most %d points", sim.MaxCurvePoints))
			return points, lines
		}
		if len(record) != 2 {
			p.add(line, 1, "", counted(len(record), "field"), "two fields, time_s and thrust_n, with a comma between them")
			continue
		}
		t, okT := p.number(r, record, 0, "a time in seconds")
		n, okN := p.number(r, record, 1, "a thrust in newtons")
		if okT && okN {
			points, lines = append(points, sim.Point{TimeS: t, ThrustN: n}), append(lines, line)
		}
	}
}

func counted(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// number reads one field. Hexadecimal, underscores, infinities and NaN are not
// numbers here.
func (p *curveParser) number(r *csv.Reader, record []string, field int, expected string) (float64, bool) {
	text := strings.TrimSpace(record[field])
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || strings.Trim(text, "0123456789+-.eE") != "" {
		line, column := r.FieldPos(field)
		p.add(line, column, columns[field], quoteText(record[field]), expected+", such as 0.25")
		return 0, false
	}
	return v, true
}

func (p *curveParser) syntax(err error) {
	var perr *csv.ParseError
	if errors.As(err, &perr) {
		p.add(perr.Line, max(perr.Column, 1), "", "text that is not CSV: "+perr.Err.Error(), "two numbers and a comma")
		return
	}
	p.add(1, 1, "", "text that is not CSV: "+err.Error(), "two numbers and a comma")
}

// curveErrors turns the faults of the curve itself into faults of its lines.
func (p *curveParser) curveErrors(err error, lines []int) {
	for _, one := range unjoin(err) {
		var cerr *sim.CurveError
		line, reason := 1, one.Error()
		if errors.As(one, &cerr) {
			reason = cerr.Reason
			if cerr.Index >= 0 && cerr.Index < len(lines) {
				line = lines[cerr.Index]
			}
		}
		key := ""
		switch {
		case strings.HasPrefix(reason, "time is "):
			key = columns[0]
		case strings.HasPrefix(reason, "thrust is "):
			key = columns[1]
		}
		found, expected := splitReason(reason)
		p.add(line, 1, key, found, expected)
	}
}

// unjoin is the errors that errors.Join put together.
func unjoin(err error) []error {
	if joined, ok := err.(interface{ Unwrap() []error }); ok {
		return joined.Unwrap()
	}
	return []error{err}
}

// splitReason parts "x is 3, expected more" into what was found and expected.
func splitReason(reason string) (found, expected string) {
	for _, cut := range []string{", expected ", ", limit "} {
		if f, e, ok := strings.Cut(reason, cut); ok {
			if cut == ", limit " {
				e = "at most " + e
			}
			return phrase(f), e
		}
	}
	return phrase(reason), "a thrust curve"
}

// phrase makes a noun of "time is 3 s".
func phrase(s string) string {
	for _, what := range []string{"time", "thrust", "total impulse"} {
		if value, ok := strings.CutPrefix(s, what+" is "); ok {
			return "a " + what + " of " + value
		}
	}
	return "that " + s
}
