package groundbox

import (
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"holdline/arming/groundbox/practice"
	"holdline/arming/groundbox/wire"
)

func TestTheZeroGrantPermitsNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, newest := throughTap(t, nil)
		b.ready()
		for range 10 {
			b.link.Permit(Grant{})
			b.link.Permit(Grant{Until: time.Now().Add(time.Second)})
			b.link.Permit(Grant{Number: 1})
			time.Sleep(20 * time.Millisecond)
		}
		for _, line := range newest().lines() {
			if strings.HasPrefix(line, "OUTP:PERM ON") {
				t.Errorf("sent %q", line)
			}
		}
	})
}

func TestOnOnceAndKeepEveryTenthOfASecondWithNumbersOfItsOwn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, newest := throughTap(t, nil)
		b.ready()
		newest().lines()
		stop := b.granting(1)
		b.closed()
		began := time.Now()
		for time.Since(began) < 1200*time.Millisecond {
			await[SnapshotRead](b, time.Second)
		}
		stop()
		ons, keeps, used := 0, 0, map[string]bool{}
		for _, line := range newest().lines() {
			if rest, is := strings.CutPrefix(line, "OUTP:PERM ON,"); is {
				ons++
				used[rest] = true
			}
			if rest, is := strings.CutPrefix(line, "OUTP:PERM:KEEP "); is {
				keeps++
				if used[rest] {
					t.Errorf("a number twice: %q", line)
				}
				used[rest] = true
			}
		}
		if ons != 1 || keeps < 9 || keeps > 14 {
			t.Errorf("%d ON and %d KEEP in 1.2 s, want 1 and about 12", ons, keeps)
		}
	})
}

func TestThePermitFallsWhenNobodyGrantsIt(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := inProcess(t)
		stop := b.firing()
		stop()
		began := time.Now()
		wantReason(t, await[PermitDropped](b, time.Second).Reason, "not asked for again")
		if open := b.open(); open.Pulses != 0 {
			t.Errorf("%d pulses, want none", open.Pulses)
		}
		if took := time.Since(began); took > 500*time.Millisecond {
			t.Errorf("open %v after the last grant", took)
		}
	})
}

func TestAGrantOfTheFarFutureIsCutShort(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := inProcess(t)
		b.ready()
		b.link.Permit(Grant{Number: 1, Until: time.Now().Add(time.Hour)})
		b.closed()
		await[PermitDropped](b, MostGrant+300*time.Millisecond)
	})
}

// The whole process stands still, or is killed: nothing goes out any more, OFF
// neither. The box opens by itself, within its watchdog time and 20 ms.
func TestTheWatchdogOpensWhenTheProcessIsStopped(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		for range 3 {
			box := newBox(t, 4)
			dial, newest := tapped(box, nil)
			b := linkTo(t, box, func(c *Config) { c.Dial = dial })
			stop := b.firing()
			time.Sleep(300 * time.Millisecond)
			newest().set(func(x *tap) { x.deaf = true })
			deaf := box.State().At
			time.Sleep(600 * time.Millisecond)
			s := box.State()
			if s.PermitCommanded || s.Events&wire.EventWatchdog == 0 || s.PermitOpenedAt-deaf > 520*time.Millisecond {
				t.Errorf("commanded %v, events %v, open %v after the process stopped", s.PermitCommanded, s.Events, s.PermitOpenedAt-deaf)
			}
			stop()
			b.link.Close()
		}
	})
}

// The driver stands still for as long as it waits for the link's lock, in real
// time: no simulated clock moves on then.
func TestTheDriverLetsGoWhenItWasLateItself(t *testing.T) {
	b := inProcess(t)
	b.ready()
	stop := b.granting(1)
	b.closed()
	stop()
	b.link.mu.Lock()
	b.link.grant.Until = time.Now().Add(time.Second)
	time.Sleep(MostStall + 50*time.Millisecond)
	b.link.mu.Unlock()
	wantReason(t, await[PermitDropped](b, time.Second).Reason, "stood still")
	b.open()
}

func TestANumberThatHasEndedIsNotTakenUpAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, newest := throughTap(t, nil)
		stop := b.firing()
		b.link.PermitOff()
		b.open()
		newest().lines()
		// The box would take another ON after the key has been out and in.
		b.box.Hands().Key(false)
		b.snapshot(time.Second, "key out", func(s Snapshot) bool { return !s.KeyIn })
		b.box.Hands().Key(true)
		b.snapshot(time.Second, "key in", func(s Snapshot) bool { return s.KeyIn && !s.Pole1Closed })
		time.Sleep(200 * time.Millisecond) // the old grant is still being renewed
		stop()
		for _, line := range newest().lines() {
			if strings.HasPrefix(line, "OUTP:PERM ON") {
				t.Errorf("sent %q for a grant that had ended", line)
			}
		}
		again := b.granting(2)
		b.closed()
		again()
	})
}

func TestOffWithoutAnyGrantIsWatchedToo(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := inProcess(t)
		await[Connected](b, 3*time.Second)
		b.link.PermitOff()
		time.Sleep(2 * OpenWithin)
		b.open()
		await[SnapshotRead](b, time.Second)
		if b.has(isA[PermitDidNotOpen]) {
			t.Errorf("an alarm for a permit that is open:\n%s", b.tail(12))
		}
		b.fault("permit-welded")
		time.Sleep(20 * time.Millisecond)
		b.link.PermitOff()
		await[PermitDidNotOpen](b, time.Second)
	})
}

