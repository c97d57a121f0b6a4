package groundbox

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"holdline/arming/groundbox/wire"
)

// session is one opening of the port.
type session struct {
	d      *driver
	c      *conn
	framer *wire.Framer
	inbox  []arrived
	stuck  bool

	channels   int
	testA      float64
	referenceV float64 // nominal: what the box first gave since it was taken over

	doubt     bool // an answer may still be on its way: fence before the next
	oldFences int  // fences whose answers may still come
	pollSoon  bool

	last     Snapshot
	lastAt   time.Time
	haveLast bool
	asked    int // snapshots asked for since the last good one

	bads   int         // bad answers in a row
	recent []time.Time // when bad answers came, within badSpan

	cleared Event // what was cleared in the box since the last good snapshot was asked for

	leased    bool
	leasedAt  time.Time
	sinceGood []string // commands since the last snapshot without an error
}

// arrived is a message of the box and when its last byte had come.
type arrived struct {
	wire.Message
	at time.Time
}

func newSession(d *driver, c *conn) *session {
	return &session{d: d, c: c, framer: wire.NewFramer(wire.MaxAnswerBytes)}
}

// Failures of one question.
var (
	errNoAnswer   = errors.New("no answer")
	errUnreadable = errors.New("an answer that can not be read")
)

// received takes a chunk of bytes.
func (s *session) received(ch chunk) error {
	if late := time.Since(ch.at); late > MostStall {
		s.d.stalled = max(s.d.stalled, late)
	}
	for _, m := range s.framer.Push(ch.data) {
		s.inbox = append(s.inbox, arrived{m, ch.at})
	}
	if ch.err != nil {
		return fmt.Errorf("%s is gone: unplugged, or closed by the system", s.d.l.cfg.Port)
	}
	return nil
}

// mostUnasked bounds the messages that nobody has asked for.
const mostUnasked = 64

// pump waits for something and watches the port.
func (s *session) pump(until time.Time) error {
	if err := s.d.pump(until); err != nil {
		return err
	}
	if s.stuck {
		return fmt.Errorf("%s takes no data", s.d.l.cfg.Port)
	}
	if len(s.inbox) > mostUnasked {
		return fmt.Errorf("%s sends without being asked", s.d.l.cfg.Port)
	}
	return nil
}

// command sends a message that has no answer.
func (s *session) command(text string) error {
	s.noteSent(text)
	return s.write(text)
}

func (s *session) write(text string) error {
	if err := s.c.w.send(outMessage{text: text}); err != nil {
		return fmt.Errorf("%s is gone: %w", s.d.l.cfg.Port, err)
	}
	return nil
}

// noteSent remembers what the box may object to.
func (s *session) noteSent(text string) {
	const most = 8
	if len(s.sinceGood) < most {
		s.sinceGood = append(s.sinceGood, text)
	}
}

// fenceAnswer is what every box says to SYST:VERS?, and nothing else.
const fenceAnswer = "1999.0"

// take takes the next message, but not the late answer to a fence.
func (s *session) take() (got arrived, some bool) {
	for len(s.inbox) > 0 {
		got, s.inbox = s.inbox[0], s.inbox[1:]
		if got.Text != fenceAnswer || s.oldFences == 0 {
			return got, true
		}
		s.oldFences--
	}
	return arrived{}, false
}

// query asks one question and returns the next message. One question is out at
// a time. After a failure the session is in doubt about what comes next.
func (s *session) query(text string, within time.Duration) (arrived, error) {
	s.inbox = s.inbox[:0]
	if err := s.write(text); err != nil {
		return arrived{}, err
	}
	deadline := time.Now().Add(within)
	for {
		if got, some := s.take(); some {
			if got.Bad != wire.FaultNone {
				s.doubt = true
				return got, fmt.Errorf("%w: the line is %s", errUnreadable, got.Bad)
			}
			return got, nil
		}
		if !time.Now().Before(deadline) {
			s.doubt = true
			return arrived{}, errNoAnswer
		}
		if err := s.pump(deadline); err != nil {
			return arrived{}, err
		}
	}
}

