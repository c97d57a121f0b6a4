package conformance

import (
	"context"
	"io"
	"testing"
	"testing/synctest"
	"time"
)

// TestAPersonsHandsAreWaitedFor: who is asked takes a while, and presses about
// as long as was asked.
func TestAPersonsHandsAreWaitedFor(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		box := newBox(t)
		h := box.Hands()
		slowly := func(do func(bool)) func(bool) {
			is := false
			return func(want bool) {
				if is != want {
					is = want
					time.AfterFunc(1700*time.Millisecond, func() { do(want) })
				}
			}
		}
		person := &Hands{Key: slowly(h.Key), Battery: slowly(h.Battery), Button: slowly(h.Button), Within: time.Minute,
			Press: func(d time.Duration) { time.AfterFunc(1300*time.Millisecond, func() { h.Press(2 * d) }) }}
		rw, err := box.Dial(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		findings := Check(context.Background(), rw, io.Discard, true, person)
		for _, f := range findings {
			if f.Verdict != Passed {
				t.Errorf("verdict %d of %s: %s", f.Verdict, f.Clause, f.Detail)
			}
		}
		if !Complete(findings) {
			t.Error("not complete")
		}
	})
}
