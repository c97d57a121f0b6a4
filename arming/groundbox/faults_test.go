package groundbox

import (
	"context"
	"io"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"holdline/arming/groundbox/practice"
	"holdline/arming/groundbox/wire"
)

func (b *bench) fault(text string) practice.Fault {
	b.t.Helper()
	f, err := practice.ParseFault(text)
	if err != nil {
		b.t.Fatal(err)
	}
	if err := b.box.SetFault(f); err != nil {
		b.t.Fatal(err)
	}
	return f
}

// firing brings the permit to closed with a grant that is renewed until stop.
func (b *bench) firing() (stop func()) {
	b.t.Helper()
	b.ready()
	stop = b.granting(1)
	b.closed()
	return stop
}

func throughTap(t testing.TB, prepare func(*tap)) (*bench, func() *tap) {
	t.Helper()
	box := newBox(t, 4)
	dial, newest := tapped(box, prepare)
	return linkTo(t, box, func(c *Config) { c.Dial = dial }), newest
}

func wantReason(t testing.TB, got, want string) {
	t.Helper()
	if !strings.Contains(got, want) {
		t.Errorf("reason: got %q, want it to say %q", got, want)
	}
}

func TestACablePulledWithThePermitClosed(t *testing.T) {
	t.Parallel()
	b := overPTY(t)
	stop := b.firing()
	f := b.fault("unplug")
	wantReason(t, await[Lost](b, time.Second).Reason, "unplugged")
	wantReason(t, await[PermitDropped](b, time.Second).Reason, "gone")
	// Nobody can say that the permit is open now.
	await[PermitDidNotOpen](b, time.Second)
	stop()
	if s := b.box.State(); s.PermitClosed {
		t.Error("the permit of a box without power is closed")
	}
	b.box.ClearFault(f)
	c := await[Connected](b, 3*time.Second)
	if c.Changed || c.Events&wire.EventRestarted == 0 {
		t.Errorf("connected again: %+v, want the same box, restarted", c)
	}
	if open := b.open(); open.Pulses != 0 {
		t.Errorf("%d pulses, want none", open.Pulses)
	}
}

func TestAPulseBehindAPulledCableIsCounted(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := inProcess(t)
		stop := b.firing()
		defer stop()
		b.box.Hands().Press(5 * time.Millisecond)
		time.Sleep(8 * time.Millisecond)
		f := b.fault("unplug")
		await[Lost](b, time.Second)
		b.box.ClearFault(f)
		await[Connected](b, 4*time.Second)
		if open := b.open(); open.Pulses != 1 {
			t.Errorf("%d pulses, want one", open.Pulses)
		}
	})
}

func TestAMuteBoxIsLostAndThePermitFalls(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := inProcess(t)
		stop := b.firing()
		defer stop()
		f := b.fault("mute")
		began := time.Now()
		wantReason(t, await[Lost](b, time.Second).Reason, "no answer from the box")
		wantReason(t, await[PermitDropped](b, time.Second).Reason, "3 bad answers in a row")
		if took := time.Since(began); took > 600*time.Millisecond {
			t.Errorf("OFF came %v after the last answer", took)
		}
		await[PermitDidNotOpen](b, time.Second)
		if s := b.box.State(); s.PermitCommanded {
			t.Error("OFF did not reach a box that only can not answer")
		}
		b.box.ClearFault(f)
		await[Connected](b, 6*time.Second)
		b.open()
	})
}

func TestAFrozenBoxOpensByItsWatchdog(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := inProcess(t)
		stop := b.firing()
		defer stop()
		restarts := b.box.State().WatchdogRestarts
		b.fault("freeze")
		await[Lost](b, time.Second)
		await[PermitDidNotOpen](b, time.Second)
		time.Sleep(150 * time.Millisecond)
		s := b.box.State()
		if s.PermitCommanded || s.PermitClosed {
			t.Error("the permit is closed")
		}
		if restarts < 1 {
			t.Errorf("the watchdog had been restarted %d times", restarts)
		}
	})
}

