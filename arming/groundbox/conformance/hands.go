package conformance

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"holdline/arming/groundbox/wire"
)

// Hands turn the key and press the button when a clause asks for it: those of a
// practice box, or a person's. No igniter is connected meanwhile.
type Hands struct {
	Key, Battery, Button func(on bool)
	// Press presses the button for so long; a person does it as well as can be.
	Press func(d time.Duration)
	// Exact hands press to the millisecond.
	Exact bool
	// Within is how long a hand may take to do what it was asked.
	Within time.Duration
}

// byHand tries clauses with hands: the permit is closed and a pulse is made.
type byHand struct {
	*trial
	hands *Hands
}

// handClauses try what needs hands, by the clause's text.
var handClauses = map[string]func(byHand) error{
	"ON closes the permit within 50 ms, KEEP keeps it, OFF opens it, ON is refused until the key has been out": byHand.onKeepOff,
	"OFF opens the permit whatever follows it":                                          byHand.offWhatever,
	"a snapshot number is used once, and for 0.3 s":                                     byHand.numbers,
	"the watchdog opens the permit not before its time and soon after: event 1":         byHand.watchdog,
	"the key going out opens the permit at once: event 4":                               byHand.keyOut,
	"a new owner opens the permit":                                                      byHand.newOwner,
	"ON is refused with the button pressed; a tap of 3 ms is a press: event 2":          byHand.button,
	"the self-test, the watchdog time and the lease are refused with the permit closed": byHand.refusedClosed,
	"a pulse is counted and timed, release opens the permit":                            byHand.pulse,
	"the permit opens 20 s after it closed, whatever is sent: event 128":                byHand.limit,
}

// withHands returns the clauses with what hands at the box add.
func withHands(hands *Hands) []clause {
	out := slices.Clone(clauses)
	if hands == nil {
		return out
	}
	for i := range out {
		if do := handClauses[out[i].text]; do != nil {
			out[i].do = func(t *trial) error { return do(byHand{t, hands}) }
		}
	}
	return out
}

// insert takes the key out and puts it in again: one ON is allowed then.
func (t byHand) insert() error {
	h := t.hands
	h.Button(false)
	h.Key(false)
	if _, err := t.until(t.hands.Within, "key out", func(s wire.Snapshot) bool { return !s.KeyIn && !s.PermitClosed }); err != nil {
		return err
	}
	h.Battery(true)
	h.Key(true)
	_, err := t.until(t.hands.Within, "key in and poles open", func(s wire.Snapshot) bool {
		return s.KeyIn && !s.Pole1Closed && !s.Pole2Closed
	})
	if err != nil {
		return err
	}
	return t.c.send("STAT:EVEN:CLE 511")
}

// closed brings the permit to closed.
func (t byHand) closed() error {
	if err := t.insert(); err != nil {
		return err
	}
	on, err := t.on(t.token)
	if err != nil {
		return err
	}
	if err := t.passes(on); err != nil {
		return err
	}
	_, err = t.until(50*time.Millisecond+lineTime, "permit closed", func(s wire.Snapshot) bool { return s.PermitClosed })
	return err
}

// keepFor keeps the permit for a time and wants it closed all along.
func (t byHand) keepFor(d time.Duration) error {
	for end := time.Now().Add(d); time.Now().Before(end); t.c.wait(80 * time.Millisecond) {
		keep, err := t.keep(t.token)
		if err != nil {
			return err
		}
		if !t.last.PermitClosed {
			return fmt.Errorf("the permit opened although it was kept: %s", t.last.Text())
		}
		if err := t.c.send(keep); err != nil {
			return err
		}
	}
	return t.noError()
}

func (t byHand) noError() error {
	if e, err := t.nextError(); err != nil || e.Code != 0 {
		return fmt.Errorf("error %d %q: %w", e.Code, e.Text, err)
	}
	return nil
}

// opens wants the permit open and the node behind it dead, by a time.
func (t byHand) opens(within time.Duration) (wire.Snapshot, error) {
	return t.until(within, "permit open", func(s wire.Snapshot) bool { return !s.PermitClosed && s.BehindPermitV.Dead() })
}

func (t byHand) onKeepOff() error {
	if err := first(t.closed(), t.keepFor(900*time.Millisecond), t.c.send("OUTP:PERM OFF")); err != nil {
		return err
	}
	s, err := t.opens(100 * time.Millisecond)
	if err != nil {
		return err
	}
	if s.Events != 0 {
		return fmt.Errorf("events %d after an orderly OFF", s.Events)
	}
	on, err := t.on(t.token)
	if err != nil {
		return err
	}
	if err := t.fails(on, -221); err != nil {
		return fmt.Errorf("a second ON for one insertion of the key: %w", err)
	}
	keep, err := t.keep(t.token)
	return first(err, t.fails(keep, -221), t.want("OUTP:PERM?", "0"))
}

