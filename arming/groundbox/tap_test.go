package groundbox

import (
	"bytes"
	"context"
	"io"
	"os"
	"strings"
	"sync"

	"holdline/arming/groundbox/practice"
)

// tap stands between a link and a box and does to the bytes what cables,
// adapters and foreign programs do.
type tap struct {
	rw io.ReadWriteCloser

	mu     sync.Mutex
	up     func(line string) []string // answers: what the link gets for one line
	deaf   bool                       // nothing passes either way, and nothing is said about it
	clog   chan struct{}              // writes wait for it
	closed chan struct{}
	once   sync.Once

	carry   bytes.Buffer
	waiting bytes.Buffer
	sent    []string // lines of the link that reached the box
	rest    string
}

func newTap(rw io.ReadWriteCloser) *tap { return &tap{rw: rw, closed: make(chan struct{})} }

// tapped returns a Dial that puts a tap on every connection, and a function for
// the newest tap.
func tapped(box *practice.Box, prepare func(*tap)) (dial func(context.Context) (io.ReadWriteCloser, error), newest func() *tap) {
	var mu sync.Mutex
	var last *tap
	return func(ctx context.Context) (io.ReadWriteCloser, error) {
			rw, err := box.Dial(ctx)
			if err != nil {
				return nil, err
			}
			t := newTap(rw)
			if prepare != nil {
				prepare(t)
			}
			mu.Lock()
			defer mu.Unlock()
			last = t
			return t, nil
		}, func() *tap {
			mu.Lock()
			defer mu.Unlock()
			return last
		}
}

func (t *tap) set(change func(*tap)) {
	t.mu.Lock()
	defer t.mu.Unlock()
	change(t)
}

func (t *tap) Write(p []byte) (int, error) {
	t.mu.Lock()
	clog, deaf := t.clog, t.deaf
	t.mu.Unlock()
	if clog != nil {
		select {
		case <-clog:
		case <-t.closed:
			return 0, os.ErrClosed
		}
	}
	if deaf {
		return len(p), nil
	}
	t.mu.Lock()
	t.rest += string(p)
	for {
		line, rest, found := strings.Cut(t.rest, "\n")
		if !found {
			break
		}
		t.rest = rest
		t.sent = append(t.sent, line)
	}
	t.mu.Unlock()
	return t.rw.Write(p)
}

// lines returns what the box has been sent, and forgets it.
func (t *tap) lines() []string {
	t.mu.Lock()
	defer t.mu.Unlock()
	out := t.sent
	t.sent = nil
	return out
}

func (t *tap) Read(p []byte) (int, error) {
	for t.waiting.Len() == 0 {
		buf := make([]byte, 1024)
		n, err := t.rw.Read(buf)
		t.mu.Lock()
		up, deaf := t.up, t.deaf
		t.mu.Unlock()
		if !deaf {
			t.carry.Write(buf[:n])
		}
		for {
			line, rest, found := strings.Cut(t.carry.String(), "\n")
			if !found {
				break
			}
			t.carry.Reset()
			t.carry.WriteString(rest)
			if up == nil {
				t.waiting.WriteString(line + "\n")
				continue
			}
			for _, changed := range up(line) {
				t.waiting.WriteString(changed)
			}
		}
		if err != nil {
			return 0, err
		}
	}
	return t.waiting.Read(p)
}

func (t *tap) Close() error {
	t.once.Do(func() { close(t.closed) })
	return t.rw.Close()
}
