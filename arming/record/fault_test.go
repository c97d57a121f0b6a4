package record

import (
	"bytes"
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// faultyFile is a real file that takes only so many bytes, or only so many
// syncs, and fails from then on, half a line written.
type faultyFile struct {
	recordFile
	bytesLeft int // -1 for no limit
	syncsLeft int // -1 for no limit
	short     bool
}

var errFault = errors.New("fault to order")

func (f *faultyFile) Write(p []byte) (int, error) {
	if f.bytesLeft < 0 || len(p) <= f.bytesLeft {
		if f.bytesLeft >= 0 {
			f.bytesLeft -= len(p)
		}
		return f.recordFile.Write(p)
	}
	n, err := f.recordFile.Write(p[:f.bytesLeft])
	f.bytesLeft = 0
	if err == nil && !f.short {
		err = errFault
	}
	return n, err
}

func (f *faultyFile) Sync() error {
	if f.syncsLeft == 0 {
		return errFault
	}
	f.syncsLeft--
	return f.recordFile.Sync()
}

// appendUntilFault appends until the writer fails, closes, and returns how
// many entries were acknowledged, the first line among them.
func appendUntilFault(t *testing.T, w *Writer, entries int) (acked int, err error) {
	t.Helper()
	acked = 1
	for i := range entries {
		seq, _, appendErr := w.Append(testTime, time.Duration(i), "answer", map[string]int{"n": i})
		if appendErr != nil {
			if err == nil {
				err = appendErr
			}
			continue
		}
		if err != nil {
			t.Fatalf("entry %d was written after an error: %v", i, err)
		}
		if acked++; seq != int64(acked) {
			t.Fatalf("got seq %d, want %d", seq, acked)
		}
	}
	closeErr := w.Close(testTime, time.Second, Normal, "")
	switch {
	case err != nil && closeErr == nil:
		t.Fatal("close succeeded after an error")
	case closeErr != nil && err == nil:
		err = closeErr
	case closeErr == nil:
		acked++
	}
	return acked, err
}

// checkAfterFault demands that all that was acknowledged is on disk, and that
// what is there is whole, open or torn, but never passes for a closed record.
func checkAfterFault(t *testing.T, path string, acked int, err error) {
	t.Helper()
	log, parseErr := Parse(readFile(t, path))
	if parseErr != nil && !errors.Is(parseErr, ErrTorn) {
		t.Fatalf("neither whole nor torn: %v", parseErr)
	}
	if len(log.Entries) < acked {
		t.Fatalf("%d entries acknowledged, %d on disk", acked, len(log.Entries))
	}
	if err == nil {
		if parseErr != nil || !log.Closed() || len(log.Entries) != acked {
			t.Fatalf("no error: got %v, closed %v, %d entries of %d", parseErr, log.Closed(), len(log.Entries), acked)
		}
		return
	}
	if !errors.Is(err, ErrBroken) {
		t.Fatalf("got %v, want it to wrap %v", err, ErrBroken)
	}
	if log.Closed() { // its closing line was written, its sync failed: nobody was told
		return
	}
	w, _, err := Recover(path, testTime, "p")
	must(t, err)
	must(t, w.Close(testTime, 0, Interrupted, "disk full"))
	if _, err = Sign(path, testKey(t, 1)); err != nil {
		t.Fatal(err)
	}
	if r := VerifyFile(path, Options{AnySigner: true}); r.Status != OK {
		t.Fatal(r.text())
	}
}

func TestFaultWhileWriting(t *testing.T) { faultAtBytes(t, 17) }

// faultAtBytes lets every step-th byte be the first that cannot be written.
func faultAtBytes(t *testing.T, step int) {
	const entries = 3
	dir := t.TempDir()
	whole := readFile(t, writeRecord(t, dir, exampleHeader(), testTime, 0))
	firstLine := bytes.IndexByte(whole, '\n') + 1
	finished := 0
	for n := 0; finished == 0; n += step {
		dir := filepath.Join(dir, "n")
		must(t, os.RemoveAll(dir))
		w, err := Create(dir, exampleHeader(), testTime)
		must(t, err)
		w.file = &faultyFile{recordFile: w.file, bytesLeft: n, syncsLeft: -1, short: n%2 == 1}
		acked, err := appendUntilFault(t, w, entries)
		switch {
		case err == nil:
			finished = n
		case n%2 == 1 && !errors.Is(err, io.ErrShortWrite):
			t.Errorf("fault after %d bytes: got %v, want %v", n, err, io.ErrShortWrite)
		case n%2 == 0 && !errors.Is(err, errFault):
			t.Errorf("fault after %d bytes: got %v, want %v", n, err, errFault)
		}
		checkAfterFault(t, w.Path(), acked, err)
	}
	if finished < firstLine {
		t.Errorf("the sweep ended at %d bytes, before it met anything", finished)
	}
}

func TestFaultAtEverySync(t *testing.T) {
	for n := range 5 {
		w, err := Create(t.TempDir(), exampleHeader(), testTime)
		must(t, err)
		w.file = &faultyFile{recordFile: w.file, bytesLeft: -1, syncsLeft: n}
		acked, err := appendUntilFault(t, w, 3)
		if want := 1 + n; n < 4 && (!errors.Is(err, errFault) || acked != want) {
			t.Errorf("fault at sync %d: got %v with %d acknowledged, want %d", n, err, acked, want)
		}
		if n == 4 && err != nil {
			t.Errorf("no fault: got %v", err)
		}
		checkAfterFault(t, w.Path(), acked, err)
	}
}

func TestAnEntryThatCannotBeEncodedDoesNotBreakTheRecord(t *testing.T) {
	w, err := Create(t.TempDir(), exampleHeader(), testTime)
	must(t, err)
	for name, body := range map[string]any{"a channel": make(chan int), "a list": []int{1}, "2^60": map[string]int64{"n": 1 << 60}} {
		if _, _, err := w.Append(testTime, 0, "answer", body); err == nil || errors.Is(err, ErrBroken) {
			t.Errorf("%s: got %v, want a refusal", name, err)
		}
	}
	for _, kind := range []string{KindOpen, KindClose, KindRecovered, "", "Answer"} {
		if _, _, err := w.Append(testTime, 0, kind, nil); err == nil || errors.Is(err, ErrBroken) {
			t.Errorf("kind %q: got %v, want a refusal", kind, err)
		}
	}
	if _, _, err := w.Append(testTime, -time.Second, "answer", nil); err == nil {
		t.Error("a monotonic offset below zero was taken")
	}
	if err := w.Close(testTime, 0, Interrupted, ""); err == nil {
		t.Error("interrupted without a reason was taken")
	}
	if seq, _, err := w.Append(testTime, 0, "answer", nil); err != nil || seq != 2 {
		t.Errorf("the next good one: got %d, %v", seq, err)
	}
	must(t, w.Close(testTime, 0, Normal, ""))
}

func TestHeaderThatIsRefusedLeavesNoFile(t *testing.T) {
	for name, change := range map[string]func(*Header){
		"no title":       func(h *Header) { h.Title = "" },
		"no mode":        func(h *Header) { h.Mode = "" },
		"no program":     func(h *Header) { h.Program = "" },
		"no sheet":       func(h *Header) { h.SheetSHA256 = Hash{} },
		"no basis":       func(h *Header) { h.Basis = Hash{} },
		"seed below 0":   func(h *Header) { h.Seed = "-1" },
		"fast, real":     func(h *Header) { h.WaitScale = 0.5 },
		"no wait at all": func(h *Header) { h.Practice, h.WaitScale = true, 0 },
		"slow":           func(h *Header) { h.Practice, h.WaitScale = true, 2 },
	} {
		dir := t.TempDir()
		h := exampleHeader()
		change(&h)
		if w, err := Create(dir, h, testTime); err == nil || w != nil {
			t.Errorf("%s: was taken", name)
		}
		if paths, err := recordPaths(dir); err != nil || len(paths) != 0 {
			t.Errorf("%s: left %v, %v", name, paths, err)
		}
	}
	// A refused start must not keep the lock.
	dir := t.TempDir()
	if _, err := Create(dir, Header{}, testTime); err == nil {
		t.Fatal("the zero header was taken")
	}
	writeRecord(t, dir, exampleHeader(), testTime, 0)
}

func TestNonceIsMadeWhenMissing(t *testing.T) {
	seen := map[string]bool{}
	for range 3 {
		h := exampleHeader()
		h.Nonce = ""
		w, err := Create(t.TempDir(), h, testTime)
		must(t, err)
		must(t, w.Release())
		log, err := Parse(readFile(t, w.Path()))
		must(t, err)
		seen[log.Header.Nonce] = true
	}
	if len(seen) != 3 {
		t.Errorf("%d different nonces of 3", len(seen))
	}
}

// A recovery that was itself cut short, between keeping the torn file and
// putting the record in order, is done again.
func TestRecoveryCutShortIsDoneAgain(t *testing.T) {
	whole := readFile(t, writeRecord(t, t.TempDir(), exampleHeader(), testTime, 2))
	torn := whole[:len(whole)-9]
	for name, c := range map[string]struct {
		kept string // what stands in NAME.jsonl.torn before
		more bool   // a second copy is wanted
	}{
		"the same copy":             {kept: string(torn)},
		"a copy of an earlier stop": {kept: string(torn[:len(torn)-20]), more: true},
	} {
		path := filepath.Join(t.TempDir(), "cut.jsonl")
		write(t, path, torn)
		write(t, path+".torn", []byte(c.kept))
		w, _, err := Recover(path, testTime, "p")
		must(t, err)
		must(t, w.Close(testTime, 0, Interrupted, "cut off"))
		if string(readFile(t, path+".torn")) != c.kept {
			t.Errorf("%s: it was written over", name)
		}
		second, err := os.ReadFile(path + ".2.torn")
		if (err == nil) != c.more || c.more && !bytes.Equal(second, torn) {
			t.Errorf("%s: second copy is %d bytes, %v", name, len(second), err)
		}
	}
}

// A torn line longer than what fits beside it is kept by its hash, and whole in
// the file as found.
func TestLongTornLine(t *testing.T) {
	path := writeRecord(t, t.TempDir(), exampleHeader(), testTime, 0)
	whole := readFile(t, path)
	good := whole[:bytes.IndexByte(whole, '\n')+1]
	tail := bytes.Repeat([]byte{0}, maxTornInline+1) // as a power cut leaves it
	write(t, path, append(bytes.Clone(good), tail...))
	w, found, err := Recover(path, testTime, "p")
	must(t, err)
	must(t, w.Close(testTime, 0, Interrupted, "power cut"))
	log, err := Parse(readFile(t, path))
	must(t, err)
	var r Recovered
	must(t, decodeStrict(log.Entries[1].Body, &r))
	if r.TornBytes != int64(len(tail)) || *r.TornSHA256 != SumSHA256(tail) || r.TornBase64 != "" || len(found.Torn) != len(tail) {
		t.Errorf("got %+v", r)
	}
	if kept := readFile(t, path+".torn"); !bytes.Equal(kept[len(good):], tail) {
		t.Error("the file as found was not kept")
	}
}

func TestOpenRecordsComeNewestFirst(t *testing.T) {
	dir := t.TempDir()
	for i, practice := range []bool{false, true} {
		w, err := Create(dir, testHeader(practice), testTime.Add(time.Duration(i)*time.Hour))
		must(t, err)
		must(t, w.Release())
	}
	open, err := LastOpen(dir)
	if err != nil || len(open) != 2 || !open[0].Log.Header.Practice || open[1].Log.Header.Practice {
		t.Errorf("got %+v, %v", open, err)
	}
	if none, err := LastOpen(filepath.Join(dir, "none")); err != nil || none != nil {
		t.Errorf("no folder: got %v, %v", none, err)
	}
}

// What is written into a file that the next start will not find counts as not
// written.
func TestAnOpenRecordThatIsTamperedWithBreaks(t *testing.T) {
	for name, spoil := range map[string]func(path string) error{
		"deleted": os.Remove,
		"renamed": func(path string) error { return os.Rename(path, path+".away") },
		"replaced by a copy": func(path string) error {
			data, err := os.ReadFile(path)
			return errors.Join(err, os.Rename(path, path+".away"), os.WriteFile(path, data, 0o644))
		},
		"cut":         func(path string) error { return os.Truncate(path, 100) },
		"written to":  func(path string) error { return os.WriteFile(path, []byte("\n"), 0o644) },
		"left as is":  func(string) error { return nil },
		"also linked": func(path string) error { return os.Link(path, path+".too") },
	} {
		w, err := Create(t.TempDir(), exampleHeader(), testTime)
		must(t, err)
		must(t, w.Release())
		w, _, err = Recover(w.Path(), testTime, "p")
		must(t, err)
		_, _, err = w.Append(testTime, 0, "answer", nil)
		must(t, err)
		must(t, spoil(w.Path()))
		_, _, err = w.Append(testTime, 0, "answer", nil)
		if whole := name == "left as is" || name == "also linked"; (err == nil) != whole || !whole && !errors.Is(err, ErrBroken) {
			t.Errorf("%s: %v", name, err)
		}
		_ = w.Release()
	}
}
