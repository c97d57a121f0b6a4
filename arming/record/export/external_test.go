//go:build external

package export

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"holdline/checklist/sheet/unit"
)

// What warns stands on every page, not on the first alone.
func TestEveryPageSaysWhatItIs(t *testing.T) {
	d := document()
	d.Practice, d.CannotStop, d.NotValid = true, true, []string{"changed: line 3"}
	for range 150 {
		d.Holds = append(d.Holds, Hold{Kind: "HOLD", From: "COUNT", Why: strings.Repeat("word ", 20)})
	}
	out, err := PDF(d, unit.Metric)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "page.pdf")
	if err := os.WriteFile(path, out, 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("qpdf", "--check", path).CombinedOutput(); err != nil {
		t.Errorf("qpdf: %v: %s", err, out)
	}
	text, err := exec.Command("pdftotext", "-layout", path, "-").Output()
	if err != nil {
		t.Fatalf("pdftotext: %v", err)
	}
	pages := strings.Split(strings.TrimSuffix(string(text), "\f"), "\f")
	if len(pages) < 2 {
		t.Fatalf("%d pages, want several", len(pages))
	}
	for n, page := range pages {
		for _, want := range []string{"PRACTICE: NOT VALID", "THE LAPTOP COULD NOT STOP THIS FIRING", "Plover sled", "plover.jsonl"} {
			if !strings.Contains(page, want) {
				t.Errorf("page %d does not say %q", n+1, want)
			}
		}
	}
}
