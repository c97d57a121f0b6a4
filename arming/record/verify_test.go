package record

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/hiddeco/sshsig"
)

func rangeOfficer(t testing.TB) []AllowedSigner {
	return []AllowedSigner{{Principals: "range@example.org", Key: testKey(t, 1).PublicKey()}}
}

func replayOK([]Entry) error { return nil }

// text of all findings, to search in.
func (r Result) text() string {
	var b strings.Builder
	for _, f := range r.Findings {
		b.WriteString(f.Status.String() + ": " + f.Text + "\n")
	}
	return b.String()
}

// line returns the n-th line of a record, from 1, without its newline.
func line(data []byte, n int) []byte { return bytes.Split(data, []byte("\n"))[n-1] }

func TestVerifyGivesDistinctAnswers(t *testing.T) {
	differs := errors.New("line 3 says ARMED, the events give READY")
	closed := func(t *testing.T, dir string) (string, []byte) {
		path := writeRecord(t, dir, testHeader(false), testTime, 5)
		return path, readFile(t, path)
	}
	for _, c := range []struct {
		name  string
		make  func(t *testing.T, dir string) (path string, data []byte) // data is written back and signed before spoil
		spoil func(t *testing.T, path string, data []byte)
		opts  func(*Options)
		want  Status
		text  string // somewhere in the findings
	}{
		{name: "all is well", want: OK},
		{name: "torn", want: Torn, text: "line 7 is incomplete", spoil: func(t *testing.T, path string, data []byte) {
			write(t, path, data[:len(data)-1])
		}},
		{name: "a value changed, its line still well formed", want: Changed, text: "names", spoil: func(t *testing.T, path string, data []byte) {
			write(t, path, bytes.Replace(data, []byte(`"ohm":1.75`), []byte(`"ohm":1.25`), 1))
		}},
		{name: "a line out of its form", want: Changed, text: "would have been", spoil: func(t *testing.T, path string, data []byte) {
			write(t, path, bytes.Replace(data, []byte(`"ohm":1.75`), []byte(`"ohm":1.750`), 1))
		}},
		{name: "a line taken out", want: Changed, text: "lines between them are missing", spoil: func(t *testing.T, path string, data []byte) {
			write(t, path, bytes.Replace(data, append(line(data, 4), '\n'), nil, 1))
		}},
		{name: "last lines taken off", want: BadSignature, text: "still open", spoil: func(t *testing.T, path string, data []byte) {
			write(t, path, bytes.Join(bytes.SplitAfter(data, []byte("\n"))[:4], nil))
		}},
		{name: "a later version", want: OtherVersion, text: `format "holdline-record" version 2`, spoil: func(t *testing.T, path string, data []byte) {
			write(t, path, bytes.Replace(data, []byte(`"version":1`), []byte(`"version":2`), 1))
		}},
		{name: "unsigned", want: Unsigned, text: "no signature", spoil: func(t *testing.T, path string, _ []byte) {
			remove(t, path+".sig")
		}},
		{name: "signer unknown", want: UnknownSigner, text: "not among the allowed signers", opts: func(o *Options) {
			o.Signers = []AllowedSigner{{Principals: "*", Key: testKey(t, 9).PublicKey()}}
		}},
		{name: "no signers given", want: UnknownSigner, text: "no allowed signers are given", opts: func(o *Options) { o.Signers = nil }},
		{name: "any signer will do", want: OK, opts: func(o *Options) { o.Signers, o.AnySigner = nil, true }},
		{name: "another principal wanted", want: UnknownSigner, text: `not to "firing@example.org"`, opts: func(o *Options) {
			o.Principal = "firing@example.org"
		}},
		{name: "key of another time", want: UnknownSigner, text: "key was valid until", opts: func(o *Options) {
			o.Signers[0].ValidBefore, o.At = testTime, testTime.Add(time.Hour)
		}},
		{name: "signature of another file", want: BadSignature, text: "does not fit", spoil: func(t *testing.T, path string, data []byte) {
			sig, err := SignBytes([]byte("another"), testKey(t, 1))
			must(t, err)
			write(t, path+".sig", sig)
		}},
		{name: "signature for another use", want: BadSignature, text: `namespace "file"`, spoil: func(t *testing.T, path string, data []byte) {
			sig, err := sshsig.Sign(bytes.NewReader(data), testKey(t, 1), sshsig.HashSHA512, "file")
			must(t, err)
			write(t, path+".sig", sshsig.Armor(sig))
		}},
		{name: "signature is no signature", want: BadSignature, text: "armour", spoil: func(t *testing.T, path string, _ []byte) {
			write(t, path+".sig", []byte("signed, honestly\n"))
		}},
		{name: "counter-signature of a stranger", want: UnknownSigner, text: ".2.sig", spoil: func(t *testing.T, path string, _ []byte) {
			_, err := Sign(path, testKey(t, 7))
			must(t, err)
		}},
		{name: "replay differs", want: ReplayDiffers, text: differs.Error(), opts: func(o *Options) {
			o.Replay = func([]Entry) error { return differs }
		}},
		{name: "replay differs, same version", want: ReplayDiffers, text: differs.Error(), opts: func(o *Options) {
			o.Replay, o.Program = func([]Entry) error { return differs }, "holdline 0.1.0"
		}},
		{name: "replay differs, made by another version", want: OtherVersion, text: `made by "holdline 0.1.0"`, opts: func(o *Options) {
			o.Replay, o.Program = func([]Entry) error { return differs }, "holdline 9.0.0"
		}},
		{name: "no file", want: NotVerified, text: "cannot be read", spoil: func(t *testing.T, path string, _ []byte) { remove(t, path) }},
	} {
		t.Run(c.name, func(t *testing.T) {
			path, data := closed(t, t.TempDir())
			_, err := Sign(path, testKey(t, 1))
			must(t, err)
			if c.spoil != nil {
				c.spoil(t, path, data)
			}
			o := Options{Signers: rangeOfficer(t), Replay: replayOK}
			if c.opts != nil {
				c.opts(&o)
			}
			r := VerifyFile(path, o)
			if r.Status != c.want || !strings.Contains(r.text(), c.text) {
				t.Errorf("got %v\n%swant %v with %q", r.Status, r.text(), c.want, c.text)
			}
			if (r.Status == OK) != (len(r.Findings) == 0) {
				t.Errorf("%v and %d findings", r.Status, len(r.Findings))
			}
		})
	}
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func write(t *testing.T, path string, data []byte) {
	t.Helper()
	must(t, os.WriteFile(path, data, 0o644))
}

func remove(t *testing.T, path string) {
	t.Helper()
	must(t, os.Remove(path))
}

func TestZeroOptionsAcceptNothing(t *testing.T) {
	path, _ := writeExample(t, t.TempDir())
	if r := VerifyFile(path, Options{}); r.Status != UnknownSigner || len(r.Notes) == 0 {
		t.Errorf("got %v with notes %q", r.Status, r.Notes)
	}
	if s := (Result{}).Status; s == OK {
		t.Error("the zero Status is OK")
	}
	if got := Status(99).String(); got != "Status(99)" {
		t.Errorf("got %q", got)
	}
}

func TestChangedLineIsNamedWithTheHashItWouldHaveHad(t *testing.T) {
	path := writeRecord(t, t.TempDir(), testHeader(false), testTime, 5)
	data := readFile(t, path)
	original := HashLine(line(data, 3))
	_, err := Parse(bytes.Replace(data, []byte(`"ohm":1.625`), []byte(`"ohm":1.635`), 1))
	var chain *ChainError
	if !errors.As(err, &chain) || chain.Line != 4 || chain.Seq != 4 || chain.Got != original || chain.Want == original {
		t.Errorf("changed and well formed: got %#v, want line 4 naming %s", err, original)
	}
	_, err = Parse(bytes.Replace(data, []byte(`"ohm":1.625`), []byte(`"ohm":01.62`), 1))
	var format *FormatError
	if !errors.As(err, &format) || format.Line != 3 || format.Named == nil || *format.Named != original || format.Hash == original {
		t.Errorf("changed and out of form: got %#v, want line 3 that would have been %s", err, original)
	}
}

func TestLinesOutOfPlaceAreRefused(t *testing.T) {
	path := writeRecord(t, t.TempDir(), exampleHeader(), testTime, 1)
	log, err := Parse(readFile(t, path))
	must(t, err)
	// chain joins entries anew, so that only their meaning is wrong.
	chain := func(entries ...Entry) []byte {
		var data []byte
		var prev Hash
		for i, e := range entries {
			e.Prev = prev
			if e.Seq == 0 {
				e.Seq = int64(i + 1)
			}
			line, err := e.Encode()
			must(t, err)
			prev = HashLine(line)
			data = append(append(data, line...), '\n')
		}
		return data
	}
	at := func(e Entry, seq int64) Entry { e.Seq = seq; return e }
	body := func(kind, body string) Entry {
		return Entry{Time: testTime, Kind: kind, Body: []byte(body)}
	}
	open, answer, end := at(log.Entries[0], 0), at(log.Entries[1], 0), at(log.Entries[2], 0)
	if _, err := Parse(chain(open, answer, end)); err != nil {
		t.Fatalf("the good record: %v", err)
	}
	header := string(open.Body)
	without := func(old, new string) Entry {
		changed := strings.Replace(header, old, new, 1)
		if changed == header {
			t.Fatalf("header has no %q", old)
		}
		return body(KindOpen, changed)
	}
	for name, data := range map[string][]byte{
		"no open":                    chain(answer, end),
		"two opens":                  chain(open, open, end),
		"after the close":            chain(open, end, answer),
		"two closes":                 chain(open, end, end),
		"a number left out":          chain(open, at(answer, 3), at(end, 4)),
		"a number twice":             chain(open, at(answer, 1)),
		"outcome unknown":            chain(open, body(KindClose, `{"outcome":"fine","reason":""}`)),
		"interrupted without reason": chain(open, body(KindClose, `{"outcome":"interrupted","reason":""}`)),
		"close with more":            chain(open, body(KindClose, `{"extra":1,"outcome":"normal","reason":""}`)),
		"close with less":            chain(open, body(KindClose, `{"outcome":"normal"}`)),
		"recovered without hash":     chain(open, body(KindRecovered, `{"program":"p","torn_bytes":4,"torn_sha256":null}`)),
		"recovered by nothing":       chain(open, body(KindRecovered, `{"program":"","torn_bytes":0,"torn_sha256":null}`)),
		"mode unknown":               chain(without(`"typed"`, `"guessed"`)),
		"no title":                   chain(without(`"Sled"`, `""`)),
		"fast waits in earnest":      chain(without(`"wait_scale":1`, `"wait_scale":0.5`)),
		"waits of no length":         chain(without(`"practice":false`, `"practice":true`), body(KindClose, `{}`)),
		"seed as a number":           chain(without(`"seed":"1"`, `"seed":1`)),
		"nonce too short":            chain(without(`"000102030405060708090a0b0c0d0e0f"`, `"00"`)),
		"a member more":              chain(without(`"title"`, `"speed":1,"title"`)),
		"a member less":              chain(without(`"seed":"1",`, ``)),
		"a blank line":               append(chain(open), '\n'),
	} {
		log, err := Parse(data)
		var format *FormatError
		if !errors.As(err, &format) || format.Line != len(log.Entries)+1 {
			t.Errorf("%s: got %v after %d entries, want a FormatError of the next line", name, err, len(log.Entries))
		}
	}
}

func TestNotesSayWhatIsWithinTheRules(t *testing.T) {
	dir := t.TempDir()
	h := testHeader(true)
	h.WaitScale = 0.1
	w, err := Create(dir, h, testTime)
	must(t, err)
	_, _, err = w.Append(testTime.Add(-time.Minute), time.Second, "answer", nil)
	must(t, err)
	must(t, w.Release())
	w, _, err = Recover(w.Path(), testTime, "holdline 0.1.0")
	must(t, err)
	must(t, w.Close(testTime, 0, Interrupted, "power gone"))
	for range 2 {
		for n := byte(1); n <= 1; n++ {
			if _, err := Sign(w.Path(), testKey(t, n)); err != nil && !errors.Is(err, ErrAlreadySigned) {
				t.Fatal(err)
			}
		}
	}
	write(t, w.Path()+".2.sig", readFile(t, w.Path()+".sig"))
	renamed := filepath.Join(dir, "20260509T130405Z-sled.jsonl")
	for _, suffix := range []string{"", ".sig", ".2.sig"} {
		must(t, os.Rename(w.Path()+suffix, renamed+suffix))
	}
	r := VerifyFile(renamed, Options{Signers: rangeOfficer(t)})
	if r.Status != OK {
		t.Fatal(r.text())
	}
	notes := strings.Join(r.Notes, "\n")
	for _, want := range []string{"taken up again", "interrupted: power gone", "steps back at line 2", "practice true by its first line",
		"no second signer", "not replayed"} {
		if !strings.Contains(notes, want) {
			t.Errorf("no note says %q:\n%s", want, notes)
		}
	}
}

func TestAFindingNamesItsLineOnce(t *testing.T) {
	for want, f := range map[string]Finding{
		"no line at all":          {Text: "no line at all"},
		"line 7: it was changed":  {Line: 7, Text: "it was changed"},
		"line 8: not canonical":   {Line: 8, Text: "line 8: not canonical"},
		"line 9 is incomplete":    {Line: 9, Text: "line 9 is incomplete"},
		"line 1: line 12 differs": {Line: 1, Text: "line 12 differs"},
	} {
		if got := f.Sentence(); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}
