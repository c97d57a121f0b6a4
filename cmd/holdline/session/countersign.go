package session

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"golang.org/x/crypto/ssh"

	"holdline/arming/record"
	"holdline/tui"
)

// NoKey is what the range officer types who does not counter-sign now.
const NoKey = "no"

// Against returns what speaks against a counter-signature on a verified
// record. Who signed first is not asked here, and the folder neither.
func Against(r *record.Result) []record.Finding {
	var out []record.Finding
	for _, f := range r.Findings {
		switch f.Status {
		case record.UnknownSigner, record.Unsigned, record.ChainGap:
		default:
			out = append(out, f)
		}
	}
	return out
}

// counterSign adds the range officer's signature to the closed record, with a
// key file or an agent's key, in a goroutine of its own. A protected key
// without its passphrase is asked for it; NoKey declines.
func (s *session) counterSign(key, passphrase string) {
	r := s.record
	key = homed(strings.TrimSpace(key))
	switch {
	case !r.closed:
		s.driver.refuse("the record is not closed yet", "it is counter-signed after the all clear")
		return
	case r.counter.Busy:
		s.driver.refuse("the record is being counter-signed", "wait a moment")
		return
	case strings.EqualFold(key, NoKey):
		r.counter = tui.CounterView{Declined: true}
		s.driver.publish()
		return
	}
	came := make(chan tui.CounterView, 1)
	s.countersigns = came
	r.counter = tui.CounterView{Busy: true}
	s.driver.publish()
	path := r.w.Path()
	go func() {
		came <- counterSigned(path, key, passphrase, s.o.Settings, s.o.Version)
		s.post(func() {
			s.countersigned(<-came)
			s.driver.publish()
		})
	}()
}

// countersigned takes what a counter-signature has come to.
func (s *session) countersigned(c tui.CounterView) { s.record.counter, s.countersigns = c, nil }

// counterSigned verifies the record, chain and replay, before it is signed.
func counterSigned(path, key, passphrase, settings, version string) tui.CounterView {
	result := record.VerifyFile(path, record.Options{AnySigner: true, At: time.Now(), Replay: Replay, Program: version})
	if bad := Against(&result); len(bad) > 0 {
		return tui.CounterView{Fault: fmt.Sprintf("the record is not valid, %s: %s", bad[0].Status, clean(bad[0].Text))}
	}
	signer, done, err := keySigner(key, func(string) ([]byte, error) { return []byte(passphrase), nil })
	switch {
	case errors.Is(err, record.ErrNoPassphrase) && passphrase == "":
		return tui.CounterView{Protects: key}
	case err != nil:
		return tui.CounterView{Fault: clean(err.Error())}
	}
	defer done()
	switch _, err = record.Sign(path, signer); {
	case errors.Is(err, record.ErrAlreadySigned):
		return tui.CounterView{Fault: "that key is on the record already: a counter-signature is by another person's key"}
	case err != nil:
		return tui.CounterView{Fault: clean(err.Error())}
	}
	acceptSigner(settings, "counter-signer", signer.PublicKey())
	return tui.CounterView{By: ssh.FingerprintSHA256(signer.PublicKey())}
}

// homed puts the user's folder in the place of a leading ~.
func homed(path string) string {
	rest, ok := strings.CutPrefix(path, "~/")
	home, err := os.UserHomeDir()
	if !ok || err != nil {
		return path
	}
	return filepath.Join(home, rest)
}

// counterEnd waits for a counter-signature under way, once the driver has ended.
func (s *session) counterEnd(most time.Duration) {
	if s.countersigns == nil {
		return
	}
	select {
	case c := <-s.countersigns:
		s.countersigned(c)
	case <-time.After(most):
	}
}
