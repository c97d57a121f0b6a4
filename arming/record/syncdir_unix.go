//go:build !windows

package record

import (
	"errors"
	"os"
	"syscall"
)

// syncDir puts the folder's names on disk, so that a new or renamed file is
// still there after a power cut. Some network file systems cannot do it and
// say so; the file's own bytes are synced all the same.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	if err := d.Sync(); err != nil && !errors.Is(err, syscall.EINVAL) && !errors.Is(err, syscall.ENOTSUP) {
		return err
	}
	return nil
}
