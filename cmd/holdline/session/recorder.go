package session

import (
	"context"
	"errors"
	"fmt"
	"time"

	"golang.org/x/crypto/ssh"

	"holdline/arming"
	"holdline/arming/record"
	"holdline/arming/record/journal"
	"holdline/tui"
)

// Figures of the record.
const (
	recordDepth = 1024            // entries that may wait for the disk
	closeWithin = 2 * time.Second // for the disk, when the program ends
	signWithin  = 5 * time.Second // for closing and signing under way then
)

// recorder writes the machine's steps into the record. Only the driver calls
// it; the writing itself happens in the AsyncWriter's goroutine.
type recorder struct {
	w       *record.AsyncWriter
	journal journal.Recorder
	signer  signing

	next    uint64
	sent    []sentEntry // not acknowledged yet, oldest first
	disk    uint32      // highest ticket on disk
	lines   int64
	fault   error // first failure; nothing is written after it
	shut    bool
	closed  bool
	signed  string
	keyNew  string
	problem string // of closing or signing, for people
	counter tui.CounterView
	closing chan closeStep // how closing and signing go on; nil before and after
}

// closeStep is how far closing and signing have come.
type closeStep struct {
	closed bool
	signed string // by whom
	err    error  // why no further
	over   bool   // nothing comes after this
}

type sentEntry struct {
	id     uint64
	at     time.Time // when it was queued
	ticket uint32
}

func newRecorder(w *record.Writer, s signing) *recorder {
	return &recorder{w: record.NewAsync(w, recordDepth), signer: s, keyNew: s.made}
}

// plan writes the entry that the replay is set up from.
func (r *recorder) plan(p *arming.Plan, c clock) error {
	r.journal.FirstRules = p.FirstRules
	body, err := journal.EncodePlan(p)
	if err != nil {
		return err
	}
	at, wall := c.now()
	return r.append(at.Mono, wall, journal.KindPlan, body, 0)
}

// step writes one step of the machine down.
func (r *recorder) step(at arming.Instant, wall time.Time, ev arming.Event, before, after *arming.State,
	effects []arming.Effect, refused error) error {
	if r.shut || r.fault != nil { // a fault was told once: the machine refuses every way forward
		return nil
	}
	lines, err := r.journal.Step(at, ev, before, after, effects, refused)
	if err == nil {
		err = r.write(lines, wall)
	}
	return err
}

// flush writes the beats kept back.
func (r *recorder) flush() error { return r.flushAt(time.Now()) }

func (r *recorder) flushAt(wall time.Time) error {
	if r.shut || r.fault != nil {
		return nil
	}
	lines, err := r.journal.Flush()
	if err == nil {
		err = r.write(lines, wall)
	}
	return err
}

func (r *recorder) write(lines []journal.Entry, wall time.Time) error {
	for _, l := range lines {
		if err := r.append(l.At.Mono, wall, l.Kind, l.Body, l.Ticket); err != nil {
			return err
		}
	}
	return nil
}

// note writes an entry that has no part in the machine's steps.
func (r *recorder) note(at arming.Instant, wall time.Time, kind string, body any) error {
	if err := r.flushAt(wall); err != nil || r.shut || r.fault != nil {
		return err
	}
	return r.append(at.Mono, wall, kind, body, 0)
}

// append queues one entry. One that is lost leaves a hole that no replay can
// pass, so the first failure is the last.
func (r *recorder) append(mono time.Duration, wall time.Time, kind string, body any, ticket uint32) error {
	r.next++
	if err := r.w.Append(r.next, wall, mono, kind, body); err != nil {
		r.fault = err
		return err
	}
	r.sent = append(r.sent, sentEntry{id: r.next, at: time.Now(), ticket: ticket})
	return nil
}

func (r *recorder) acks() <-chan record.Ack {
	if r.shut {
		return nil
	}
	return r.w.Acks()
}

// acked takes one answer of the disk and returns the ticket of its entry.
func (r *recorder) acked(a record.Ack) (ticket uint32, err error) {
	if len(r.sent) == 0 || r.sent[0].id != a.ID {
		return 0, errors.New("the record answered for an entry that it was not given")
	}
	line := r.sent[0]
	r.sent = r.sent[1:]
	if a.Err != nil {
		first := r.fault == nil
		r.fault = a.Err
		if !first {
			return 0, nil
		}
		return 0, a.Err
	}
	r.lines = a.Seq
	if line.ticket > 0 {
		r.disk = max(r.disk, line.ticket)
	}
	return line.ticket, nil
}

// onDisk reports whether the entry with this ticket is known to be on disk.
func (r *recorder) onDisk(ticket uint32) bool {
	return r.fault == nil && ticket > 0 && ticket <= r.disk
}

