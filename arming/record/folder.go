package record

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"time"

	"github.com/gofrs/flock"
)

// MaxFile is the most bytes a record may have.
const MaxFile = 256 << 20

// OpenError says that the newest record of a folder has no closing line.
type OpenError struct{ Path string }

func (e *OpenError) Error() string {
	return fmt.Sprintf("record %q is still open: recover and close it first, or move it out of the folder", e.Path)
}

// chainLock is held by the one program that writes a folder's real records,
// or its practice records. The empty lock file stays: removing it would let
// two programs lock two files of one name.
type chainLock struct{ f *flock.Flock }

func lockPath(dir string, practice bool) string {
	if practice {
		return filepath.Join(dir, ".holdline-practice.lock")
	}
	return filepath.Join(dir, ".holdline-real.lock")
}

func lockChain(dir string, practice bool) (*chainLock, error) {
	f := flock.New(lockPath(dir, practice))
	// LastOpen of another program takes the lock for a moment to look.
	ctx, cancel := context.WithTimeout(context.Background(), 300*time.Millisecond)
	defer cancel()
	ok, err := f.TryLockContext(ctx, 20*time.Millisecond)
	if errors.Is(err, context.DeadlineExceeded) || (err == nil && !ok) {
		return nil, ErrInUse
	}
	if err != nil {
		return nil, fmt.Errorf("lock: %w", err)
	}
	return &chainLock{f: f}, nil
}

func (l *chainLock) release() {
	if l != nil {
		l.f.Unlock()
	}
}

// inUse reports whether a program holds the lock. Without a lock file, or
// where it may not be opened, nobody of this user does.
func inUse(dir string, practice bool) bool {
	path := lockPath(dir, practice)
	if _, err := os.Stat(path); err != nil {
		return false
	}
	f := flock.New(path)
	ok, err := f.TryLock()
	if ok {
		f.Unlock()
	}
	return err == nil && !ok
}

// Paths lists the records of a folder, sorted by name, that is by the time when
// they were opened. A folder that does not exist has none.
func Paths(dir string) ([]string, error) {
	paths, err := recordPaths(dir)
	if err != nil {
		return nil, fmt.Errorf("record: folder %q: %w", dir, err)
	}
	return paths, nil
}

// recordPaths is Paths with the bare error.
func recordPaths(dir string) ([]string, error) { return namedRecords(dir, fs.FileMode.IsRegular) }

// namedRecords are what has the name of a record, of the kinds of file asked for.
func namedRecords(dir string, kind func(fs.FileMode) bool) ([]string, error) {
	names, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var paths []string
	for _, n := range names {
		if kind(n.Type()) && strings.HasSuffix(n.Name(), extension) && !strings.HasPrefix(n.Name(), ".") {
			paths = append(paths, filepath.Join(dir, n.Name()))
		}
	}
	sort.Strings(paths)
	return paths, nil
}

// link is a record's place in the chain of its folder. It needs only first
// and last line, so a record damaged in between keeps its place.
type link struct {
	path     string
	practice bool
	header   bool // first line could be read
	opened   time.Time
	previous *Hash
	last     Hash // of the last whole line, zero when there is none
	closed   bool
}

func linkOf(path string, data []byte) link {
	l := link{path: path, practice: strings.Contains(filepath.Base(path), "-"+practiceWord)}
	end := bytes.LastIndexByte(data, '\n')
	if end < 0 {
		return l
	}
	first, _, _ := bytes.Cut(data, []byte("\n"))
	last := data[bytes.LastIndexByte(data[:end], '\n')+1 : end]
	l.last = HashLine(last)
	var head Log
	if head.add(first) == nil {
		l.header, l.practice, l.previous = true, head.Header.Practice, head.Header.Previous
		l.opened = head.Entries[0].Time
	}
	if e, err := decodeEntry(last); err == nil && e.Kind == KindClose && end == len(data)-1 {
		l.closed = true
	}
	return l
}

