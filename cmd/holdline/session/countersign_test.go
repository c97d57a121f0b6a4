package session

import (
	"crypto/ed25519"
	"encoding/pem"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"golang.org/x/crypto/ssh"

	"holdline/arming"
	"holdline/arming/record"
	"holdline/tui"
)

// keyFile is a throw-away private key, protected when a passphrase is given.
func keyFile(t testing.TB, secret byte, passphrase string) string {
	t.Helper()
	seed := make([]byte, ed25519.SeedSize)
	seed[0] = secret
	key := ed25519.NewKeyFromSeed(seed)
	block, err := ssh.MarshalPrivateKey(key, "range officer")
	if passphrase != "" {
		block, err = ssh.MarshalPrivateKeyWithPassphrase(key, "range officer", []byte(passphrase))
	}
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "key")
	copyFile(t, path, pem.EncodeToMemory(block))
	return path
}

// said counts the lines of the log with a text.
func (c *crew) said(text string) (n int) {
	for _, l := range c.frame().Log {
		if l.Text == text {
			n++
		}
	}
	return n
}

// closedQuickly goes to CLOSED without a firing: scrubbed before anything was
// counted.
func (c *crew) closedQuickly() {
	c.t.Helper()
	for _, id := range []string{arming.StepFiringOfficer, arming.StepRangeOfficer} {
		c.answer(c.s.index(id))
	}
	c.send(arming.Scrub{By: ranger, Why: "rain"}, func(s arming.State) bool { return s.Phase == arming.MakeSafe })
	c.closeLine(2)
	c.send(arming.Say{Fact: arming.FactFireWatched, By: firing}, func(s arming.State) bool { return s.MakeSafe.FireWatched })
	c.send(arming.AllClear{By: ranger}, func(s arming.State) bool { return s.Phase == arming.Closed })
	c.until("the record closed", 5*time.Second, func(arming.State) bool { return c.frame().Record.Closed })
}

// counter waits for the counter-signature to stand as asked.
func (c *crew) counter(what string, ok func(tui.CounterView) bool) {
	c.t.Helper()
	c.until(what, 10*time.Second, func(arming.State) bool { v := c.frame().Record.Counter; return !v.Busy && ok(v) })
}

// The range officer counter-signs in the cockpit: with a key that wants its
// passphrase; a wrong one, a key that signed already, and no key at all are
// said. The record stays valid all the way, and has both names at the end.
func TestTheRangeOfficerCounterSignsAtClosing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := newCrew(t, quietDir(t), func(o *Options) { o.KeyFile = keyFile(t, 1, "") })
		key := keyFile(t, 2, "quiet plover")
		c.cfg.CounterSign(key, "")
		c.until("a refusal", 3*time.Second, func(arming.State) bool { return strings.Contains(c.frame().Refusal.Why, "not closed yet") })

		c.closedQuickly()
		path := c.frame().Record.Path
		c.cfg.CounterSign(c.s.o.KeyFile, "")
		c.counter("the same key", func(v tui.CounterView) bool { return strings.Contains(v.Fault, "on the record already") })
		c.cfg.CounterSign(filepath.Join(t.TempDir(), "none"), "")
		c.counter("no such key", func(v tui.CounterView) bool { return strings.Contains(v.Fault, "none") })
		c.cfg.CounterSign(key, "")
		c.counter("the passphrase asked", func(v tui.CounterView) bool { return v.Protects == key })
		c.cfg.CounterSign(key, "loud plover")
		c.counter("a wrong passphrase", func(v tui.CounterView) bool { return v.Fault != "" && v.By == "" })
		if n := len(verify(t, path).Signatures); n != 1 {
			t.Fatalf("%d signatures before the right one", n)
		}
		c.cfg.CounterSign(" "+key+" ", "quiet plover")
		c.counter("the counter-signature", func(v tui.CounterView) bool { return strings.HasPrefix(v.By, "SHA256:") })
		c.stop()
		if r := verify(t, path); r.Status != record.OK || len(r.Signatures) != 2 || r.Signatures[1].Fingerprint != c.frame().Record.Counter.By {
			t.Errorf("%v %+v, signatures %+v", r.Status, r.Findings, r.Signatures)
		}
	})
}

// A record that was changed after it was closed is not counter-signed.
func TestAChangedRecordIsNotCounterSigned(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := newCrew(t, quietDir(t), nil)
		c.closedQuickly()
		path := c.frame().Record.Path
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		data[len(data)/2] ^= 1
		copyFile(t, path, data)
		c.cfg.CounterSign(keyFile(t, 2, ""), "")
		c.counter("the refusal", func(v tui.CounterView) bool { return strings.Contains(v.Fault, "the record is not valid, changed") })
		c.cfg.CounterSign("No", "")
		c.counter("declined", func(v tui.CounterView) bool { return v.Declined && v.Fault == "" })
		if _, err := os.Stat(record.SignaturePath(path, 2)); err == nil {
			t.Error("a changed record has a second signature")
		}
	})
}

// What held earlier firings stands on the screen of the next one's sign-on,
// without the record being written now.
func TestHoldsOfEarlierFiringsAreShownAtSignOn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		dir := quietDir(t)
		first := newCrew(t, dir, nil)
		first.answer(first.s.index(arming.StepFiringOfficer))
		for n := range 2 {
			first.cfg.Submit(arming.HoldCall{})
			// One that has not been looked at yet would stand for the next too.
			first.until("the call", 3*time.Second, func(arming.State) bool { return first.said("EVERYONE BACK: called") > n })
		}
		first.stop()
		if got := first.frame().SoFar; got != "" {
			t.Errorf("a first firing is told %q", got)
		}
		next := newCrew(t, dir, nil)
		next.until("the counts", 10*time.Second, func(arming.State) bool { return next.frame().SoFar != "" })
		if got := next.frame().SoFar; !strings.HasPrefix(got, "So far, PRACTICE: 1 record, 2 holds") {
			t.Errorf("got %q", got)
		}
	})
}
