package session

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"holdline/arming"
	"holdline/arming/groundbox"
	"holdline/arming/groundbox/wire"
	"holdline/arming/record"
	"holdline/arming/record/journal"
	"holdline/checklist/sheet/scenario"
)

// bench is a driver with a port that notes what it is told, without a box, a
// screen or a goroutine: the test steps it.
type bench struct {
	*driver
	mu     sync.Mutex
	told   []string
	grants []time.Time
	w      *record.Writer
	s      *session // the one that the driver is of
}

func (b *bench) tell(what string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.told = append(b.told, what)
}

func (b *bench) was(what string) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, t := range b.told {
		if t == what {
			return true
		}
	}
	return false
}

func newBench(t testing.TB) *bench {
	t.Helper()
	sh, err := scenario.Open()
	if err != nil {
		t.Fatal(err)
	}
	plan := newPlan(sh, arming.ModeBox, true, 6)
	s := &session{o: Options{Version: "test"}, sheet: sh, plan: plan, practice: true, mode: arming.ModeBox}
	c := clock{opened: time.Now()}
	h := s.header()
	h.Mode, plan.SheetSHA256 = record.ModeGroundBox, h.SheetSHA256.String()
	w, err := record.Create(quietDir(t), h, c.opened)
	if err != nil {
		t.Fatal(err)
	}
	signer, err := openSigner("", t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	b := &bench{w: w, s: s}
	rec := newRecorder(w, signer)
	if err := rec.plan(plan, c); err != nil {
		t.Fatal(err)
	}
	b.driver = newDriver(plan, port{
		off:     func() { b.tell("off") },
		on:      func(time.Time) error { b.tell("on"); return nil },
		grant:   func(until time.Time) { b.mu.Lock(); b.grants = append(b.grants, until); b.mu.Unlock() },
		lapse:   func() { b.tell("lapse") },
		lease:   func(bool) {},
		clear:   func(wire.Event) {},
		reports: make(chan groundbox.Told),
	}, rec, c, hooks{})
	b.asked.Store(int64(c.mono()))
	s.driver, s.record = b.driver, rec
	t.Cleanup(func() { b.record.release() })
	return b
}

// wanting puts the driver into a WINDOW in which the permit is wanted, as no
// real way can so quickly.
func (b *bench) wanting() {
	b.step(arming.Start{})
	at, _ := b.clock.now()
	b.state.Phase, b.state.Line, b.state.Hooked = arming.Window, arming.LineClosed, true
	b.state.PermitWanted, b.state.PermitAt, b.state.Entered, b.state.Now = true, at, at, at
	b.state.WindowEnds = at.Mono + 10*time.Second
	b.wanted.Store(true)
}

func TestThePermitIsGrantedOnlyWhileScreenAndDiskAnswer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t)
		b.wanting()
		b.renew()
		if len(b.grants) != 1 {
			t.Fatalf("%d grants with everything alive", len(b.grants))
		}
		if life := time.Until(b.grants[0]); life > permitLife {
			t.Errorf("granted for %v, at most %v", life, permitLife)
		}
		b.asked.Store(int64(b.clock.mono() - screenLate - 10*time.Millisecond))
		stalled := b.renew()
		if len(b.grants) != 1 {
			t.Error("granted although the screen stands still")
		}
		if !b.was("off") {
			t.Error("the permit was not opened for a screen that stands still")
		}
		for _, ev := range stalled {
			b.step(ev)
		}
		if b.state.Phase != arming.Wait || !strings.Contains(b.state.HoldWhy, "screen") {
			t.Errorf("%v %q after a late screen", b.state.Phase, b.state.HoldWhy)
		}
	})
}

func TestALateDiskEndsTheGrants(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t)
		b.wanting()
		b.record.sent = []sentEntry{{id: 1, at: time.Now().Add(-diskLate - time.Millisecond)}}
		b.renew()
		if len(b.grants) != 0 || !b.was("off") {
			t.Errorf("%d grants, told %v with a disk that does not answer", len(b.grants), b.told)
		}
	})
}

