package conformance

import (
	"context"
	"io"
	"testing"
	"testing/synctest"
	"time"
)

// slowLine takes a write at once, as the system does, and sends its bytes at the
// rate of the line.
type slowLine struct {
	io.ReadWriteCloser
	out  chan []byte
	done chan struct{}
}

func newSlowLine(rw io.ReadWriteCloser) *slowLine {
	l := &slowLine{ReadWriteCloser: rw, out: make(chan []byte, 1024), done: make(chan struct{})}
	go func() {
		defer close(l.done)
		for p := range l.out {
			for len(p) > 0 { // as a chip with a buffer of 16 bytes does
				n := min(16, len(p))
				time.Sleep(time.Duration(n) * byteTime)
				if _, err := rw.Write(p[:n]); err != nil {
					return
				}
				p = p[n:]
			}
		}
	}()
	return l
}

func (l *slowLine) Write(p []byte) (int, error) {
	l.out <- append([]byte(nil), p...)
	return len(p), nil
}

func (l *slowLine) Close() error {
	close(l.out)
	<-l.done
	return l.ReadWriteCloser.Close()
}

// TestABoxOnARealLineConforms: the time that a line takes is not the box's. A
// line of 5000 bytes takes 434 ms to send.
func TestABoxOnARealLineConforms(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		box := newBox(t)
		rw, err := box.Dial(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range checkClauses(context.Background(), newSlowLine(rw), io.Discard, true, withHands(handsOf(box))) {
			if f.Verdict != Passed {
				t.Errorf("verdict %d of %s: %s", f.Verdict, f.Clause, f.Detail)
			}
		}
	})
}
