//go:build linux || darwin

package main

import (
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/charmbracelet/x/vt"
	"github.com/creack/pty"
)

// form is the real binary's form on a pseudo-terminal, and what it paints.
type form struct {
	t    *testing.T
	tty  *os.File
	cmd  *exec.Cmd
	done chan error

	mu  sync.Mutex // the emulator is not safe for several goroutines
	emu *vt.Emulator
	raw strings.Builder
}

func openForm(t *testing.T, path string) *form {
	t.Helper()
	cmd := exec.Command(build(t), "edit", path)
	for _, e := range os.Environ() {
		if name, _, _ := strings.Cut(e, "="); name != "CI" && name != "NO_COLOR" && name != "TERM" && !strings.HasPrefix(name, "LC_") && name != "LANG" {
			cmd.Env = append(cmd.Env, e)
		}
	}
	cmd.Env = append(cmd.Env, "TERM=xterm-256color", "LANG=C.UTF-8")
	tty, err := pty.StartWithSize(cmd, &pty.Winsize{Rows: 24, Cols: 80})
	if err != nil {
		t.Fatal(err)
	}
	x := &form{t: t, tty: tty, cmd: cmd, done: make(chan error, 1), emu: vt.NewEmulator(80, 24)}
	var painted sync.WaitGroup
	painted.Go(func() {
		buf := make([]byte, 8192)
		for {
			n, err := tty.Read(buf)
			x.mu.Lock()
			_, _ = x.emu.Write(buf[:n]) // an emulator takes anything
			x.raw.Write(buf[:n])
			x.mu.Unlock()
			if err != nil {
				return
			}
		}
	})
	go func() { _, _ = io.Copy(tty, x.emu) }() // replies to what the program asks the terminal; ends with the emulator
	go func() {
		err := cmd.Wait()
		painted.Wait()
		x.done <- err
	}()
	t.Cleanup(func() {
		_ = cmd.Process.Kill() // it may have ended
		_ = tty.Close()
		if c, ok := x.emu.InputPipe().(io.Closer); ok { // Close of the emulator races with its Read
			_ = c.Close()
		}
	})
	return x
}

func (x *form) screen() string {
	x.mu.Lock()
	defer x.mu.Unlock()
	return x.emu.String()
}

// see waits for text on the screen.
func (x *form) see(text string) {
	x.t.Helper()
	x.until(text, func(screen string) bool { return strings.Contains(screen, text) })
}

func (x *form) until(what string, is func(screen string) bool) {
	x.t.Helper()
	for end := time.Now().Add(60 * time.Second); !is(x.screen()); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			x.t.Fatalf("%q did not come; the screen:\n%s", what, x.screen())
		}
	}
}

// ends waits for the end of the program.
func (x *form) ends() {
	x.t.Helper()
	select {
	case err := <-x.done:
		if err != nil {
			x.t.Errorf("%v\n%s", err, x.screen())
		}
	case <-time.After(60 * time.Second):
		x.t.Fatalf("it does not end; the screen:\n%s", x.screen())
	}
}

// press sends keys as a terminal does, one after the other.
func (x *form) press(keys ...string) {
	x.t.Helper()
	for _, key := range keys {
		time.Sleep(10 * time.Millisecond)
		if _, err := io.WriteString(x.tty, key); err != nil {
			x.t.Fatal(err)
		}
	}
}

// starter is a sheet as new writes it.
func starter(t *testing.T) (path string, text []byte) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "first", "sheet.toml")
	if got := run(t.Context(), []string{"new", filepath.Dir(path)}, strings.NewReader(""), io.Discard, io.Discard); got != exitYes {
		t.Fatalf("new: exit status %d", got)
	}
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return path, text
}

// The form in a real terminal: it finds an entry, refuses a value in words,
// takes a better one, shows the prediction's answer to it, saves, and leaves
// the terminal as it was. In the file nothing else has changed.
func TestEditInATerminalKeepsCommentsAndChangesOneLine(t *testing.T) {
	path, before := starter(t)
	x := openForm(t, path)
	x.see("limits are kept")
	x.press("/")
	x.see("find")
	x.press("cleared length", "\r")
	x.see("From the start line to the end")
	x.press("\r", "\x15", "90", "\r")
	x.see(`not taken: found "90", without a unit`)
	x.press(" m", "\r")
	x.see("1 value changed, not saved")
	x.see("NO-GO")
	x.see("at least")
	x.press("s", "q")
	x.ends()
	after, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	was, now := strings.Split(string(before), "\n"), strings.Split(string(after), "\n")
	var differ []string
	for i := range was {
		if len(now) != len(was) || was[i] != now[i] {
			differ = append(differ, now[i])
		}
	}
	if want := []string{`clear_length = "90 m"              # from the start line to the end of the cleared strip`}; !slices.Equal(differ, want) {
		t.Errorf("%d lines, then %d; changed: %q", len(was), len(now), differ)
	}
	x.mu.Lock()
	defer x.mu.Unlock()
	raw := x.raw.String()
	_, told, ok := strings.Cut(raw, "\x1b[?1049l") // the screen before is back
	if !ok || !strings.Contains(told, "site.clear_length: 160 m is now 90 m") || !strings.Contains(told, "saved") {
		t.Errorf("at the end: %q", told)
	}
}

// Leaving with changes asks first; left without saving, the file is as it was.
func TestEditLeftWithoutSavingChangesNothing(t *testing.T) {
	path, before := starter(t)
	x := openForm(t, path)
	x.see("first/sheet.toml")
	x.press("\r", "\x15", "Another title", "\r")
	x.see("1 value changed, not saved")
	x.press("q")
	x.see("LEAVE?")
	x.press("n")
	x.ends()
	if after, err := os.ReadFile(path); err != nil || string(after) != string(before) {
		t.Errorf("the file has changed: %v", err)
	}
	x.mu.Lock()
	defer x.mu.Unlock()
	if !strings.Contains(x.raw.String(), "left with changes that were not saved: 1") {
		t.Error("nothing said of what was lost")
	}
}
