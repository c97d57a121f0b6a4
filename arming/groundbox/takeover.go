package groundbox

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"holdline/arming/groundbox/wire"
)

// takeOver proves who answers, takes the box over and reports Connected. It
// begins with OFF and ends with a first snapshot.
func (s *session) takeOver() error {
	s.c.w.off()
	s.haveLast, s.asked, s.bads, s.recent, s.leased, s.cleared, s.referenceV = false, 0, 0, nil, false, 0, 0
	if err := s.write("SENS:RES:STAT OFF"); err != nil {
		return err
	}
	id, err := s.identify()
	if err != nil {
		return err
	}
	if s.d.l.cfg.RequirePractice && !id.Practice() {
		return fmt.Errorf("a real box answers on %s, and this is practice: nothing is connected", s.d.l.cfg.Port)
	}
	device := s.c.device()
	who := proved{id, device.VendorID, device.ProductID, device.SerialNumber}
	changed := s.d.known != (proved{}) && who != s.d.known
	s.d.known = who
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
	if err := s.watchdogTime(); err != nil {
		return err
	}
	s.d.report(Connected{
		Identity: id, Channels: s.channels, TestCurrentA: s.testA, Changed: changed, Events: events, Device: device,
	})
	s.d.connected, s.d.told = true, ""
	s.sinceGood = s.sinceGood[:0]
	return nil
}

// identify asks who is there until somebody answers. After the port has opened
// a box may be dumb for 3 s.
func (s *session) identify() (Identity, error) {
	until := time.Now().Add(openingTime)
	for {
		got, err := s.query("\n*IDN?", openingAsk)
		if err != nil && !isBad(err) {
			return Identity{}, err
		}
		if err == nil {
			if _, err := wire.ParseIdentity(got.Text); err == nil {
				return s.surelyWho()
			}
		}
		if !time.Now().Before(until) {
			return Identity{}, fmt.Errorf("nothing on %s says who it is", s.d.l.cfg.Port)
		}
		if err := s.sleep(openingPause); err != nil { // a controller that starts talks of other things
			return Identity{}, err
		}
	}
}