func TestAWeldedPermitIsCalledOut(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := inProcess(t)
		stop := b.firing()
		defer stop()
		f := b.fault("permit-welded")
		time.Sleep(20 * time.Millisecond)
		began := time.Now()
		b.link.PermitOff()
		wantReason(t, await[PermitDidNotOpen](b, time.Second).Reason, "contact reads closed")
		if took := time.Since(began); took > OpenWithin+60*time.Millisecond {
			t.Errorf("the alarm came after %v", took)
		}
		b.snapshot(time.Second, "event 16", func(s Snapshot) bool { return s.Events&wire.EventWelded != 0 })
		b.box.ClearFault(f)
		b.open()
	})
}

func TestOnIsNotSentInTheFaceOfWhatTheBoxShows(t *testing.T) {
	for name, c := range map[string]struct {
		prepare func(practice.Hands)
		fault   string
		want    string
	}{
		"key out":        {prepare: func(h practice.Hands) { h.Key(false) }, want: "key is out"},
		"button pressed": {prepare: func(h practice.Hands) { h.Button(true) }, want: "button does not read open"},
		"pole stuck":     {fault: "button-stuck", want: "button does not read open"},
		"permit welded":  {fault: "permit-welded", want: "voltage behind an open contact"},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b, newest := throughTap(t, nil)
				b.ready()
				if c.prepare != nil {
					c.prepare(b.box.Hands())
				}
				if c.fault != "" {
					b.fault(c.fault)
				}
				time.Sleep(250 * time.Millisecond)
				await[SnapshotRead](b, time.Second)
				newest().lines()
				stop := b.granting(1)
				defer stop()
				wantReason(t, await[Refused](b, time.Second).Reason, c.want)
				for _, line := range newest().lines() {
					if strings.HasPrefix(line, "OUTP:PERM ON") {
						t.Errorf("sent %q", line)
					}
				}
			})
		})
	}
}

func TestTheKeyPulledAndTheButtonReleasedEndTheGrant(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := inProcess(t)
		stop := b.firing()
		b.box.Hands().Key(false)
		wantReason(t, await[PermitDropped](b, time.Second).Reason, "key is out")
		b.open()
		stop()
		b.link.ClearEvents(wire.EventKeyPulled)
		b.snapshot(time.Second, "no event", func(s Snapshot) bool { return s.Events == wire.EventKeyOut }) // it is out
		b.box.Hands().Key(true)
		b.snapshot(time.Second, "key in", func(s Snapshot) bool { return s.KeyIn && !s.Pole1Closed })
		stop = b.granting(2)
		defer stop()
		b.closed()
		b.box.Hands().Press(120 * time.Millisecond)
		wantReason(t, await[PermitDropped](b, time.Second).Reason, "the box has opened the permit")
		if open := b.open(); open.Pulses != 1 {
			t.Errorf("%d pulses, want one", open.Pulses)
		}
	})
}

// A KEEP may cross the box's own opening of the permit: the refusal is the
// link's own doing and no fault.
func TestAKeepThatCrossesTheReleaseIsCalledItsOwn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, _ := throughTap(t, nil)
		stop := b.firing()
		defer stop()
		b.box.Hands().Press(60 * time.Millisecond)
		time.Sleep(90 * time.Millisecond)
		b.box.Input([]byte("OUTP:PERM:KEEP " + b.link.token + ",1\n"))
		r := b.snapshot(2*time.Second, "event 64", func(s Snapshot) bool { return s.Events&wire.EventErrors != 0 })
		if r.S.PermitClosed || r.Caused != wire.EventErrors {
			t.Errorf("a refusal after the release: %+v", r)
		}
		b.open()
	})
}

func TestCloseOpensThePermitAndEndsTheLease(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := inProcess(t)
		stop := b.firing()
		b.link.Close()
		stop()
		for end := time.Now().Add(400 * time.Millisecond); b.box.State().PermitCommanded && time.Now().Before(end); {
			time.Sleep(time.Millisecond) // what was written last is still on its way
		}
		if s := b.box.State(); s.PermitCommanded || s.Events&wire.EventWatchdog != 0 {
			t.Errorf("after Close: commanded %v, events %v: want it opened by OFF", s.PermitCommanded, s.Events)
		}
		for range b.link.Reports() { // it is closed
		}
		b.link.Close() // once more is nothing

		c := inProcess(t)
		await[Connected](c, 3*time.Second)
		c.link.Lease(true)
		c.snapshot(time.Second, "a scan", func(s Snapshot) bool { return s.Scan > 0 })
		c.link.Close()
		for end := time.Now().Add(time.Second); c.box.State().Lease && time.Now().Before(end); {
			time.Sleep(time.Millisecond) // it would last for 3 s and more by itself
		}
		if c.box.State().Lease {
			t.Error("the lease is on after Close")
		}
	})
}

func TestOffGoesOutBeforeWhatIsQueuedOnAClog(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, newest := throughTap(t, nil)
		stop := b.firing()
		newest().lines()
		clog := make(chan struct{})
		newest().set(func(x *tap) { x.clog = clog })
		time.Sleep(120 * time.Millisecond) // one write hangs by now
		began := time.Now()
		b.link.PermitOff()
		if took := time.Since(began); took > 20*time.Millisecond {
			t.Errorf("PermitOff took %v on a clogged port", took)
		}
		stop()
		time.Sleep(40 * time.Millisecond)
		newest().set(func(x *tap) { x.clog = nil })
		close(clog)
		time.Sleep(40 * time.Millisecond)
		lines := newest().lines()
		for i, line := range lines {
			if line == "OUTP:PERM OFF" {
				if i > 2 { // the one that hung, and the line ending before OFF
					t.Errorf("OFF came after %q", lines[:i])
				}
				return
			}
		}
		t.Errorf("no OFF in %q", lines)
	})
}
