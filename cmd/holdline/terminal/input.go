package terminal

import (
	"bytes"
	"os"
	"slices"
	"time"
)

// pasteQuiet ends a paste whose end does not come.
const pasteQuiet = 300 * time.Millisecond

// Marks of a bracketed paste.
var pasteStart, pasteEnd = []byte("\x1b[200~"), []byte("\x1b[201~")

// Input is the terminal as Bubble Tea is to read it. Bubble Tea hands a paste
// on when its end has come, and until then nothing at all. Here it gets what
// has come of a paste at once, as a paste of its own, so that a space in it is
// seen, and ctrl+c ahead of it. Keys that fill a whole read are no person's
// typing and count as a paste, so that a space behind them need not wait for each.
type Input struct {
	*os.File
	pastes pastes
}

// NewInput reads from f.
func NewInput(f *os.File) *Input { return &Input{File: f} }

// pasteRoom is more than pastes.take adds.
const pasteRoom = 32

// Read implements io.Reader, for a b of more than pasteRoom bytes.
func (t *Input) Read(b []byte) (int, error) {
	raw := make([]byte, len(b)-pasteRoom)
	n, err := t.File.Read(raw)
	return copy(b, t.pastes.take(time.Now(), raw[:n], n == len(raw))), err
}

// pastes knows whether what comes belongs to a paste.
type pastes struct {
	open bool
	mark []byte // the beginning of a mark, at the end of what came last
	last time.Time
}

// take returns what Bubble Tea gets for bytes that were read together; full says
// that they filled the read.
func (p *pastes) take(now time.Time, raw []byte, full bool) (out []byte) {
	if now.Sub(p.last) >= pasteQuiet {
		p.open, p.mark = false, nil
	}
	p.last = now
	data, given := slices.Concat(p.mark, raw), len(p.mark)
	if p.open {
		given = 0 // the beginning of an end was kept back, that of a start was not
	}
	p.open, p.mark = p.open || full, nil
	for len(data) > 0 {
		mark := pasteStart
		if p.open {
			mark = pasteEnd
		}
		piece, rest, found := bytes.Cut(data, mark)
		if !found {
			p.mark = begun(data, mark)
		}
		if p.open {
			out = appendPaste(out, piece[:len(piece)-len(p.mark)])
		} else if len(piece) > given {
			out = append(out, piece[given:]...)
		}
		p.open = p.open != found
		data, given = rest, 0
	}
	return out
}

// begun is the end of data that may be the beginning of the mark.
func begun(data, mark []byte) []byte {
	for n := min(len(data), len(mark)-1); n > 0; n-- {
		if bytes.HasSuffix(data, mark[:n]) {
			return mark[:n]
		}
	}
	return nil
}

// appendPaste adds a piece of a paste, ctrl+c and ctrl+space ahead of it: in a
// paste Bubble Tea knows no keys.
func appendPaste(out, piece []byte) []byte {
	isKey := func(c byte) bool { return c == 0x03 || c == 0 }
	for _, c := range piece {
		if isKey(c) {
			out = append(out, c)
		}
	}
	return slices.Concat(out, pasteStart, slices.DeleteFunc(slices.Clone(piece), isKey), pasteEnd)
}