func TestNoiseIsSurvivedAndTooMuchOfItIsLost(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := inProcess(t)
		await[Connected](b, 3*time.Second)
		f := b.fault("noise:4")
		end := time.After(1500 * time.Millisecond)
		snaps := 0
		for done := false; !done; {
			select {
			case r := <-b.link.Reports():
				switch r := r.(type) {
				case SnapshotRead:
					snaps++
					if r.S.Pulses != 0 || r.S.KeyIn || len(r.S.ChannelOhm) != 4 {
						t.Fatalf("noise became a state: %+v", r.S)
					}
				}
			case <-end:
				done = true
			}
		}
		if snaps < 5 {
			t.Errorf("%d snapshots in 1.5 s of some noise", snaps)
		}
		b.box.ClearFault(f)
		b.fault("noise:100")
		await[Lost](b, 4*time.Second)
	})
}

func TestRepliesThatComeTwiceAreLost(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, newest := throughTap(t, nil)
		await[Connected](b, 3*time.Second)
		newest().set(func(x *tap) {
			x.up = func(line string) []string { return []string{line + "\n", line + "\n"} }
		})
		wantReason(t, await[Bad](b, time.Second).Reason, "nobody had asked")
		wantReason(t, await[Lost](b, 3*time.Second).Reason, "within 2 s")
		await[Connected](b, 4*time.Second)
	})
}

// An answer that comes after its question was given up is not the answer to the
// next: no snapshot may be taken with the wrong one, and KEEP stops.
func TestRepliesThatComeLateAreNotTakenForTheNext(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, newest := throughTap(t, nil)
		await[Connected](b, 3*time.Second)
		var late atomic.Int64
		newest().set(func(x *tap) {
			x.up = func(line string) []string {
				if strings.HasPrefix(line, "P") && late.Add(1)%3 == 0 {
					time.Sleep(answerTime + 60*time.Millisecond)
				}
				return []string{line + "\n"}
			}
		})
		var last uint16
		var bad, good int
		end := time.After(1800 * time.Millisecond)
		for done := false; !done; {
			select {
			case r := <-b.link.Reports():
				switch r := r.(type) {
				case Bad:
					bad++
					wantReason(t, r.Reason, "no answer")
				case SnapshotRead:
					if good > 0 && r.S.Sequence == last {
						t.Errorf("number %d came twice", last)
					}
					good, last = good+1, r.S.Sequence
				}
			case <-end:
				done = true
			}
		}
		if bad == 0 || good == 0 {
			t.Errorf("%d bad and %d good answers, want some of each", bad, good)
		}
	})
}

// The length of the pulse is asked for once in a firing: an answer that is lost or
// spoiled is asked for again, but not for ever.
func TestThePulseIsAskedForAgain(t *testing.T) {
	for name, c := range map[string]struct {
		spoil func(n int, line string) string // what becomes of the n-th answer
		come  bool
	}{
		"the first two are lost": {func(n int, line string) string {
			if n <= 2 {
				return ""
			}
			return line + "\n"
		}, true},
		"the first is spoiled": {func(n int, line string) string {
			if n == 1 {
				return "#" + line + "\n"
			}
			return line + "\n"
		}, true},
		"no one comes": {func(int, string) string { return "" }, false},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b, newest := throughTap(t, nil)
				await[Connected](b, 3*time.Second)
				n := 0
				newest().set(func(x *tap) {
					x.up = func(line string) []string {
						if strings.HasPrefix(line, "P") || line == fenceAnswer {
							return []string{line + "\n"}
						}
						n++
						return []string{c.spoil(n, line)}
					}
				})
				b.link.AskFire()
				if c.come {
					if r := await[FireRead](b, 2*time.Second); r.Pulses != 0 {
						t.Errorf("pulse: %+v", r)
					}
				}
				for range 5 { // and the link goes on as before
					await[SnapshotRead](b, time.Second)
				}
				asked := 0
				for _, line := range newest().lines() {
					if line == "STAT:FIRE?" {
						asked++
					}
				}
				if asked > fireTries || b.has(func(r Report) bool { l, lost := r.(Lost); return lost && l.Reason != "" }) {
					t.Errorf("asked %d times:\n%s", asked, b.tail(20))
				}
			})
		})
	}
}

