package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"holdline/arming"
	"holdline/arming/record"
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

// writeFile writes a file whole or not at all.
func writeFile(path string, data []byte) error {
	if info, err := os.Stat(path); err == nil && !info.Mode().IsRegular() {
		return fmt.Errorf("%q: not a regular file, so it is not replaced", path)
	}
	if err := record.ReplaceFile(path, data, 0o644); err != nil {
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
