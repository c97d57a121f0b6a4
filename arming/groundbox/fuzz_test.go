package groundbox

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"holdline/arming/groundbox/wire"
)

// FuzzLink lets the bytes of a box be anything: each answer is spoiled as the
// input says, and right again when the input is used up. The whole link runs in
// time of its own, so that a minute of it takes milliseconds. What must hold:
// nothing is reported that was not sent, ON follows only a good snapshot that
// allows it and once for a number, and the link finds its way back.
func FuzzLink(f *testing.F) {
	f.Add([]byte{}, false)
	f.Add([]byte("\x00\x00\x00\x00\x00\x00\x00\x01\x05boot\n\x02\x09garbage!\n\x03\x04\xff\xfe\n\n"), true)
	f.Add([]byte("\x00\x00\x00\x00\x00\x00\x00\x00\x04\x04\x04\x00\x05\x05\x06\x06\x06\x06\x06\x00\x07\x10\x01\x07\x03\x80"), true)
	f.Add([]byte("\x0b\x07\x0c\x0d\x0e\x0f\x09\x0a\x08\x00\x00\x0b\x00\x0b"), true)
	f.Add([]byte("\x00\x00\x00\x00\x00\x00\x0b"), true)
	f.Add([]byte("\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x0b\x00\x00"), true)
	f.Add([]byte("\x00\x00\x00\x00\x00\x00\x00\x00\x07\x09\x01\x00"), false)
	f.Add([]byte("\x03\x071999.0\n\x02\x071999.0\n\x01\x071999.0\n\x06\x06\x06"), false)
	f.Add([]byte("\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x08\x00\x09\x00\x0a\x00\x0c\x00\x0d\x00"), true)
	f.Fuzz(func(t *testing.T, input []byte, grant bool) {
		if len(input) > 256 {
			return // longer ones only say the same again
		}
		synctest.Test(t, func(t *testing.T) { fuzzLink(t, input, grant) })
	})
}

func fuzzLink(t *testing.T, input []byte, grant bool) {
	box := &fuzzedBox{input: input, formed: map[string]bool{}}
	link := Open(Config{Dial: box.dial, Port: "the port", RequirePractice: true, WantChannels: 4})
	var over sync.WaitGroup
	quit := make(chan struct{})
	if grant {
		over.Go(func() {
			for {
				link.Permit(Grant{Number: 1, Until: time.Now().Add(200 * time.Millisecond)})
				select {
				case <-quit:
					return
				case <-time.After(50 * time.Millisecond):
				}
			}
		})
	}
	w := &fuzzWatch{t: t, box: box}
	// Each byte of the input costs a question at most, and each question with
	// all that can follow it less than 5 s.
	limit := time.After(time.Minute + time.Duration(len(input))*5*time.Second)
	for w.goodAfter < 3 {
		select {
		case r := <-link.Reports():
			w.take(r)
		case <-limit:
			t.Fatalf("not found back to; the last reports: %v", w.last)
		}
	}
	close(quit)
	over.Wait()
	link.Close()
	box.mu.Lock()
	defer box.mu.Unlock()
	for _, p := range box.problems {
		t.Error(p)
	}
	if box.ons > 1 {
		t.Errorf("%d ON for one number", box.ons)
	}
	if box.permit {
		t.Error("the permit is closed after Close")
	}
}

// fuzzWatch looks at what the link reports.
type fuzzWatch struct {
	t         *testing.T
	box       *fuzzedBox
	connected bool
	have      bool
	sequence  uint16
	goodAfter int // good snapshots in a row after the end of the input
	last      []string
}

