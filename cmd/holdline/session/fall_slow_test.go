//go:build slow && linux

package session

import (
	"testing"
	"time"

	"holdline/arming/groundbox/practice"
	"holdline/arming/groundbox/wire"
)

// TestThePermitFallsWhateverStandsStill lets a program hold the permit against a
// practice box of another program and takes one part of it away. most is the
// design's own time for that part with the ticks and polls that it takes to see
// it; a second is left to the machine.
func TestThePermitFallsWhateverStandsStill(t *testing.T) {
	const forTheMachine = time.Second
	for _, c := range []struct {
		word string
		most time.Duration
	}{
		{"HOLD", 0},
		{"screen stands still", screenLate + tickArmed},
		{"driver stands still", permitLife + 50*time.Millisecond},
		{"disk full", beatsEvery + diskLate},
		{"record blocked", beatsEvery + diskLate},
	} {
		for _, busy := range []bool{false, true} {
			name := c.word
			if busy {
				name += ", every core busy"
			}
			t.Run(name, func(t *testing.T) {
				s := newStand(t)
				if err := s.hold(); err != nil {
					t.Fatal(err)
				}
				defer func() {
					if err := s.end(); err != nil {
						t.Error(err)
					}
				}()
				if busy {
					burnCores(t)
					time.Sleep(200 * time.Millisecond)
				}
				at, err := s.tell(c.word)
				if err != nil {
					t.Fatal(err)
				}
				most := c.most + forTheMachine
				if err := s.until(most+time.Second, func(b practice.State) bool { return !b.PermitCommanded && !b.PermitClosed }); err != nil {
					t.Fatal(err)
				}
				b := s.box.State()
				by := "by OFF"
				if b.Events&wire.EventWatchdog != 0 {
					by = "by the box's watchdog"
				}
				took := b.PermitOpenedAt - at
				t.Logf("%s: open %v later, %s", name, took, by)
				if took > most {
					t.Errorf("the permit stayed closed for %v", took)
				}
				closed := b.PermitClosedAt
				time.Sleep(300 * time.Millisecond)
				if b = s.box.State(); b.PermitCommanded || b.PermitClosedAt != closed {
					t.Errorf("the permit closed again: %+v", b)
				}
			})
		}
	}
}

// TestThePermitStandsWhileEveryCoreIsBusy with another program: that alone is no
// reason to let go. What else the machine has to do may be one, so that there are
// a few tries.
func TestThePermitStandsWhileEveryCoreIsBusy(t *testing.T) {
	for range 3 {
		if stands(t) {
			return
		}
	}
	t.Error("the permit fell each time")
}

func stands(t *testing.T) bool {
	s := newStand(t)
	if err := s.hold(); err != nil {
		t.Fatal(err)
	}
	burnCores(t)
	from := s.box.State().WatchdogRestarts
	time.Sleep(3 * time.Second)
	b := s.box.State()
	t.Logf("permit commanded %v, renewed %d times in 3 s with every core busy", b.PermitCommanded, b.WatchdogRestarts-from)
	if err := s.end(); err != nil {
		t.Error(err)
	}
	return b.PermitCommanded
}
