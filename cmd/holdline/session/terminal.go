package session

import (
	"bytes"
	"os"
	"sync/atomic"
	"time"
)

// writeLate is how long a write to the terminal may take. After that what the
// terminal shows counts as old.
const writeLate = 200 * time.Millisecond

// timedTerminal is the terminal that Bubble Tea draws on. It notes since when a
// write is under way.
type timedTerminal struct {
	file  *os.File
	since atomic.Int64 // when the write under way began, in Unix ns; 0 for none
	drawn atomic.Bool  // a frame has been written
}

// frameStart begins each frame that Bubble Tea draws on the alternate screen.
var frameStart = []byte("\x1b[H")

// Write implements io.Writer.
func (t *timedTerminal) Write(b []byte) (int, error) {
	t.since.Store(time.Now().UnixNano())
	n, err := t.file.Write(b)
	t.since.Store(0)
	if len(b) > len(frameStart) && bytes.HasPrefix(b, frameStart) {
		t.drawn.Store(true)
	}
	return n, err
}

// standsStill reports that the terminal takes nothing.
func (t *timedTerminal) standsStill() bool {
	since := t.since.Load()
	return since != 0 && time.Since(time.Unix(0, since)) > writeLate
}

// Read, Close and Fd make it what Bubble Tea takes for a terminal.
func (t *timedTerminal) Read(b []byte) (int, error) { return t.file.Read(b) }
func (t *timedTerminal) Close() error               { return t.file.Close() }
func (t *timedTerminal) Fd() uintptr                { return t.file.Fd() }
