//go:build e2e && (linux || darwin)

package e2e

import (
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/charmbracelet/x/vt"
	"github.com/creack/pty"
)

// The size that everything must fit into.
const (
	columns = 80
	rows    = 24
)

var (
	buildOnce sync.Once
	binary    string
	buildErr  error
)

// program is the command as it is delivered, built once.
func program(t testing.TB) string {
	t.Helper()
	buildOnce.Do(func() {
		dir, err := os.MkdirTemp("", "holdline-e2e-")
		if err != nil {
			buildErr = err
			return
		}
		binary = filepath.Join(dir, "holdline")
		if out, err := exec.Command("go", "build", "-o", binary, "holdline/cmd/holdline").CombinedOutput(); err != nil {
			buildErr = fmt.Errorf("%w: %s", err, out)
		}
	})
	if buildErr != nil {
		t.Fatal(buildErr)
	}
	return binary
}

func TestMain(m *testing.M) {
	code := m.Run()
	if binary != "" {
		os.RemoveAll(filepath.Dir(binary))
	}
	os.Exit(code)
}

// terminal is a program on a pseudo-terminal, and the screen it paints.
type terminal struct {
	t    testing.TB
	cmd  *exec.Cmd
	tty  *os.File
	done chan struct{} // closed when the program has ended
	err  error         // of its end

	mu  sync.Mutex // the emulator is not safe for several goroutines
	emu *vt.Emulator
	raw strings.Builder
}

// home is a place of its own for settings and records, of somebody who has
// seen the tour.
func home(t testing.TB) []string {
	t.Helper()
	env := newHome(t)
	settings := filepath.Join(strings.TrimPrefix(env[1], "XDG_CONFIG_HOME="), "holdline")
	if runtime.GOOS == "darwin" {
		settings = filepath.Join(strings.TrimPrefix(env[0], "HOME="), "Library", "Application Support", "holdline")
	}
	if err := os.MkdirAll(settings, 0o700); err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(settings, "tour-seen"), []byte("seen\n"))
	return env
}

// newHome is one of somebody who has never started the program.
func newHome(t testing.TB) []string {
	t.Helper()
	dir := quietDir(t)
	return []string{"HOME=" + dir, "XDG_CONFIG_HOME=" + filepath.Join(dir, "config"), "XDG_STATE_HOME=" + filepath.Join(dir, "state"),
		"TMPDIR=" + shortTemp(t)}
}

// quietDir is a temporary folder on a disk that nobody else keeps busy, where
// the system has one: what is tested here holds when a line is not on disk
// within half a second, and other tests must not be the reason.
func quietDir(t testing.TB) string {
	t.Helper()
	dir, err := os.MkdirTemp("/dev/shm", "holdline-test-")
	if err != nil {
		return t.TempDir()
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	return dir
}

// shortTemp is for the practice box's port.
func shortTemp(t testing.TB) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "hl")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	return dir
}

// open starts the program on a terminal of 80 by 24.
func open(t testing.TB, env []string, args ...string) *terminal {
	t.Helper()
	cmd := exec.Command(program(t), args...)
	for _, e := range os.Environ() {
		if name, _, _ := strings.Cut(e, "="); name != "CI" && name != "NO_COLOR" && name != "TERM" && name != "LANG" {
			cmd.Env = append(cmd.Env, e)
		}
	}
	cmd.Env = append(cmd.Env, "TERM=xterm-256color", "LANG=C.UTF-8")
	cmd.Env = append(cmd.Env, env...)
	tty, err := pty.StartWithSize(cmd, &pty.Winsize{Rows: rows, Cols: columns})
	if err != nil {
		t.Fatal(err)
	}
	x := &terminal{t: t, cmd: cmd, tty: tty, done: make(chan struct{}), emu: vt.NewEmulator(columns, rows)}
	var painted sync.WaitGroup
	painted.Go(x.paint)
	go func() { // replies to what the program asks the terminal
		_, _ = io.Copy(tty, x.emu) // ends with the emulator
	}()
	go func() {
		x.err = cmd.Wait()
		painted.Wait()
		close(x.done)
	}()
	t.Cleanup(func() {
		_ = cmd.Process.Kill() // it may have ended
		<-x.done
		_ = tty.Close()
		_ = x.emu.Close()
	})
	return x
}

func (x *terminal) paint() {
	buf := make([]byte, 8192)
	for {
		n, err := x.tty.Read(buf)
		x.mu.Lock()
		_, _ = x.emu.Write(buf[:n]) // an emulator takes anything
		x.raw.Write(buf[:n])
		x.mu.Unlock()
		if err != nil {
			return
		}
	}
}

