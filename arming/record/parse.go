package record

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
)

// ErrTorn says that the last line has no newline: writing it was cut short.
var ErrTorn = errors.New("last line is incomplete")

// ChainError says that a line does not name the hash of the line before it:
// one of the two was changed, or a line is missing between them.
type ChainError struct {
	Seq  int64 // sequence number that the line at Line claims
	Line int   // 1 for the first
	Want Hash  // hash of the line before, as it stands
	Got  Hash  // hash that the line names
}

func (e *ChainError) Error() string {
	return fmt.Sprintf("record: line %d: names %s as the hash of line %d, which is %s now: line %d or %d was changed",
		e.Line, e.Got, e.Line-1, e.Want, e.Line-1, e.Line)
}

// FormatError says that a line is not what the format wants there.
type FormatError struct {
	Line   int
	Reason string
	Hash   Hash  // of the line as it stands
	Named  *Hash // hash that the next line names for it, nil when there is none to read
}

func (e *FormatError) Error() string {
	s := fmt.Sprintf("record: line %d: %s", e.Line, e.Reason)
	if e.Named != nil && *e.Named != e.Hash {
		s += fmt.Sprintf(": its hash is %s, the next line names %s", e.Hash, *e.Named)
	}
	return s
}

// VersionError says that the record is of a format or a format version that
// this program does not read.
type VersionError struct {
	Format  string
	Version int64
}

func (e *VersionError) Error() string {
	return fmt.Sprintf("record: format %q version %d, this program reads %q version %d", e.Format, e.Version, Format, Version)
}

// Log is a parsed record, as far as it could be read.
type Log struct {
	Header    Header
	Entries   []Entry
	Last      Hash     // of the last good line, zero when there is none
	GoodBytes int64    // length of all good lines with their newlines
	Torn      []byte   // incomplete last line, nil for none
	Closing   *Closing // nil while the record is open
	Recovered int      // how often it was taken up again after a stop
}

// Closed reports whether the record has its last line.
func (l *Log) Closed() bool { return l.Closing != nil }

// Parse reads a whole record. The Log is never nil and tells how far it got:
// everything in it is good. The error is nil, or wraps ErrTorn, or is a
// *ChainError, a *FormatError or a *VersionError. An open record, one without
// its closing line, is no error.
func Parse(data []byte) (*Log, error) {
	l := &Log{}
	if len(data) == 0 {
		return l, fmt.Errorf("record: line 1: %w: the file is empty", ErrTorn)
	}
	l.Entries = make([]Entry, 0, bytes.Count(data, []byte("\n")))
	for rest := data; len(rest) > 0; {
		line, after, whole := bytes.Cut(rest, []byte("\n"))
		if !whole {
			l.Torn = bytes.Clone(rest)
			return l, fmt.Errorf("record: line %d: %w: %d bytes without a newline", len(l.Entries)+1, ErrTorn, len(rest))
		}
		if err := l.add(line); err != nil {
			var fe *FormatError
			if errors.As(err, &fe) {
				fe.Named = namedBy(after)
			}
			return l, err
		}
		l.GoodBytes += int64(len(line)) + 1
		rest = after
	}
	return l, nil
}

// add checks one more line and takes it in.
func (l *Log) add(line []byte) error {
	n := len(l.Entries) + 1
	bad := func(format string, args ...any) error {
		return &FormatError{Line: n, Reason: fmt.Sprintf(format, args...), Hash: HashLine(line)}
	}
	if n == 1 {
		if err := checkVersion(line); err != nil {
			return err
		}
	}
	e, err := decodeEntry(line)
	if err != nil {
		return bad("%v", err)
	}
	if e.Prev != l.Last {
		if n == 1 {
			return bad("first line names %s as the line before it, want zeros", e.Prev)
		}
		return &ChainError{Seq: e.Seq, Line: n, Want: l.Last, Got: e.Prev}
	}
	if e.Seq != int64(n) {
		return bad("sequence number %d, want %d", e.Seq, n)
	}
	if l.Closed() {
		return bad("entry %q after the closing line", e.Kind)
	}
	if (e.Kind == KindOpen) != (n == 1) {
		return bad("entry %q, want %q first and only there", e.Kind, KindOpen)
	}
	if err := l.addBody(e); err != nil {
		return bad("%s: %v", e.Kind, err)
	}
	l.Entries = append(l.Entries, e)
	l.Last = HashLine(line)
	return nil
}

// addBody reads the bodies that the record itself gives a meaning.
func (l *Log) addBody(e Entry) error {
	switch e.Kind {
	case KindOpen:
		var h Header
		if err := decodeStrict(e.Body, &h); err != nil {
			return err
		}
		if err := h.check(); err != nil {
			return err
		}
		l.Header = h
	case KindClose:
		var c Closing
		if err := decodeStrict(e.Body, &c); err != nil {
			return err
		}
		if err := c.check(); err != nil {
			return err
		}
		l.Closing = &c
	case KindRecovered:
		var r Recovered
		if err := decodeStrict(e.Body, &r); err != nil {
			return err
		}
		if err := r.check(); err != nil {
			return err
		}
		l.Recovered++
	}
	return nil
}

// checkVersion looks at format and version of the first line alone, so that a
// later format is called that and not a damaged record.
func checkVersion(line []byte) error {
	var first struct {
		Body struct {
			Format  string `json:"format"`
			Version int64  `json:"version"`
		} `json:"body"`
	}
	if err := json.Unmarshal(line, &first); err != nil || first.Body.Format == "" {
		return nil // decodeEntry says what is wrong
	}
	if first.Body.Format != Format || first.Body.Version != Version {
		return &VersionError{Format: first.Body.Format, Version: first.Body.Version}
	}
	return nil
}

// namedBy returns the hash that the first line of rest names as its
// predecessor's, when it is good enough to be read.
func namedBy(rest []byte) *Hash {
	line, _, whole := bytes.Cut(rest, []byte("\n"))
	if !whole {
		return nil
	}
	e, err := decodeEntry(line)
	if err != nil {
		return nil
	}
	return &e.Prev
}