// waiting returns for how long the oldest entry has not been on disk.
func (r *recorder) waiting() time.Duration {
	if len(r.sent) == 0 || r.shut {
		return 0
	}
	return time.Since(r.sent[0].at)
}

// closeNormal closes and signs the record in the background. What comes of it
// is read from closing.
func (r *recorder) closeNormal(c clock) error {
	if err := r.flush(); err != nil {
		return err
	}
	r.shut = true
	steps := make(chan closeStep, 2)
	r.closing = steps
	at, wall := c.now()
	go func() {
		ctx, cancel := context.WithTimeout(context.Background(), closeWithin)
		defer cancel()
		if err := r.w.Close(ctx, wall, at.Mono, record.Normal, ""); err != nil {
			steps <- closeStep{err: fmt.Errorf("not closed: %w", err), over: true}
			return
		}
		steps <- closeStep{closed: true}
		steps <- r.sign()
	}()
	return nil
}

// sign signs the closed record.
func (r *recorder) sign() closeStep {
	signed, err := r.signer.sign(r.w.Path())
	if err != nil {
		err = fmt.Errorf("not signed: %w", err)
	}
	return closeStep{closed: true, signed: signed, err: err, over: true}
}

// settle takes note of one step of closing and signing.
func (r *recorder) settle(c closeStep) {
	r.closed, r.signed, r.problem = c.closed, c.signed, ""
	if c.err != nil {
		r.problem = c.err.Error()
	}
	if c.over {
		r.closing = nil
	}
}

// end ends the record when the program does. A firing with igniters that may
// be connected, or from ARMED on, stays open, to be taken up again;
// any other is closed as interrupted and signed.
func (r *recorder) end(s *arming.State, why string) error {
	if r.shut {
		return r.settled()
	}
	flushed := r.flush()
	r.shut = true
	ctx, cancel := context.WithTimeout(context.Background(), closeWithin)
	defer cancel()
	if flushed != nil || r.fault != nil || staysOpen(s) {
		return errors.Join(flushed, r.w.Release(ctx))
	}
	mono, now := s.Now.Mono, time.Now()
	if err := r.w.Close(ctx, now, mono, record.Interrupted, "the program ended: "+why); err != nil {
		return err
	}
	c := r.sign()
	r.settle(c)
	return c.err
}

// settled waits for a closing that is under way, and returns why the record was
// not closed or not signed.
func (r *recorder) settled() error {
	late := time.After(signWithin)
	for r.closing != nil {
		select {
		case c := <-r.closing:
			r.settle(c)
		case <-late:
			r.settle(closeStep{closed: r.closed, err: errors.New("not signed: signing has not come to an end"), over: true})
		}
	}
	if r.problem != "" {
		return errors.New("session: the record: " + r.problem)
	}
	return nil
}

// staysOpen reports a firing that another start must take up.
func staysOpen(s *arming.State) bool {
	next := journal.Resumed(s)
	return journal.Grave(next.From) || (s.Hooked && s.Phase != arming.Closed)
}

// release leaves the record open at once, after a fault of the program.
func (r *recorder) release() {
	if r.shut {
		return
	}
	r.shut = true
	ctx, cancel := context.WithTimeout(context.Background(), closeWithin)
	defer cancel()
	_ = r.w.Release(ctx) // the fault itself is what is told
}

func (r *recorder) view() tui.RecordView {
	v := tui.RecordView{Path: r.w.Path(), Lines: r.lines, Closed: r.closed, Signed: r.signed, KeyNew: r.keyNew, Counter: r.counter}
	switch {
	case r.fault != nil:
		v.Fault = r.fault.Error()
	case r.problem != "":
		v.Fault = r.problem
	}
	return v
}

// signing is the key that closes a record.
type signing struct {
	signer ssh.Signer // nil where an agent has the key
	public ssh.PublicKey
	socket string // of the agent
	made   string // path of a key made on first use
	accept string // settings in which verify shall find a key that is not the user's own
}

// sign signs the closed record at path and returns who has.
func (s signing) sign(path string) (string, error) {
	signer := s.signer
	if signer == nil {
		agent, err := record.OpenAgent(s.socket)
		if err != nil {
			return "", err
		}
		defer agent.Close()
		for _, have := range agent.Signers() {
			if string(have.PublicKey().Marshal()) == string(s.public.Marshal()) {
				signer = have
			}
		}
		if signer == nil {
			return "", fmt.Errorf("the ssh agent no longer has %s", ssh.FingerprintSHA256(s.public))
		}
	}
	if _, err := record.Sign(path, signer); err != nil {
		return "", err
	}
	acceptSigner(s.accept, "signer", signer.PublicKey())
	return ssh.FingerprintSHA256(signer.PublicKey()), nil
}
