package session

import (
	"os"
	"syscall"
)

// endSignals end the program: an interrupt, and a console that was closed.
var endSignals = []os.Signal{os.Interrupt, syscall.SIGTERM}
