//go:build slow

package conformance

import "testing"

func TestThePracticeBoxConformsInTheLongClausesToo(t *testing.T) {
	box := newBox(t)
	findings, out := check(t, box, Options{Hands: box.Hands(), Long: true})
	t.Log(out)
	for _, f := range findings {
		if f.Verdict != Passed {
			t.Errorf("%s: %s: %s", f.Verdict, f.Clause, f.Detail)
		}
	}
}