// A disk that stands still, at any moment between two writes, is seen while the
// permit is wanted: no grant reaches further than 0.75 s and its own life.
func TestADiskThatStandsStillEndsThePermit(t *testing.T) {
	for still := 400 * time.Millisecond; still < 1500*time.Millisecond; still += 50 * time.Millisecond {
		synctest.Test(t, func(t *testing.T) {
			b := newBench(t)
			b.wanting()
			b.state.Phase, b.state.RunPressAt = arming.Run, b.state.Now // the gates are not asked any more
			began := time.Now()
			for time.Since(began) < 4*time.Second && !b.was("off") {
				time.Sleep(tickArmed)
				b.asked.Store(int64(b.clock.mono()))
				for synctest.Wait(); time.Since(began) < still; {
					if ack, ok := nextAck(b.record); ok {
						b.ack(ack, true)
						continue
					}
					break
				}
				b.tick()
			}
			end := b.grants[len(b.grants)-1].Sub(began) - still
			if !b.was("off") || end > 750*time.Millisecond+permitLife {
				t.Errorf("the disk stood still after %v: off %v, granted for %v more", still, b.was("off"), end)
			}
		})
	}
}

// nextAck is an answer of the disk that has come.
func nextAck(r *recorder) (record.Ack, bool) {
	select {
	case ack := <-r.acks():
		return ack, true
	default:
		return record.Ack{}, false
	}
}

func TestThePermitClosesOnlyByALineOnDisk(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t)
		b.wanting()
		if err := b.permitOn(arming.PermitOn{Ticket: 3}); err == nil || b.was("on") {
			t.Fatalf("closed by a line that is not on disk: %v", err)
		}
		if err := b.permitOn(arming.PermitOn{}); err == nil || b.was("on") {
			t.Fatalf("closed by no line at all: %v", err)
		}
		b.record.disk = 3
		b.record.fault = errors.New("broken")
		if err := b.permitOn(arming.PermitOn{Ticket: 3}); err == nil {
			t.Fatal("closed with a broken record")
		}
		b.record.fault = nil
		if err := b.permitOn(arming.PermitOn{Ticket: 3}); err != nil || !b.was("on") {
			t.Fatalf("not closed by its line: %v", err)
		}
	})
}

// TestHoldGoesAheadOfEverything fills the queue and then calls HOLD: OFF goes
// out before the call comes back, and the driver looks at it first.
func TestHoldGoesAheadOfEverything(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t)
		b.wanting()
		for b.ask(func() { t.Error("a request came before HOLD"); time.Sleep(time.Millisecond) }) {
		}
		began := time.Now()
		b.callHold()
		b.callHold() // one that waits stands for both
		if took := time.Since(began); took > 50*time.Millisecond {
			t.Errorf("HOLD blocked its caller for %v", took)
		}
		if !b.was("off") {
			t.Error("OFF waits for the driver")
		}
		for len(b.hold) > 0 {
			<-b.hold
			b.step(arming.HoldCall{})
		}
		if b.state.Phase != arming.Wait {
			t.Errorf("%v after HOLD in WINDOW", b.state.Phase)
		}
	})
}

// TestTheDriverLooksAtHoldFirst has both waiting when the driver begins.
func TestTheDriverLooksAtHoldFirst(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t)
		first := make(chan bool, requestQueue)
		for b.ask(func() {
			held := false
			for _, l := range b.frame.Log {
				held = held || strings.Contains(l.Text, "EVERYONE BACK")
			}
			first <- held
		}) {
		}
		b.callHold()
		go b.run(arming.Start{})
		if !<-first {
			t.Error("a request was looked at before HOLD")
		}
		b.stop("the test is over", 5*time.Second)
		if b.failure != nil {
			t.Error(b.failure)
		}
	})
}

