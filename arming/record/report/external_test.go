//go:build external

package report

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"holdline/arming/record/export"
	"holdline/checklist/sheet/unit"
)

// Other programs read the page: qpdf finds no fault in it, pdftotext finds
// every step, name and answer, and a normal firing takes one page. Both
// programs must be there: without them nothing has been shown.
func TestPagesAreReadByOtherPrograms(t *testing.T) {
	t.Parallel()
	o := normal()
	drill := normal()
	drill.practice, drill.waitSpeed = true, 6
	for name, c := range map[string]struct {
		d     *export.Document
		pages string
	}{
		"normal":   {Build(verified(t, whole(t, o))), "1"},
		"practice": {Build(verified(t, whole(t, drill))), "1"},
		"troubled": {Build(verified(t, troubled(t, t.TempDir(), o))), "2"}, // two at most
	} {
		page, err := export.PDF(c.d, unit.Metric)
		if err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(t.TempDir(), name+".pdf")
		if err := os.WriteFile(path, page, 0o600); err != nil {
			t.Fatal(err)
		}
		if out, err := exec.Command("qpdf", "--check", path).CombinedOutput(); err != nil {
			t.Errorf("%s: qpdf: %v: %s", name, err, out)
		}
		if out, err := exec.Command("qpdf", "--show-npages", path).Output(); err != nil || strings.TrimSpace(string(out)) != c.pages {
			t.Errorf("%s: %s pages, %v, want %s", name, out, err, c.pages)
		}
		out, err := exec.Command("pdftotext", "-layout", path, "-").Output()
		if err != nil {
			t.Fatalf("pdftotext: %v", err)
		}
		text := spaces.ReplaceAllString(string(out), " ")
		want := []string{c.d.Kind(), c.d.Title, c.d.LastHash, "page 1 of " + c.pages, "end of the cleared strip 200 m", "measured", "Waivers", "Holds"}
		for _, check := range c.d.Checks {
			want = append(want, check.Step, check.By)
			if check.Value == nil && !strings.HasPrefix(check.Step, "sheet/") {
				want = append(want, check.Seen)
			}
		}
		for _, s := range c.d.Signatures {
			want = append(want, s.Fingerprint)
		}
		for _, h := range c.d.Holds {
			want = append(want, h.Why)
		}
		for _, w := range want {
			if !strings.Contains(text, w) {
				t.Errorf("%s: pdftotext does not find %q", name, w)
			}
		}
		if t.Failed() {
			t.Log(text)
		}
	}
}

var spaces = regexp.MustCompile(`\s+`)