func (w *fuzzWatch) take(r Report) {
	if w.last = append(w.last, fmt.Sprintf("%T%+v", r, r)); len(w.last) > 8 {
		w.last = w.last[1:]
	}
	switch r := r.(type) {
	case Connected:
		w.connected, w.have = true, false
		if !r.Identity.Practice() || r.Channels != 4 {
			w.t.Errorf("connected: %+v", r)
		}
	case SnapshotRead:
		if !w.connected {
			w.t.Error("a snapshot without a connection")
		}
		if w.have && r.S.Sequence == w.sequence {
			w.t.Errorf("number %d came twice", r.S.Sequence)
		}
		w.have, w.sequence = true, r.S.Sequence
		if !w.box.sent(&r.S) {
			w.t.Errorf("reported and never sent: %s", r.S.Text())
		}
		if w.box.usedUp() {
			w.goodAfter++
		}
	case Bad:
		w.goodAfter = 0
		if r.Reason == "" || r.InRow < 1 || r.InRow > badInRow {
			w.t.Errorf("bad: %+v", r)
		}
	case Lost:
		w.connected, w.goodAfter = false, 0
		if r.Reason == "" {
			w.t.Error("a loss without a reason")
		}
	}
}

// fuzzedBox answers as its input says.
type fuzzedBox struct {
	mu       sync.Mutex
	input    []byte
	sequence uint16
	permit   bool
	keyOut   bool // in the next snapshot
	events   Event
	ons      int
	formed   map[string]bool // texts of the snapshots that were formed
	stream   strings.Builder // all that was sent on this connection
	newest   wire.Snapshot   // formed last
	problems []string
	pipe     *fuzzPipe
}

func (b *fuzzedBox) dial(context.Context) (io.ReadWriteCloser, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.stream.Reset()
	b.pipe = &fuzzPipe{box: b, data: make(chan []byte, 256), closed: make(chan struct{})}
	return b.pipe, nil
}

func (b *fuzzedBox) usedUp() bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	return len(b.input) == 0
}

// sent tells whether a snapshot was formed, or came out of the input's own
// bytes.
func (b *fuzzedBox) sent(s *Snapshot) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.formed[s.Text()] {
		return true
	}
	for _, line := range strings.Split(b.stream.String(), "\n") {
		for i := range line {
			if got, err := wire.ParseSnapshot(strings.TrimSuffix(line[i:], "\r")); err == nil && got.Text() == s.Text() {
				return true
			}
		}
	}
	return false
}

func (b *fuzzedBox) next() byte {
	if len(b.input) == 0 {
		return 0
	}
	c := b.input[0]
	b.input = b.input[1:]
	return c
}

// raw takes a length and so many bytes from the input; a great length stands
// for more of them than a line may have.
func (b *fuzzedBox) raw() string {
	n := int(b.next())
	if n > 250 {
		return strings.Repeat("#", n*8)
	}
	n = min(n, len(b.input))
	out := string(b.input[:n])
	b.input = b.input[n:]
	return out
}

// line takes one line of the link.
func (b *fuzzedBox) line(p *fuzzPipe, text string) {
	head, rest, _ := strings.Cut(text, " ")
	switch {
	case text == "OUTP:PERM OFF":
		b.permit = false
	case head == "OUTP:PERM" && strings.HasPrefix(rest, "ON,"):
		b.ons++
		b.allowed(text, !b.newest.PermitClosed)
		b.permit = true
	case head == "OUTP:PERM:KEEP":
		b.allowed(text, b.newest.PermitClosed)
	case head == "STAT:EVEN:CLE":
		b.events = 0
	case strings.HasSuffix(head, "?"):
		b.answer(p, b.right(head))
	}
}

// allowed holds ON and KEEP against the snapshot whose number they carry.
func (b *fuzzedBox) allowed(text string, contact bool) {
	s := b.newest
	number := text[strings.LastIndexByte(text, ',')+1:]
	if number != strconv.Itoa(int(s.Sequence)) {
		// Bytes of the input that look like a snapshot may have been believed.
		return
	}
	if !contact || !s.KeyIn || s.Events&tripping&^wire.EventErrors != 0 {
		b.problems = append(b.problems, fmt.Sprintf("%s after %s", text, s.Text()))
	}
}

