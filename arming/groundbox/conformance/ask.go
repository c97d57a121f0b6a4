package conformance

import (
	"fmt"
	"strconv"
	"time"

	"holdline/arming/groundbox/wire"
)

// Times of the protocol, with the line's own added.
const (
	answerTime = 100 * time.Millisecond
	lineTime   = 60 * time.Millisecond
	// patience is how long an answer is waited for: a late one fails the clause
	// about times, and must not be taken for the answer to the next query.
	patience = time.Second
)

// ask returns the answer to a query and notes the slowest.
func (t *trial) ask(text string) (string, error) { return t.askFor(text, patience) }

func (t *trial) askFor(text string, within time.Duration) (string, error) {
	if err := t.c.send(text); err != nil {
		return "", err
	}
	answer, err := t.c.next(time.Until(t.c.arrives) + within)
	if took := time.Since(t.c.arrives); err == nil && within == patience && took > t.slowest {
		t.slowest, t.slowestText = took, text
	}
	if err != nil {
		return "", fmt.Errorf("%s: %w", text, err)
	}
	return answer, nil
}

func (t *trial) want(text, answer string) error {
	got, err := t.ask(text)
	if err != nil {
		return err
	}
	if got != answer {
		return fmt.Errorf("%s: answer %q, want %q", text, got, answer)
	}
	return nil
}

// nextError takes the oldest error.
func (t *trial) nextError() (wire.Error, error) {
	answer, err := t.ask("SYST:ERR?")
	if err != nil {
		return wire.Error{}, err
	}
	return wire.ParseError(answer)
}

// fails sends a line that must be refused: exactly one error of that code, and
// no answer. Answers come in order, so an answer to a refused query would come
// in place of the error.
func (t *trial) fails(line string, code int) error {
	if err := t.c.send(line); err != nil {
		return err
	}
	answer, err := t.ask("SYST:ERR?")
	if err != nil {
		return fmt.Errorf("%q: %w", clip(line), err)
	}
	e, err := wire.ParseError(answer)
	if err != nil {
		return fmt.Errorf("%q: answer %q, want error %d and no answer", clip(line), clip(answer), code)
	}
	if e.Code != code {
		return fmt.Errorf("%q: error %d %q, want %d", clip(line), e.Code, e.Text, code)
	}
	if e, err = t.nextError(); err != nil || e.Code != 0 {
		return fmt.Errorf("%q: a second error %d %q", clip(line), e.Code, e.Text)
	}
	return nil
}

// passes sends a command that must be taken.
func (t *trial) passes(line string) error {
	if err := t.c.send(line); err != nil {
		return err
	}
	e, err := t.nextError()
	if err != nil {
		return fmt.Errorf("%q: %w", clip(line), err)
	}
	if e.Code != 0 {
		return fmt.Errorf("%q: error %d %q, want none", clip(line), e.Code, e.Text)
	}
	return nil
}

func clip(s string) string {
	if len(s) > 40 {
		return s[:37] + "..."
	}
	return s
}

func (t *trial) snapshot() (wire.Snapshot, error) {
	answer, err := t.ask("STAT:SNAP?")
	if err != nil {
		return wire.Snapshot{}, err
	}
	s, err := wire.ParseSnapshot(answer)
	if err != nil {
		return s, fmt.Errorf("%w in %q", err, answer)
	}
	t.last = s
	return s, nil
}

// until takes snapshots until one is as wanted.
func (t *trial) until(within time.Duration, what string, is func(wire.Snapshot) bool) (wire.Snapshot, error) {
	end := time.Now().Add(within)
	for {
		s, err := t.snapshot()
		if err != nil || is(s) {
			return s, err
		}
		if time.Now().After(end) {
			return s, fmt.Errorf("%s: not within %v: %s", what, within, s.Text())
		}
		t.c.wait(5 * time.Millisecond)
	}
}

// on sends ON with a fresh snapshot.
func (t *trial) on(token string) (string, error) {
	s, err := t.snapshot()
	return "OUTP:PERM ON," + token + "," + strconv.Itoa(int(s.Sequence)), err
}

func (t *trial) keep(token string) (string, error) {
	s, err := t.snapshot()
	return "OUTP:PERM:KEEP " + token + "," + strconv.Itoa(int(s.Sequence)), err
}

// first returns the first error.
func first(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}