// fence asks something whose answer can not be mistaken, and throws away all
// that comes before it: late, repeated and broken answers.
func (s *session) fence(within time.Duration) error {
	s.framer.Reset()
	if err := s.write("\nSYST:VERS?"); err != nil {
		return err
	}
	s.oldFences++
	deadline := time.Now().Add(within)
	for {
		for len(s.inbox) > 0 {
			text := s.inbox[0].Text
			s.inbox = s.inbox[1:]
			if text == fenceAnswer {
				s.oldFences--
				s.doubt = false
				return nil
			}
		}
		if !time.Now().Before(deadline) {
			return errNoAnswer
		}
		if err := s.pump(deadline); err != nil {
			return err
		}
	}
}

// sure asks until the answer can be read, three times at most.
func (s *session) sure(text string, within time.Duration, read func(string) error) error {
	var err error
	for range 3 {
		if s.doubt {
			if err = s.fence(within); err != nil {
				if !isBad(err) {
					return err
				}
				continue
			}
		}
		got, failed := s.query(text, within)
		if failed != nil {
			if err = failed; !isBad(err) {
				return err
			}
			continue
		}
		if err = read(got.Text); err == nil {
			return nil
		}
		s.doubt = true
	}
	return fmt.Errorf("the box does not answer %s: %w", text, err)
}

// twice asks for what decides and carries no check sum, until two answers in a
// row are the same: one that was changed on its way is not believed.
func (s *session) twice(text string, read func(string) error) error {
	var before string
	for range 4 {
		var answer string
		err := s.sure(text, openingAsk, func(a string) error {
			answer = a
			return read(a)
		})
		if err != nil || answer == before {
			return err
		}
		before = answer
	}
	return fmt.Errorf("the box answers %s otherwise each time, the last time %q", text, clip(before))
}

// isBad tells a bad answer from the end of the session.
func isBad(err error) bool { return errors.Is(err, errNoAnswer) || errors.Is(err, errUnreadable) }

// ask asks one question between polls. An answer that does not come or that
// read refuses is a bad one.
func (s *session) ask(text string, read func(answer string) error) (got arrived, ok bool, err error) {
	got, err = s.query(text, answerTime)
	if err == nil {
		if err = read(got.Text); err == nil {
			return got, true, nil
		}
		s.doubt = true
		err = fmt.Errorf("%w: %s", errUnreadable, strings.TrimPrefix(err.Error(), "wire: "))
	}
	switch {
	case errors.Is(err, errNoAnswer):
		err = s.bad("no answer from the box")
	case errors.Is(err, errUnreadable):
		err = s.bad(err.Error())
	}
	return got, false, err
}

// run talks until something ends it.
func (s *session) run() error {
	for {
		if err := s.takeOver(); err != nil {
			return err
		}
		err := s.poll()
		if !errors.Is(err, errRestart) {
			return err
		}
		s.d.lost(err)
	}
}

// poll polls for as long as the link is good.
func (s *session) poll() error {
	next := time.Now()
	for {
		if err := s.idle(next); err != nil {
			return err
		}
		s.pollSoon = false
		began := time.Now()
		if err := s.once(); err != nil {
			return err
		}
		if err := s.wishes(); err != nil {
			return err
		}
		next = began.Add(s.interval())
	}
}

func (s *session) interval() time.Duration {
	if s.d.permit.opening() {
		return openingPoll
	}
	s.d.l.mu.Lock()
	defer s.d.l.mu.Unlock()
	if s.d.permit.mayBeClosed() || s.d.l.fast || s.d.l.grant.Number > s.d.l.ended {
		return min(PollFast, s.d.l.cfg.PollEvery)
	}
	return s.d.l.cfg.PollEvery
}

// idle waits for the next poll. A message that comes meanwhile was not asked for.
func (s *session) idle(until time.Time) error {
	for time.Now().Before(until) && !s.pollSoon {
		if err := s.pump(until); err != nil {
			return err
		}
		if err := s.unasked(); err != nil {
			return err
		}
		if soon := time.Now().Add(s.interval()); soon.Before(until) {
			until = soon
		}
	}
	return s.unasked()
}

