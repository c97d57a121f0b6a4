package main

import (
	"fmt"
	"io"
	"os"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/term"
)

// progressAfter is how long a computation stays silent: the program answers
// within 0.3 s, with what it has or with how far it is.
const progressAfter = 200 * time.Millisecond

// progress shows how far a long computation is, on standard error and only
// when that is a terminal. Its methods may be called from any goroutine.
type progress struct {
	done atomic.Int64
	stop func()
}

// startProgress watches a computation of total parts.
func startProgress(w io.Writer, what string, total int) *progress {
	p := &progress{stop: func() {}}
	f, ok := w.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return p
	}
	quit := make(chan struct{})
	var gone sync.WaitGroup
	gone.Go(func() { p.show(f, what, total, quit) })
	p.stop = sync.OnceFunc(func() {
		close(quit)
		gone.Wait()
	})
	return p
}

func (p *progress) show(w io.Writer, what string, total int, quit <-chan struct{}) {
	tick := time.NewTicker(100 * time.Millisecond)
	defer tick.Stop()
	start, shown := time.Now(), false
	for {
		select {
		case <-quit:
			if shown {
				fmt.Fprint(w, "\r\033[K")
			}
			return
		case now := <-tick.C:
			if now.Sub(start) < progressAfter {
				continue
			}
			shown = true
			share := 100 * float64(p.done.Load()) / float64(max(total, 1))
			fmt.Fprintf(w, "\r%s: %3.0f %% · Ctrl-C cancels\033[K", what, share)
		}
	}
}

// at notes how many parts are done.
func (p *progress) at(done int) { p.done.Store(int64(done)) }
