package record

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"time"
)

// timeLayout is RFC 3339 in UTC with six fraction digits, always, so that
// entries sort as text.
const timeLayout = "2006-01-02T15:04:05.000000Z"

// MaxLine is the most bytes a line may have, without its newline.
const MaxLine = 1 << 20

// The kinds that the record itself gives a meaning. All other kinds belong to
// the caller.
const (
	KindOpen      = "open"      // first line, body Header
	KindClose     = "close"     // last line, body Closing
	KindRecovered = "recovered" // a stopped record was taken up again, body Recovered
)

// Entry is one line of a record.
type Entry struct {
	Seq    int64           // 1 for the first line, then one more each
	Time   time.Time       // wall clock, UTC, whole microseconds; may step back
	MonoUS int64           // microseconds since the session's start, by its monotonic clock
	Kind   string          // what happened: a to z, 0 to 9, '-', a letter first, 64 at most
	Body   json.RawMessage // a JSON object in canonical form
	Prev   Hash            // HashLine of the line before; zero for the first
}

// Encode returns the one canonical line of e, without a newline. The body is
// brought into canonical form; everything else must be right already.
func (e Entry) Encode() ([]byte, error) {
	body, err := canonicalBody(e.Body)
	if err != nil {
		return nil, fmt.Errorf("record: entry %d: %w", e.Seq, err)
	}
	line, err := e.encode(body)
	if err != nil {
		return nil, fmt.Errorf("record: entry %d: %w", e.Seq, err)
	}
	return line, nil
}

// encode writes the members in the order of RFC 8785. Every value but the
// body is made of characters that need no escape.
func (e Entry) encode(canonical []byte) ([]byte, error) {
	if err := e.check(); err != nil {
		return nil, err
	}
	line := make([]byte, 0, len(canonical)+len(e.Kind)+192)
	line = append(line, `{"body":`...)
	line = append(line, canonical...)
	line = append(line, `,"kind":"`...)
	line = append(line, e.Kind...)
	line = append(line, `","mono_us":`...)
	line = strconv.AppendInt(line, e.MonoUS, 10)
	line = append(line, `,"prev":"`...)
	line = append(line, e.Prev.String()...)
	line = append(line, `","seq":`...)
	line = strconv.AppendInt(line, e.Seq, 10)
	line = append(line, `,"time":"`...)
	line = e.Time.UTC().AppendFormat(line, timeLayout)
	line = append(line, `"}`...)
	if len(line) > MaxLine {
		return nil, fmt.Errorf("line of %d bytes, limit %d", len(line), MaxLine)
	}
	return line, nil
}

func (e Entry) check() error {
	if e.Seq < 1 || e.Seq > maxInteger {
		return fmt.Errorf("sequence number %d out of range", e.Seq)
	}
	if e.MonoUS < 0 || e.MonoUS > maxInteger {
		return fmt.Errorf("monotonic offset %d µs out of range", e.MonoUS)
	}
	if y := e.Time.UTC().Year(); y < 1 || y > 9999 {
		return fmt.Errorf("year %d out of range", y)
	}
	return checkKind(e.Kind)
}

func checkKind(kind string) error {
	if kind == "" || len(kind) > 64 || kind[0] < 'a' || kind[0] > 'z' {
		return fmt.Errorf("kind %q: want a letter first, 64 characters at most", kind)
	}
	for i := 0; i < len(kind); i++ {
		if c := kind[i]; (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '-' {
			return fmt.Errorf("kind %q: want a to z, 0 to 9 and '-'", kind)
		}
	}
	return nil
}

type wireEntry struct {
	Body   json.RawMessage `json:"body"`
	Kind   string          `json:"kind"`
	MonoUS int64           `json:"mono_us"`
	Prev   string          `json:"prev"`
	Seq    int64           `json:"seq"`
	Time   string          `json:"time"`
}

var errNotCanonical = errors.New("line is not in its canonical form")

// decodeEntry reads one line without its newline. Only the bytes that Encode
// would give for the same entry are accepted: one entry has one line.
func decodeEntry(line []byte) (Entry, error) {
	if len(line) > MaxLine {
		return Entry{}, fmt.Errorf("line of %d bytes, limit %d", len(line), MaxLine)
	}
	var w wireEntry
	if err := json.Unmarshal(line, &w); err != nil {
		return Entry{}, fmt.Errorf("not a JSON object of an entry: %w", err)
	}
	when, err := time.Parse(timeLayout, w.Time)
	if err != nil {
		return Entry{}, fmt.Errorf("time %q: want the form 2006-01-02T15:04:05.000000Z", w.Time)
	}
	prev, err := ParseHash(w.Prev)
	if err != nil {
		return Entry{}, fmt.Errorf("prev: %w", err)
	}
	canonical, err := canonicalBody(w.Body)
	if err != nil {
		return Entry{}, err
	}
	e := Entry{Seq: w.Seq, Time: when, MonoUS: w.MonoUS, Kind: w.Kind, Body: canonical, Prev: prev}
	again, err := e.encode(canonical)
	if err != nil {
		return Entry{}, err
	}
	if !bytes.Equal(again, line) {
		return Entry{}, errNotCanonical
	}
	return e, nil
}
