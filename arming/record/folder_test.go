package record

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// writeSigned writes and signs a record, and returns its path.
func writeSigned(t testing.TB, dir string, practice bool, now time.Time) string {
	t.Helper()
	path := writeRecord(t, dir, testHeader(practice), now, 2)
	if _, err := Sign(path, testKey(t, 1)); err != nil {
		t.Fatal(err)
	}
	return path
}

func verifyDir(t *testing.T, dir string) DirResult {
	t.Helper()
	d, err := VerifyDir(dir, Options{Signers: rangeOfficer(t), Replay: replayOK})
	must(t, err)
	return d
}

func (d DirResult) text() string {
	var b strings.Builder
	for _, r := range d.Records {
		b.WriteString(r.text())
	}
	for _, f := range d.Findings {
		b.WriteString(f.Text + "\n")
	}
	return b.String()
}

func TestFolderIsAChain(t *testing.T) {
	dir := t.TempDir()
	if d := verifyDir(t, dir); d.Status != NotVerified || len(d.Records) != 0 {
		t.Errorf("empty folder: got %+v", d)
	}
	// The clock is set back after each record, and the names sort backwards.
	var real, practice []string
	for i := range 4 {
		real = append(real, writeSigned(t, dir, false, testTime.Add(-time.Duration(i)*24*time.Hour)))
		practice = append(practice, writeSigned(t, dir, true, testTime.Add(-time.Duration(i)*24*time.Hour)))
	}
	if d := verifyDir(t, dir); d.Status != OK || len(d.Records) != 8 {
		t.Fatalf("got %v of %d records\n%s", d.Status, len(d.Records), d.text())
	}
	for i, path := range real {
		log, err := Parse(readFile(t, path))
		must(t, err)
		if (log.Header.Previous == nil) != (i == 0) {
			t.Errorf("record %d: previous is %v", i, log.Header.Previous)
		}
	}
	if !strings.Contains(filepath.Base(practice[0]), "PRACTICE") || strings.Contains(strings.ToUpper(filepath.Base(real[0])), "PRACTICE") {
		t.Errorf("names: practice %q, real %q", practice[0], real[0])
	}
	removed, removedSig := readFile(t, real[1]), readFile(t, real[1]+".sig")
	remove(t, real[1])
	d := verifyDir(t, dir)
	if d.Status != ChainGap || !strings.Contains(d.text(), "one is missing or was changed") ||
		!strings.Contains(d.text(), "the record that it signs is missing") {
		t.Errorf("a record taken out with its signature left: got %v\n%s", d.Status, d.text())
	}
	remove(t, real[1]+".sig")
	if d := verifyDir(t, dir); d.Status != ChainGap || len(d.Findings) != 0 {
		t.Errorf("a record taken out whole: got %v\n%s", d.Status, d.text())
	}
	write(t, real[1], removed)
	write(t, real[1]+".sig", removedSig)
	remove(t, real[3])
	if d := verifyDir(t, dir); d.Status != ChainGap || len(d.Findings) != 1 {
		t.Errorf("the newest taken out, its signature left: got %v\n%s", d.Status, d.text())
	}
}

func TestFolderWithAnotherBeginningOrAFork(t *testing.T) {
	a, b := t.TempDir(), t.TempDir()
	first := writeSigned(t, a, false, testTime)
	stranger := writeSigned(t, b, false, testTime.Add(time.Hour))
	copyTo(t, stranger, a)
	if d := verifyDir(t, a); d.Status != ChainGap || !strings.Contains(d.text(), "says that no record is before it") {
		t.Errorf("two beginnings: got %v\n%s", d.Status, d.text())
	}
	c := t.TempDir()
	copyTo(t, first, c)
	writeSigned(t, c, false, testTime.Add(2*time.Hour))
	d := t.TempDir()
	copyTo(t, first, d)
	fork := writeSigned(t, d, false, testTime.Add(3*time.Hour))
	copyTo(t, fork, c)
	if d := verifyDir(t, c); d.Status != ChainGap || !strings.Contains(d.text(), "and so does") {
		t.Errorf("a fork: got %v\n%s", d.Status, d.text())
	}
	// The next record goes on at the end that was opened last.
	got, err := Previous(c, false)
	must(t, err)
	log, err := Parse(readFile(t, fork))
	must(t, err)
	if got != log.Last {
		t.Errorf("previous: got %s, want %s", got, log.Last)
	}
}