func readLinks(dir string) ([]link, error) {
	paths, err := recordPaths(dir)
	if err != nil {
		return nil, err
	}
	var links []link
	for _, path := range paths {
		data, err := readLimited(path, MaxFile)
		if err != nil {
			return nil, err
		}
		links = append(links, linkOf(path, data))
	}
	return links, nil
}

// Previous returns the hash of the last line of the newest record in dir, of
// the practice ones or of the real ones: the one that no other record names.
// It is zero when there is none. File names and clocks do not decide, except
// between several such records, where the one opened last is taken.
//
// The error is an *OpenError when that record has no closing line.
func Previous(dir string, practice bool) (Hash, error) {
	links, err := readLinks(dir)
	if err != nil {
		return Hash{}, fmt.Errorf("record: previous in %q: %w", dir, err)
	}
	named := map[Hash]bool{}
	for _, l := range links {
		if l.previous != nil {
			named[*l.previous] = true
		}
	}
	var tip *link
	for i, l := range links {
		// A file without one whole line is a start that came to nothing.
		if l.practice != practice || l.last.IsZero() || named[l.last] {
			continue
		}
		if !l.closed {
			return Hash{}, &OpenError{Path: l.path}
		}
		if tip == nil || l.opened.After(tip.opened) {
			tip = &links[i]
		}
	}
	if tip == nil {
		return Hash{}, nil
	}
	return tip.last, nil
}

// OpenRecord is a record without a closing line.
type OpenRecord struct {
	Path     string
	Practice bool  // by its first line, or by its name where that cannot be read
	InUse    bool  // another program is writing it now
	Log      *Log  // as far as it could be read
	Err      error // nil, or wraps ErrTorn or ErrLinked, or what Parse says of a damaged or newer record
}

// ErrLinked says that a record in the folder is no file of its own: it is
// written elsewhere, and nobody can say whether by another program now.
var ErrLinked = errors.New("the file is a link")

// Begun reports whether anything may have been recorded: a start that stopped
// before its first line was whole is the only one of which nothing was.
func (o OpenRecord) Begun() bool { return len(o.Log.Entries) > 0 || !errors.Is(o.Err, ErrTorn) }

// Recoverable reports whether Recover can take the record up again: it has a
// first line, nothing but its last line is damaged, and nobody writes it.
func (o OpenRecord) Recoverable() bool {
	return !o.InUse && len(o.Log.Entries) > 0 && (o.Err == nil || errors.Is(o.Err, ErrTorn))
}

// LastOpen returns the records of dir that have no closing line, the one
// opened last first: what a crash leaves behind. A damaged record without a
// closing line is among them, and a link that leads to no closed one. A folder
// that does not exist has none.
func LastOpen(dir string) ([]OpenRecord, error) {
	paths, err := namedRecords(dir, func(m fs.FileMode) bool { return !m.IsDir() })
	if err != nil {
		return nil, fmt.Errorf("record: look for open records in %q: %w", dir, err)
	}
	busy := map[bool]bool{true: inUse(dir, true), false: inUse(dir, false)}
	var open []OpenRecord
	for _, path := range paths {
		info, err := os.Lstat(path)
		linked := err == nil && !info.Mode().IsRegular()
		data, err := readLimited(path, MaxFile)
		if err != nil && !linked {
			return nil, fmt.Errorf("record: look for open records: %w", err)
		}
		l := linkOf(path, data)
		if l.closed {
			continue
		}
		o := OpenRecord{Path: path, Practice: l.practice, InUse: busy[l.practice]}
		if o.Log, o.Err = Parse(data); linked {
			o.Err = ErrLinked
		}
		open = append(open, o)
	}
	sort.SliceStable(open, func(i, j int) bool { return openedAt(open[i]).After(openedAt(open[j])) })
	return open, nil
}

func openedAt(o OpenRecord) time.Time {
	if len(o.Log.Entries) == 0 {
		return time.Time{}
	}
	return o.Log.Entries[0].Time
}
