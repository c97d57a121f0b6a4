package sheet

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// Load reads the sheet at path with its curve files. The error is a Faults
// with everything that is wrong, a file that cannot be read included.
func Load(path string) (*Sheet, error) {
	data, err := readRegular(path, mostSheetBytes)
	if err != nil {
		return nil, unreadable(path, err)
	}
	return Parse(path, data, CurvesBeside(path))
}

// CurvesBeside reads the curve files that a sheet at path names.
func CurvesBeside(path string) func(curve string) ([]byte, error) {
	return func(curve string) ([]byte, error) {
		return readRegular(filepath.Join(filepath.Dir(path), filepath.FromSlash(curve)), mostCurveBytes)
	}
}

// LoadFS is Load from a file system, such as an embedded one.
func LoadFS(fsys fs.FS, path string) (*Sheet, error) {
	data, err := fs.ReadFile(fsys, path)
	if err != nil {
		return nil, unreadable(path, err)
	}
	return Parse(path, data, func(curve string) ([]byte, error) {
		return fs.ReadFile(fsys, filepath.ToSlash(filepath.Join(filepath.Dir(path), filepath.FromSlash(curve))))
	})
}

func unreadable(path string, err error) Faults {
	expected := "a run sheet"
	if info, statErr := os.Stat(path); statErr == nil && info.IsDir() {
		expected += ", such as " + filepath.Join(path, "sheet.toml")
	}
	return Faults{{path, 1, 1, "", "a file that cannot be read: " + readReason(err), expected, ""}}
}

// errTooLarge begins the sentence about a file that is not read.
var errTooLarge = errors.New("it has more")

// readRegular reads a regular file of at most most bytes. A larger one is
// refused before it is read, and one that grows meanwhile as soon as it has.
func readRegular(path string, most int64) ([]byte, error) {
	// Looked at before it is opened: opening a pipe would wait for a writer.
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if info.IsDir() {
		return nil, errors.New("it is a folder")
	}
	if !info.Mode().IsRegular() {
		return nil, errors.New("it is not a regular file")
	}
	tooLarge := fmt.Errorf("%w than %d bytes", errTooLarge, most)
	if info.Size() > most {
		return nil, tooLarge
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, most+1))
	if err != nil {
		return nil, err
	}
	if int64(len(data)) > most {
		return nil, tooLarge
	}
	return data, nil
}

// ErrChanged says that a file is not the one that was read.
var ErrChanged = errors.New("the file has changed on disk since it was read")

// SaveOver is Save for a file that was read before: it refuses with ErrChanged
// when the file does not read was any more. A file that a link names is
// replaced where it is, the link stays.
func SaveOver(path string, was, data []byte) error {
	real, err := filepath.EvalSymlinks(path)
	if err != nil {
		return fmt.Errorf("sheet: save: %w", err)
	}
	now, err := readRegular(real, mostSheetBytes)
	if err != nil {
		return fmt.Errorf("sheet: save: %w", err)
	}
	if !bytes.Equal(now, was) {
		return ErrChanged
	}
	return Save(real, data)
}

// Text reads a sheet's text as it is, for editing.
func Text(path string) ([]byte, error) {
	data, err := readRegular(path, mostSheetBytes)
	if err != nil {
		return nil, unreadable(path, err)
	}
	return data, nil
}

// Save puts a sheet's text into the file at path, whole or not at all: it is
// written to a new file beside it, flushed to the disk and then renamed.
func Save(path string, data []byte) (err error) {
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*")
	if err != nil {
		return fmt.Errorf("sheet: save: %w", err)
	}
	defer func() {
		if err != nil {
			os.Remove(f.Name())
			err = fmt.Errorf("sheet: save: %w", err)
		}
	}()
	mode := fs.FileMode(0o644)
	if info, statErr := os.Stat(path); statErr == nil {
		mode = info.Mode().Perm()
	}
	_, err = f.Write(data)
	if err == nil {
		err = f.Chmod(mode)
	}
	if err == nil {
		err = f.Sync()
	}
	if closeErr := f.Close(); err == nil {
		err = closeErr
	}
	if err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}
