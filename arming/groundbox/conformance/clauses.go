package conformance

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"holdline/arming/groundbox/wire"
)

// clauses are in an order in which each may rest on those before it.
var clauses = []clause{
	{text: "*IDN? answers maker, model, serial number, version", do: (*trial).identity},
	{text: "SYST:VERS? answers 1999.0", do: func(t *trial) error { return t.want("SYST:VERS?", "1999.0") }},
	{text: "headers in short and long form, any case, with a leading colon, and nothing between", do: (*trial).headers},
	{text: "a CR before the LF is dropped, empty lines are ignored", do: (*trial).lineEndings},
	{text: "an unknown header is -113, *RST too", do: (*trial).unknown},
	{text: "one command a line: a semicolon is no separator", do: (*trial).semicolon},
	{text: "a missing parameter is -109, a malformed or extra one -222", do: (*trial).parameters},
	{text: "a byte above 127 makes the line -113", do: (*trial).highByte},
	{text: "a line of 255 bytes is read, one of 256 is dropped whole with -363", do: (*trial).longLine},
	{text: "twenty errors are kept in order, then -350; *CLS empties the queue", do: (*trial).errorQueue},
	{text: "event 64 stands while an error waits, and no longer", do: (*trial).errorEvent},
	{text: "1 to 16 channels, and a test current above 0", do: (*trial).channelCount},
	{text: "snapshots: check sum, number up by one, channels, P in practice only", do: (*trial).snapshots},
	{text: "the reference before the check sum: ground with an even number, at least 1 V with an odd one", do: (*trial).reference},
	{text: "eight queries without parameters wait behind a slow one", do: (*trial).queue},
	{text: "the owner's token: 8 hex digits, any case; a new owner sets event 32", do: (*trial).owner},
	{text: "reading events does not clear them, unknown bits are -222", do: (*trial).events},
	{text: "no resistance without a lease", do: (*trial).noLease},
	{text: "the lease: by token, scans move, OFF from anyone, no reading is kept", do: (*trial).lease},
	{text: "MEAS:RES? in the order given, repeats allowed, falling or foreign channels -222", do: (*trial).resistance},
	{text: "MEAS:VOLT? at 90 to 93 only", do: (*trial).voltage},
	{text: "INP:KEY? and INP:BUTT? agree with the snapshot; pole 1 reads closed without key and lease", do: (*trial).inputs},
	{text: "the permit is refused with the key out, to a foreign token, and in no other word than ON and OFF", do: (*trial).refused},
	{text: "the watchdog time: 0.25 to 0.5 s, by token", do: (*trial).timer},
	{text: "the self-test passes within 2.5 s, snapshots wait, no event", do: (*trial).selfTest},
	{text: "OFF breaks the self-test off at once: 16", do: (*trial).selfTestBroken},
	{text: "STAT:FIRE? answers pulses, age, length, lowest", do: (*trial).fire},
	{text: "the lease ends after 5 s", long: true, do: (*trial).leaseEnds},

	{text: "ON closes the permit within 50 ms, KEEP keeps it, OFF opens it, ON is refused until the key has been out"},
	{text: "OFF opens the permit whatever follows it"},
	{text: "a snapshot number is used once, and for 0.3 s"},
	{text: "the watchdog opens the permit not before its time and soon after: event 1"},
	{text: "the key going out opens the permit at once: event 4"},
	{text: "a new owner opens the permit"},
	{text: "ON is refused with the button pressed; a tap of 3 ms is a press: event 2"},
	{text: "the self-test, the watchdog time and the lease are refused with the permit closed"},
	{text: "a pulse is counted and timed, release opens the permit"},
	{text: "the permit opens 20 s after it closed, whatever is sent: event 128", long: true},

	{text: "every answer within 100 ms", do: (*trial).speed},
}

func (t *trial) identity() error {
	answer, err := t.ask("*IDN?")
	if err != nil {
		return err
	}
	_, err = wire.ParseIdentity(answer)
	return err
}

func (t *trial) headers() error {
	for _, h := range []string{"syst:vers?", "SYSTEM:VERSION?", ":SYSTem:VERSion?", "System:Vers?"} {
		if err := t.want(h, "1999.0"); err != nil {
			return err
		}
	}
	return first(t.fails("SYSTE:VERS?", -113), t.fails("SYST:VERSI?", -113), t.fails("SYST:VERS:X?", -113))
}

