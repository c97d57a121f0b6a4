//go:build slow && linux

package session

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"holdline/arming/groundbox/practice"
	"holdline/arming/groundbox/wire"
)

const (
	kills      = 200
	killsAside = 4 // boxes at a time
	watchdog   = 500 * time.Millisecond
	// watchdogMost is the contract's: at most 20 ms after its time.
	watchdogMost = watchdog + 20*time.Millisecond
	// killMost has what the system still carries to the box after a kill.
	killMost = watchdogMost + 30*time.Millisecond
)

// killed is what one kill has shown.
type killed struct {
	stop     bool          // SIGSTOP
	fromLast time.Duration // from the last renewal to the opening
	fromKill time.Duration
	err      error
}

// wrong says what is wrong with it.
func (r *killed) wrong() error {
	switch {
	case r.err != nil:
		return r.err
	case r.fromLast < watchdog-time.Millisecond || r.fromLast > watchdogMost || r.fromKill > killMost:
		return fmt.Errorf("opened %v after the last renewal, %v after the kill", r.fromLast, r.fromKill)
	}
	return nil
}

// TestTheWatchdogTripsInEachOf200Kills kills a program that holds the permit at
// moments that have nothing to do with its renewals, one time by SIGKILL and one
// time by SIGSTOP; one that was stopped goes on afterwards and must not close
// the permit again. The box is a program of its own: this one.
func TestTheWatchdogTripsInEachOf200Kills(t *testing.T) {
	began := time.Now()
	results := make(chan killed, kills)
	var stands sync.WaitGroup
	for n := range killsAside {
		s := newStand(t)
		moment := rand.New(rand.NewPCG(uint64(n), 5))
		stands.Go(func() {
			for k := range kills / killsAside {
				results <- s.kill(k%2 == 1, time.Duration(moment.IntN(200))*time.Millisecond)
			}
		})
	}
	stands.Wait()
	close(results)
	var last, kill, stop spread
	for r := range results {
		if err := r.wrong(); err != nil {
			t.Error(err)
			continue
		}
		last = append(last, r.fromLast)
		if r.stop {
			stop = append(stop, r.fromKill)
		} else {
			kill = append(kill, r.fromKill)
		}
	}
	if len(kill) == 0 || len(stop) == 0 {
		t.Fatal("no kill of each kind was seen through")
	}
	for _, s := range []spread{last, kill, stop} {
		slices.Sort(s)
	}
	t.Logf("%d kills in %v; from the last renewal to the opening %v to %v; from SIGKILL %v to %v, from SIGSTOP %v to %v",
		len(last), time.Since(began).Round(time.Second), last[0], last.at(1), kill[0], kill.at(1), stop[0], stop.at(1))
}

// kill lets a holder close the permit and ends it.
func (s *stand) kill(stop bool, after time.Duration) (r killed) {
	r.stop = stop
	if r.err = s.hold(); r.err != nil {
		return r
	}
	defer func() {
		if err := s.end(); r.err == nil {
			r.err = err
		}
	}()
	time.Sleep(after)
	if b := s.box.State(); !b.PermitCommanded {
		r.err = fmt.Errorf("the permit fell before the kill: %+v", b)
		return r
	}
	sig := unix.SIGKILL
	if stop {
		sig = unix.SIGSTOP
	}
	if r.err = s.cmd.Process.Signal(sig); r.err != nil {
		return r
	}
	at := s.box.State().At
	if r.err = s.until(2*time.Second, func(b practice.State) bool { return !b.PermitCommanded && !b.PermitClosed }); r.err != nil {
		return r
	}
	b := s.box.State()
	r.fromLast, r.fromKill = b.PermitOpenedAt-b.WatchdogFrom, b.PermitOpenedAt-at
	if b.Events&wire.EventWatchdog == 0 {
		r.err = fmt.Errorf("opened by something else than the watchdog: events %v", b.Events)
	}
	if stop && r.err == nil {
		r.err = s.wake()
	}
	return r
}

// wake lets a stopped holder go on: what it still has to say must not close the
// permit.
func (s *stand) wake() error {
	if err := s.cmd.Process.Signal(unix.SIGCONT); err != nil {
		return err
	}
	closed := s.box.State().PermitClosedAt
	for end := time.Now().Add(400 * time.Millisecond); time.Now().Before(end); time.Sleep(time.Millisecond) {
		if b := s.box.State(); b.PermitCommanded || b.PermitClosed || b.PermitClosedAt != closed {
			return fmt.Errorf("the permit closed again after SIGCONT: %+v", b)
		}
	}
	return nil
}
