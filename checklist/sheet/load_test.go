package sheet

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"
)

func TestLoadWhatIsNoSheet(t *testing.T) {
	dir := t.TempDir()
	large := filepath.Join(dir, "large.toml")
	if err := os.WriteFile(large, bytes.Repeat([]byte("# x\n"), 1<<19), 0o644); err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]string{
		filepath.Join(dir, "none.toml"): "there is no such file",
		dir:                             "it is a folder",
		large:                           "it has more than 1048576 bytes",
	} {
		s, err := Load(path)
		var faults Faults
		if !errors.As(err, &faults) || s != nil || len(faults) != 1 || faults[0].File != path || !strings.Contains(faults[0].Found, want) {
			t.Errorf("%s: %v, want %s", path, err, want)
		}
	}
}

func TestLoadRefusesAHugeCurveUnread(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "sheet.toml"), readFull(t), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(dir, "curves"), 0o755); err != nil {
		t.Fatal(err)
	}
	f, err := os.Create(filepath.Join(dir, "curves", "c.csv"))
	if err != nil {
		t.Fatal(err)
	}
	// A sparse file of 1 TB: reading it would not end.
	if err := f.Truncate(1 << 40); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	_, err = Load(filepath.Join(dir, "sheet.toml"))
	var faults Faults
	if !errors.As(err, &faults) || len(faults) != 1 || faults[0].Key != "motor[1].curve" || !strings.Contains(faults[0].Found, "it has more than 2000000 bytes") || faults[0].Expected != "a thrust curve of at most 10000 points" {
		t.Errorf("error %v", err)
	}
}

func TestLoadFS(t *testing.T) {
	curve, err := os.ReadFile("testdata/curves/c.csv")
	if err != nil {
		t.Fatal(err)
	}
	fsys := fstest.MapFS{"run/sheet.toml": {Data: readFull(t)}, "run/curves/c.csv": {Data: curve}}
	s, err := LoadFS(fsys, "run/sheet.toml")
	if err != nil || s.Curves[0].File != filepath.Join("run", "curves", "c.csv") {
		t.Errorf("error %v", err)
	}
	delete(fsys, "run/curves/c.csv")
	if _, err := LoadFS(fsys, "run/sheet.toml"); err == nil || !strings.Contains(err.Error(), "there is no such file") {
		t.Errorf("without its curve: %v", err)
	}
	if _, err := LoadFS(fsys, "none.toml"); err == nil || !strings.Contains(err.Error(), "there is no such file") {
		t.Errorf("without the sheet: %v", err)
	}
}

func TestParseRefusesALargeText(t *testing.T) {
	_, err := Parse("x.toml", bytes.Repeat([]byte("#\n"), 1<<20), readCurve)
	var faults Faults
	if !errors.As(err, &faults) || len(faults) != 1 || !strings.Contains(faults[0].Expected, "at most 1048576 bytes") {
		t.Errorf("error %v", err)
	}
}

func TestSaveIsWholeOrNotAtAll(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "sheet.toml")
	if err := os.WriteFile(path, []byte("old"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := Save(path, []byte("new")); err != nil {
		t.Fatal(err)
	}
	got, err := os.ReadFile(path)
	if err != nil || string(got) != "new" {
		t.Errorf("%q, %v", got, err)
	}
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, %v", info.Mode(), err)
	}
	// A folder in the file's place cannot be replaced: nothing may be left over.
	blocked := filepath.Join(dir, "blocked")
	if err := os.MkdirAll(filepath.Join(blocked, "x"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := Save(blocked, []byte("new")); err == nil {
		t.Error("no error")
	}
	if err := Save(filepath.Join(dir, "none", "sheet.toml"), []byte("new")); err == nil {
		t.Error("no error for a folder that is not there")
	}
	entries, err := os.ReadDir(dir)
	if err != nil || len(entries) != 2 {
		t.Errorf("%v left, %v", entries, err)
	}
}