func (t *trial) lineEndings() error {
	if err := t.c.send("\r\n\n\r\nSYST:VERS?\r"); err != nil {
		return err
	}
	if got, err := t.c.next(answerTime + lineTime); err != nil || got != "1999.0" {
		return fmt.Errorf("answer %q, %v, want 1999.0", got, err)
	}
	if e, err := t.nextError(); err != nil || e.Code != 0 {
		return fmt.Errorf("error %d %q for empty lines: %w", e.Code, e.Text, err)
	}
	return nil
}

func (t *trial) unknown() error {
	return first(t.fails("*RST", -113), t.fails("*OPC?", -113), t.fails("FIRE", -113), t.fails("OUTP:FIRE ON", -113),
		t.fails("SYST:VERS", -113), t.fails("?", -113))
}

func (t *trial) semicolon() error { return t.fails("SYST:VERS?;SYST:VERS?", -113) }

func (t *trial) parameters() error {
	return first(
		t.fails("SYST:OWN", -109), t.fails("STAT:EVEN:CLE", -109), t.fails("MEAS:RES?", -109),
		t.fails("OUTP:PERM ON", -109), t.fails("OUTP:PERM:KEEP "+t.token, -109), t.fails("SENS:RES:STAT ON", -109),
		t.fails("SYST:VERS? 1", -222), t.fails("SYST:OWN "+t.token+",1", -222), t.fails("*CLS 1", -222),
		t.fails("SYST:OWN 123", -222), t.fails("SYST:OWN 0123456G", -222), t.fails("STAT:EVEN:CLE x", -222), t.fails("MEAS:VOLT? 90", -222),
	)
}

func (t *trial) highByte() error {
	return first(t.fails("*CLS\xc3\xa4", -113), t.want("SYST:VERS?", "1999.0"))
}

func (t *trial) longLine() error {
	return first(t.fails(strings.Repeat("X", 255), -113), t.fails(strings.Repeat("X", 255)+"\r", -113),
		t.fails(strings.Repeat("X", 256), -363), t.fails("*CLS"+strings.Repeat(" ", 5000), -363), t.want("SYST:VERS?", "1999.0"))
}

func (t *trial) errorQueue() error {
	for i := range 25 {
		line := "*RST"
		if i == 0 {
			line = "SYST:OWN"
		}
		if err := t.c.send(line); err != nil {
			return err
		}
	}
	for i := range 21 {
		want := -113
		switch i {
		case 0:
			want = -109
		case 19:
			want = -350
		case 20:
			want = 0
		}
		if e, err := t.nextError(); err != nil || e.Code != want {
			return fmt.Errorf("error %d of the queue: %d %q, want %d: %w", i+1, e.Code, e.Text, want, err)
		}
	}
	return first(t.c.send("*RST"), t.passes("*CLS"))
}

func (t *trial) errorEvent() error {
	if err := t.c.send("*RST"); err != nil {
		return err
	}
	if s, err := t.snapshot(); err != nil || s.Events&wire.EventErrors == 0 {
		return fmt.Errorf("events %d with an error waiting, want 64: %w", s.Events, err)
	}
	if err := t.c.send("STAT:EVEN:CLE 64"); err != nil {
		return err
	}
	if s, err := t.snapshot(); err != nil || s.Events&wire.EventErrors == 0 {
		return fmt.Errorf("STAT:EVEN:CLE took event 64 away with an error waiting: %w", err)
	}
	if _, err := t.nextError(); err != nil {
		return err
	}
	if s, err := t.snapshot(); err != nil || s.Events&wire.EventErrors != 0 {
		return fmt.Errorf("event 64 stands with an empty queue: %w", err)
	}
	return nil
}

func (t *trial) channelCount() error {
	answer, err := t.ask("ROUT:CHAN:COUN?")
	if err != nil {
		return err
	}
	n, err := strconv.Atoi(answer)
	if err != nil || n < 1 || n > wire.MaxChannels {
		return fmt.Errorf("%q channels, want 1 to %d", answer, wire.MaxChannels)
	}
	if answer, err = t.ask("SENS:RES:CURR?"); err != nil {
		return err
	}
	if r, err := wire.ParseReading(answer); err != nil || r.Kind != wire.Measured || r.Value <= 0 {
		return fmt.Errorf("test current %q, want a number above 0", answer)
	}
	return nil
}

