//go:build linux || darwin

package practice

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"time"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"
	"golang.org/x/term"
)

// replugPoll is how often a pulled cable is looked at.
const replugPoll = 20 * time.Millisecond

// StartPTY serves the box on a pseudo-terminal and returns the path to open.
// The path stays the same when the cable is pulled and plugged in again,
// although another terminal lies behind it. stop ends the service and takes
// the path away.
func StartPTY(b *Box) (path string, stop func(), err error) {
	dir, err := os.MkdirTemp("", "holdline-box-")
	if err != nil {
		return "", nil, fmt.Errorf("practice: start pty: %w", err)
	}
	s := &ptyServer{box: b, path: filepath.Join(dir, "port"), quit: make(chan struct{})}
	if err := s.open(); err != nil {
		_ = os.RemoveAll(dir) // the first error tells more
		return "", nil, err
	}
	var done sync.WaitGroup
	done.Go(s.run)
	var once sync.Once
	return s.path, func() {
		once.Do(func() {
			close(s.quit)
			s.mu.Lock()
			s.over = true
			s.mu.Unlock()
			s.hangUp()
			done.Wait()
			_ = os.RemoveAll(dir) // a left-over in the temporary folder is no harm
		})
	}, nil
}

type ptyServer struct {
	box  *Box
	path string
	quit chan struct{}

	mu          sync.Mutex
	over        bool
	master, tty *os.File
}

// OpenTerminal makes a pseudo-terminal whose user side is raw, so that nothing
// is echoed or translated. Closing the master ends a read of it at once.
func OpenTerminal() (master, user *os.File, err error) {
	first, user, err := pty.Open()
	if err != nil {
		return nil, nil, fmt.Errorf("practice: open pty: %w", err)
	}
	defer func() { _ = first.Close() }() // a copy of it is given out
	if _, err := term.MakeRaw(int(user.Fd())); err != nil {
		_ = user.Close() // the first error tells more
		return nil, nil, fmt.Errorf("practice: set pty raw: %w", err)
	}
	// The library leaves the master in blocking mode, in which Close waits for
	// a read that may never end.
	fd, err := unix.FcntlInt(first.Fd(), unix.F_DUPFD_CLOEXEC, 0)
	if err == nil {
		err = unix.SetNonblock(fd, true)
	}
	if err != nil {
		_ = user.Close() // the first error tells more
		return nil, nil, fmt.Errorf("practice: open pty: %w", err)
	}
	return os.NewFile(uintptr(fd), first.Name()), user, nil
}

// open makes a terminal and points the path at it.
func (s *ptyServer) open() error {
	master, tty, err := OpenTerminal()
	if err != nil {
		return err
	}
	_ = os.Remove(s.path) // of the terminal before
	if err := os.Symlink(tty.Name(), s.path); err != nil {
		_, _ = master.Close(), tty.Close() // the first error tells more
		return fmt.Errorf("practice: name pty: %w", err)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.over {
		_, _ = master.Close(), tty.Close() // stopped meanwhile
		return errStopped
	}
	s.master, s.tty = master, tty
	return nil
}

var errStopped = errors.New("practice: pty service stopped")

// hangUp closes both ends. The user side is kept open here until then, so that
// a program that closes it does not end the terminal.
func (s *ptyServer) hangUp() {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.master != nil {
		_, _ = s.master.Close(), s.tty.Close() // nothing is left to lose
		s.master, s.tty = nil, nil
	}
}

func (s *ptyServer) run() {
	for {
		s.mu.Lock()
		master := s.master
		s.mu.Unlock()
		if master != nil {
			_ = s.box.Serve(master) // ends when the terminal does
		}
		_ = os.Remove(s.path) // nothing answers there now
		s.hangUp()
		if !s.reopen() {
			return
		}
	}
}

// reopen waits until the cable is in again and opens another terminal; false
// means that the service is over.
func (s *ptyServer) reopen() bool {
	for {
		select {
		case <-s.quit:
			return false
		case <-time.After(replugPoll):
		}
		if !s.box.unplugged() && s.open() == nil {
			return true
		}
	}
}
