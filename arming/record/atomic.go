package record

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// writeNewFile writes data to path, which must not exist yet, so that after a
// stop at any moment either no file stands there or the whole one: a
// temporary file in the same folder, sync, a link to the final name, sync of
// the folder. It returns an error wrapping fs.ErrExist when path is taken.
func writeNewFile(path string, data []byte, perm fs.FileMode) error {
	tmp, err := writeTemp(path, data, perm)
	if err != nil {
		return err
	}
	defer os.Remove(tmp)
	if err := linkNew(tmp, path); err != nil {
		return err
	}
	return syncDir(filepath.Dir(path))
}

// linkNew gives the file at tmp the name path too, or moves it there on file
// systems without links; it never replaces a file.
func linkNew(tmp, path string) error {
	err := os.Link(tmp, path)
	if err == nil || errors.Is(err, fs.ErrExist) {
		return err
	}
	if _, statErr := os.Lstat(path); statErr == nil {
		return &fs.PathError{Op: "create", Path: path, Err: fs.ErrExist}
	}
	return os.Rename(tmp, path)
}

// ReplaceFile puts data in the place of the file at path, whole or not at all.
func ReplaceFile(path string, data []byte, perm fs.FileMode) error {
	tmp, err := writeTemp(path, data, perm)
	if err != nil {
		return err
	}
	if err := os.Rename(tmp, path); err != nil {
		os.Remove(tmp)
		return err
	}
	return syncDir(filepath.Dir(path))
}

// writeTemp writes and syncs a file beside path. Nothing stays on an error.
func writeTemp(path string, data []byte, perm fs.FileMode) (string, error) {
	f, err := os.CreateTemp(filepath.Dir(path), ".tmp-"+filepath.Base(path)+"-*")
	if err != nil {
		return "", err
	}
	_, err = f.Write(data)
	if err == nil {
		err = f.Sync()
	}
	if closeErr := f.Close(); err == nil {
		err = closeErr
	}
	if err == nil {
		err = os.Chmod(f.Name(), perm)
	}
	if err != nil {
		os.Remove(f.Name())
		return "", err
	}
	return f.Name(), nil
}

// readLimited reads a whole file of at most limit bytes.
func readLimited(path string, limit int64) ([]byte, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s: not a regular file", path)
	}
	if info.Size() > limit {
		return nil, fmt.Errorf("%s: %d bytes, limit %d", path, info.Size(), limit)
	}
	return os.ReadFile(path)
}
