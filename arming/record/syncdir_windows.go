//go:build windows

package record

// syncDir does nothing: Windows has no call that syncs a folder, and NTFS
// journals its names.
func syncDir(string) error { return nil }
