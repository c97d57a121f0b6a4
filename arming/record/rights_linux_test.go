//go:build linux

package record

import (
	"os"
	"runtime"
	"syscall"
	"testing"
)

// withoutRights runs f with the file rights of nobody when the tests run as
// root, whom no mode keeps out. Only the thread of f is changed, and it is
// given up afterwards.
func withoutRights(t *testing.T, f func()) {
	t.Helper()
	if os.Geteuid() != 0 {
		f()
		return
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		runtime.LockOSThread() // never unlocked: the thread ends with the goroutine
		const nobody = 65534
		syscall.RawSyscall(syscall.SYS_SETFSGID, nobody, 0, 0)
		syscall.RawSyscall(syscall.SYS_SETFSUID, nobody, 0, 0)
		if got, _, _ := syscall.RawSyscall(syscall.SYS_SETFSUID, ^uintptr(0), 0, 0); got != nobody {
			t.Errorf("file rights of user %d, want %d", got, nobody)
			return
		}
		f()
	}()
	<-done
}
