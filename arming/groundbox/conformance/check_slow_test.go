//go:build slow

package conformance

import (
	"testing"

	"holdline/arming/groundbox/steady"
)

func TestThePracticeBoxConformsInTheLongClausesToo(t *testing.T) {
	steady.Try(t, func(t testing.TB) {
		box := newBox(t)
		findings, out := check(t, box, Options{Hands: box.Hands(), Long: true})
		t.Log(out)
		for _, f := range findings {
			if f.Verdict != Passed {
				t.Errorf("%s: %s: %s", f.Verdict, f.Clause, f.Detail)
			}
		}
	})
}
