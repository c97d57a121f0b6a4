package record

import (
	"bytes"
	"errors"
	"fmt"
	"path/filepath"
	"sort"
	"strings"
	"time"

	"golang.org/x/crypto/ssh"
)

// Status is the answer of a verification. The zero value is no good answer;
// of several answers the smallest counts, and OK is the largest.
type Status int

// The answers.
const (
	NotVerified   Status = iota // could not be read
	Torn                        // the last line is incomplete
	Changed                     // a line was changed, added or taken away
	OtherVersion                // made by another version, which this one cannot judge
	BadSignature                // a signature does not fit the bytes
	ReplayDiffers               // the states do not follow from the events
	StillOpen                   // no closing line
	UnknownSigner               // a signature of somebody who is not known here
	Unsigned                    // no signature
	ChainGap                    // a record of the folder is missing or was put in
	OK
)

var statusWords = [...]string{"not verified", "torn", "changed", "made by another version", "bad signature",
	"replay differs", "still open", "unknown signer", "unsigned", "chain gap", "ok"}

// String returns the answer in words.
func (s Status) String() string {
	if s < 0 || int(s) >= len(statusWords) {
		return fmt.Sprintf("Status(%d)", int(s))
	}
	return statusWords[s]
}

// Options say what a record is verified against. The zero Options accept no
// signer and do not replay.
type Options struct {
	Signers   []AllowedSigner
	Principal string // when not empty, every signature must be of this principal
	AnySigner bool   // take any good signature: the bytes are those signed, by whomever
	At        time.Time
	// Replay judges whether the states in the entries follow from the events.
	Replay func([]Entry) error
	// Program is the version of the program that verifies. When a replay differs
	// and the record names another one, the answer is OtherVersion.
	Program string
}

// ErrFirstRules is wrapped by the error of a Replay of a record that goes by
// rules of which this program knows the outlines alone.
var ErrFirstRules = errors.New("rules of the first edition")

// Finding is one thing that is wrong.
type Finding struct {
	Status Status
	Line   int // 0 when it is no single line
	Text   string
}

// Sentence is what was found, with its line named once.
func (f Finding) Sentence() string {
	at := fmt.Sprintf("line %d", f.Line)
	if rest, said := strings.CutPrefix(f.Text, at); f.Line == 0 || said && (rest == "" || rest[0] == ':' || rest[0] == ' ') {
		return f.Text
	}
	return at + ": " + f.Text
}

// SignatureResult is what is known of one signature file.
type SignatureResult struct {
	File        string
	Fingerprint string // SHA256:..., empty when the file cannot be read
	KeyType     string
	Principals  string // of the allowed signer; empty when unknown
	Status      Status // OK, UnknownSigner or BadSignature
	Text        string // why it is not OK, or what OK does not say
}

// Result is the answer for one record.
type Result struct {
	Path       string
	Status     Status // OK when there are no findings
	Findings   []Finding
	Notes      []string // nothing wrong, but worth saying
	Signatures []SignatureResult
	Log        *Log // as far as the record is good, never nil
}

func (r *Result) find(status Status, line int, format string, args ...any) {
	r.Findings = append(r.Findings, Finding{Status: status, Line: line, Text: fmt.Sprintf(format, args...)})
	r.Status = min(r.Status, status)
}

func (r *Result) note(format string, args ...any) {
	r.Notes = append(r.Notes, fmt.Sprintf(format, args...))
}

// VerifyFile verifies the record at path with the signature files beside it.
// Whether records are missing between this one and others only VerifyDir sees.
func VerifyFile(path string, o Options) Result {
	r, _ := verifyFile(path, o)
	return r
}

// verifyFile also returns the bytes that it has judged.
func verifyFile(path string, o Options) (Result, []byte) {
	data, err := readLimited(path, MaxFile)
	var sigs map[string][]byte
	if err == nil {
		sigs, err = readSignatures(path)
	}
	if err != nil {
		r := Result{Path: path, Status: OK, Log: &Log{}}
		r.find(NotVerified, 0, "cannot be read: %v", err)
		return r, nil
	}
	return VerifyBytes(path, data, sigs, o), data
}

// VerifyBytes verifies the bytes of a record. signatures holds the armoured
// signatures by file name.
func VerifyBytes(name string, data []byte, signatures map[string][]byte, o Options) Result {
	r := Result{Path: name, Status: OK}
	log, err := Parse(data)
	r.Log = log
	r.judgeLines(err)
	var version *VersionError
	if errors.As(err, &version) {
		return r
	}
	if err == nil && !log.Closed() {
		r.find(StillOpen, len(log.Entries), "has no closing line: cut off after line %d, or still being written", len(log.Entries))
	}
	r.judgeSignatures(data, signatures, o)
	if err == nil || errors.Is(err, ErrTorn) {
		r.judgeReplay(o)
	}
	r.judgeHistory()
	return r
}

