package wire

import (
	"fmt"
	"strconv"
	"strings"
)

// Channels beside the igniters'.
const (
	ChannelBattery      = 90
	ChannelBus          = 91
	ChannelBehindKey    = 92
	ChannelBehindPermit = 93
)

// Error is one entry of the error queue; the zero value is no error.
type Error struct {
	Code int
	Text string
}

// The errors of a ground box.
var (
	ErrHeader    = Error{-113, "Undefined header"}
	ErrMissing   = Error{-109, "Missing parameter"}
	ErrRange     = Error{-222, "Data out of range"}
	ErrConflict  = Error{-221, "Settings conflict"}
	ErrLong      = Error{-363, "Input buffer overrun"}
	ErrQueueFull = Error{-350, "Queue overflow"}
	NoError      = Error{0, "No error"}
)

// Error makes it an error of Go.
func (e Error) Error() string { return fmt.Sprintf("box error %d %q", e.Code, e.Text) }

// Wire returns the entry as SYSTem:ERRor? answers it.
func (e Error) Wire() string {
	return strconv.Itoa(e.Code) + `,"` + strings.ReplaceAll(e.Text, `"`, `""`) + `"`
}

// ParseError reads an answer to SYSTem:ERRor?: number,"text".
func ParseError(line string) (Error, error) {
	num, text, found := strings.Cut(strings.TrimSpace(line), ",")
	code, err := strconv.Atoi(strings.TrimSpace(num))
	text = strings.TrimSpace(text)
	if !found || err != nil || code < -32768 || code > 32767 || len(text) < 2 || text[0] != '"' || text[len(text)-1] != '"' {
		return Error{}, fmt.Errorf("wire: %q is not an answer to SYST:ERR?", clip(line))
	}
	inner := text[1 : len(text)-1]
	if strings.Contains(strings.ReplaceAll(inner, `""`, ""), `"`) {
		return Error{}, fmt.Errorf("wire: %q is not an answer to SYST:ERR?", clip(line))
	}
	return Error{Code: code, Text: strings.ReplaceAll(inner, `""`, `"`)}, nil
}

// Command is a line to the box, taken apart.
type Command struct {
	Header string // as sent, without a leading colon and without the question mark
	Query  bool
	Params []string // trimmed; nil without any
}

// ParseCommand takes a line apart. It does not know any header; text that can
// be no header gives an empty one, which matches nothing.
func ParseCommand(line string) Command {
	line = strings.TrimSpace(line)
	head, rest := line, ""
	if i := strings.IndexAny(line, " \t"); i >= 0 {
		head, rest = line[:i], strings.TrimSpace(line[i:])
	}
	var c Command
	c.Header, c.Query = strings.CutSuffix(head, "?")
	c.Header = strings.TrimPrefix(c.Header, ":")
	if rest != "" {
		c.Params = splitParams(rest)
	}
	return c
}

// splitParams cuts at commas outside parentheses.
func splitParams(s string) []string {
	var out []string
	depth, start := 0, 0
	for i := range len(s) {
		switch s[i] {
		case '(':
			depth++
		case ')':
			depth--
		case ',':
			if depth <= 0 {
				out = append(out, strings.TrimSpace(s[start:i]))
				start = i + 1
			}
		}
	}
	return append(out, strings.TrimSpace(s[start:]))
}

// Match reports whether header is the pattern in short or long form, in any
// case. The pattern's upper-case letters are the short form: OUTPut:PERMit
// matches OUTP:PERM, output:permit and OUTP:PERMIT, and nothing between.
func Match(pattern, header string) bool {
	for {
		p, prest, pmore := strings.Cut(pattern, ":")
		h, hrest, hmore := strings.Cut(header, ":")
		if !matchWord(p, h) || pmore != hmore {
			return false
		}
		if !pmore {
			return true
		}
		pattern, header = prest, hrest
	}
}

func matchWord(pattern, word string) bool {
	short := strings.TrimRight(pattern, "abcdefghijklmnopqrstuvwxyz")
	return asciiEqualFold(word, pattern) || asciiEqualFold(word, short)
}

// asciiEqualFold folds A to Z only: strings.EqualFold would take the Kelvin
// sign for a k.
func asciiEqualFold(a, b string) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range len(a) {
		if upper(a[i]) != upper(b[i]) {
			return false
		}
	}
	return true
}

func upper(c byte) byte {
	if c >= 'a' && c <= 'z' {
		return c - 'a' + 'A'
	}
	return c
}

// maxListed bounds a channel list with repeats.
const maxListed = 64

// ParseChannels reads a channel list such as (@1), (@1,3) or (@1:4), in the
// order given; repeats and spaces are allowed, falling ranges are not.
// Numbers are 1 to 99.
func ParseChannels(text string) ([]int, error) {
	s := strings.TrimSpace(text)
	s, open := strings.CutPrefix(s, "(")
	s, shut := strings.CutSuffix(s, ")")
	s, at := strings.CutPrefix(strings.TrimSpace(s), "@")
	if !open || !shut || !at {
		return nil, fmt.Errorf("wire: %q is no channel list", clip(text))
	}
	var list []int
	for _, part := range strings.Split(s, ",") {
		from, to, isRange := strings.Cut(part, ":")
		lo, err := parseChannel(from)
		hi := lo
		if err == nil && isRange {
			hi, err = parseChannel(to)
		}
		if err != nil || hi < lo {
			return nil, fmt.Errorf("wire: %q is no channel or rising range", clip(part))
		}
		for c := lo; c <= hi; c++ {
			list = append(list, c)
		}
		if len(list) > maxListed {
			return nil, fmt.Errorf("wire: more than %d channels in a list", maxListed)
		}
	}
	return list, nil
}

func parseChannel(text string) (int, error) {
	text = strings.TrimSpace(text)
	v, err := strconv.ParseUint(text, 10, 8)
	if err != nil || v < 1 || v > 99 {
		return 0, fmt.Errorf("wire: %q is no channel", clip(text))
	}
	return int(v), nil
}

// ParseToken reads a session token: 8 hex digits, any case. The result is in
// upper case.
func ParseToken(text string) (string, error) {
	if len(text) != 8 || strings.Trim(text, "0123456789abcdefABCDEF") != "" {
		return "", fmt.Errorf("wire: %q is not a token of 8 hex digits", clip(text))
	}
	return strings.ToUpper(text), nil
}

// Identity is an answer to *IDN?.
type Identity struct {
	Maker, Model, Serial, Version string
}

// Practice reports the model of a practice box.
func (id Identity) Practice() bool { return id.Model == "PRACTICE" }

// String is the answer's own text.
func (id Identity) String() string {
	return strings.Join([]string{id.Maker, id.Model, id.Serial, id.Version}, ",")
}

// ParseIdentity reads maker,model,serial number,version. Every field but the
// serial number must have text.
func ParseIdentity(line string) (Identity, error) {
	f := strings.Split(line, ",")
	if len(f) != 4 {
		return Identity{}, fmt.Errorf("wire: identity %q has %d fields, want 4", clip(line), len(f))
	}
	for i := range f {
		f[i] = strings.TrimSpace(f[i])
	}
	if f[0] == "" || f[1] == "" || f[3] == "" {
		return Identity{}, fmt.Errorf("wire: identity %q has an empty field", clip(line))
	}
	return Identity{Maker: f[0], Model: f[1], Serial: f[2], Version: f[3]}, nil
}
