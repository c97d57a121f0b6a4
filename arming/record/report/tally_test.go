package report

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"holdline/arming"
	"holdline/arming/record"
)

// Holds of the same cause and waivers are counted over a folder, real and
// practice firings apart; a record that is not valid is left out and told.
func TestHoldsAreCountedOverAFolder(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	for k := range 2 {
		o := normal()
		o.began = began.Add(time.Duration(k) * time.Hour)
		troubled(t, dir, o)
	}
	lost := normal()
	lost.began = began.Add(3 * time.Hour)
	f := begin(t, dir, lost)
	f.toReady()
	for range 2 {
		f.must(arming.BoxLost{Why: "no answer for 0.5 s"})
		f.phase(arming.Hold)
		f.look()
		f.pass(time.Second)
		f.must(arming.Resume{By: ranger})
		f.pass(500 * time.Millisecond)
		f.measureAgain()
		f.phase(arming.Ready)
	}
	f.close(record.Interrupted, "the test ends it", 1)
	drill := normal()
	drill.practice, drill.waitSpeed = true, 6
	troubled(t, filepath.Join(dir, PracticeFolder), drill)
	if err := os.WriteFile(filepath.Join(dir, "other.jsonl"), []byte("no record\n"), 0o600); err != nil {
		t.Fatal(err)
	}

	got, err := TallyFolder(t.Context(), dir, "")
	if err != nil {
		t.Fatal(err)
	}
	if got.Real.Records != 3 || got.Real.NotCounted != 1 || got.Practice.Records != 1 || got.Practice.NotCounted != 0 {
		t.Errorf("%+v", got)
	}
	want := map[string]Count{
		"called":                             {"called", true, 4, 2}, // a HOLD and an everyone back in each
		"HOLD called after the permit":       {"HOLD called after the permit", true, 2, 2},
		"the box is lost: no answer for # s": {"the box is lost: no answer for # s", false, 2, 1},
	}
	for _, c := range got.Real.Holds {
		if want[c.What] != c {
			t.Errorf("got %+v, want %+v", c, want[c.What])
		}
		delete(want, c.What)
	}
	for what := range want {
		t.Errorf("%q was not counted: %+v", what, got.Real.Holds)
	}
	if len(got.Real.Waivers) != 1 || got.Real.Waivers[0] != (Count{"daylight", false, 2, 2}) {
		t.Errorf("waivers %+v", got.Real.Waivers)
	}
	text := got.Text()
	for _, line := range []string{"real: 3 records, 8 holds, 2 waivers; 1 record not counted: not valid\n", "     4 ×  called (called, in 2 records)\n",
		"     2 ×  the box is lost: no answer for # s (by the program, in 1 record)\n", "     2 ×  waived: daylight (in 2 records)\n", "PRACTICE: 1 record, 3 holds, 1 waiver\n"} {
		if !strings.Contains(text, line) {
			t.Errorf("%q is not in\n%s", line, text)
		}
	}
	if got, want := got.SignOn(false), "So far, real: 3 records, 8 holds, 2 waivers; 1 record not counted: not valid: 4 × called; 2 × HOLD called after the permit; "+
		"2 × the box is lost: no answer for # s; 2 × waived daylight"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

// Nothing to tell is nothing said.
func TestAFolderWithoutHoldsSaysNothingAtSignOn(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	f := begin(t, dir, normal())
	f.close(record.Interrupted, "the test ends it", 1)
	for _, folder := range []string{dir, filepath.Join(dir, "none")} {
		tally, err := TallyFolder(t.Context(), folder, "")
		if err != nil || tally.SignOn(false) != "" || tally.SignOn(true) != "" {
			t.Errorf("%s: %q, %v", folder, tally.SignOn(false), err)
		}
	}
}

func TestCausesForgetFiguresAndNames(t *testing.T) {
	t.Parallel()
	for why, want := range map[string]string{
		"called": "called",
		"the program stood still for 0.31 s: timed answers are withdrawn": "the program stood still for # s: timed answers are withdrawn",
		"continuity/2: the answer is older than 2s":                       "continuity/#: the answer is older than #s",
		"scrubbed by Ines Halvorsen: wind got up":                         "scrubbed",
		"scrubbed after the permit by Ines Halvorsen":                     "scrubbed after the permit",
		"movement, smoke or light seen by Nora":                           "movement, smoke or light seen",
	} {
		if got := cause(why); got != want {
			t.Errorf("%q: got %q, want %q", why, got, want)
		}
	}
}
