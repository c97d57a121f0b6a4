package wire

import "bytes"

// Message is one received message: a line without its ending.
type Message struct {
	Text string
	// Bad says why the message cannot be used: too long, or bytes that are not
	// printable ASCII. Text then holds at most its beginning.
	Bad Fault
}

// Fault is what made a line unusable.
type Fault uint8

// The zero value is a good line.
const (
	FaultNone  Fault = iota
	FaultLong        // longer than the framer's limit: dropped whole
	FaultBytes       // a byte above 127 or a control character
)

// String is part of a sentence: 'a line that is …'.
func (f Fault) String() string {
	switch f {
	case FaultNone:
		return "good"
	case FaultLong:
		return "too long"
	case FaultBytes:
		return "garbled"
	}
	return "unknown"
}

// Limits of a line without its ending, bytes.
const (
	MaxCommandBytes = 255
	MaxAnswerBytes  = 1023
)

// Framer cuts a byte stream into lines. A line ends in LF; a CR before it is
// dropped; empty lines are ignored. A line over the limit is dropped whole and
// reported once, at its end, so that the next line is read whole again. Its
// memory is bounded by the limit.
type Framer struct {
	limit int
	buf   []byte
	long  bool
}

// NewFramer returns a framer for lines of at most limit bytes, at least 1.
func NewFramer(limit int) *Framer {
	return &Framer{limit: max(limit, 1)}
}

// Push takes received bytes and returns the lines that they complete.
func (f *Framer) Push(p []byte) []Message {
	var lines []Message
	for len(p) > 0 {
		i := bytes.IndexByte(p, '\n')
		if i < 0 {
			f.add(p)
			return lines
		}
		f.add(p[:i])
		p = p[i+1:]
		if line, some := f.end(); some {
			lines = append(lines, line)
		}
	}
	return lines
}

// Reset forgets an unfinished line.
func (f *Framer) Reset() {
	f.buf, f.long = f.buf[:0], false
}

// add keeps one byte more than the limit, since the last may be a CR.
func (f *Framer) add(p []byte) {
	if f.long {
		return
	}
	if len(f.buf)+len(p) > f.limit+1 {
		f.long = true
		p = p[:f.limit+1-len(f.buf)]
	}
	f.buf = append(f.buf, p...)
}

func (f *Framer) end() (Message, bool) {
	b, long := f.buf, f.long
	f.buf, f.long = f.buf[:0], false
	if !long && len(b) > 0 && b[len(b)-1] == '\r' {
		b = b[:len(b)-1]
	}
	if long || len(b) > f.limit {
		return Message{Text: string(b[:min(len(b), 32)]), Bad: FaultLong}, true
	}
	if len(b) == 0 {
		return Message{}, false
	}
	line := Message{Text: string(b)}
	for _, c := range b {
		if c > 126 || c < 32 && c != '\t' {
			line.Bad = FaultBytes
		}
	}
	return line, true
}