// unasked counts messages that no question was out for.
func (s *session) unasked() error {
	for {
		if _, some := s.take(); !some {
			return nil
		}
		if s.doubt {
			continue // the rest of an answer that was bad already
		}
		s.doubt = true
		if err := s.bad("an answer came that nobody had asked for"); err != nil {
			return err
		}
	}
}

// once polls once.
func (s *session) once() error {
	if s.doubt {
		if err := s.fence(answerTime); err != nil {
			if !isBad(err) {
				return err
			}
			return s.bad("no answer from the box")
		}
	}
	asked := time.Now()
	s.asked++
	var snap Snapshot
	got, ok, err := s.ask("STAT:SNAP?", func(answer string) (err error) {
		snap, err = wire.ParseSnapshot(answer)
		return err
	})
	if !ok {
		return err
	}
	if reason := s.contradiction(snap); reason != "" {
		s.doubt = true
		return s.bad(reason)
	}
	return s.good(snap, asked, got.at)
}

// contradiction compares a snapshot with what is known.
func (s *session) contradiction(snap Snapshot) string {
	if len(snap.ChannelOhm) == s.channels-1 {
		return "the snapshots of the box are one field short: the reference reading before the check sum is missing"
	}
	if len(snap.ChannelOhm) != s.channels {
		return fmt.Sprintf("the box shows %d channels and had %d", len(snap.ChannelOhm), s.channels)
	}
	if snap.Practice != s.d.known.Practice() {
		return "the snapshots and the identity of the box contradict each other about practice"
	}
	step := int(snap.Sequence - s.last.Sequence) // modulo 65536
	switch {
	case !s.haveLast:
	case step == 0:
		return "the same answer came twice"
	case step > s.asked && snap.Events&wire.EventRestarted != 0 && int(snap.Sequence) <= s.asked:
		// a box that has restarted counts from the start
	case step > s.asked:
		return fmt.Sprintf("the answer has number %d and should have %d", snap.Sequence, s.last.Sequence+uint16(s.asked))
	}
	if s.referenceV > 0 {
		return snap.ReferenceFault(s.referenceV)
	}
	return ""
}

// bad counts a bad answer and ends the session when there are too many.
func (s *session) bad(reason string) error {
	now := time.Now()
	s.bads++
	s.recent = append(slices.DeleteFunc(s.recent, func(at time.Time) bool { return now.Sub(at) > badSpan }), now)
	s.d.report(Bad{Reason: reason, InRow: s.bads})
	switch {
	case s.bads >= badInRow:
		return fmt.Errorf("%d bad answers in a row from the box, the last: %s", s.bads, reason)
	case len(s.recent) >= badRecent:
		return fmt.Errorf("%d bad answers from the box within 2 s, the last: %s", len(s.recent), reason)
	}
	return nil
}

// good takes a snapshot that has passed.
func (s *session) good(snap Snapshot, asked, at time.Time) error {
	s.bads, s.asked = 0, 0
	s.last, s.lastAt, s.haveLast = snap, at, true
	var caused Event
	if snap.Events&wire.EventErrors == 0 {
		s.sinceGood = s.sinceGood[:0]
	} else if s.explainsErrors(snap) {
		caused = wire.EventErrors
	}
	s.d.report(SnapshotRead{At: at, S: snap, Caused: caused, Cleared: s.cleared})
	s.cleared = 0
	if snap.Events&wire.EventRestarted != 0 {
		return errRestart
	}
	if err := s.d.permitSeen(snap, asked, at); err != nil {
		return err
	}
	if snap.Events&wire.EventOwnerChanged != 0 {
		return errors.New("another program has taken the box over")
	}
	if snap.Events&wire.EventErrors != 0 {
		if err := s.readErrors(); err != nil {
			return err
		}
	}
	return s.lease(snap)
}
