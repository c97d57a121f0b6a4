package report

import (
	"flag"
	"os"
	"path/filepath"
	"testing"

	"holdline/checklist/record"
	"holdline/checklist/record/export"
	"holdline/checklist/sheet/unit"
)

var update = flag.Bool("update", false, "write the golden files; look at the difference before you commit it")

func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if string(got) != string(want) {
		t.Errorf("%s differs; run: go test ./cmd/holdline/report -update, and look at the difference", name)
	}
}

func write(t *testing.T, d *export.Document, name string, sys unit.System) []byte {
	t.Helper()
	out, err := export.Write(d, name, sys)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestANormalFiring(t *testing.T) {
	path := whole(t, normal())
	r := verified(t, path)
	if r.Status != record.OK {
		t.Fatalf("%v %+v", r.Status, r.Findings)
	}
	d := Build(r)
	for _, name := range []string{"normal.md", "normal.csv", "normal.json"} {
		golden(t, name, write(t, d, name, unit.Metric))
	}
	if dir := os.Getenv("PAGES_FOLDER"); dir != "" {
		if err := os.WriteFile(filepath.Join(dir, "normal.pdf"), write(t, d, "x.pdf", unit.Metric), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
