//go:build slow

package session

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// seam is one line between the machine and the world, changed.
type seam struct{ breaks, file, old, new string }

// seams are lines of session, link, record and screen, each of which the firings
// must find changed.
var seams = []seam{
	{"an event bit is new only where it was absent before", "arming/groundbox/translator.go",
		"if fresh := bits &^ (t.told &^ anew); fresh != 0 {", "if fresh := bits &^ t.told; fresh != 0 {"},
	{"a rise of the press count is nothing", "arming/box.go", "if old.Presses >= 0 && b.Presses > old.Presses {", "if b.Presses < -2 {"},
	{"an entry is acknowledged before it is synced", "arming/record/writer.go", "return w.file.Sync()", "return nil"},
	{"the machine hears of an entry when it is queued", "cmd/holdline/session/driver.go",
		"case arming.Write: // the record answers by itself, see ack", "case arming.Write: return []arming.Event{arming.Written(e)}"},
	{"the permit is renewed late", "arming/groundbox/link.go", "KeepEvery = 100 * time.Millisecond", "KeepEvery = 350 * time.Millisecond"},
	{"the lease is kept with the line OPEN", "cmd/holdline/session/driver.go", "if d.box.lease != nil && d.state.LeaseWanted {", "if d.box.lease != nil {"},
	{"the number of a reading is used again", "arming/groundbox/permit.go",
		`text := fmt.Sprintf("%s,%d", head, s.Sequence)`, `text := fmt.Sprintf("%s,%d", head, s.Sequence&^3)`},
	{"HOLD waits behind requests", "cmd/holdline/session/session.go", "s.driver.callHold()", "s.ask(func() { s.driver.step(ev) })"},
	{"a refusal is shown for what was taken", "cmd/holdline/session/driver.go",
		`d.frame.Refusal, d.frame.Loud = tui.Refusal{}, ""`, `d.refused(at, &arming.RefusedError{Why: "it is not due"})`},
	{"OFF is not sent when the link is lost", "arming/groundbox/driver.go", "d.s.sayOff()", "_ = d.s"},
	{"a late screen is nothing", "cmd/holdline/session/permit.go", "case now-time.Duration(d.asked.Load()) > screenLate, ", "case now < 0, "},
	{"a late disk is nothing", "cmd/holdline/session/recorder.go", "return time.Since(r.sent[0].at)", "return 0"},
	{"OFF, which a step asks for, is not carried out", "cmd/holdline/session/driver.go", "d.openPermit(before, after, effects)", ""},
	{"SAFE is said with one thing against it", "tui/view.go", "if why := m.notSafe(); len(why) == 0 {", "if why := m.notSafe(); len(why) <= 1 {"},
	{"space is nothing in COUNT", "tui/input.go", "m.submit(arming.HoldCall{})\n\tm.form, m.page", "if m.frame.State.Phase != arming.Count { m.submit(arming.HoldCall{}) }\n\tm.form, m.page"},
	{"a terminal without the keyboard is nothing", "tui/model.go", "m.submit(arming.FocusLost{})", ""},
	{"a loud sentence is not on the full width", "tui/view.go", "drawLoud(c.Sub(0, bottom, w, 1), f.Loud)", `drawLoud(c.Sub(0, bottom, w, 1), "look at the log")`},
	{"a lost box is told to nobody", "arming/groundbox/translator.go", `return []Told{{Event: arming.BoxLost{Why: arming.Clean(r.Reason)}, Text:`, `return []Told{{Text:`},
	{"events are never cleared", "cmd/holdline/session/driver.go", "d.box.clear(e.Bits)", ""},
	{"a refused event is not written down", "cmd/holdline/session/recorder.go",
		"if r.shut || r.fault != nil { // a fault was told once", "if r.shut || r.fault != nil || refused != nil { // a fault was told once"},
	{"a grave record is closed when the program ends", "cmd/holdline/session/recorder.go",
		"if flushed != nil || r.fault != nil || staysOpen(s) {", "if flushed != nil || r.fault != nil {"},
	{"the last words say signed of what is closed", "cmd/holdline/session/run.go", `case v.Closed && v.Signed != "":`, "case v.Closed:"},
	{"the wait of practice is half as long", "cmd/holdline/session/plan.go",
		"return max(1, int(math.Round(float64(real)/float64(wanted))))", "return 2 * max(1, int(math.Round(float64(real)/float64(wanted))))"},
}

const seamFirings = "2000"

// TestSeamsAreFound builds the tests with one line changed after the other, and
// wants the firings to find each within 2,000.
func TestSeamsAreFound(t *testing.T) {
	root, err := filepath.Abs("../../..")
	if err != nil {
		t.Fatal(err)
	}
	only := os.Getenv("SEAMS")
	for _, m := range seams {
		if only != "" && !strings.Contains(m.breaks, only) {
			continue
		}
		t.Run(m.breaks, func(t *testing.T) {
			out, found := m.run(t, root)
			if !found {
				t.Errorf("not found within %s firings:\n%s", seamFirings, out)
				return
			}
			t.Logf("%s", out)
		})
	}
}

// run fires with the line changed, until the first finding.
func (m seam) run(t *testing.T, root string) (said string, found bool) {
	t.Helper()
	dir := t.TempDir()
	path := filepath.Join(root, filepath.FromSlash(m.file))
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if n := bytes.Count(text, []byte(m.old)); n != 1 {
		t.Fatalf("%s: the line stands %d times, the list is out of date: %s", m.file, n, m.old)
	}
	changed := filepath.Join(dir, "changed.go")
	overlay, err := json.Marshal(map[string]any{"Replace": map[string]string{path: changed}})
	if err == nil {
		err = errors.Join(os.WriteFile(changed, bytes.Replace(text, []byte(m.old), []byte(m.new), 1), 0o600),
			os.WriteFile(filepath.Join(dir, "overlay.json"), overlay, 0o600))
	}
	if err != nil {
		t.Fatal(err)
	}
	binary := filepath.Join(dir, "firings.test")
	if out, err := exec.Command("go", "test", "-c", "-vet=off", "-overlay", filepath.Join(dir, "overlay.json"), "-o", binary, ".").CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	cmd := exec.Command(binary, "-test.run", "^TestFirings$", "-test.v", "-test.timeout", "20m")
	cmd.Env = append(os.Environ(), "FIRINGS="+seamFirings, "FIRINGS_SEED=1", "FIRINGS_FIRST=1", "FIRINGS_SECONDS=")
	out, err := cmd.CombinedOutput()
	if err == nil {
		return string(out), false
	}
	if by := regexp.MustCompile(`found: .*|\d+ firings from.* a minute|panic: .*`).FindAll(out, 3); len(by) > 0 {
		return string(bytes.Join(by, []byte("\n"))), true
	}
	return string(out), true
}
