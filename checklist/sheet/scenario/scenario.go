// Package scenario is the two sheets that come with the program: the
// practice scenario, an invented firing that meets every limit, and the
// starter sheet of `holdline new`, which explains every key.
//
// Everything in them is invented. No motor, igniter or battery is any maker's.
package scenario

import (
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"holdline/checklist/sheet"
)

//go:embed run starter
var files embed.FS

// SheetName is the sheet's name in Files and in a starter folder.
const SheetName = "sheet.toml"

// Files is the folder of the practice scenario: the sheet SheetName and its
// curves.
func Files() fs.FS { return folder("run") }

// StarterFiles is the folder that WriteStarter writes.
func StarterFiles() fs.FS { return folder("starter") }

func folder(name string) fs.FS {
	sub, err := fs.Sub(files, name)
	if err != nil {
		panic("scenario: internal error: " + err.Error())
	}
	return sub
}

// Open reads the practice scenario.
func Open() (*sheet.Sheet, error) { return sheet.LoadFS(Files(), SheetName) }

// WriteStarter writes the starter sheet and its curve into the folder dir,
// which it makes if need be, and returns the paths written. When a file of
// theirs is there already it writes nothing and overwrites nothing. When it
// fails half way it takes away what it wrote.
func WriteStarter(dir string) (written []string, err error) {
	names, err := fs.Glob(StarterFiles(), "*/*")
	if err != nil {
		return nil, fmt.Errorf("scenario: starter: %w", err)
	}
	names = append(names, SheetName)
	for _, name := range names {
		path := filepath.Join(dir, filepath.FromSlash(name))
		if _, err := os.Lstat(path); err == nil {
			return nil, fmt.Errorf("scenario: starter: %q is there already, nothing was written", path)
		} else if !errors.Is(err, fs.ErrNotExist) {
			return nil, fmt.Errorf("scenario: starter: %w", err)
		}
	}
	var made []string
	defer func() {
		if err != nil {
			for i := len(made) - 1; i >= 0; i-- {
				os.Remove(made[i])
			}
			written, err = nil, fmt.Errorf("scenario: starter: %w", err)
		}
	}()
	for _, name := range names {
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := makeFolders(filepath.Dir(path), &made); err != nil {
			return nil, err
		}
		if err := writeNew(path, name, &made); err != nil {
			return nil, err
		}
		written = append(written, path)
	}
	return written, nil
}

// makeFolders is os.MkdirAll that notes what it made.
func makeFolders(dir string, made *[]string) error {
	if _, err := os.Stat(dir); err == nil {
		return nil
	}
	if parent := filepath.Dir(dir); parent != dir {
		if err := makeFolders(parent, made); err != nil {
			return err
		}
	}
	if err := os.Mkdir(dir, 0o755); err != nil {
		return err
	}
	*made = append(*made, dir)
	return nil
}

// writeNew writes a file that must not be there, flushed to the disk.
func writeNew(path, name string, made *[]string) error {
	data, err := fs.ReadFile(StarterFiles(), name)
	if err != nil {
		return err
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	*made = append(*made, path)
	_, err = f.Write(data)
	if err == nil {
		err = f.Sync()
	}
	if closeErr := f.Close(); err == nil {
		err = closeErr
	}
	return err
}
