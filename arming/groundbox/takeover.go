package groundbox

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"holdline/arming/groundbox/wire"
)

// refusedBox is a box that answers well and is not wanted.
type refusedBox struct{ reason string }

func (e *refusedBox) Error() string { return e.reason }

// takeOver proves who answers, takes the box over and reports Connected. It
// begins with OFF and ends with a first snapshot.
func (s *session) takeOver() error {
	s.c.w.off()
	s.haveLast, s.asked, s.row, s.recent, s.leased = false, 0, 0, nil, false
	if err := s.write("SENS:RES:STAT OFF"); err != nil {
		return err
	}
	id, err := s.identify()
	if err != nil {
		return err
	}
	if err := s.wanted(id); err != nil {
		return err
	}
	device := s.c.device()
	who := proved{id, device.VendorID, device.ProductID, device.SerialNumber}
	changed := s.d.everKnown && who != s.d.known
	s.d.known, s.d.everKnown = who, true
	if err := s.own(); err != nil {
		return err
	}
	if err := s.measureBox(); err != nil {
		return err
	}
	events, err := s.firstSnapshot()
	if err != nil {
		return err
	}
	if events&eventRestarted != 0 {
		delete(s.d.tested, who)
	}
	if err := s.watchdogTime(); err != nil {
		return err
	}
	s.d.report(Connected{
		At: s.d.now(), Identity: id, Channels: s.channels, TestCurrentA: s.testA,
		SelfTested: s.d.tested[who], Changed: changed, Events: events, Device: device,
	})
	s.d.connected, s.d.told = true, ""
	s.sinceGood = s.sinceGood[:0]
	return nil
}

// identify asks who is there until somebody answers. After the port has opened
// a box may be dumb for 3 s.
func (s *session) identify() (Identity, error) {
	until := s.d.now().Add(openingTime)
	for {
		got, err := s.query("\n*IDN?", openingAsk)
		if err != nil && !isBad(err) {
			return Identity{}, err
		}
		if err == nil {
			if id, err := wire.ParseIdentity(got.line.Text); err == nil {
				if err := s.settle(); err != nil {
					return Identity{}, err
				}
				return id, nil
			}
		}
		if !s.d.now().Before(until) {
			return Identity{}, fmt.Errorf("nothing on %s says who it is", s.d.l.cfg.Port)
		}
	}
}

// settle makes sure that no answer of the opening is left.
func (s *session) settle() error {
	var err error
	for range 3 {
		if err = s.fence(openingAsk); err == nil || !isBad(err) {
			return err
		}
	}
	return errors.New("what answers is no ground box: it does not know SYST:VERS? of 1999.0")
}

// wanted holds a box against what this run asked for.
func (s *session) wanted(id Identity) error {
	cfg := &s.d.l.cfg
	switch {
	case cfg.RequirePractice && !id.Practice():
		return &refusedBox{fmt.Sprintf("a real box answers on %s, and this is practice: nothing is connected", cfg.Port)}
	case cfg.RequireReal && id.Practice():
		return &refusedBox{fmt.Sprintf("a practice box answers on %s, and this is not practice", cfg.Port)}
	}
	return nil
}

// own takes the box over. Errors from before are not ours.
func (s *session) own() error {
	token := s.d.l.cfg.Token
	for _, text := range []string{"SYST:OWN " + token, "*CLS"} {
		if err := s.command(text); err != nil {
			return err
		}
	}
	return s.sure("SYST:OWN? "+token, openingAsk, func(answer string) error {
		if answer != "1" {
			return fmt.Errorf("the box answers %q and should have been taken over", answer)
		}
		return nil
	})
}

func (s *session) measureBox() error {
	err := s.sure("ROUT:CHAN:COUN?", openingAsk, func(answer string) error {
		n, err := strconv.Atoi(answer)
		if err != nil || n < 1 || n > wire.MaxChannels {
			return fmt.Errorf("%w: %q is no number of channels", errUnreadable, answer)
		}
		s.channels = n
		return nil
	})
	if err != nil {
		return err
	}
	if want := s.d.l.cfg.WantChannels; want > 0 && s.channels != want {
		return &refusedBox{fmt.Sprintf("the box has %s and the sheet %s", counted(s.channels, "channel"), counted(want, "motor"))}
	}
	return s.sure("SENS:RES:CURR?", openingAsk, func(answer string) error {
		r, err := wire.ParseReading(answer)
		if err != nil || r.Kind != wire.Measured || r.Value <= 0 {
			return fmt.Errorf("%w: %q is no test current", errUnreadable, answer)
		}
		s.testA = r.Value
		return nil
	})
}

