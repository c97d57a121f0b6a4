package record

import (
	"strings"
	"testing"
	"time"
)

// exampleHeader is the header of the worked example in the package comment.
func exampleHeader() Header {
	return Header{
		Program: "holdline 0.1.0", Title: "Sled", Mode: ModeTyped, WaitScale: 1,
		SheetSHA256: SumSHA256([]byte("sheet")), Basis: SumSHA256([]byte("basis")),
		Seed: "1", Nonce: "000102030405060708090a0b0c0d0e0f",
	}
}

// writeExample writes the record of the package comment and signs it.
func writeExample(t testing.TB, dir string) (path, sig string) {
	t.Helper()
	w, err := Create(dir, exampleHeader(), testTime)
	if err != nil {
		t.Fatal(err)
	}
	body := map[string]string{"step": "wind", "value": "2.5 m/s"}
	if _, _, err := w.Append(testTime.Add(time.Second), time.Second, "answer", body); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(testTime.Add(2*time.Second), 2*time.Second, Normal, ""); err != nil {
		t.Fatal(err)
	}
	if sig, err = Sign(w.Path(), testKey(t, 1)); err != nil {
		t.Fatal(err)
	}
	return w.Path(), sig
}

// docBlock returns the indented lines of doc.go from the one that starts with
// first to the one that starts with last.
func docBlock(t *testing.T, first, last string) string {
	t.Helper()
	var block strings.Builder
	in := false
	for line := range strings.SplitSeq(string(readFile(t, "doc.go")), "\n") {
		text, indented := strings.CutPrefix(line, "//\t")
		in = in || (indented && strings.HasPrefix(text, first))
		if in {
			block.WriteString(text + "\n")
			if strings.HasPrefix(text, last) {
				return block.String()
			}
		}
	}
	t.Fatalf("doc.go has no block from %q to %q", first, last)
	return ""
}

func TestExampleInPackageCommentIsWhatTheCodeWrites(t *testing.T) {
	path, sig := writeExample(t, t.TempDir())
	if got, want := docBlock(t, `{"body":{"basis"`, `{"body":{"outcome"`), string(readFile(t, path)); got != want {
		t.Errorf("record: got\n%s\nwant\n%s", got, want)
	}
	if got, want := docBlock(t, "-----BEGIN SSH", "-----END SSH"), string(readFile(t, sig)); got != want {
		t.Errorf("signature: got\n%s\nwant\n%s", got, want)
	}
}