func (t byHand) offWhatever() error {
	for _, line := range []string{"OUTP:PERM OFF,1,2,3", "outp:perm off;*IDN?", "OUTPUT:PERMIT OFF please"} {
		if err := t.closed(); err != nil {
			return err
		}
		if err := t.c.send(line); err != nil {
			return err
		}
		if _, err := t.opens(100 * time.Millisecond); err != nil {
			return fmt.Errorf("%q: %w", line, err)
		}
		if err := t.c.send("*CLS"); err != nil {
			return err
		}
	}
	return nil
}

func (t byHand) numbers() error {
	if err := t.insert(); err != nil {
		return err
	}
	on, err := t.on(t.token)
	if err != nil {
		return err
	}
	t.c.wait(330 * time.Millisecond)
	if err := t.fails(on, -221); err != nil {
		return fmt.Errorf("a snapshot of 0.33 s ago: %w", err)
	}
	if err := t.closed(); err != nil {
		return err
	}
	keep, err := t.keep(t.token)
	if err != nil {
		return err
	}
	used := keep
	if err := first(t.passes(keep), t.fails(used, -221)); err != nil {
		return fmt.Errorf("a snapshot number used twice: %w", err)
	}
	never := "OUTP:PERM:KEEP " + t.token + "," + strconv.Itoa(int(t.last.Sequence+7))
	if err := t.fails(never, -221); err != nil {
		return fmt.Errorf("a snapshot number that was never sent: %w", err)
	}
	keep, err = t.keep(t.token)
	return first(err, t.fails(strings.Replace(keep, t.token, t.other, 1), -221))
}

func (t byHand) watchdog() error {
	for _, set := range []time.Duration{250 * time.Millisecond, 500 * time.Millisecond} {
		if _, err := t.opens(100 * time.Millisecond); err != nil {
			return err
		}
		if err := t.passes(fmt.Sprintf("OUTP:PERM:TIM %g,%s", set.Seconds(), t.token)); err != nil {
			return err
		}
		if err := t.closed(); err != nil {
			return err
		}
		keep, err := t.keep(t.token)
		if err != nil {
			return err
		}
		before := time.Now()
		if err := t.c.send(keep); err != nil {
			return err
		}
		sent := time.Now()
		for {
			asked := time.Now()
			s, err := t.snapshot()
			if err != nil {
				return err
			}
			if !s.PermitClosed {
				if early := time.Since(before); early < set {
					return fmt.Errorf("open %v after KEEP, watchdog time %v", early.Round(time.Millisecond), set)
				}
				if s.Events&wire.EventWatchdog == 0 {
					return fmt.Errorf("events %d after the watchdog opened the permit, want 1", s.Events)
				}
				break
			}
			if late := asked.Sub(sent); late > set+20*time.Millisecond+50*time.Millisecond {
				return fmt.Errorf("still closed %v after KEEP, watchdog time %v", late.Round(time.Millisecond), set)
			}
			t.c.wait(2 * time.Millisecond)
		}
		if err := t.c.send("STAT:EVEN:CLE 511"); err != nil {
			return err
		}
	}
	return nil
}

func (t byHand) keyOut() error {
	if err := t.closed(); err != nil {
		return err
	}
	t.hands.Key(false)
	if err := t.keepUntil("key out", func(s wire.Snapshot) bool { return !s.KeyIn }); err != nil {
		return err
	}
	s, err := t.opens(100 * time.Millisecond)
	if err != nil {
		return err
	}
	const want = wire.EventKeyPulled | wire.EventKeyOut
	if got := s.Events &^ wire.EventErrors; s.KeyIn || got != want { // the last KEEP may have come too late
		return fmt.Errorf("key %v and events %d, want out and %d", s.KeyIn, got, want)
	}
	return nil
}

// keepUntil keeps the permit until a snapshot is as wanted, as long as a hand may
// take.
func (t byHand) keepUntil(what string, is func(wire.Snapshot) bool) error {
	for end := time.Now().Add(min(t.hands.Within, 15*time.Second)); ; t.c.wait(40 * time.Millisecond) {
		keep, err := t.keep(t.token)
		switch {
		case err != nil || is(t.last):
			return err
		case time.Now().After(end):
			return fmt.Errorf("%s: not seen: %s", what, t.last.Text())
		}
		if err := t.c.send(keep); err != nil {
			return err
		}
	}
}