func TestAnswersInPiecesAreReadWhole(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, _ := throughTap(t, func(x *tap) {
			x.up = func(line string) []string {
				time.Sleep(time.Millisecond)
				return strings.SplitAfter(line+"\n", "")
			}
		})
		await[Connected](b, 3*time.Second)
		for range 3 {
			await[SnapshotRead](b, time.Second)
		}
		if b.has(func(r Report) bool { _, bad := r.(Bad); return bad }) {
			t.Errorf("bad answers:\n%s", b.tail(20))
		}
	})
}

func TestALostLineEndingIsABadAnswerAndNoMore(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, newest := throughTap(t, nil)
		await[Connected](b, 3*time.Second)
		var n atomic.Int64
		newest().set(func(x *tap) {
			x.up = func(line string) []string {
				if n.Add(1) == 2 {
					return []string{line} // its LF is lost
				}
				return []string{line + "\n"}
			}
		})
		if bad := await[Bad](b, time.Second); bad.InRow != 1 {
			t.Errorf("bad: %+v", bad)
		}
		for range 3 {
			await[SnapshotRead](b, time.Second)
		}
		if b.has(func(r Report) bool { l, lost := r.(Lost); return lost && l.Reason != "" }) {
			t.Errorf("lost:\n%s", b.tail(20))
		}
	})
}

func TestASnapshotOfTheWrongNumberIsBad(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, newest := throughTap(t, nil)
		await[Connected](b, 3*time.Second)
		newest().set(func(x *tap) {
			x.up = func(line string) []string {
				if s, err := wire.ParseSnapshot(line); err == nil {
					s.Sequence += 5
					line = s.Text()
				}
				return []string{line + "\n"}
			}
		})
		wantReason(t, await[Bad](b, time.Second).Reason, "should have")
	})
}

func TestASnapshotThatDeniesPracticeIsBad(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, newest := throughTap(t, nil)
		await[Connected](b, 3*time.Second)
		newest().set(func(x *tap) {
			x.up = func(line string) []string {
				if s, err := wire.ParseSnapshot(line); err == nil {
					s.Practice = false
					line = s.Text()
				}
				return []string{line + "\n"}
			}
		})
		wantReason(t, await[Bad](b, time.Second).Reason, "practice")
		await[Lost](b, 2*time.Second)
	})
}

func TestABoxOfTooFewChannelsIsRefusedUntilTheRightOneComes(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		wrong, right := newBox(t, 3), newBox(t, 6)
		var plugged atomic.Pointer[practice.Box]
		plugged.Store(wrong)
		b := linkTo(t, right, func(c *Config) {
			c.Dial = func(ctx context.Context) (io.ReadWriteCloser, error) { return plugged.Load().Dial(ctx) }
		})
		wantReason(t, await[Lost](b, 3*time.Second).Reason, "the box has 3 channels and the sheet uses channel 4")
		plugged.Store(right)
		if c := await[Connected](b, 4*time.Second); c.Channels != 6 {
			t.Errorf("connected: %+v", c)
		}
	})
}

func TestPracticeIsDecidedByTheDevice(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		real, newest := throughTap(t, func(x *tap) {
			x.up = func(line string) []string { return []string{strings.ReplaceAll(line, "PRACTICE", "GB-4") + "\n"} }
		})
		wantReason(t, await[Lost](real, 3*time.Second).Reason, "a real box answers")
		for _, line := range newest().lines() {
			if strings.HasPrefix(line, "SYST:OWN ") {
				t.Error("a box that was refused had been taken over")
			}
		}
	})
}

