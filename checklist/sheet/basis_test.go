package sheet

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The basis is made of the documented bytes, put together here by hand.
func TestBasisBytes(t *testing.T) {
	data := readFull(t)
	s, err := parseFull(data)
	if err != nil {
		t.Fatal(err)
	}
	sheetHash := sha256.Sum256(data)
	if s.SHA256 != sheetHash {
		t.Errorf("sheet hash %x, want %x", s.SHA256, sheetHash)
	}
	curve, err := os.ReadFile("testdata/curves/c.csv")
	if err != nil {
		t.Fatal(err)
	}
	curveHash := sha256.Sum256(curve)
	var builtin bytes.Buffer
	builtin.WriteString("holdline built-in curve 1\n")
	for _, p := range s.Motors[1].Curve.Points() {
		binary.Write(&builtin, binary.BigEndian, [2]float64{p.TimeS, p.ThrustN})
	}
	builtinHash := sha256.Sum256(builtin.Bytes())

	text := "holdline basis 1\n" + "\x00\x00\x00\x00\x00\x00\x00\x05v1.2~" + "\x00\x00\x00\x00\x00\x00\x01\x02" + string(sheetHash[:]) +
		"\x00\x00\x00\x00\x00\x00\x00\x02" +
		"\x00\x00\x00\x00\x00\x00\x00\x0ccurves/c.csv" + string(curveHash[:]) +
		"\x00\x00\x00\x00\x00\x00\x00\x11builtin:neutral-c" + string(builtinHash[:])
	want := sha256.Sum256([]byte(text))
	if got := s.Basis("v1.2~", 0x102); got != want {
		t.Errorf("basis %s, want %s", hex.EncodeToString(got[:]), hex.EncodeToString(want[:]))
	}
}

// Everything that the prediction rests on changes the basis; the folder does not.
func TestBasisChangesWithEveryPart(t *testing.T) {
	dir := t.TempDir()
	write := func(name string, data []byte) {
		t.Helper()
		path := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	curve, err := os.ReadFile("testdata/curves/c.csv")
	if err != nil {
		t.Fatal(err)
	}
	load := func() *Sheet {
		t.Helper()
		s, err := Load(filepath.Join(dir, "sheet.toml"))
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	write("sheet.toml", readFull(t))
	write("curves/c.csv", curve)
	first := load()
	basis := first.Basis("1", 7)
	if moved, err := parseFull(readFull(t)); err != nil || moved.Basis("1", 7) != basis {
		t.Errorf("another folder changes the basis, %v", err)
	}
	seen := map[[32]byte]string{basis: "the first"}
	add := func(what string, b [32]byte) {
		t.Helper()
		if other, ok := seen[b]; ok {
			t.Errorf("%s has the basis of %s", what, other)
		}
		seen[b] = what
	}
	add("another version", first.Basis("2", 7))
	add("another seed", first.Basis("1", 8))
	write("sheet.toml", append(readFull(t), '#'))
	add("a comment more", load().Basis("1", 7))
	write("sheet.toml", readFull(t))
	write("curves/c.csv", append(curve, []byte("# more\n")...))
	add("a comment more in a curve", load().Basis("1", 7))
	write("curves/d.csv", curve)
	write("sheet.toml", []byte(strings.ReplaceAll(string(readFull(t)), "curves/c.csv", "curves/d.csv")))
	add("a curve of another name", load().Basis("1", 7))
	write("sheet.toml", []byte(strings.ReplaceAll(string(readFull(t)), "neutral-c", "neutral-d")))
	write("curves/c.csv", curve)
	add("another built-in curve", load().Basis("1", 7))
}