func (t byHand) newOwner() error {
	if err := first(t.closed(), t.c.send("SYST:OWN "+t.other)); err != nil {
		return err
	}
	s, err := t.opens(100 * time.Millisecond)
	if err == nil && s.Events&wire.EventOwnerChanged == 0 {
		err = fmt.Errorf("events %d, want 32", s.Events)
	}
	return err
}

func (t byHand) button() error {
	if err := t.insert(); err != nil {
		return err
	}
	before, err := t.snapshot()
	if err != nil {
		return err
	}
	t.hands.Press(3 * time.Millisecond)
	s, err := t.until(t.hands.Within, "a tap of the button", func(s wire.Snapshot) bool {
		return s.Events&wire.EventButtonEarly != 0 && !s.Pole1Closed && !s.Pole2Closed
	})
	if err != nil {
		return err
	}
	if before.Presses != wire.Unknown && s.Presses != before.Presses+1 || s.Events != wire.EventButtonEarly || s.Pulses != before.Pulses {
		return fmt.Errorf("presses %d after %d, pulses %d after %d, events %d: want one press, no pulse, event 2",
			s.Presses, before.Presses, s.Pulses, before.Pulses, s.Events)
	}
	t.hands.Button(true)
	defer t.hands.Button(false)
	if _, err := t.until(t.hands.Within, "button closed", func(s wire.Snapshot) bool { return s.Pole1Closed && s.Pole2Closed }); err != nil {
		return err
	}
	on, err := t.on(t.token)
	return first(err, t.fails(on, -221), t.want("OUTP:PERM?", "0"))
}

func (t byHand) refusedClosed() error {
	if err := t.closed(); err != nil {
		return err
	}
	err := first(t.fails("OUTP:PERM:TIM 0.3,"+t.token, -221), t.fails("SENS:RES:STAT ON,"+t.token, -221), t.fails("SYST:TEST? "+t.token, -221))
	if err != nil {
		return err
	}
	if err := t.c.send("OUTP:PERM OFF"); err != nil {
		return err
	}
	if _, err := t.opens(100 * time.Millisecond); err != nil {
		return err
	}
	if err := t.fails("SYST:TEST? "+t.token, -221); err != nil {
		return fmt.Errorf("with the key in: %w", err)
	}
	return nil
}

func (t byHand) pulse() error {
	if err := t.closed(); err != nil {
		return err
	}
	before, err := t.snapshot()
	if err != nil {
		return err
	}
	const held = 400 * time.Millisecond
	t.hands.Press(held)
	if err := t.keepUntil("permit open after the release", func(s wire.Snapshot) bool { return !s.PermitClosed }); err != nil {
		return err
	}
	s := t.last
	if before.Pulses != wire.Unknown && s.Pulses != before.Pulses+1 || before.Presses != wire.Unknown && s.Presses != before.Presses+1 {
		return fmt.Errorf("pulses %d after %d, presses %d after %d, want one of each", s.Pulses, before.Pulses, s.Presses, before.Presses)
	}
	if s.Events&(wire.EventWatchdog|wire.EventPermitLimit) != 0 {
		return errors.New("a watchdog or the limit opened the permit, not the release")
	}
	answer, err := t.ask("STAT:FIRE?")
	if err != nil {
		return err
	}
	f := strings.Split(answer, ",")
	if len(f) != 4 {
		return fmt.Errorf("STAT:FIRE?: %q", answer)
	}
	length, err := wire.ParseReading(f[2])
	low, high := held.Seconds()-0.03, held.Seconds()+0.08
	if !t.hands.Exact {
		low, high = 0.02, 15
	}
	if err != nil || length.Value < low || length.Value > high {
		return fmt.Errorf("STAT:FIRE?: length %q s, the button was kept pressed for %v", f[2], held)
	}
	return nil
}

func (t byHand) limit() error {
	if err := t.closed(); err != nil {
		return err
	}
	began := time.Now()
	if err := t.keepFor(19500 * time.Millisecond); err != nil {
		return err
	}
	for {
		keep, err := t.keep(t.token)
		if err != nil {
			return err
		}
		passed := time.Since(began)
		if !t.last.PermitClosed {
			if t.last.Events&wire.EventPermitLimit == 0 {
				return fmt.Errorf("open after %v with events %d, want 128", passed, t.last.Events)
			}
			return nil
		}
		if passed > 20200*time.Millisecond {
			return fmt.Errorf("still closed after %v", passed)
		}
		if err := t.c.send(keep); err != nil {
			return err
		}
		t.c.wait(40 * time.Millisecond)
	}
}
