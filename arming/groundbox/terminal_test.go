//go:build linux || darwin

package groundbox

import (
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
	stop := make(chan struct{})
	var done sync.WaitGroup
	done.Go(func() {
		buf := make([]byte, 256)
		for {
			for r.is() {
				select {
				case <-stop:
					return
				case <-time.After(time.Millisecond):
				}
			}
			n, err := master.Read(buf)
			for r.is() { // it was read in the very moment: held back
				select {
				case <-stop:
					return
				case <-time.After(time.Millisecond):
				}
			}
			if err != nil {
				return
			}
			box.Input(buf[:n])
			if _, err := master.Write(box.Output()); err != nil {
				return
			}
		}
	})
	t.Cleanup(func() { close(stop); _ = master.Close(); done.Wait() })
}