// firstSnapshot reads the state as it was found, and clears the events that
// every opening brings: restart, and the change of owner to this link.
func (s *session) firstSnapshot() (Event, error) {
	var first Snapshot
	err := s.sure("STAT:SNAP?", openingAsk, func(answer string) error {
		snap, err := wire.ParseSnapshot(answer)
		if err != nil {
			return err
		}
		if reason := s.contradiction(snap); reason != "" {
			return errors.New(reason)
		}
		first = snap
		return nil
	})
	if err != nil {
		return 0, err
	}
	s.last, s.lastAt, s.haveLast = first, s.d.now(), true
	if expected := first.Events & (eventRestarted | eventOwnerChanged); expected != 0 {
		if err := s.command("STAT:EVEN:CLE " + strconv.Itoa(int(expected))); err != nil {
			return 0, err
		}
	}
	return first.Events, nil
}

// watchdogTime makes the box's watchdog time the one that this link works with.
func (s *session) watchdogTime() error {
	const want = "0.5"
	is := ""
	read := func(answer string) error {
		r, err := wire.ParseReading(answer)
		if err != nil || r.Kind != wire.Measured || r.Value < 0.249 || r.Value > 0.501 {
			return fmt.Errorf("%w: %q is no watchdog time", errUnreadable, answer)
		}
		is = strconv.FormatFloat(r.Value, 'f', -1, 64)
		return nil
	}
	if err := s.sure("OUTP:PERM:TIM?", openingAsk, read); err != nil || is == want {
		return err
	}
	if err := s.sleep(60 * time.Millisecond); err != nil { // a relay that was closed has opened by then
		return err
	}
	if err := s.command("OUTP:PERM:TIM " + want + "," + s.d.l.cfg.Token); err != nil {
		return err
	}
	if err := s.sure("OUTP:PERM:TIM?", openingAsk, read); err != nil {
		return err
	}
	if is != want {
		return fmt.Errorf("the box keeps a watchdog time of %s s and should have taken %s s", is, want)
	}
	return nil
}

func (s *session) sleep(d time.Duration) error {
	until := s.d.now().Add(d)
	for s.d.now().Before(until) {
		if err := s.pump(until); err != nil {
			return err
		}
	}
	return nil
}

// sayOff tries to open the permit before a lost port is closed.
func (s *session) sayOff() {
	s.c.w.off()
	s.drain(20 * time.Millisecond)
}

// sayGoodbye is the end of an orderly link: permit open, lease off.
func (s *session) sayGoodbye() {
	s.c.w.off()
	_ = s.c.w.send(outLine{text: "SENS:RES:STAT OFF"}) // best effort: it ends by itself
	s.drain(closeDrain)
}

func (s *session) drain(most time.Duration) {
	for end := time.Now().Add(most); time.Now().Before(end) && !s.c.w.idle(); {
		time.Sleep(time.Millisecond)
	}
}

// explainsErrors reports that the error queue can be this link's doing, in a
// way that is no fault: a KEEP crossed the box's own opening of the permit.
func (s *session) explainsErrors(snap Snapshot) bool {
	return !snap.PermitClosed && s.onlyKeeps()
}

func (s *session) onlyKeeps() bool {
	for _, text := range s.sinceGood {
		if !strings.HasPrefix(text, "OUTP:PERM:KEEP ") {
			return false
		}
	}
	return len(s.sinceGood) > 0
}

// readErrors empties the box's error queue and reports what was in it.
func (s *session) readErrors() error {
	command := strings.Join(s.sinceGood, " or ")
	s.sinceGood = s.sinceGood[:0]
	for range 21 {
		var e wire.Error
		got, err := s.query("SYST:ERR?", answerTime)
		switch {
		case isBad(err):
			return s.bad("no answer to SYST:ERR?")
		case err != nil:
			return err
		}
		if e, err = wire.ParseError(got.line.Text); err != nil {
			s.doubt = true
			return s.bad("an answer that can not be read: " + strings.TrimPrefix(err.Error(), "wire: "))
		}
		if e.Code == 0 {
			return nil
		}
		reason := "the box refused a command"
		if command == "" {
			reason = "the box reports an error that nothing sent from here explains"
		}
		s.d.report(Refused{At: s.d.now(), Command: command, Error: e, Reason: reason})
	}
	return nil
}

// lease renews the measuring lease while it is wanted and would be granted, and
// ends it when it is not.
func (s *session) lease(snap Snapshot) error {
	now := s.d.now()
	s.d.l.mu.Lock()
	want := now.Before(s.d.l.leaseUntil)
	granted := s.d.l.grant.Number > s.d.l.ended
	s.d.l.mu.Unlock()
	can := s.d.permit.state == permitIdle && !granted && !snap.PermitClosed && snap.BusV.Dead()
	switch {
	case want && can && (!s.leased || now.Sub(s.leasedAt) >= leaseEvery):
		s.leased, s.leasedAt = true, now
		return s.command("SENS:RES:STAT ON," + s.d.l.cfg.Token)
	case s.leased && !want:
		s.leased = false
		return s.command("SENS:RES:STAT OFF")
	case s.leased && !can:
		s.leased = false // ON has ended it, or the box will
	}
	return nil
}

