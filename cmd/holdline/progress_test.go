package main

import (
	"bytes"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// A computation that takes longer than 0.3 s shows how far it is by then, and
// takes the line away at its end; a shorter one shows nothing.
func TestProgressShowsWithinThreeTenths(t *testing.T) {
	for _, c := range []struct {
		takes time.Duration
		want  string
	}{{150 * time.Millisecond, ""}, {290 * time.Millisecond, "prediction:  40 % · Ctrl-C cancels"}} {
		synctest.Test(t, func(t *testing.T) {
			var out bytes.Buffer
			p, quit, gone := &progress{}, make(chan struct{}), make(chan struct{})
			go func() {
				p.show(&out, "prediction", 50, quit)
				close(gone)
			}()
			p.at(20)
			time.Sleep(c.takes)
			close(quit)
			<-gone
			got := out.String()
			if c.want == "" && got != "" || c.want != "" && (!strings.Contains(got, c.want) || !strings.HasSuffix(got, "\r\x1b[K")) {
				t.Errorf("after %v: got %q, want %q", c.takes, got, c.want)
			}
		})
	}
}