// A controller that restarts when its port is opened says nothing at first, then
// greets in its own words.
func TestABoxThatIsDumbAfterTheOpening(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		began := time.Now()
		b, _ := throughTap(t, func(x *tap) {
			x.up = func(line string) []string {
				if time.Since(began) < time.Second {
					return []string{"\x00\xfeboot 3.1\r\nready, more or less, now\n"}
				}
				return []string{line + "\n"}
			}
		})
		await[Connected](b, 4*time.Second)
		for range 3 {
			await[SnapshotRead](b, time.Second)
		}
	})
}

func TestARestartedBoxIsTakenOverAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := inProcess(t)
		await[Connected](b, 3*time.Second)
		b.box.ClearFault(b.fault("freeze")) // somebody switched it off and on
		b.next(time.Second, "event 8", func(r Report) bool {
			s, is := r.(SnapshotRead)
			return is && s.S.Events&wire.EventRestarted != 0
		})
		wantReason(t, await[Lost](b, time.Second).Reason, "restarted")
		if c := await[Connected](b, 2*time.Second); c.Changed {
			t.Errorf("after the restart: %+v, want the same box", c)
		}
		b.snapshot(time.Second, "no event", func(s Snapshot) bool { return s.Events == wire.EventKeyOut }) // it is out
	})
}

func TestAnotherProgramThatTakesTheBoxOver(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := inProcess(t)
		stop := b.firing()
		defer stop()
		b.box.Input([]byte("SYST:OWN 0BADF00D\n"))
		dropped := await[PermitDropped](b, time.Second)
		wantReason(t, dropped.Reason, "owner changed")
		wantReason(t, await[Lost](b, time.Second).Reason, "another program")
		await[Connected](b, 3*time.Second)
		b.open()
	})
}

func TestAnErrorThatNothingHereExplains(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := inProcess(t)
		await[Connected](b, 3*time.Second)
		await[SnapshotRead](b, time.Second)
		await[SnapshotRead](b, time.Second)
		b.box.Input([]byte("*RST\n"))
		r := await[Refused](b, time.Second)
		if r.Error != wire.ErrHeader || r.Command != "" {
			t.Errorf("refused: %+v, want -113 without a command", r)
		}
		s := b.snapshot(time.Second, "the queue to be emptied", func(s Snapshot) bool { return s.Events == wire.EventKeyOut })
		if s.Caused != 0 {
			t.Errorf("caused: %v", s.Caused)
		}
	})
}

func TestALeaseThatIsNotRenewedEnds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := inProcess(t)
		await[Connected](b, 3*time.Second)
		b.box.Hands().Igniters(true)
		b.link.Lease(true)
		b.snapshot(time.Second, "a reading", func(s Snapshot) bool { return s.ChannelOhm[0].Kind == wire.Measured })
		began := time.Now()
		b.snapshot(4*time.Second, "no reading", func(s Snapshot) bool { return s.ChannelOhm[0].Kind == wire.NotMeasured })
		if took := time.Since(began); took > LeaseLasts+500*time.Millisecond {
			t.Errorf("the test current stayed on for %v after the last call", took)
		}
	})
}

func TestASlowReaderGetsTheNewestSnapshotAndEveryChange(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := inProcess(t)
		await[Connected](b, 3*time.Second)
		await[SnapshotRead](b, time.Second)
		f := b.fault("unplug")
		time.Sleep(300 * time.Millisecond)
		b.box.ClearFault(f)
		time.Sleep(2 * time.Second) // nobody reads
		if lost := await[Lost](b, 100*time.Millisecond); lost.Reason == "" {
			t.Error("a loss without a reason")
		}
		await[Connected](b, 100*time.Millisecond)
		s := await[SnapshotRead](b, 300*time.Millisecond)
		if age := time.Since(s.At); age > 400*time.Millisecond {
			t.Errorf("the snapshot is %v old", age)
		}
	})
}