// right is the answer of a box that is well, or tells of a fault as the input
// wants.
func (b *fuzzedBox) right(head string) string {
	switch head {
	case "*IDN?":
		return "holdline,PRACTICE,0001,1.0\n"
	case "SYST:VERS?":
		return fenceAnswer + "\n"
	case "SYST:OWN?":
		return "1\n"
	case "ROUT:CHAN:COUN?":
		return "4\n"
	case "SENS:RES:CURR?":
		return "0.001\n"
	case "OUTP:PERM:TIM?":
		return "0.5\n"
	case "SYST:ERR?":
		b.events &^= wire.EventErrors
		return "0,\"No error\"\n"
	case "STAT:SNAP?":
		b.sequence++
		s := wire.Snapshot{ReferenceV: wire.Of(2.5 * float64(b.sequence%2)), Practice: true, Sequence: b.sequence, KeyIn: !b.keyOut, PermitClosed: b.permit, Events: b.events,
			Scan:     31 * b.sequence, // no two are alike but for their number
			BatteryV: wire.Of(12), BehindKeyV: wire.Of(12), BehindPermitV: wire.Of(0), BusV: wire.Of(0), ChannelOhm: make([]Reading, 4)}
		if s.PermitClosed {
			s.BehindPermitV = wire.Of(12)
		}
		b.keyOut = false
		b.newest = s
		b.formed[s.Text()] = true
		return s.Text() + "\n"
	}
	return ""
}

// answer sends the right answer, or what the input makes of it.
func (b *fuzzedBox) answer(p *fuzzPipe, right string) {
	switch op := b.next() % 16; op {
	case 1:
		p.send(b.raw() + right)
	case 2:
		p.send(right + b.raw())
	case 3:
		p.send(b.raw())
	case 4: // nothing
	case 5:
		p.later(right, answerTime+10*time.Millisecond)
	case 6:
		p.send(right + right)
	case 7:
		c := []byte(right)
		if at, with := int(b.next()), b.next(); len(c) > 0 {
			c[at%len(c)] ^= with
		}
		p.send(string(c))
	case 8, 9, 10: // told with the next snapshot
		b.events |= []Event{wire.EventWelded, wire.EventRestarted, wire.EventErrors}[op-8]
		p.send(right)
	case 11:
		b.keyOut = true
		p.send(right)
	case 12:
		p.send(strings.TrimSuffix(right, "\n"))
	case 13:
		p.hangUp()
	case 14:
		for _, piece := range strings.SplitAfter(right, ",") {
			p.send(piece)
		}
	case 15:
		p.later(right, time.Duration(b.next())*time.Millisecond)
	default:
		p.send(right)
	}
}

// fuzzPipe is one opening of the fuzzed box's port.
type fuzzPipe struct {
	box    *fuzzedBox
	data   chan []byte
	closed chan struct{}
	once   sync.Once
	rest   string // of a line of the link
	left   []byte // of a piece that was read in part
}

func (p *fuzzPipe) send(text string) {
	if text == "" {
		return
	}
	p.box.stream.WriteString(text)
	select {
	case p.data <- []byte(text):
	default: // what a side that does not read has no room for is lost
	}
}

func (p *fuzzPipe) later(text string, after time.Duration) {
	p.box.stream.WriteString(text)
	go func() {
		select {
		case <-p.closed:
			return
		case <-time.After(after):
		}
		select {
		case p.data <- []byte(text):
		default:
		}
	}()
}

func (p *fuzzPipe) hangUp() { p.once.Do(func() { close(p.closed) }) }

func (p *fuzzPipe) Read(buf []byte) (int, error) {
	if len(p.left) == 0 {
		select {
		case p.left = <-p.data:
		case <-p.closed:
			return 0, io.EOF
		case <-time.After(50 * time.Millisecond): // as a serial port does
			return 0, nil
		}
	}
	n := copy(buf, p.left)
	p.left = p.left[n:]
	return n, nil
}

func (p *fuzzPipe) Write(data []byte) (int, error) {
	select {
	case <-p.closed:
		return 0, errors.New("the port is gone")
	default:
	}
	p.box.mu.Lock()
	defer p.box.mu.Unlock()
	p.rest += string(data)
	for {
		line, rest, found := strings.Cut(p.rest, "\n")
		if !found {
			return len(data), nil
		}
		p.rest = rest
		p.box.line(p, line)
	}
}

func (p *fuzzPipe) Close() error {
	p.hangUp()
	return nil
}