func (t *trial) snapshots() error {
	before, err := t.snapshot()
	if err != nil {
		return err
	}
	for range 5 {
		s, err := t.snapshot()
		switch {
		case err != nil:
			return err
		case s.Sequence != before.Sequence+1:
			return fmt.Errorf("number %d after %d", s.Sequence, before.Sequence)
		case len(s.ChannelOhm) != t.channels:
			return fmt.Errorf("%d channels, want %d", len(s.ChannelOhm), t.channels)
		case s.Practice != t.practice:
			return fmt.Errorf("practice is %v in the snapshot and %v in the identity", s.Practice, t.practice)
		}
		before = s
	}
	return nil
}

func (t *trial) reference() error {
	nominal := 0.0
	for range 8 {
		s, err := t.snapshot()
		if err != nil {
			return err
		}
		if nominal == 0 && s.Sequence%2 == 1 {
			if nominal = s.ReferenceV.Value; nominal < wire.LeastReferenceV {
				return fmt.Errorf("number %d has a reference of %s V, want %g at least", s.Sequence, s.ReferenceV, wire.LeastReferenceV)
			}
		}
		if nominal == 0 {
			continue
		}
		if why := s.ReferenceFault(nominal); why != "" {
			return errors.New(why)
		}
	}
	return nil
}

func (t *trial) queue() error {
	if err := first(t.passes("SENS:RES:STAT ON,"+t.token), t.c.send("MEAS:RES? (@1,1,1)")); err != nil {
		return err
	}
	const waiting = 8
	for range waiting {
		if err := t.c.send("SYST:VERS?"); err != nil {
			return err
		}
	}
	if _, err := t.c.next(3*answerTime + lineTime); err != nil {
		return fmt.Errorf("MEAS:RES? (@1,1,1): %w", err)
	}
	for i := range waiting {
		if got, err := t.c.next(answerTime + lineTime); err != nil || got != "1999.0" {
			return fmt.Errorf("query %d of those that waited: %q, %w", i+1, got, err)
		}
	}
	return t.passes("SENS:RES:STAT OFF")
}

func (t *trial) owner() error {
	err := first(
		t.want("SYST:OWN? "+t.token, "1"), t.want("SYST:OWN? "+strings.ToLower(t.token), "1"), t.want("SYST:OWN? "+t.other, "0"),
		t.passes("SYST:OWN "+strings.ToLower(t.other)), t.want("SYST:OWN? "+t.other, "1"), t.want("SYST:OWN? "+t.token, "0"),
	)
	if err != nil {
		return err
	}
	s, err := t.snapshot()
	if err == nil && s.Events&wire.EventOwnerChanged == 0 {
		err = fmt.Errorf("events %d after a change of owner, want 32", s.Events)
	}
	return err
}

// latched are the events without the one that stands while the key is out.
func latched(s wire.Snapshot) wire.Event {
	if s.KeyIn {
		return s.Events
	}
	return s.Events &^ wire.EventKeyOut
}

func (t *trial) events() error {
	if err := t.c.send("SYST:OWN " + t.other); err != nil {
		return err
	}
	for range 2 {
		if s, err := t.snapshot(); err != nil || latched(s) != wire.EventOwnerChanged {
			return fmt.Errorf("events %d, want 32 each time: %w", s.Events, err)
		}
	}
	if err := first(t.fails("STAT:EVEN:CLE 512", -222), t.fails("STAT:EVEN:CLE -1", -222), t.passes("STAT:EVEN:CLE 1")); err != nil {
		return err
	}
	if s, err := t.snapshot(); err != nil || latched(s) != wire.EventOwnerChanged {
		return fmt.Errorf("clearing 1 left events %d, want 32: %w", s.Events, err)
	}
	if err := t.passes("STAT:EVEN:CLE 32"); err != nil {
		return err
	}
	if s, err := t.snapshot(); err != nil || latched(s) != 0 {
		return fmt.Errorf("clearing 32 left events %d: %w", s.Events, err)
	}
	return nil
}

func (t *trial) inputs() error {
	s, err := t.snapshot()
	if err != nil {
		return err
	}
	if s.KeyIn {
		return errSkip{"the key is in: take it out"}
	}
	if !s.Pole1Closed {
		return errors.New("pole 1 reads open with the key out and no lease")
	}
	if err := first(t.want("INP:KEY?", "0"), t.want("INP:BUTT?", "1,0"), t.want("OUTP:PERM?", "0"), t.passes("SENS:RES:STAT ON,"+t.token)); err != nil {
		return err
	}
	if _, err := t.until(200*time.Millisecond, "pole 1 open under the lease", func(s wire.Snapshot) bool { return !s.Pole1Closed }); err != nil {
		return err
	}
	return t.want("INP:BUTT?", "0,0")
}

