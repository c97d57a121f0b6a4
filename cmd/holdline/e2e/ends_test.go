//go:build e2e && (linux || darwin)

package e2e

import (
	"bufio"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"holdline/checklist/sheet"
	"holdline/checklist/sheet/scenario"
)

// box is a practice box in a program of its own: it goes on when the cockpit
// ends, and tells what it has seen.
type box struct {
	t     testing.TB
	path  string
	in    io.Writer
	lines chan string
}

func openBox(t testing.TB, env []string) *box {
	t.Helper()
	cmd := exec.Command(program(t), "practice-box")
	cmd.Env = append(os.Environ(), env...)
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	b := &box{t: t, in: in, lines: make(chan string, 256)}
	go func() {
		defer close(b.lines)
		for scan := bufio.NewScanner(out); scan.Scan(); {
			b.lines <- scan.Text()
		}
	}()
	t.Cleanup(func() {
		_ = cmd.Process.Signal(os.Interrupt) // it may have ended
		for range b.lines {
		}
		_ = cmd.Wait() // ended by the interrupt
	})
	b.path = b.line()
	return b
}

func (b *box) line() string {
	b.t.Helper()
	select {
	case l, ok := <-b.lines:
		if !ok {
			b.t.Fatal("the practice box has ended")
		}
		return l
	case <-time.After(5 * time.Second):
		b.t.Fatal("the practice box says nothing")
	}
	return ""
}

func (b *box) do(what string) {
	b.t.Helper()
	if _, err := io.WriteString(b.in, what+"\n"); err != nil {
		b.t.Fatal(err)
	}
}

// state is what the box knows of itself.
func (b *box) state() string {
	b.t.Helper()
	b.do("state")
	return b.line()
}

// until waits for a state of the box and returns how long it took.
func (b *box) until(want string, within time.Duration) time.Duration {
	b.t.Helper()
	began := time.Now()
	for {
		s := b.state()
		if strings.Contains(s, want) {
			return time.Since(began)
		}
		if time.Since(began) > within {
			b.t.Fatalf("the box did not show %q within %v: %s", want, within, s)
		}
		time.Sleep(5 * time.Millisecond)
	}
}

func (b *box) key(in bool)      { b.t.Helper(); b.do("key " + word(in, "in", "out")) }
func (b *box) battery(on bool)  { b.t.Helper(); b.do("battery " + word(on, "on", "off")) }
func (b *box) igniters(on bool) { b.t.Helper(); b.do("igniters " + word(on, "on", "off")) }
func (b *box) shunt(on bool)    { b.t.Helper(); b.do("shunt " + word(on, "on", "off")) }
func (b *box) button(down bool) { b.t.Helper(); b.do("button " + word(down, "down", "up")) }

// quickSheet is the practice scenario with the shortest count.
func quickSheet(t testing.TB) string {
	t.Helper()
	dir := t.TempDir()
	if err := os.CopyFS(dir, scenario.Files()); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, scenario.SheetName)
	data, err := sheet.Set(read(t, path), "times.count", "5 s")
	if err != nil {
		t.Fatal(err)
	}
	if data, err = sheet.Set(data, "times.window", "15 s"); err != nil {
		t.Fatal(err)
	}
	write(t, path, data)
	return path
}

// TestThePauseOfTheCount stops the clock where the sheet says so: nothing goes on
// without the firing officer's word, and all goes on with it.
func TestThePauseOfTheCount(t *testing.T) {
	env := home(t)
	b := openBox(t, env)
	path := quickSheet(t)
	write(t, path, append(read(t, path), "\n[[pause]]\nat = \"3 s\"\n"...))
	x := open(t, env, path, "--box", b.path)
	c := &crew{t: t, x: x, h: b}
	x.see("CREW FIRING OFFICER", 10*time.Second)
	c.upToTheCount()
	x.see("The count stands at 3", 4*time.Second)
	time.Sleep(4 * time.Second) // past what would have been zero
	if s := b.state(); !strings.Contains(s, "permit open") || !strings.Contains(x.screen(), "The count stands at 3") {
		t.Errorf("in the pause: %s\n%s", s, x.screen())
	}
	c.toCount()
	c.toWindow(6 * time.Second)
}

