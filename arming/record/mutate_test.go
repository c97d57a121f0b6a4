package record

import (
	"bytes"
	"encoding/pem"
	"errors"
	"slices"
	"testing"
)

// sample is the signed example with everything that is needed to verify it.
func sample(t *testing.T) (path string, data, sig []byte, o Options) {
	t.Helper()
	path, sigPath := writeExample(t, t.TempDir())
	o = Options{Signers: []AllowedSigner{{Principals: "range@example.org", Key: testKey(t, 1).PublicKey()}},
		Replay: func([]Entry) error { return nil }}
	data, sig = readFile(t, path), readFile(t, sigPath)
	if r := VerifyBytes(path, data, map[string][]byte{sigPath: sig}, o); r.Status != OK {
		t.Fatalf("the sample itself: %+v", r)
	}
	return path, data, sig, o
}

func TestEveryOneByteChangeIsRejected(t *testing.T) {
	rejectChanges(t, func(b byte) []byte { return []byte{b ^ 1} }, nil)
}

// rejectChanges replaces every byte of the sample by what replace gives for it,
// puts every byte of insert in everywhere, and takes every byte out.
func rejectChanges(t *testing.T, replace func(byte) []byte, insert []byte) {
	path, data, sig, o := sample(t)
	sigs := map[string][]byte{path + ".sig": sig}
	lastLine := bytes.LastIndexByte(data[:len(data)-1], '\n') + 1
	tried := 0
	check := func(what string, at int, changed []byte) {
		t.Helper()
		tried++
		if r := VerifyBytes(path, changed, sigs, o); r.Status == OK || len(r.Findings) == 0 {
			t.Errorf("%s at byte %d: got %v", what, at, r.Status)
		}
		// Without any signature the chain still shows it, but for the last
		// line, whose hash nothing names.
		if _, err := Parse(changed); err == nil && at < lastLine {
			t.Errorf("%s at byte %d: the chain does not show it", what, at)
		}
	}
	for at := range data {
		for _, b := range replace(data[at]) {
			if b == data[at] {
				continue
			}
			changed := slices.Clone(data)
			changed[at] = b
			check("replaced", at, changed)
		}
		for _, b := range insert {
			check("put in", at, slices.Insert(slices.Clone(data), at, b))
		}
		check("taken out", at, slices.Delete(slices.Clone(data), at, at+1))
	}
	if tried < 2*len(data) {
		t.Errorf("only %d changes were tried", tried)
	}
}

func TestEveryTruncationIsRejected(t *testing.T) {
	path, data, sig, o := sample(t)
	for n := range data {
		cut := data[:n]
		r := VerifyBytes(path, cut, map[string][]byte{path + ".sig": sig}, o)
		log, err := Parse(cut)
		atLineEnd := n > 0 && cut[n-1] == '\n'
		switch {
		case r.Status == OK:
			t.Errorf("cut to %d bytes: verified", n)
		case atLineEnd && (err != nil || log.Closed() || !found(r, StillOpen) || !found(r, BadSignature)):
			t.Errorf("cut to %d bytes, a line end: got %v, %v", n, r.Findings, err)
		case !atLineEnd && (!errors.Is(err, ErrTorn) || r.Status != Torn):
			t.Errorf("cut to %d bytes: got %v, %v, want torn", n, r.Status, err)
		case log.GoodBytes+int64(len(log.Torn)) != int64(n):
			t.Errorf("cut to %d bytes: %d good and %d torn", n, log.GoodBytes, len(log.Torn))
		}
	}
}

func found(r Result, s Status) bool {
	return slices.ContainsFunc(r.Findings, func(f Finding) bool { return f.Status == s })
}

// A changed armour may decode to the very same signature, as base64 with
// blanks does. All else must be rejected.
func TestEveryOneByteChangeOfASignatureIsRejected(t *testing.T) {
	rejectSignatureChanges(t, 0, 5)
}

// rejectSignatureChanges changes the given bits of every byte, one at a time.
func rejectSignatureChanges(t *testing.T, bits ...int) {
	path, data, sig, o := sample(t)
	want, _ := pem.Decode(sig)
	rejected := 0
	for at := range sig {
		for _, bit := range bits {
			changed := slices.Clone(sig)
			changed[at] ^= 1 << bit
			r := VerifyBytes(path, data, map[string][]byte{path + ".sig": changed}, o)
			if r.Status != OK {
				rejected++
				continue
			}
			if got, _ := pem.Decode(changed); got == nil || !bytes.Equal(got.Bytes, want.Bytes) {
				t.Errorf("bit %d of byte %d changed: verified", bit, at)
			}
		}
	}
	if tried := len(bits) * len(sig); rejected < tried-8 {
		t.Errorf("only %d of %d changes rejected", rejected, tried)
	}
	for n := range len(sig) - 1 { // the last byte is a newline
		if r := VerifyBytes(path, data, map[string][]byte{path + ".sig": sig[:n]}, o); r.Status != BadSignature {
			t.Errorf("signature cut to %d bytes: got %v", n, r.Status)
		}
	}
}