func (t *trial) refused() error {
	on, err := t.on(t.token)
	if err != nil {
		return err
	}
	if t.last.KeyIn {
		return errSkip{"the key is in: take it out"}
	}
	foreign := strings.Replace(on, t.token, t.other, 1)
	keep := strings.Replace(on, " ON,", ":KEEP ", 1)
	return first(t.fails(on, -221), t.fails(foreign, -221), t.fails(keep, -221),
		t.fails("OUTP:PERM 1", -222), t.fails("OUTP:PERM ONN,"+t.token+",1", -222), t.fails("OUTP:PERM ON,"+t.token+",P1", -222),
		t.fails("OUTP:PERM ON,"+t.token+",65536", -222), t.passes("OUTP:PERM OFF"), t.want("OUTP:PERM?", "0"))
}

func (t *trial) timer() error {
	set := func(s string) string { return "OUTP:PERM:TIM " + s + "," + t.token }
	near := func(want float64) error {
		answer, err := t.ask("OUTP:PERM:TIM?")
		if err != nil {
			return err
		}
		r, err := wire.ParseReading(answer)
		if d := r.Value - want; err != nil || d > 0.001 || d < -0.001 {
			return fmt.Errorf("OUTP:PERM:TIM?: %q, want %g", answer, want)
		}
		return nil
	}
	return first(t.passes(set("0.25")), near(0.25), t.fails(set("0.24"), -222), t.fails(set("0.6"), -222), t.fails(set("2"), -222),
		t.fails("OUTP:PERM:TIM 0.3,"+t.other, -221), near(0.25), t.passes(set("5E-1")), near(0.5))
}

func (t *trial) selfTest() error {
	if err := t.fails("SYST:TEST? "+t.other, -221); err != nil {
		return err
	}
	before, err := t.snapshot()
	if err != nil {
		return err
	}
	if before.KeyIn {
		return errSkip{"the key is in: take it out"}
	}
	began := time.Now()
	if err := first(t.c.send("SYST:TEST? "+t.token), t.c.send("STAT:SNAP?"), t.c.send("STAT:EVEN:CLE 1")); err != nil {
		return err
	}
	answer, err := t.c.next(2500*time.Millisecond + lineTime)
	if err != nil || answer != "0" {
		return fmt.Errorf("SYST:TEST?: %q after %v, want 0: %w", answer, time.Since(began).Round(time.Millisecond), err)
	}
	answer, err = t.c.next(answerTime + lineTime)
	if err != nil {
		return fmt.Errorf("the snapshot that waited: %w", err)
	}
	s, err := wire.ParseSnapshot(answer)
	if err != nil {
		return err
	}
	if s.Events != before.Events || s.Sequence != before.Sequence+1 || s.PermitClosed {
		return fmt.Errorf("after the self-test: %s", answer)
	}
	return nil
}

func (t *trial) selfTestBroken() error {
	if t.last.KeyIn {
		return errSkip{"the key is in: take it out"}
	}
	if err := t.c.send("SYST:TEST? " + t.token); err != nil {
		return err
	}
	t.c.wait(30 * time.Millisecond)
	if err := t.c.send("OUTP:PERM OFF"); err != nil {
		return err
	}
	answer, err := t.c.next(answerTime + lineTime)
	if err != nil || answer != "16" {
		return fmt.Errorf("answer %q, want 16 at once: %w", answer, err)
	}
	t.c.wait(50 * time.Millisecond)
	return t.want("OUTP:PERM?", "0")
}

func (t *trial) fire() error {
	answer, err := t.ask("STAT:FIRE?")
	if err != nil {
		return err
	}
	f := strings.Split(answer, ",")
	if len(f) != 4 {
		return fmt.Errorf("%q has %d fields, want 4", answer, len(f))
	}
	if n, err := strconv.ParseInt(f[0], 10, 64); err != nil || n < wire.Unknown {
		return fmt.Errorf("%q is no count of pulses", f[0])
	}
	for _, part := range f[1:] {
		if _, err := wire.ParseReading(part); err != nil {
			return err
		}
	}
	return nil
}

func (t *trial) speed() error {
	if t.slowest > answerTime+lineTime {
		return fmt.Errorf("%s took %v", t.slowestText, t.slowest.Round(time.Millisecond))
	}
	return nil
}
