//go:build external

package chart

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// A PDF must be one that other programs read: qpdf finds no fault in it, and
// pdftotext finds every case and device by name.
func TestPDFIsReadByOtherPrograms(t *testing.T) {
	data, err := Draw(run(), "run.pdf")
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "run.pdf")
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("qpdf", "--check", path).CombinedOutput(); err != nil {
		t.Errorf("qpdf: %v: %s", err, out)
	}
	out, err := exec.Command("pdftotext", "-layout", path, "-").Output()
	if err != nil {
		t.Fatalf("pdftotext: %v", err)
	}
	c := run()
	want := []string{c.Title, c.Answer, c.Source, "640 m"}
	for _, r := range c.Rests {
		want = append(want, r.Case)
	}
	for _, d := range c.Devices {
		want = append(want, d.Name)
	}
	for _, w := range want {
		if !strings.Contains(string(out), w) {
			t.Errorf("pdftotext does not find %q", w)
		}
	}
}
