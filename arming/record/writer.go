package record

import (
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"
)

// Errors of writing.
var (
	ErrBroken = errors.New("record is broken: an earlier line could not be written")
	ErrClosed = errors.New("record is closed")
	ErrInUse  = errors.New("another program is writing a record in this folder")
)

// recordFile is the file under a Writer: an os.File, or one that fails to order.
type recordFile interface {
	io.Writer
	Sync() error
	Stat() (fs.FileInfo, error)
	Close() error
}

// Writer appends to one record. Its methods may be called from several
// goroutines. After the first write error it stays broken: what the disk
// holds then is unknown, so nothing more is written and every call says so.
type Writer struct {
	mu     sync.Mutex
	path   string
	file   recordFile
	lock   *chainLock
	seq    int64
	prev   Hash
	size   int64 // bytes written
	err    error // first write error
	closed bool
}

// Create starts a new record in dir, which is made when it is missing. It
// takes the lock, sets Format, Version, Previous and an empty Nonce in h, and
// returns when the first line and the file's name are on disk.
//
// The error wraps ErrInUse when another program writes there, or is an
// *OpenError when the newest record there has no closing line yet: that one
// must be recovered and closed first.
func Create(dir string, h Header, now time.Time) (*Writer, error) {
	w, err := create(dir, h, now)
	if err != nil {
		return nil, fmt.Errorf("record: create in %q: %w", dir, err)
	}
	return w, nil
}

func create(dir string, h Header, now time.Time) (w *Writer, err error) {
	if err := makeDir(dir); err != nil {
		return nil, err
	}
	lock, err := lockChain(dir, h.Practice)
	if err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			lock.release()
		}
	}()
	if err := completeHeader(dir, &h); err != nil {
		return nil, err
	}
	f, path, err := createFile(dir, fileStem(h, now))
	if err != nil {
		return nil, err
	}
	w = &Writer{path: path, file: f, lock: lock}
	if _, _, err = w.write(pending{now: now, kind: KindOpen, body: mustBody(h)}); err == nil {
		err = syncDir(dir)
	}
	if err != nil {
		// Nobody has been told of this file, and no whole first line is known
		// to be in it: it is taken away again rather than left behind as a stub.
		f.Close()
		os.Remove(path)
		return nil, err
	}
	return w, nil
}

// completeHeader fills in what Create sets and checks the whole.
func completeHeader(dir string, h *Header) error {
	h.Format, h.Version, h.Previous = Format, Version, nil
	if h.Nonce == "" {
		var nonce [16]byte
		rand.Read(nonce[:]) // never fails, by its documentation
		h.Nonce = hex.EncodeToString(nonce[:])
	}
	if h.Curves == nil {
		h.Curves = map[string]Hash{}
	}
	if err := h.check(); err != nil {
		return fmt.Errorf("header: %w", err)
	}
	previous, err := Previous(dir, h.Practice)
	if err != nil {
		return err
	}
	if !previous.IsZero() {
		h.Previous = &previous
	}
	return nil
}

// mustBody is for bodies of our own that have passed their checks.
func mustBody(v any) []byte {
	body, err := Canonical(v)
	if err != nil {
		panic("record: internal error: " + err.Error())
	}
	return body
}

