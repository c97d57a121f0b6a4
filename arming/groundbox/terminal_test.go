//go:build linux || darwin

package groundbox

import (
	"io"
	"os"
	"sync"
	"testing"
	"time"

	"holdline/arming/groundbox/practice"
)

// rawTerminal makes a pseudo-terminal and returns the name of its user side.
func rawTerminal(t testing.TB) (name string, master *os.File) {
	t.Helper()
	master, tty, err := practice.OpenTerminal()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _, _ = master.Close(), tty.Close() })
	return tty.Name(), master
}

// relay carries bytes between a terminal and a box, and can stop to take any.
type relay struct {
	mu     sync.Mutex
	paused bool
}

func (r *relay) pause() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.paused = true
}

func (r *relay) resume() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.paused = false
}

func (r *relay) is() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.paused
}

func (r *relay) start(t testing.TB, master *os.File, box *practice.Box) {
	t.Helper()
	port, err := box.Dial(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	stop := make(chan struct{})
	// held waits while the relay is paused, and reports the end of the test.
	held := func() (over bool) {
		for r.is() {
			select {
			case <-stop:
				return true
			case <-time.After(time.Millisecond):
			}
		}
		return false
	}
	var done sync.WaitGroup
	done.Go(func() { _, _ = io.Copy(master, port) }) // until either is closed
	done.Go(func() {
		buf := make([]byte, 256)
		for !held() {
			n, err := master.Read(buf)
			if err != nil || held() { // what was read in the very moment is kept back too
				return
			}
			if _, err := port.Write(buf[:n]); err != nil {
				return
			}
		}
	})
	t.Cleanup(func() { close(stop); _, _ = master.Close(), port.Close(); done.Wait() })
}
