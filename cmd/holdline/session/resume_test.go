package session

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"holdline/arming"
	"holdline/arming/record"
	"holdline/checklist/sheet/scenario"
)

// TestAStartThatConnectedNothingIsClosedAndSigned ends the program in SETUP.
func TestAStartThatConnectedNothingIsClosedAndSigned(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		dir := quietDir(t)
		c := newCrew(t, dir, nil)
		c.until("the box", 2*time.Second, func(s arming.State) bool { return s.Box.Up })
		path := c.frame().Record.Path
		c.stop()
		r := verify(t, path)
		if r.Status != record.OK || r.Log.Closing == nil || r.Log.Closing.Outcome != record.Interrupted {
			t.Fatalf("%v %+v closing %+v", r.Status, r.Findings, r.Log.Closing)
		}
		again := newCrew(t, dir, nil)
		again.until("the start", 2*time.Second, func(s arming.State) bool { return s.Started })
		if again.frame().Record.Path == path {
			t.Error("a closed record was taken up again")
		}
		if s := again.state(); s.Phase != arming.Setup || s.Hooked {
			t.Errorf("%v hooked %v after a start that connected nothing", s.Phase, s.Hooked)
		}
	})
}

// A record that was closed and not signed is signed by the next start, which
// says so; without its key the start names the command.
func TestAClosedRecordWithoutASignatureIsSignedByTheNextStart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		dir := quietDir(t)
		c := newCrew(t, dir, nil)
		c.closedQuickly()
		path := c.frame().Record.Path
		c.stop()
		if err := os.Remove(record.SignaturePath(path, 1)); err != nil {
			t.Fatal(err)
		}
		gone := signing{public: c.s.record.signer.public, socket: filepath.Join(dir, "gone")}
		said := signLeft(filepath.Dir(path), gone, "test")
		if len(said) != 1 || !strings.Contains(said[0], "NOT SIGNED") || !strings.Contains(said[0], "holdline countersign") {
			t.Errorf("without the key: %q", said)
		}
		again := newCrew(t, dir, nil)
		again.until("the start", 2*time.Second, func(s arming.State) bool { return s.Started })
		if r := verify(t, path); r.Status != record.OK {
			t.Errorf("%v: %+v", r.Status, r.Findings)
		}
		if log := again.frame().Log; len(log) == 0 || !strings.Contains(log[0].Text, "it is now, by SHA256:") {
			t.Errorf("the start says %+v", log)
		}
	})
}

// TestAFiringThatBrokeOffIsTakenUp ends the program with igniters connected.
// The next start goes on in the same record, in WAIT at full length with the
// line UNKNOWN, and ends it.
func TestAFiringThatBrokeOffIsTakenUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		dir := quietDir(t)
		c := newCrew(t, dir, nil)
		c.toReady()
		path := c.frame().Record.Path
		c.stop()
		if r := verify(t, path); r.Status != record.StillOpen && r.Status != record.Unsigned {
			t.Errorf("a firing with igniters connected was ended as %v: %+v", r.Status, r.Findings)
		}
		again := newCrew(t, dir, nil)
		again.until("the start", 2*time.Second, func(s arming.State) bool { return s.Started })
		s := again.state()
		if s.Phase != arming.Wait || s.Line != arming.LineUnknown || !s.Hooked || s.WaitLeft != again.s.plan.Times.Wait {
			t.Fatalf("%v line %v hooked %v wait %v after a break with igniters connected", s.Phase, s.Line, s.Hooked, s.WaitLeft)
		}
		if len(s.NotSafe(again.s.plan)) == 0 {
			t.Error("SAFE after a break with igniters connected")
		}
		if again.frame().Record.Path != path {
			t.Error("another record was begun")
		}
		for i := range again.s.plan.Steps { // who is there has to be said anew
			if strings.HasPrefix(again.s.plan.Steps[i].ID, "crew/") {
				again.answer(i)
			}
		}
		again.toClosed()
		again.stop()
		if r := verify(t, path); r.Status != record.OK || r.Log.Recovered != 1 {
			t.Errorf("%v %+v, taken up %d times", r.Status, r.Findings, r.Log.Recovered)
		}
	})
}