// surelyWho asks again once nothing of the opening is left: the answer that got
// through may have been spoiled.
func (s *session) surelyWho() (id Identity, err error) {
	if err := s.settle(); err != nil {
		return Identity{}, err
	}
	err = s.twice("*IDN?", func(answer string) (err error) {
		id, err = wire.ParseIdentity(answer)
		return err
	})
	return id, err
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

// own takes the box over. Errors from before are not ours.
func (s *session) own() error {
	token := s.d.l.token
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
	err := s.twice("ROUT:CHAN:COUN?", func(answer string) error {
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
	if want := s.d.l.cfg.WantChannels; s.channels < want {
		return fmt.Errorf("the box has %s and the sheet uses channel %d", counted(s.channels, "channel"), want)
	}
	return s.twice("SENS:RES:CURR?", func(answer string) error {
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
	first, err := s.sureSnapshot()
	if err != nil {
		return 0, err
	}
	if err := s.reference(first); err != nil {
		return 0, err
	}
	if expected := first.Events & (wire.EventRestarted | wire.EventOwnerChanged); expected != 0 {
		if err := s.command("STAT:EVEN:CLE " + strconv.Itoa(int(expected))); err != nil {
			return 0, err
		}
	}
	return first.Events, nil
}

func (s *session) sureSnapshot() (Snapshot, error) {
	var first Snapshot
	s.asked += 3 // at most
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
	if err == nil {
		s.last, s.lastAt, s.haveLast, s.asked = first, time.Now(), true, 0
	}
	return first, err
}

// reference takes the first reference reading that is not ground as the nominal
// one. Its own next reading must be at the other level already.
func (s *session) reference(a Snapshot) error {
	b := a
	for tries := 0; b.Sequence%2 == a.Sequence%2; tries++ {
		var err error
		if b, err = s.sureSnapshot(); err != nil {
			return err
		}
		if tries == 3 {
			return errors.New("the box's snapshots do not count up by one")
		}
	}
	nominal := a.ReferenceV
	if b.Sequence%2 == 1 {
		nominal = b.ReferenceV
	}
	if nominal.Kind != wire.Measured || nominal.Value < wire.LeastReferenceV {
		return fmt.Errorf("the box's reference reads %s V and should read %g V at least", nominal, wire.LeastReferenceV)
	}
	for _, snap := range []Snapshot{a, b} {
		if why := snap.ReferenceFault(nominal.Value); why != "" {
			return errors.New(why)
		}
	}
	s.referenceV = nominal.Value
	return nil
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
	if err := s.command("OUTP:PERM:TIM " + want + "," + s.d.l.token); err != nil {
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
	until := time.Now().Add(d)
	for time.Now().Before(until) {
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
	_ = s.c.w.send(outMessage{text: "SENS:RES:STAT OFF"}) // best effort: it ends by itself
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
	other := func(text string) bool { return !strings.HasPrefix(text, "OUTP:PERM:KEEP ") }
	return !snap.PermitClosed && len(s.sinceGood) > 0 && !slices.ContainsFunc(s.sinceGood, other)
}

// readErrors empties the box's error queue and reports what was in it.
func (s *session) readErrors() error {
	command := strings.Join(s.sinceGood, " or ")
	s.sinceGood = s.sinceGood[:0]
	for range 21 {
		var e wire.Error
		_, ok, err := s.ask("SYST:ERR?", func(answer string) (err error) {
			e, err = wire.ParseError(answer)
			return err
		})
		if ok && e.Code == 0 {
			s.cleared |= wire.EventErrors // emptied
		}
		if !ok || e.Code == 0 {
			return err
		}
		reason := "the box refused a command"
		if command == "" {
			reason = "the box reports an error that nothing sent from here explains"
		}
		s.d.report(Refused{Command: command, Error: e, Reason: reason})
	}
	return nil
}

// lease renews the measuring lease while it is wanted and would be granted, and
// ends it when it is not.
func (s *session) lease(snap Snapshot) error {
	now := time.Now()
	s.d.l.mu.Lock()
	want := now.Before(s.d.l.leaseUntil)
	granted := s.d.l.grant.Number > s.d.l.ended
	s.d.l.mu.Unlock()
	can := s.d.permit.state == permitIdle && !granted && !snap.PermitClosed && snap.BusV.Dead()
	switch {
	case want && can && (!s.leased || now.Sub(s.leasedAt) >= leaseEvery):
		s.leased, s.leasedAt = true, now
		return s.command("SENS:RES:STAT ON," + s.d.l.token)
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
	l := s.d.l
	l.mu.Lock()
	bits, fire := l.clear, l.askFire > 0
	l.clear, l.askFire = 0, max(0, l.askFire-1)
	l.mu.Unlock()
	if bits != 0 {
		if err := s.command("STAT:EVEN:CLE " + strconv.Itoa(int(bits))); err != nil {
			return err
		}
		s.cleared |= bits
	}
	if !fire {
		return nil
	}
	var r FireRead
	_, ok, err := s.ask("STAT:FIRE?", func(answer string) (err error) {
		r, err = parseFire(answer)
		return err
	})
	if ok { // else it is asked again while tries are left
		l.mu.Lock()
		l.askFire = 0
		l.mu.Unlock()
		s.d.report(r)
	}
	return err
}

// parseFire reads pulses,age,length,lowest.
func parseFire(answer string) (FireRead, error) {
	f := strings.Split(answer, ",")
	if len(f) != 4 {
		return FireRead{}, fmt.Errorf("%q has %d fields, want 4", clip(answer), len(f))
	}
	n, err := strconv.ParseInt(strings.TrimSpace(f[0]), 10, 64)
	if err != nil || n < wire.Unknown {
		return FireRead{}, fmt.Errorf("%q is no count", clip(f[0]))
	}
	r := FireRead{Pulses: n}
	for i, to := range []*Reading{&r.AgeS, &r.LengthS, &r.BatteryV} {
		if *to, err = wire.ParseReading(f[1+i]); err != nil {
			return FireRead{}, err
		}
	}
	return r, nil
}

func clip(s string) string { return s[:min(len(s), 60)] }

func counted(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