func copyTo(t *testing.T, path, dir string) {
	t.Helper()
	for _, suffix := range []string{"", ".sig"} {
		write(t, filepath.Join(dir, filepath.Base(path)+suffix), readFile(t, path+suffix))
	}
}

func TestRealRecordNeverFollowsAPracticeRecord(t *testing.T) {
	dir := t.TempDir()
	practice := writeSigned(t, dir, true, testTime)
	log, err := Parse(readFile(t, practice))
	must(t, err)
	if got, err := Previous(dir, false); err != nil || !got.IsZero() {
		t.Errorf("real chain: got %s, %v, want none", got, err)
	}
	if got, err := Previous(dir, true); err != nil || got != log.Last {
		t.Errorf("practice chain: got %s, %v, want %s", got, err, log.Last)
	}
	// Put together by hand, it is found.
	h := testHeader(false)
	h.Format, h.Version, h.Previous = Format, Version, &log.Last
	e := Entry{Seq: 1, Time: testTime, Kind: KindOpen, Body: mustBody(h)}
	first, err := e.Encode()
	must(t, err)
	write(t, filepath.Join(dir, "forged.jsonl"), append(first, '\n'))
	if d := verifyDir(t, dir); !strings.Contains(d.text(), "do not mix") {
		t.Errorf("got %v\n%s", d.Status, d.text())
	}
}

func TestOneProgramWritesAtATime(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "made", "on", "the", "way")
	w, err := Create(dir, testHeader(false), testTime)
	must(t, err)
	if _, err := Create(dir, testHeader(false), testTime); !errors.Is(err, ErrInUse) {
		t.Errorf("second writer: got %v, want %v", err, ErrInUse)
	}
	if _, _, err := Recover(w.Path(), testTime, "p"); !errors.Is(err, ErrInUse) {
		t.Errorf("recover while it is written: got %v, want %v", err, ErrInUse)
	}
	p, err := Create(dir, testHeader(true), testTime)
	if err != nil {
		t.Fatalf("a practice record beside it: %v", err)
	}
	must(t, p.Close(testTime, 0, Normal, ""))
	if _, err := Sign(w.Path(), testKey(t, 1)); !errors.Is(err, ErrNotClosed) {
		t.Errorf("signing an open record: got %v, want %v", err, ErrNotClosed)
	}
	must(t, w.Close(testTime, 0, Normal, ""))
	if _, _, err := w.Append(testTime, 0, "answer", nil); !errors.Is(err, ErrClosed) {
		t.Errorf("append after close: got %v, want %v", err, ErrClosed)
	}
	if _, _, err := Recover(w.Path(), testTime, "p"); !errors.Is(err, ErrClosed) {
		t.Errorf("recover a closed record: got %v, want %v", err, ErrClosed)
	}
	// Same second, same title: another name, and the chain goes on.
	next := writeRecord(t, dir, testHeader(false), testTime, 0)
	if !strings.HasSuffix(next, "-2.jsonl") {
		t.Errorf("second record of the second: %q", next)
	}
}

func TestRecordWithoutAFirstLineStopsNothing(t *testing.T) {
	dir := t.TempDir()
	stub := filepath.Join(dir, "20260509T130405Z-sled.jsonl")
	write(t, stub, []byte(`{"body":{"ba`))
	open, err := LastOpen(dir)
	if err != nil || len(open) != 1 || open[0].Recoverable() || !errors.Is(open[0].Err, ErrTorn) {
		t.Errorf("got %+v, %v", open, err)
	}
	if _, _, err := Recover(stub, testTime, "p"); !errors.Is(err, ErrTorn) {
		t.Errorf("recover: got %v, want %v", err, ErrTorn)
	}
	writeRecord(t, dir, exampleHeader(), testTime, 0)
	if string(readFile(t, stub)) != `{"body":{"ba` {
		t.Error("the stub was changed")
	}
}

