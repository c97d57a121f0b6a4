//go:build e2e && (linux || darwin)

package e2e

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"
)

// TestAWholeFiring goes from the first screen to CLOSED by nothing but keys,
// and has the record judged by ssh-keygen and by the command itself.
func TestAWholeFiring(t *testing.T) {
	env := home(t)
	x := open(t, env, "--practice-wait", "5s")
	first := x.see("CREW FIRING OFFICER", 10*time.Second)
	firstScreen(t, x, first)
	c := &crew{t: t, x: x, h: keys{x}}
	c.upToTheCount()
	c.toWindow(20 * time.Second)
	x.press(handButton)
	x.see("KEEP IT PRESSED", 3*time.Second)
	x.until("the wait", 6*time.Second, func(s string) bool { return strings.Contains(s, bigWait) })
	time.Sleep(900 * time.Millisecond)
	x.press(handButton)
	x.see("permit open", 3*time.Second)
	c.h.key(false)
	c.afterRun()
	c.closeOut()
	x.press(ctrlC)
	if status := x.ended(10 * time.Second); status != 0 {
		t.Errorf("exit status %d after a whole firing", status)
	}
	if !x.restored() {
		t.Error("the screen was not given back")
	}
	judge(t, env)
}

// firstScreen holds what a newcomer sees at once.
func firstScreen(t testing.TB, x *terminal, screen string) {
	t.Helper()
	lines := strings.Split(screen, "\n")
	if len(lines) > rows {
		t.Errorf("%d rows, the terminal has %d", len(lines), rows)
	}
	for _, l := range lines {
		if n := utf8.RuneCountInString(strings.TrimRight(l, " ")); n > columns {
			t.Errorf("a row of %d columns: %q", n, l)
		}
	}
	if !strings.HasPrefix(lines[0], bigSetup) {
		t.Errorf("the state is not SETUP in large letters: %q", lines[0])
	}
	for _, want := range []string{"PRACTICE", "SAFE", "line UNKNOWN"} {
		if !strings.Contains(screen, want) {
			t.Errorf("the first screen does not show %q:\n%s", want, screen)
		}
	}
	if strings.Contains(screen, "NOT PROVED SAFE") {
		t.Errorf("the practice box's dead circuit is not proved safe:\n%s", screen)
	}
	if strings.Contains(screen, "too small") {
		t.Errorf("80 by 24 is too small:\n%s", screen)
	}
}

// afterRun says what was seen, and waits.
func (c *crew) afterRun() {
	c.t.Helper()
	for range 10 {
		s := c.x.until("something due", 30*time.Second, func(s string) bool { return head(s) != "" })
		h := head(s)
		switch h {
		case "LINE CLOSED":
			c.say(ranger, "4")
		case "AT REST":
			c.say(firing)
		case "WHAT LIT":
			c.say("all", "lit", firing)
		case "BATTERY OFF":
			c.h.battery(false)
		case "ONE GOES FORWARD":
			c.forward()
			return
		default: // the wait runs
			time.Sleep(200 * time.Millisecond)
			continue
		}
		c.gone(h, 10*time.Second)
	}
	c.x.see("ONE GOES FORWARD", 30*time.Second)
	c.forward()
}

// forward takes the battery off and sends one person.
func (c *crew) forward() {
	c.t.Helper()
	if !strings.Contains(c.x.screen(), "F6 battery off") {
		c.h.battery(false)
	}
	c.x.see("battery 0.0", 3*time.Second)
	for range 10 {
		c.say(ranger, firing)
		for end := time.Now().Add(2 * time.Second); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
			if strings.Contains(c.x.screen(), "line OPEN") {
				return
			}
		}
	}
	c.t.Fatalf("nobody could go forward; the screen:\n%s", c.x.screen())
}

// only returns the one file that matches.
func only(t testing.TB, pattern string) string {
	t.Helper()
	found, err := filepath.Glob(pattern)
	if err != nil || len(found) != 1 {
		t.Fatalf("%s: %v, %v", pattern, found, err)
	}
	return found[0]
}

// judge has the record accepted as it is, and refused with one byte changed.
func judge(t testing.TB, env []string) {
	t.Helper()
	dir := strings.TrimPrefix(env[0], "HOME=")
	record := only(t, filepath.Join(dir, "state", "holdline", "records", "practice", "*.jsonl"))
	key := only(t, filepath.Join(dir, "config", "holdline", "*.pub"))
	data := read(t, record)
	if bytes.Contains(data, []byte(code)) {
		t.Error("the range officer's code is in the record")
	}
	public := strings.Fields(string(read(t, key)))
	allowed := filepath.Join(t.TempDir(), "allowed")
	write(t, allowed, []byte(`crew namespaces="holdline-record" `+public[0]+" "+public[1]+"\n"))
	keygen := func(data []byte) error {
		cmd := exec.Command("ssh-keygen", "-Y", "verify", "-f", allowed, "-I", "crew", "-n", "holdline-record", "-s", record+".sig")
		cmd.Stdin = bytes.NewReader(data)
		out, err := cmd.CombinedOutput()
		t.Logf("ssh-keygen: %s", bytes.TrimSpace(out))
		return err
	}
	verify := func(path string, args ...string) int {
		cmd := exec.Command(program(t), append([]string{"verify", path}, args...)...)
		cmd.Env = append(os.Environ(), env...)
		out, _ := cmd.CombinedOutput() // the status tells
		t.Logf("verify: %s", out)
		return cmd.ProcessState.ExitCode()
	}
	if err := keygen(data); err != nil {
		t.Errorf("ssh-keygen does not accept the record: %v", err)
	}
	if status := verify(record); status != 0 {
		t.Errorf("verify says %d of a good record", status)
	}
	if status := verify(record, "--signers", allowed); status != 0 {
		t.Errorf("verify with an allowed_signers file says %d of a good record", status)
	}
	for _, at := range []int{len(data) / 3, len(data) - 100} {
		bad := bytes.Clone(data)
		bad[at] ^= 1
		path := filepath.Join(t.TempDir(), filepath.Base(record))
		write(t, path, bad)
		write(t, path+".sig", read(t, record+".sig"))
		if keygen(bad) == nil {
			t.Errorf("ssh-keygen accepts the record with byte %d changed", at)
		}
		if status := verify(path); status != 3 {
			t.Errorf("verify says %d of the record with byte %d changed, want 3", status, at)
		}
	}
	if folder := os.Getenv("HOLDLINE_E2E_RECORDS"); folder != "" && !t.Failed() {
		write(t, filepath.Join(folder, filepath.Base(record)), data)
		write(t, filepath.Join(folder, filepath.Base(record)+".sig"), read(t, record+".sig"))
		write(t, filepath.Join(folder, "key.pub"), read(t, key))
	}
}

func read(t testing.TB, path string) []byte {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func write(t testing.TB, path string, data []byte) {
	t.Helper()
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
}