// judgeLines turns what Parse says into a finding.
func (r *Result) judgeLines(err error) {
	var chain *ChainError
	var format *FormatError
	var version *VersionError
	switch {
	case err == nil:
	case errors.Is(err, ErrTorn):
		r.find(Torn, len(r.Log.Entries)+1, "line %d is incomplete; %d whole lines before it are good",
			len(r.Log.Entries)+1, len(r.Log.Entries))
	case errors.As(err, &chain):
		r.find(Changed, chain.Line, "line %d names %s as the hash of line %d, which is %s as it stands: line %d or line %d was changed, or lines between them are missing",
			chain.Line, chain.Got, chain.Line-1, chain.Want, chain.Line-1, chain.Line)
	case errors.As(err, &format):
		text := fmt.Sprintf("line %d: %s", format.Line, format.Reason)
		if format.Named != nil && *format.Named != format.Hash {
			text += fmt.Sprintf("; its hash is %s as it stands and would have been %s", format.Hash, *format.Named)
		}
		r.find(Changed, format.Line, "%s", text)
	case errors.As(err, &version):
		r.find(OtherVersion, 1, "is of format %q version %d, this program reads %q version %d",
			version.Format, version.Version, Format, Version)
	default:
		r.find(NotVerified, 0, "%v", err)
	}
}

func (r *Result) judgeSignatures(data []byte, signatures map[string][]byte, o Options) {
	if len(signatures) == 0 {
		r.find(Unsigned, 0, "no signature stands beside it")
		return
	}
	names := make([]string, 0, len(signatures))
	for name := range signatures {
		names = append(names, name)
	}
	// Numbered names: NAME.sig before NAME.2.sig before NAME.10.sig.
	sort.Slice(names, func(i, j int) bool {
		if len(names[i]) != len(names[j]) {
			return len(names[i]) < len(names[j])
		}
		return names[i] < names[j]
	})
	seen := map[string]string{}
	for _, name := range names {
		s := judgeSignature(data, name, signatures[name], o)
		r.Signatures = append(r.Signatures, s)
		if s.Status != OK {
			r.find(s.Status, 0, "%s: %s", filepath.Base(name), s.Text)
		} else if first, twice := seen[s.Fingerprint]; twice {
			r.note("%s is by the same key as %s: it is no second signer", filepath.Base(name), filepath.Base(first))
		} else {
			seen[s.Fingerprint] = name
		}
	}
}

func judgeSignature(data []byte, name string, armored []byte, o Options) SignatureResult {
	s := SignatureResult{File: name, Status: BadSignature}
	if sig, err := unarmor(armored); err == nil {
		s.Fingerprint, s.KeyType = ssh.FingerprintSHA256(sig.PublicKey), sig.PublicKey.Type()
	}
	key, err := verifySignature(data, armored)
	if err != nil {
		s.Text = err.Error()
		return s
	}
	reasons := []string{"signature is good, but its key is not among the allowed signers"}
	if len(o.Signers) == 0 {
		reasons[0] = "signature is good, but no allowed signers are given"
	}
	for _, allowed := range o.Signers {
		if !bytes.Equal(allowed.Key.Marshal(), key.Marshal()) {
			continue
		}
		why := allowed.refuses(o.Principal, o.At)
		if why == "" {
			s.Status, s.Principals = OK, allowed.Principals
			return s
		}
		reasons = append(reasons[:len(reasons):len(reasons)], why)
	}
	if len(reasons) > 1 {
		reasons = reasons[1:]
	}
	s.Status, s.Text = UnknownSigner, s.Fingerprint+": "+strings.Join(reasons, "; ")
	if o.AnySigner {
		s.Status = OK
	}
	return s
}

func (r *Result) judgeReplay(o Options) {
	if o.Replay == nil {
		r.note("not replayed")
		return
	}
	if len(r.Log.Entries) == 0 {
		return
	}
	err := o.Replay(r.Log.Entries)
	other := o.Program != "" && r.Log.Header.Program != o.Program
	switch {
	case errors.Is(err, ErrFirstRules):
		r.find(OtherVersion, 0, "made by %q by the rules of the first edition; replayed by %q it differs, which says nothing against it: %v",
			r.Log.Header.Program, o.Program, err)
	case err != nil && other:
		r.find(OtherVersion, 0, "made by %q; replayed by %q it differs, which says nothing against it: %v",
			r.Log.Header.Program, o.Program, err)
	case err != nil:
		r.find(ReplayDiffers, 0, "%v", err)
	case other:
		r.note("made by %q, replays the same in %q", r.Log.Header.Program, o.Program)
	}
}