// TestADamagedOpenRecordStopsTheStart: nobody can say how far it came.
func TestADamagedOpenRecordStopsTheStart(t *testing.T) {
	b := newBench(t)
	b.step(arming.Start{})
	b.step(arming.HoldCall{})
	if err := b.record.flush(); err != nil {
		t.Fatal(err)
	}
	b.record.release()
	path := b.w.Path()
	dir := path[:strings.LastIndexByte(path, '/')]
	signer, err := openSigner("", t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	first, rest, _ := strings.Cut(string(whole), "\n")
	elsewhere := filepath.Join(quietDir(t), "elsewhere.jsonl")
	for name, spoil := range map[string]func(){
		"a byte in the middle": func() { spoil(t, path) },
		"the first line":       func() { copyFile(t, path, []byte("x"+string(whole))) },
		"a newer format": func() {
			copyFile(t, path, []byte(strings.Replace(first, `"version":1`, `"version":999`, 1)+"\n"+rest))
		},
		"a link": func() {
			if err := errors.Join(os.Rename(path, elsewhere), os.Symlink(elsewhere, path)); err != nil {
				t.Fatal(err)
			}
		},
		"a link that leads nowhere": func() {
			if err := errors.Join(os.Remove(path), os.Symlink(elsewhere+".none", path)); err != nil {
				t.Fatal(err)
			}
		},
	} {
		_ = os.Remove(path) // a link of the last round
		copyFile(t, path, whole)
		spoil()
		if u, err := lookBack(dir, true, signer, "test"); err == nil {
			t.Errorf("%s: passed over: %+v", name, u)
		} else if !strings.Contains(err.Error(), "wait in full") || !strings.Contains(err.Error(), "move it out") {
			t.Errorf("%s: %v: does not say what to do", name, err)
		}
	}
	if u, err := lookBack(dir, false, signer, "test"); err != nil || u != nil {
		t.Errorf("a practice record counts for real firings: %+v, %v", u, err)
	}
}

// TestNoPracticeWhileARealFiringIsNotOver, and practice again once nothing of
// it can be live.
func TestNoPracticeWhileARealFiringIsNotOver(t *testing.T) {
	sh, err := scenario.Open()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name  string
		start arming.Start
		want  bool
	}{
		{"igniters connected", arming.Start{From: arming.Ready, Hooked: true}, true},
		{"nothing connected", arming.Start{}, false},
	} {
		dir := quietDir(t)
		s := &session{o: Options{Version: "test"}, sheet: sh, plan: newPlan(sh, arming.ModeTyped, false, 1), mode: arming.ModeTyped}
		now := clock{opened: time.Now()}
		w, err := record.Create(dir, s.header(), now.opened)
		if err != nil {
			t.Fatal(err)
		}
		r := newRecorder(w, signing{})
		if err := r.plan(s.plan, now); err != nil {
			t.Fatal(err)
		}
		d := newDriver(s.plan, port{}, r, now, hooks{})
		d.step(c.start)
		if err := noRealFiring(dir); err == nil {
			t.Errorf("%s: practice beside a real firing under way", c.name)
		}
		r.release()
		if err := noRealFiring(dir); (err != nil) != c.want {
			t.Errorf("%s: %v", c.name, err)
		}
		whole, err := os.ReadFile(w.Path())
		if err != nil {
			t.Fatal(err)
		}
		copyFile(t, w.Path(), []byte("x"+string(whole)))
		if err := noRealFiring(dir); err == nil || !strings.Contains(err.Error(), "no practice now") || !strings.Contains(err.Error(), "wait in full") {
			t.Errorf("%s, first line damaged: %v", c.name, err)
		}
		if err := errors.Join(os.WriteFile(w.Path()+".txt", whole, 0o600), os.Remove(w.Path()), os.Symlink(w.Path()+".txt", w.Path())); err != nil {
			t.Fatal(err)
		}
		if err := noRealFiring(dir); err == nil {
			t.Errorf("%s: practice beside a link", c.name)
		}
	}
}

// A record that somebody deletes while the firing goes on is a HOLD.
func TestADeletedRecordIsHold(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := newCrew(t, quietDir(t), nil)
		c.toReady()
		if err := os.Remove(c.frame().Record.Path); err != nil {
			t.Fatal(err)
		}
		c.phase(arming.Hold, 3*time.Second)
		if s := c.state(); !s.NoRecord {
			t.Errorf("HOLD for %q", s.HoldWhy)
		}
	})
}