// resize gives the terminal another size while the program runs.
func (x *terminal) resize(to *pty.Winsize) {
	x.t.Helper()
	x.mu.Lock()
	x.emu.Resize(int(to.Cols), int(to.Rows))
	x.mu.Unlock()
	if err := pty.Setsize(x.tty, to); err != nil {
		x.t.Fatal(err)
	}
}

// screen is what a person sees.
func (x *terminal) screen() string {
	x.mu.Lock()
	defer x.mu.Unlock()
	return x.emu.String()
}

// until waits until the screen satisfies ok.
func (x *terminal) until(what string, within time.Duration, ok func(screen string) bool) string {
	x.t.Helper()
	for end := time.Now().Add(within); ; time.Sleep(20 * time.Millisecond) {
		s := x.screen()
		if ok(s) {
			return s
		}
		if time.Now().After(end) {
			x.t.Fatalf("%s did not come within %v; the screen:\n%s", what, within, s)
		}
		select {
		case <-x.done:
			if s = x.screen(); ok(s) {
				return s
			}
			x.t.Fatalf("%s did not come: the program ended (%v); the screen:\n%s", what, x.err, s)
		default:
		}
	}
}

// see waits for text.
func (x *terminal) see(text string, within time.Duration) string {
	x.t.Helper()
	return x.until(fmt.Sprintf("%q", text), within, func(s string) bool { return strings.Contains(s, text) })
}

// press sends a key as a terminal does, a little after the one before, as a
// hand does.
func (x *terminal) press(key string) {
	x.t.Helper()
	time.Sleep(15 * time.Millisecond)
	if _, err := io.WriteString(x.tty, key); err != nil {
		x.t.Fatalf("key %q: %v", key, err)
	}
}

// The keys.
const (
	enter        = "\r"
	space        = " "
	ctrlC        = "\x03"
	emptyField   = "\x15"
	escape       = "\x1b"
	tab          = "\t"
	handKey      = "\x1b[15~"
	handBattery  = "\x1b[17~"
	handIgniters = "\x1b[18~"
	handShunt    = "\x1b[19~"
	handButton   = "\x1b[20~"
)

// write types a text into the open field and enter. Keys that come while the
// screen stands still are thrown away by design, as on a busy machine; so it
// looks whether they have arrived, as a person does, and types them again.
func (x *terminal) write(text string) {
	x.t.Helper()
	tail := text[max(0, len(text)-8):] + "▏"
	for range 5 {
		x.press(emptyField)
		for _, r := range text {
			x.press(string(r))
		}
		for end := time.Now().Add(time.Second); time.Now().Before(end); time.Sleep(10 * time.Millisecond) {
			switch s := x.screen(); {
			case strings.Contains(s, tail):
				x.enter(tail)
				return
			case strings.Contains(s, "not shown▏"):
				x.press(enter)
				return
			}
		}
	}
	x.t.Fatalf("%q could not be typed; the screen:\n%s", text, x.screen())
}

// enter sends what is typed, and again if that was thrown away.
func (x *terminal) enter(tail string) {
	x.t.Helper()
	for range 3 {
		x.press(enter)
		if x.comes(time.Second, func(s string) bool { return !strings.Contains(s, tail) }) {
			return
		}
	}
}

// comes reports whether the screen satisfies ok before the time is over.
func (x *terminal) comes(within time.Duration, ok func(screen string) bool) bool {
	for end := time.Now().Add(within); ; time.Sleep(10 * time.Millisecond) {
		if ok(x.screen()) {
			return true
		}
		if time.Now().After(end) {
			return false
		}
	}
}

// shows reports whether text comes before the time is over.
func (x *terminal) shows(text string, within time.Duration) bool {
	return x.comes(within, func(s string) bool { return strings.Contains(s, text) })
}

// ended waits for the end of the program and returns its exit status.
func (x *terminal) ended(within time.Duration) int {
	x.t.Helper()
	select {
	case <-x.done:
	case <-time.After(within):
		x.t.Fatalf("the program did not end within %v; the screen:\n%s", within, x.screen())
	}
	return x.cmd.ProcessState.ExitCode()
}

func (x *terminal) signal(s syscall.Signal) {
	x.t.Helper()
	if err := x.cmd.Process.Signal(s); err != nil {
		x.t.Fatal(err)
	}
}

// restored reports whether the screen was given back: the alternate screen
// left and the cursor shown, in this order of the bytes.
func (x *terminal) restored() bool {
	x.mu.Lock()
	defer x.mu.Unlock()
	raw := x.raw.String()
	return strings.LastIndex(raw, "\x1b[?1049l") > strings.LastIndex(raw, "\x1b[?1049h") &&
		strings.LastIndex(raw, "\x1b[?25h") > strings.LastIndex(raw, "\x1b[?25l")
}

// hangUp closes the terminal, as its window does.
func (x *terminal) hangUp() {
	_ = x.tty.Close() // the program sees the end of its terminal
}
