//go:build linux || darwin

package main

import (
	"bytes"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/creack/pty"
)

// A terminal that never answers a question about its colours must not hold up
// any subcommand: a library of the cockpit asks while it is initialised and
// would wait five seconds. The terminal here is silent, as a serial console or
// an old multiplexer is.
func TestStartDoesNotWaitForASilentTerminal(t *testing.T) {
	binary := build(t)
	piped := time.Duration(1<<63 - 1)
	for range 3 {
		start := time.Now()
		if out, err := exec.Command(binary, "--help").CombinedOutput(); err != nil {
			t.Fatalf("--help: %v: %s", err, out)
		}
		piped = min(piped, time.Since(start))
	}
	took, out := time.Duration(1<<63-1), ""
	for range 3 { // a wait of seconds is there each time, other work is not
		start := time.Now()
		out = runInSilentTerminal(t, exec.Command(binary, "version"))
		took = min(took, time.Since(start))
	}
	t.Logf("version in a silent terminal %v, --help into a pipe %v, ratio %.1f", took, piped, float64(took)/float64(piped))
	if !strings.HasPrefix(out, "holdline ") {
		t.Errorf("got %q, want the version", out)
	}
	if took > 2*time.Second {
		t.Errorf("holdline version took %v in a terminal that answers nothing, want well under 5 s", took)
	}
	if strings.Contains(out, "\x1b]") || strings.Contains(out, "\x1b[6n") {
		t.Errorf("holdline version asks the terminal: %q", out)
	}
}

// runInSilentTerminal runs a program on a pseudo-terminal that only listens,
// and returns what was written to it.
func runInSilentTerminal(t *testing.T, cmd *exec.Cmd) string {
	t.Helper()
	for _, e := range os.Environ() {
		// What keeps the library from asking must not come from outside.
		if !strings.HasPrefix(e, "TERM=") && !strings.HasPrefix(e, "CI=") {
			cmd.Env = append(cmd.Env, e)
		}
	}
	cmd.Env = append(cmd.Env, "TERM=xterm-256color")
	terminal, err := pty.StartWithSize(cmd, &pty.Winsize{Rows: 24, Cols: 80})
	if err != nil {
		t.Fatal(err)
	}
	defer terminal.Close()
	late := time.AfterFunc(20*time.Second, func() { _ = cmd.Process.Kill() })
	defer late.Stop()
	var out bytes.Buffer
	if _, err := io.Copy(&out, terminal); err != nil && !errors.Is(err, syscall.EIO) { // Linux: the other end is closed
		t.Fatal(err)
	}
	if err := cmd.Wait(); err != nil {
		t.Fatalf("%v: %s", err, out.String())
	}
	return out.String()
}

// build compiles the command as it is delivered.
func build(t *testing.T) string {
	t.Helper()
	binary := filepath.Join(t.TempDir(), "holdline")
	if out, err := exec.Command("go", "build", "-o", binary, ".").CombinedOutput(); err != nil {
		t.Fatalf("go build: %v: %s", err, out)
	}
	return binary
}
