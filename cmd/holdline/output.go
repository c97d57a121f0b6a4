package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"holdline/arming"
	"holdline/checklist/sheet/unit"
)

// writeJSON writes one indented JSON value with a newline.
func writeJSON(w io.Writer, value any) error {
	data, err := json.MarshalIndent(value, "", "  ")
	if err != nil {
		return fmt.Errorf("json: %w", err)
	}
	_, err = w.Write(append(data, '\n'))
	return err
}

// tell writes one line for people. Nothing in it, whatever file it came from, can
// act on their terminal.
func tell(w io.Writer, format string, args ...any) error {
	_, err := io.WriteString(w, arming.Plain(fmt.Sprintf(format, args...))+"\n")
	return err
}

// answer writes a command's answer, as JSON or by text; a no is the error
// errAnswerNo.
func (p *program) answer(asJSON bool, value any, text func(io.Writer, unit.System) error, yes bool) error {
	var err error
	if asJSON {
		err = writeJSON(p.out, value)
	} else {
		err = text(p.out, p.units.System)
	}
	if err == nil && !yes {
		err = errAnswerNo
	}
	return err
}

// writeFile writes a file whole or not at all: beside its place, then flushed,
// then renamed over it.
func writeFile(path string, data []byte) (err error) {
	if info, statErr := os.Stat(path); statErr == nil && !info.Mode().IsRegular() {
		return fmt.Errorf("%q: not a regular file, so it is not replaced", path)
	}
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*")
	if err != nil {
		return fmt.Errorf("%q: %w", path, reason(err))
	}
	defer func() {
		if err != nil {
			_ = f.Close()           // closed already on most ways here
			_ = os.Remove(f.Name()) // nothing half-written stays
		}
	}()
	if _, err = f.Write(data); err == nil {
		err = f.Sync()
	}
	if closeErr := f.Close(); err == nil {
		err = closeErr
	}
	if err == nil {
		err = os.Chmod(f.Name(), 0o644)
	}
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return fmt.Errorf("%q: %w", path, reason(err))
	}
	return nil
}

// reason is a file error without the path of the temporary file.
func reason(err error) error {
	var pathErr *fs.PathError
	if errors.As(err, &pathErr) {
		return pathErr.Err
	}
	return err
}
