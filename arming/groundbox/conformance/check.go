// Package conformance tries a ground box against its protocol, clause by
// clause, and says what it lacks: the key must be out, the battery off and no
// igniter connected. The clauses about the permit need hands at the box. That
// the second watchdog trips nobody can see from outside while the first one
// works: the box's own self-test answers for it.
package conformance

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"time"

	"holdline/arming/groundbox/wire"
)

// Verdict is the outcome of one clause.
type Verdict int

// The zero value is a clause that has not been tried.
const (
	NotTried Verdict = iota
	Passed
	Failed
)

// Finding is the outcome of one clause, in the order in which they are tried.
type Finding struct {
	Clause  string
	Verdict Verdict
	Detail  string // what was found and expected; empty when passed
}

// Check tries every clause against the box on rw, those that need hands when
// there are some, those of 5 s and 20 s when long, writes a line for each to w as
// it goes, and closes rw. It ends early, with the rest not tried, when ctx does or
// when the port is gone.
func Check(ctx context.Context, rw io.ReadWriteCloser, w io.Writer, long bool, hands *Hands) []Finding {
	return checkClauses(ctx, rw, w, long, withHands(hands))
}

func checkClauses(ctx context.Context, rw io.ReadWriteCloser, w io.Writer, long bool, clauses []clause) []Finding {
	c := newClient(ctx, rw)
	defer c.close()
	t := &trial{c: c, long: long, token: "C0FFEE01", other: "C0FFEE02"}
	t.learn()
	var findings []Finding
	for _, clause := range clauses {
		f := t.try(clause)
		findings = append(findings, f)
		mark := map[Verdict]string{Passed: "ok  ", Failed: "FAIL", NotTried: "-   "}[f.Verdict]
		line := mark + " " + f.Clause
		if f.Detail != "" {
			line += ": " + f.Detail
		}
		_, _ = fmt.Fprintln(w, line) // the findings are returned as well
	}
	return findings
}

// Complete reports that every clause was tried.
func Complete(findings []Finding) bool {
	return !slices.ContainsFunc(findings, func(f Finding) bool { return f.Verdict == NotTried })
}

// Conforms reports that no clause has failed.
func Conforms(findings []Finding) bool {
	return !slices.ContainsFunc(findings, func(f Finding) bool { return f.Verdict == Failed })
}

// clause is one statement of the protocol and how to try it.
type clause struct {
	text string
	long bool
	do   func(*trial) error // nil where it needs a hand at the box
}

// trial is what is known of the box while it is being tried.
type trial struct {
	c            *client
	long         bool // the clauses that take 5 s and 20 s are tried as well
	token, other string
	practice     bool
	channels     int
	last         wire.Snapshot
	slowest      time.Duration
	slowestText  string
	dead         error
}

// errSkip marks a clause that cannot be tried as things stand.
type errSkip struct{ why string }

func (e errSkip) Error() string { return e.why }

func (t *trial) try(cl clause) Finding {
	f := Finding{Clause: cl.text}
	switch {
	case t.dead != nil:
		f.Detail = t.dead.Error()
		return f
	case cl.do == nil:
		f.Detail = "needs a hand at the box"
		return f
	case cl.long && !t.long:
		f.Detail = "takes long"
		return f
	}
	err := t.begin()
	if err == nil {
		err = cl.do(t)
	}
	var skip errSkip
	switch {
	case err == nil:
		f.Verdict = Passed
	case errors.As(err, &skip):
		f.Detail = skip.why
	default:
		f.Verdict, f.Detail = Failed, err.Error()
		if errors.Is(err, errGone) {
			t.dead = err
		}
	}
	return f
}

// learn asks what later clauses rest on. Whether the answers are right is for
// the clauses to say.
func (t *trial) learn() {
	if answer, err := t.ask("*IDN?"); err == nil {
		if id, err := wire.ParseIdentity(answer); err == nil {
			t.practice = id.Practice()
		}
	}
	if answer, err := t.ask("ROUT:CHAN:COUN?"); err == nil {
		t.channels, _ = strconv.Atoi(answer) // 0 fails later
	}
}

// begin puts the box into a known state: permit open, lease off, no error, no
// event, owned by this trial.
func (t *trial) begin() error {
	t.c.quiet()
	for _, line := range []string{"OUTP:PERM OFF", "SENS:RES:STAT OFF", "SYST:OWN " + t.token, "*CLS", "STAT:EVEN:CLE 511"} {
		if err := t.c.send(line); err != nil {
			return err
		}
	}
	return nil
}