// wishes carries out one-time wishes between two polls. They wait while an
// answer may still be on its way, which would be taken for theirs.
func (s *session) wishes() error {
	if s.doubt {
		return nil
	}
	s.d.l.mu.Lock()
	a := s.d.l.asks
	s.d.l.asks = asks{}
	s.d.l.mu.Unlock()
	if a == (asks{}) {
		return nil
	}
	if a.clear != 0 {
		if bits := a.clear & wire.EventsKnown &^ eventErrors; bits != 0 {
			if err := s.command("STAT:EVEN:CLE " + strconv.Itoa(int(bits))); err != nil {
				return err
			}
		}
	}
	if a.fire > 0 {
		if err := s.askFire(a.fire); err != nil {
			return err
		}
	}
	if a.selfTest {
		if err := s.selfTest(); err != nil {
			return err
		}
	}
	if a.measure {
		return s.measureAll()
	}
	return nil
}

// busy refuses a slow question while the permit matters.
func (s *session) busy(command string) bool {
	if s.d.permit.state == permitIdle {
		return false
	}
	s.d.report(Refused{At: s.d.now(), Command: command, Reason: "the permit is not known to be open"})
	return true
}

func (s *session) selfTest() error {
	if s.busy("SYST:TEST?") {
		return nil
	}
	command := "SYST:TEST? " + s.d.l.cfg.Token
	s.noteSent(command)
	got, err := s.query(command, testTime)
	now := s.d.now()
	if err != nil {
		if !isBad(err) {
			return err
		}
		// A refusal has no answer: the error is read with the next snapshot.
		s.d.report(SelfTested{At: now, Code: -1, Reason: "no result: the box refused the self-test or did not finish it"})
		return nil
	}
	code, err := strconv.Atoi(got.line.Text)
	if err != nil {
		s.doubt = true
		return s.bad("an answer that can not be read: " + strconv.Quote(clipText(got.line.Text)))
	}
	s.d.tested[s.d.known] = code == 0
	r := SelfTested{At: now, Passed: code == 0, Code: code}
	switch code {
	case 0:
		r.Reason = "relay, watchdog and reference resistor passed"
	case 16:
		r.Reason = "the self-test was broken off"
	default:
		r.Reason = fmt.Sprintf("the self-test failed with code %d", code)
	}
	s.d.report(r)
	return nil
}

func (s *session) measureAll() error {
	if s.busy("MEAS:RES?") {
		return nil
	}
	command := fmt.Sprintf("MEAS:RES? (@1:%d)", s.channels)
	got, err := s.query(command, time.Duration(s.channels)*perChannel+answerTime)
	if err != nil {
		if !isBad(err) {
			return err
		}
		return s.bad("no answer to MEAS:RES?")
	}
	parts := strings.Split(got.line.Text, ",")
	ohm := make([]Reading, len(parts))
	for i, p := range parts {
		if ohm[i], err = wire.ParseReading(p); err != nil {
			break
		}
	}
	if err != nil || len(parts) != s.channels {
		s.doubt = true
		return s.bad("an answer that can not be read: " + strconv.Quote(clipText(got.line.Text)))
	}
	s.d.report(Resistances{At: got.at, Ohm: ohm})
	return nil
}

// askFire asks for the last pulse, and leaves it to be asked again when that
// came to nothing and tries are left.
func (s *session) askFire(tries int) error {
	again := func() { s.d.l.ask(func(a *asks) { a.fire = max(a.fire, tries-1) }) }
	got, err := s.query("STAT:FIRE?", answerTime)
	if err != nil {
		again()
		if !isBad(err) {
			return err
		}
		return s.bad("no answer to STAT:FIRE?")
	}
	r, err := parseFire(got.line.Text)
	if err != nil {
		again()
		s.doubt = true
		return s.bad("an answer that can not be read: " + err.Error())
	}
	r.At = got.at
	s.d.report(r)
	return nil
}

// parseFire reads pulses,age,length,lowest.
func parseFire(line string) (FireRead, error) {
	f := strings.Split(line, ",")
	if len(f) != 4 {
		return FireRead{}, fmt.Errorf("%q has %d fields, want 4", clipText(line), len(f))
	}
	n, err := strconv.ParseInt(strings.TrimSpace(f[0]), 10, 64)
	if err != nil || n < wire.Unknown {
		return FireRead{}, fmt.Errorf("%q is no count", clipText(f[0]))
	}
	r := FireRead{Pulses: n}
	for i, to := range []*Reading{&r.AgeS, &r.LengthS, &r.BatteryV} {
		if *to, err = wire.ParseReading(f[1+i]); err != nil {
			return FireRead{}, err
		}
	}
	return r, nil
}

func clipText(s string) string { return s[:min(len(s), 60)] }

func counted(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