func TestAFaultOfTheDriverOpensThePermitAndLeavesTheRecordOpen(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t)
		go b.run(arming.Start{})
		b.requests <- func() { panic("planted") }
		select {
		case <-b.done:
		case <-time.After(5 * time.Second):
			t.Fatal("the driver goes on after a panic")
		}
		if b.failure == nil || !strings.Contains(b.failure.Error(), "planted") {
			t.Errorf("failure %v", b.failure)
		}
		if !b.was("off") {
			t.Error("the permit was not opened")
		}
		log, err := record.LastOpen(filepath.Dir(b.w.Path()))
		if err != nil || len(log) != 1 || !log[0].Recoverable() {
			t.Errorf("open records %+v, %v", log, err)
		}
	})
}

func TestOnlyFirmWordsLeaveARecordOpen(t *testing.T) {
	for _, c := range []struct {
		name string
		s    arming.State
		open bool
	}{
		{"before anything", arming.State{}, false},
		{"ready, nothing connected", arming.State{Phase: arming.Ready}, false},
		{"igniters connected", arming.State{Hooked: true}, true},
		{"armed", arming.State{Phase: arming.Armed}, true},
		{"hold", arming.State{Phase: arming.Hold}, true},
		{"waiting", arming.State{Phase: arming.Wait}, true},
		{"closed", arming.State{Phase: arming.Closed, Hooked: true}, false},
		{"asked to go forward", arming.State{Phase: arming.Ready, Pending: arming.Pending{Event: arming.Code{Matched: true}}}, true},
	} {
		if got := staysOpen(&c.s); got != c.open {
			t.Errorf("%s: stays open %v, want %v", c.name, got, c.open)
		}
	}
}

// TestAWriteErrorIsToldOnce has the record's file closed under the writer.
func TestAWriteErrorIsToldOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t)
		b.step(arming.Start{})
		if err := b.w.Release(); err != nil { // from now on every line fails
			t.Fatal(err)
		}
		b.step(arming.HoldCall{})
		for end := time.Now().Add(2 * time.Second); b.record.fault == nil && time.Now().Before(end); {
			select {
			case a := <-b.record.acks():
				b.ack(a, true)
			case <-time.After(10 * time.Millisecond):
			}
		}
		if b.record.fault == nil {
			t.Fatal("a record that cannot be written was not noticed")
		}
		if !b.state.NoRecord {
			t.Error("the machine was not told")
		}
		if v := b.record.view(); v.Fault == "" {
			t.Error("the screen is not told")
		}
	})
}

func TestReplayRefusesARecordThatWasRewritten(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t)
		b.step(arming.Start{})
		b.step(arming.HoldCall{})
		b.step(arming.Tick{})
		b.finish("over")
		data, err := os.ReadFile(b.w.Path())
		if err != nil {
			t.Fatal(err)
		}
		log, err := record.Parse(data)
		if err != nil {
			t.Fatal(err)
		}
		if err := Replay(log.Entries); err != nil {
			t.Fatalf("a good record: %v", err)
		}
		changed := 0
		for i := range log.Entries {
			e := log.Entries[i]
			if e.Kind != journal.KindEvent && e.Kind != journal.KindPlan {
				continue
			}
			for _, swap := range [][2]string{{`"phase":"SETUP"`, `"phase":"READY"`}, {`"line":"UNKNOWN"`, `"line":"CLOSED"`},
				{`"event":"hold_call"`, `"event":"tick"`}, {`"practice":true`, `"practice":false`}, {`"wait_speed":6`, `"wait_speed":7`},
				{`"mode":"ground box"`, `"mode":"meter"`}, {`"sheet_sha256":"`, `"sheet_sha256":"0`}, {`"wait_speed":6`, `"box":"x","wait_speed":6`}} {
				body := strings.Replace(string(e.Body), swap[0], swap[1], 1)
				if body == string(e.Body) {
					continue
				}
				changed++
				entries := append([]record.Entry(nil), log.Entries...)
				entries[i].Body = []byte(body)
				if err := Replay(entries); err == nil {
					t.Errorf("line %d with %s accepted", e.Seq, swap[1])
				}
			}
		}
		if changed < 9 {
			t.Errorf("only %d changes were tried", changed)
		}
	})
}