// judgeHistory notes what happened to the record, all within the rules.
func (r *Result) judgeHistory() {
	log := r.Log
	if len(log.Entries) == 0 {
		return
	}
	if log.Recovered > 0 {
		r.note("taken up again after a stop of the program, %s", HowOften(log.Recovered))
	}
	if log.Closed() && log.Closing.Outcome == Interrupted {
		r.note("interrupted: %s", log.Closing.Reason)
	}
	if log.Header.Practice != strings.Contains(filepath.Base(r.Path), "-"+practiceWord) {
		r.note("practice %v by its first line, which the file name does not say", log.Header.Practice)
	}
	for i := 1; i < len(log.Entries); i++ {
		if log.Entries[i].Time.Before(log.Entries[i-1].Time) {
			r.note("the wall clock steps back at line %d", i+1)
		}
	}
}

// DirResult is the answer for a folder.
type DirResult struct {
	Status   Status // OK when all records and the folder are
	Records  []Result
	Findings []Finding // of the folder, not of one record
}

// VerifyDir verifies every record of a folder, and that their chain is whole:
// each names the last line of the one before, one is the first, and no two
// name the same. Practice records have their own chain. What it cannot see is
// that the newest records of a folder are missing with their signatures.
//
// The error is for a folder that cannot be read. One without records shows
// nothing, which is not OK.
func VerifyDir(dir string, o Options) (DirResult, error) {
	paths, err := recordPaths(dir)
	if err != nil {
		return DirResult{}, fmt.Errorf("record: verify %q: %w", dir, err)
	}
	d := DirResult{Status: OK}
	links := make([]link, len(paths))
	for i, path := range paths {
		r, data := verifyFile(path, o)
		d.Records = append(d.Records, r)
		links[i] = linkOf(path, data)
	}
	judgeChain(links, d.Records)
	orphans, err := filepath.Glob(filepath.Join(globQuote(dir), "*"+extension+"*.sig"))
	if err != nil {
		return DirResult{}, fmt.Errorf("record: verify %q: %w", dir, err)
	}
	d.judgeOrphans(orphans, paths)
	if len(paths) == 0 {
		d.find(NotVerified, "there is no record in it")
	}
	for _, r := range d.Records {
		d.Status = min(d.Status, r.Status)
	}
	return d, nil
}

// globQuote makes a folder's name stand for itself in a pattern.
func globQuote(dir string) string {
	if filepath.Separator == '\\' {
		return dir // there is no quoting there
	}
	return strings.NewReplacer(`\`, `\\`, "*", `\*`, "?", `\?`, "[", `\[`).Replace(dir)
}

// judgeOrphans finds signatures whose record is gone.
func (d *DirResult) judgeOrphans(sigs, records []string) {
	for _, sig := range sigs {
		i := strings.Index(sig, extension+".")
		path := sig[:i+len(extension)]
		j := sort.SearchStrings(records, path)
		if j < len(records) && records[j] == path {
			continue
		}
		d.find(ChainGap, "%s is here, the record that it signs is missing", filepath.Base(sig))
	}
}

func (d *DirResult) find(status Status, format string, args ...any) {
	d.Findings = append(d.Findings, Finding{Status: status, Text: fmt.Sprintf(format, args...)})
	d.Status = min(d.Status, status)
}

// judgeChain adds findings to the records whose place in the chain is wrong.
func judgeChain(links []link, results []Result) {
	ends := map[Hash]link{}
	for _, l := range links {
		if !l.last.IsZero() {
			ends[l.last] = l
		}
	}
	first := map[bool]string{}    // by practice
	follower := map[Hash]string{} // who names it
	for _, i := range byOpening(links) {
		l, r := links[i], &results[i]
		if !l.header {
			continue // its own findings say so
		}
		if l.previous == nil {
			if other, twice := first[l.practice]; twice {
				r.find(ChainGap, 1, "says that no record is before it, and so does %s", other)
			}
			first[l.practice] = filepath.Base(l.path)
			continue
		}
		before, found := ends[*l.previous]
		switch {
		case !found:
			r.find(ChainGap, 1, "names a record that ends in %s as the one before it, and none here does: one is missing or was changed", l.previous)
		case before.practice != l.practice:
			r.find(ChainGap, 1, "names %s as the one before it: practice and real records do not mix", filepath.Base(before.path))
		case follower[*l.previous] != "":
			r.find(ChainGap, 1, "names %s as the one before it, and so does %s", filepath.Base(before.path), follower[*l.previous])
		}
		follower[*l.previous] = filepath.Base(l.path)
	}
}

// byOpening returns the indices of links by the time of their first line.
func byOpening(links []link) []int {
	order := make([]int, len(links))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(a, b int) bool { return links[order[a]].opened.Before(links[order[b]].opened) })
	return order
}

// HowOften is a count in words: "once", "3 times".
func HowOften(n int) string {
	if n == 1 {
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}