func makeDir(dir string) error {
	if _, err := os.Stat(dir); err == nil {
		return nil
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	return syncDir(filepath.Dir(dir))
}

// createFile makes STEM.jsonl, or STEM-2.jsonl and so on when a record of the
// same second and title is there.
func createFile(dir, stem string) (*os.File, string, error) {
	for n := 1; n <= 1000; n++ {
		name := stem + extension
		if n > 1 {
			name = fmt.Sprintf("%s-%d%s", stem, n, extension)
		}
		path := filepath.Join(dir, name)
		f, err := os.OpenFile(path, os.O_WRONLY|os.O_APPEND|os.O_CREATE|os.O_EXCL, 0o644)
		if errors.Is(err, fs.ErrExist) {
			continue
		}
		return f, path, err
	}
	return nil, "", fmt.Errorf("1000 records named %q are there already", stem)
}

// extension of a record's file name.
const extension = ".jsonl"

// practiceWord stands in the file name of a practice record. The title part
// of a name is lower-case, so no real record can carry it.
const practiceWord = "PRACTICE"

// fileStem is the file name without its extension: time, PRACTICE where it
// is, and the title in letters and digits that every file system takes.
func fileStem(h Header, now time.Time) string {
	stem := now.UTC().Format("20060102T150405Z")
	if h.Practice {
		stem += "-" + practiceWord
	}
	slug := strings.Map(func(r rune) rune {
		if (r >= 'a' && r <= 'z') || (r >= '0' && r <= '9') {
			return r
		}
		return ' '
	}, strings.ToLower(h.Title))
	slug = strings.Join(strings.Fields(slug), "-")
	if len(slug) > 40 {
		slug = strings.TrimRight(slug[:40], "-")
	}
	if slug == "" {
		return stem
	}
	return stem + "-" + slug
}

// Path returns the record's file name with its folder.
func (w *Writer) Path() string { return w.path }

// Append writes one entry and returns its sequence number and chain hash when
// it is on disk. now is the wall clock, mono the time since the session's
// start by the monotonic clock. body is a struct, a map or json.RawMessage and
// must give a JSON object; text that is not UTF-8 comes out with U+FFFD, so
// quote device bytes first.
//
// An entry that cannot be encoded is refused and the record goes on. A write
// error breaks the record for good: this and every later call returns an
// error wrapping ErrBroken, and the line must be taken as not written.
func (w *Writer) Append(now time.Time, mono time.Duration, kind string, body any) (int64, Hash, error) {
	p, err := newPending(now, mono, kind, body)
	if err != nil {
		return 0, Hash{}, err
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.write(p)
}

// pending is an entry before it has its place in the chain.
type pending struct {
	now  time.Time
	mono time.Duration
	kind string
	body json.RawMessage // canonical
}

func newPending(now time.Time, mono time.Duration, kind string, body any) (pending, error) {
	if kind == KindOpen || kind == KindClose || kind == KindRecovered {
		return pending{}, fmt.Errorf("record: append: kind %q is written by the record itself", kind)
	}
	canonical, err := Canonical(body)
	if err != nil {
		return pending{}, fmt.Errorf("record: append %q: %w", kind, err)
	}
	p := pending{now: now, mono: mono, kind: kind, body: canonical}
	// Encoded at its widest, so that nothing can be refused after it was queued.
	if _, err := p.entry(maxInteger, Hash{}).encode(canonical); err != nil {
		return pending{}, fmt.Errorf("record: append %q: %w", kind, err)
	}
	return p, nil
}

func (p pending) entry(seq int64, prev Hash) Entry {
	return Entry{Seq: seq, Time: p.now, MonoUS: p.mono.Microseconds(), Kind: p.kind, Body: p.body, Prev: prev}
}

// write puts one entry on disk and returns its sequence number and hash. The
// caller holds mu.
func (w *Writer) write(p pending) (int64, Hash, error) {
	if _, err := w.writeAll([]pending{p}); err != nil {
		return 0, Hash{}, err
	}
	return w.seq, w.prev, nil
}

// writeAll puts entries on disk with one write and one sync and returns their
// hashes. The caller holds mu.
func (w *Writer) writeAll(batch []pending) ([]Hash, error) {
	if w.err != nil {
		return nil, w.err
	}
	if w.closed {
		return nil, fmt.Errorf("record: append to %q: %w", w.path, ErrClosed)
	}
	seq, prev := w.seq, w.prev
	var lines []byte
	hashes := make([]Hash, 0, len(batch))
	for _, p := range batch {
		seq++
		line, err := p.entry(seq, prev).encode(p.body)
		if err != nil {
			return nil, fmt.Errorf("record: append %q: %w", p.kind, err)
		}
		prev = HashLine(line)
		hashes = append(hashes, prev)
		lines = append(append(lines, line...), '\n')
	}
	if err := w.writeSync(lines); err != nil {
		w.err = fmt.Errorf("record: line %d of %q: %w: %w", w.seq+1, w.path, ErrBroken, err)
		return nil, w.err
	}
	w.seq, w.prev = seq, prev
	return hashes, nil
}

func (w *Writer) writeSync(data []byte) error {
	n, err := w.file.Write(data)
	if err == nil && n < len(data) {
		err = io.ErrShortWrite
	}
	if err != nil {
		return err
	}
	w.size += int64(n)
	if err := w.file.Sync(); err != nil {
		return err
	}
	return w.inPlace()
}

// inPlace looks whether what was written stands where the next start looks for
// it. Nothing may go forward on entries that are in no file any more.
func (w *Writer) inPlace() error {
	ours, err := w.file.Stat()
	if err != nil {
		return err
	}
	named, err := os.Lstat(w.path)
	switch {
	case err != nil:
		return err
	case !os.SameFile(ours, named):
		return errors.New("another file has its name now")
	case ours.Size() != w.size:
		return fmt.Errorf("somebody else has changed the file: %d bytes, %d were written", ours.Size(), w.size)
	}
	return nil
}

// Close writes the closing line and gives up file and lock. The record can
// then be signed. On an error the record on disk stays open, file and lock are
// given up all the same.
func (w *Writer) Close(now time.Time, mono time.Duration, outcome Outcome, reason string) error {
	closing := Closing{Outcome: outcome, Reason: reason}
	if err := closing.check(); err != nil {
		return fmt.Errorf("record: close: %w", err)
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	_, _, err := w.write(pending{now: now, mono: mono, kind: KindClose, body: mustBody(closing)})
	if relErr := w.release(); err == nil {
		err = relErr
	}
	return err
}

// Release gives up file and lock and leaves the record open, to be recovered
// later. It is for a program that ends without being able to close.
func (w *Writer) Release() error {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.release()
}

func (w *Writer) release() error {
	if w.closed {
		return nil
	}
	w.closed = true
	err := w.file.Close()
	w.lock.release()
	if err != nil {
		return fmt.Errorf("record: close %q: %w", w.path, err)
	}
	return nil
}
