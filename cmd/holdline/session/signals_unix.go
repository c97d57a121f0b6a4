//go:build !windows

package session

import (
	"os"
	"syscall"
)

// endSignals end the program: an interrupt from outside, a request to end, a
// terminal that was closed, and the quit key of a terminal that is not raw.
var endSignals = []os.Signal{os.Interrupt, syscall.SIGTERM, syscall.SIGHUP, syscall.SIGQUIT}
