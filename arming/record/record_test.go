package record

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/crypto/ssh"
)

// testTime is the wall clock of the tests.
var testTime = time.Date(2026, 5, 9, 13, 4, 5, 123456000, time.UTC)

// testHeader is a header as the shell would give it to Create.
func testHeader(practice bool) Header {
	return Header{
		Program:     "holdline 0.1.0",
		Title:       "Four-motor sled, guide wire",
		Mode:        ModeGroundBox,
		Practice:    practice,
		WaitScale:   1,
		SheetSHA256: SumSHA256([]byte("sheet")),
		Curves:      map[string]Hash{"c6.eng": SumSHA256([]byte("curve"))},
		Basis:       SumSHA256([]byte("basis")),
		Seed:        "18446744073709551615",
		Nonce:       strings.Repeat("0123456789abcdef", 2),
		Box:         Box{Identity: "HOLDLINE,GROUND BOX,17,1.0", Serial: "17"},
	}
}

// testKey is a key of the tests alone, from a public seed: its 32 bytes are n.
func testKey(t testing.TB, n byte) ssh.Signer {
	t.Helper()
	seed := make([]byte, ed25519.SeedSize)
	for i := range seed {
		seed[i] = n
	}
	signer, err := ssh.NewSignerFromKey(ed25519.NewKeyFromSeed(seed))
	if err != nil {
		t.Fatal(err)
	}
	return signer
}

// writeRecord writes a closed record of n entries between its first and last
// line, and returns its path.
func writeRecord(t testing.TB, dir string, h Header, now time.Time, n int) string {
	t.Helper()
	w, err := Create(dir, h, now)
	if err != nil {
		t.Fatal(err)
	}
	for i := range n {
		body := map[string]any{"step": fmt.Sprintf("step %d", i), "ohm": 1.5 + float64(i)/8, "by": "firing officer"}
		seq, hash, err := w.Append(now.Add(time.Duration(i+1)*time.Second), time.Duration(i+1)*time.Second, "answer", body)
		if err != nil {
			t.Fatal(err)
		}
		if seq != int64(i+2) || hash.IsZero() {
			t.Fatalf("entry %d: got seq %d hash %v, want seq %d and a hash", i, seq, hash, i+2)
		}
	}
	if err := w.Close(now.Add(time.Hour), time.Hour, Normal, ""); err != nil {
		t.Fatal(err)
	}
	return w.Path()
}

func readFile(t testing.TB, path string) []byte {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func TestRecordFromFirstLineToSignature(t *testing.T) {
	dir := t.TempDir()
	path := writeRecord(t, dir, testHeader(false), testTime, 3)
	if got, want := filepath.Base(path), "20260509T130405Z-four-motor-sled-guide-wire.jsonl"; got != want {
		t.Errorf("file name: got %q, want %q", got, want)
	}
	log, err := Parse(readFile(t, path))
	if err != nil {
		t.Fatal(err)
	}
	if len(log.Entries) != 5 || !log.Closed() || log.Closing.Outcome != Normal {
		t.Fatalf("got %d entries, closing %v, want 5, normal", len(log.Entries), log.Closing)
	}
	if log.Header.Previous != nil || log.Header.Seed != "18446744073709551615" {
		t.Errorf("got header %+v", log.Header)
	}
	sig, err := Sign(path, testKey(t, 1))
	if err != nil {
		t.Fatal(err)
	}
	if sig != path+".sig" {
		t.Errorf("signature file: got %q", sig)
	}
	key, err := verifySignature(readFile(t, path), readFile(t, sig))
	if err != nil {
		t.Fatal(err)
	}
	if got, want := ssh.FingerprintSHA256(key), ssh.FingerprintSHA256(testKey(t, 1).PublicKey()); got != want {
		t.Errorf("signer: got %s, want %s", got, want)
	}
	if _, err := Sign(path, testKey(t, 1)); !errors.Is(err, ErrAlreadySigned) {
		t.Errorf("second signature of one key: got %v, want %v", err, ErrAlreadySigned)
	}
	second, err := Sign(path, testKey(t, 2))
	if err != nil || second != path+".2.sig" {
		t.Errorf("counter-signature: got %q, %v", second, err)
	}
}

func TestAsyncWriterAcknowledgesInOrder(t *testing.T) {
	w, err := Create(t.TempDir(), testHeader(true), testTime)
	if err != nil {
		t.Fatal(err)
	}
	a := NewAsync(w, 64)
	for i := range 50 {
		if err := a.Append(uint64(100+i), testTime, time.Duration(i), "tick", nil); err != nil {
			t.Fatal(err)
		}
	}
	for i := range 50 {
		ack := <-a.Acks()
		if ack.Err != nil || ack.ID != uint64(100+i) || ack.Seq != int64(i+2) {
			t.Fatalf("ack %d: got %+v", i, ack)
		}
		if i == 49 {
			log, err := Parse(readFile(t, a.Path()))
			if err != nil || len(log.Entries) != 51 || log.Last != ack.Hash {
				t.Fatalf("acknowledged but not on disk: %d entries, %v", len(log.Entries), err)
			}
		}
	}
	if err := a.Close(context.Background(), testTime, time.Second, Normal, ""); err != nil {
		t.Fatal(err)
	}
	if log, err := Parse(readFile(t, a.Path())); err != nil || !log.Closed() {
		t.Errorf("got closed %v, %v", log.Closed(), err)
	}
}

func TestRecoverAfterAStop(t *testing.T) {
	dir := t.TempDir()
	w, err := Create(dir, testHeader(false), testTime)
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := w.Append(testTime, time.Second, "state", map[string]string{"to": "ARMED"}); err != nil {
		t.Fatal(err)
	}
	open, err := LastOpen(dir)
	if err != nil || len(open) != 1 || !open[0].InUse || open[0].Recoverable() {
		t.Fatalf("while it is written: got %+v, %v", open, err)
	}
	if err := w.Release(); err != nil {
		t.Fatal(err)
	}
	whole := readFile(t, w.Path())
	torn := append(whole[:len(whole):len(whole)], `{"body":{"half`...)
	if err := os.WriteFile(w.Path(), torn, 0o644); err != nil {
		t.Fatal(err)
	}
	var openErr *OpenError
	if _, err := Create(dir, testHeader(false), testTime); !errors.As(err, &openErr) {
		t.Fatalf("create beside an open record: got %v, want an OpenError", err)
	}
	open, err = LastOpen(dir)
	if err != nil || len(open) != 1 || !errors.Is(open[0].Err, ErrTorn) || !open[0].Recoverable() {
		t.Fatalf("after the stop: got %+v, %v", open, err)
	}
	r, found, err := Recover(w.Path(), testTime.Add(time.Minute), "holdline 0.1.0")
	if err != nil {
		t.Fatal(err)
	}
	if len(found.Entries) != 2 || string(found.Torn) != `{"body":{"half` {
		t.Errorf("found %d entries and torn %q", len(found.Entries), found.Torn)
	}
	if err := r.Close(testTime.Add(time.Minute), time.Second, Interrupted, "laptop switched off"); err != nil {
		t.Fatal(err)
	}
	data := readFile(t, w.Path())
	log, err := Parse(data)
	if err != nil || !log.Closed() || log.Recovered != 1 || len(log.Entries) != 4 {
		t.Fatalf("after recovery: %+v, %v", log, err)
	}
	if string(data[:len(whole)]) != string(whole) {
		t.Error("whole lines were changed by the recovery")
	}
	if string(readFile(t, w.Path()+".torn")) != string(torn) {
		t.Error("the file as found was not kept")
	}
}