func TestDamagedRecordIsNotRecovered(t *testing.T) {
	dir := t.TempDir()
	w, err := Create(dir, testHeader(false), testTime)
	must(t, err)
	for range 3 {
		_, _, err = w.Append(testTime, 0, "answer", map[string]int{"n": 1234})
		must(t, err)
	}
	must(t, w.Release())
	changed := []byte(strings.Replace(string(readFile(t, w.Path())), "1234", "1235", 1))
	write(t, w.Path(), changed)
	var chain *ChainError
	if _, _, err := Recover(w.Path(), testTime, "p"); !errors.As(err, &chain) {
		t.Errorf("got %v, want a ChainError", err)
	}
	if string(readFile(t, w.Path())) != string(changed) {
		t.Error("the damaged record was touched")
	}
	open, err := LastOpen(dir)
	if err != nil || len(open) != 1 || open[0].Recoverable() || !errors.As(open[0].Err, &chain) {
		t.Errorf("got %+v, %v", open, err)
	}
	var openErr *OpenError
	if _, err := Create(dir, testHeader(false), testTime); !errors.As(err, &openErr) || !strings.Contains(err.Error(), "move it out") {
		t.Errorf("create: got %v, want an OpenError that says what to do", err)
	}
	// Once it is moved out, the crew can go on, and the folder's chain shows nothing
	// of it: the open record had no successor.
	must(t, os.Rename(w.Path(), w.Path()+".damaged"))
	writeRecord(t, dir, testHeader(false), testTime, 0)
}

func TestRecoverAfterACutAnywhere(t *testing.T) { recoverAfterCuts(t, 29) }

// recoverAfterCuts demands that a record cut at every step-th byte is taken up
// again, keeps what was in it, and ends closed and signed.
func recoverAfterCuts(t *testing.T, step int) {
	whole := readFile(t, writeRecord(t, t.TempDir(), exampleHeader(), testTime, 2))
	firstLine := strings.IndexByte(string(whole), '\n') + 1
	lastLine := strings.LastIndexByte(string(whole[:len(whole)-1]), '\n') + 1
	dir := t.TempDir()
	path := filepath.Join(dir, "cut.jsonl")
	for n := firstLine; n < len(whole); n += step {
		for _, name := range []string{path, path + ".sig", path + ".torn"} {
			os.Remove(name)
		}
		write(t, path, whole[:n])
		w, found, err := Recover(path, testTime, "holdline 0.1.0")
		if err != nil {
			t.Fatalf("cut to %d bytes: %v", n, err)
		}
		if found.Closed() || n > lastLine && len(found.Torn) != n-lastLine {
			t.Fatalf("cut to %d bytes: found %+v", n, found)
		}
		must(t, w.Close(testTime, 0, Interrupted, "cut off"))
		_, err = Sign(w.Path(), testKey(t, 1))
		must(t, err)
		r := VerifyFile(path, Options{Signers: rangeOfficer(t)})
		if r.Status != OK || len(r.Log.Entries) != len(found.Entries)+2 {
			t.Fatalf("cut to %d bytes: %v\n%s", n, r.Status, r.text())
		}
		data := string(readFile(t, path))
		if !strings.HasPrefix(data, string(whole[:found.GoodBytes])) {
			t.Fatalf("cut to %d bytes: whole lines were changed", n)
		}
		if len(found.Torn) > 0 && string(readFile(t, path+".torn")) != string(whole[:n]) {
			t.Fatalf("cut to %d bytes: the file as found was not kept", n)
		}
	}
}