// ends are the ways in which the program can end in the window.
var ends = []struct {
	name     string
	how      func(*terminal)
	restores bool // gives the screen back
	most     time.Duration
}{
	{"SIGTERM", func(x *terminal) { x.signal(syscall.SIGTERM) }, true, 400 * time.Millisecond},
	{"SIGHUP", func(x *terminal) { x.signal(syscall.SIGHUP) }, true, 400 * time.Millisecond},
	{"SIGQUIT", func(x *terminal) { x.signal(syscall.SIGQUIT) }, true, 400 * time.Millisecond},
	{"ctrl+c twice", func(x *terminal) { x.press(ctrlC); x.press(ctrlC) }, true, 400 * time.Millisecond},
	{"the terminal is closed", func(x *terminal) { x.hangUp() }, false, time.Second},
	{"SIGKILL", func(x *terminal) { x.signal(syscall.SIGKILL) }, false, 700 * time.Millisecond},
	{"SIGSTOP", func(x *terminal) { x.signal(syscall.SIGSTOP) }, false, 700 * time.Millisecond},
}

// TestEveryEndInTheWindowOpensThePermit reaches WINDOW once for each way to
// end, and looks at the permit from the box's side. The next start comes up in
// WAIT.
func TestEveryEndInTheWindowOpensThePermit(t *testing.T) {
	for _, end := range ends {
		t.Run(end.name, func(t *testing.T) {
			env := home(t)
			path := quickSheet(t)
			b := openBox(t, env)
			x := open(t, env, path, "--box", b.path)
			c := &crew{t: t, x: x, h: b}
			x.see("CREW FIRING OFFICER", 10*time.Second)
			c.upToTheCount()
			b.until("permit closed", 10*time.Second)
			began := time.Now()
			end.how(x)
			b.until("permit open", end.most)
			t.Logf("permit open %v after %s", time.Since(began).Round(time.Millisecond), end.name)
			if end.name == "SIGSTOP" {
				x.signal(syscall.SIGKILL)
			}
			x.ended(10 * time.Second)
			if end.restores && !x.restored() {
				t.Error("the screen was not given back")
			}
			b.key(false)
			again := open(t, env, path, "--box", b.path)
			again.until("WAIT", 15*time.Second, func(s string) bool { return strings.HasPrefix(s, bigWait) })
			again.see("line UNKNOWN", time.Second)
			if s := again.screen(); strings.Contains(s, "  SAFE ") {
				t.Errorf("SAFE is shown after a firing of unknown outcome:\n%s", s)
			}
		})
	}
}

// TestHoldInTheCount is the space bar: before zero nothing waits.
func TestHoldInTheCount(t *testing.T) {
	env := home(t)
	b := openBox(t, env)
	x := open(t, env, quickSheet(t), "--box", b.path)
	c := &crew{t: t, x: x, h: b}
	x.see("CREW FIRING OFFICER", 10*time.Second)
	c.upToTheCount()
	began := time.Now()
	x.press(space)
	x.until("HOLD", 2*time.Second, func(s string) bool { return strings.HasPrefix(s, bigHold) })
	t.Logf("HOLD on the screen %v after the key", time.Since(began).Round(time.Millisecond))
	time.Sleep(6 * time.Second) // past what would have been zero
	if s := b.state(); !strings.Contains(s, "permit open") || !strings.Contains(s, "pulses 0") {
		t.Errorf("after HOLD in the count: %s", s)
	}
	if s := x.screen(); !strings.HasPrefix(s, bigHold) {
		t.Errorf("HOLD lapsed:\n%s", s)
	}
	b.key(false)
	x.see("key out", 2*time.Second)
	for _, want := range []string{"WHO CALLED HOLD", "RESUME"} {
		x.until(want, 3*time.Second, func(s string) bool { return head(s) == want })
		c.say(ranger)
		c.gone(want, 4*time.Second)
	}
	c.toReady() // back to the gates, and both arming acts again
	if s := x.screen(); strings.Contains(s, "KEY IN") {
		t.Errorf("still armed after HOLD:\n%s", s)
	}
}
