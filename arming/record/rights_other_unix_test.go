//go:build unix && !linux

package record

import (
	"os"
	"testing"
)

// withoutRights runs f; the tests must not run as root, whom no mode keeps out.
func withoutRights(t *testing.T, f func()) {
	t.Helper()
	if os.Geteuid() == 0 {
		t.Fatal("run the tests as another user than root")
	}
	f()
}
