package record

import (
	"encoding/base64"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"
)

// maxTornInline is how many bytes of a torn line are kept inside the record.
const maxTornInline = 64 << 10

// Recover takes up an open record again after its writer stopped, and returns
// a Writer that goes on at its end, and the Log as it was found. Its whole
// lines stay as they are, byte for byte; a line of kind recovered follows.
//
// When the last line was torn, the file as found is first kept beside it as
// NAME.jsonl.torn, and the record is replaced in one step by one in which the
// torn bytes stand in the body of the recovered line. Nothing that was
// written is lost, and every line of the result is whole.
//
// Recover refuses a record that is closed (ErrClosed), that another program
// writes (ErrInUse), that has no whole first line (ErrTorn: nothing was
// recorded), or that is damaged anywhere else.
func Recover(path string, now time.Time, program string) (*Writer, *Log, error) {
	w, log, err := recoverRecord(path, now, program)
	if err != nil {
		return nil, log, fmt.Errorf("record: recover %q: %w", path, err)
	}
	return w, log, nil
}

func recoverRecord(path string, now time.Time, program string) (w *Writer, log *Log, err error) {
	data, err := readLimited(path, MaxFile)
	if err != nil {
		return nil, nil, err
	}
	dir := filepath.Dir(path)
	lock, err := lockChain(dir, linkOf(path, data).practice)
	if err != nil {
		return nil, nil, err
	}
	defer func() {
		if err != nil {
			lock.release()
		}
	}()
	// Read again: only now is it certain that nobody else is writing.
	if data, err = readLimited(path, MaxFile); err != nil {
		return nil, nil, err
	}
	log, err = Parse(data)
	switch {
	case err != nil && (!errors.Is(err, ErrTorn) || len(log.Entries) == 0):
		return nil, log, err
	case log.Closed() && log.Torn == nil:
		return nil, log, ErrClosed
	case log.Closed():
		return nil, log, fmt.Errorf("%d bytes after the closing line", len(log.Torn))
	}
	body := Recovered{Program: program}
	if len(log.Torn) > 0 {
		sum := SumSHA256(log.Torn)
		body.TornBytes, body.TornSHA256 = int64(len(log.Torn)), &sum
		if len(log.Torn) <= maxTornInline {
			body.TornBase64 = base64.StdEncoding.EncodeToString(log.Torn)
		}
	}
	if err = body.check(); err != nil {
		return nil, log, err
	}
	w = &Writer{path: path, lock: lock, seq: int64(len(log.Entries)), prev: log.Last}
	p := pending{now: now, kind: KindRecovered, body: mustBody(body)}
	if err = w.takeUp(data, log, p); err != nil {
		return nil, log, err
	}
	return w, log, nil
}

// takeUp writes the recovered line and leaves w ready to append.
func (w *Writer) takeUp(data []byte, log *Log, p pending) error {
	torn := len(log.Torn) > 0
	w.size = int64(len(data))
	if torn {
		if err := w.replaceTorn(data, log, p); err != nil {
			return err
		}
	}
	f, err := os.OpenFile(w.path, os.O_WRONLY|os.O_APPEND, 0)
	if err != nil {
		return err
	}
	w.file = f
	if !torn {
		if _, _, err := w.write(p); err != nil {
			f.Close()
			return err
		}
	}
	return nil
}

// replaceTorn keeps the file as found and puts whole lines in its place.
func (w *Writer) replaceTorn(data []byte, log *Log, p pending) error {
	if err := keepTorn(w.path, data); err != nil {
		return fmt.Errorf("keep the torn file: %w", err)
	}
	line, err := p.entry(w.seq+1, w.prev).encode(p.body)
	if err != nil {
		return err
	}
	whole := append(append(data[:log.GoodBytes:log.GoodBytes], line...), '\n')
	if err := ReplaceFile(w.path, whole, 0o644); err != nil {
		return err
	}
	w.seq, w.prev, w.size = w.seq+1, HashLine(line), int64(len(whole))
	return nil
}

// keepTorn writes data to PATH.torn, PATH.2.torn and so on. A copy that is
// there already, from a recovery that was itself cut short, is enough.
func keepTorn(path string, data []byte) error {
	for n := 1; n <= 1000; n++ {
		name := path + ".torn"
		if n > 1 {
			name = fmt.Sprintf("%s.%d.torn", path, n)
		}
		err := writeNewFile(name, data, 0o644)
		if !errors.Is(err, fs.ErrExist) {
			return err
		}
		if had, err := readLimited(name, MaxFile); err == nil && string(had) == string(data) {
			return nil
		}
	}
	return fmt.Errorf("1000 torn copies of %q are there already", path)
}
