//go:build unix

package record

import (
	"io"
	"net"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"golang.org/x/crypto/ssh/agent"
	"golang.org/x/sys/unix"
)

// serveAgent serves keys at a socket in this process.
func serveAgent(t *testing.T, ring agent.Agent) (socket string) {
	t.Helper()
	socket = filepath.Join(t.TempDir(), "agent")
	l, err := net.Listen("unix", socket)
	must(t, err)
	t.Cleanup(func() { l.Close() })
	go func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			go agent.ServeAgent(ring, conn)
		}
	}()
	return socket
}

func TestAgentSignsWithEveryKindOfKey(t *testing.T) {
	ring := agent.NewKeyring()
	keys := testPrivateKeys(t)
	for _, key := range keys {
		must(t, ring.Add(agent.AddedKey{PrivateKey: key}))
	}
	a, err := OpenAgent(serveAgent(t, ring))
	must(t, err)
	defer a.Close()
	if len(a.Signers()) != len(keys) {
		t.Fatalf("%d signers of %d keys", len(a.Signers()), len(keys))
	}
	path := writeRecord(t, t.TempDir(), exampleHeader(), testTime, 0)
	for _, s := range a.Signers() {
		if _, err := Sign(path, s); err != nil {
			t.Errorf("%s: %v", s.PublicKey().Type(), err)
		}
	}
	if r := VerifyFile(path, Options{AnySigner: true}); r.Status != OK || len(r.Signatures) != len(keys) {
		t.Errorf("got %v with %d signatures\n%s", r.Status, len(r.Signatures), r.text())
	}
	must(t, a.Close())
	if sig, err := SignBytes([]byte("x"), a.Signers()[0]); err == nil {
		t.Errorf("signed after the connection was closed: %q", sig)
	}
}

// TestWhatHangsEndsWithASentence: an agent that takes the request and says
// nothing, and a pipe in the place of a file that nobody writes to.
func TestWhatHangsEndsWithASentence(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		silent, other := net.Pipe()
		defer other.Close()
		go io.Copy(io.Discard, other)
		start := time.Now()
		_, err := agent.NewClient(timed{silent}).List()
		if err == nil || !strings.Contains(err.Error(), "no answer within 5s") || time.Since(start) > answerWithin {
			t.Errorf("after %v: %v", time.Since(start), err)
		}
	})
	pipe := filepath.Join(t.TempDir(), "pipe")
	must(t, unix.Mkfifo(pipe, 0o600))
	_, keyErr := LoadKey(pipe, nil)
	_, publicErr := LoadPublicKey(pipe)
	_, signersErr := ReadAllowedSigners(pipe)
	for what, err := range map[string]error{"key": keyErr, "public key": publicErr, "signers": signersErr} {
		if err == nil || !strings.Contains(err.Error(), "not a regular file") {
			t.Errorf("%s: %v", what, err)
		}
	}
}

func TestNoAgent(t *testing.T) {
	for _, socket := range []string{"", filepath.Join(t.TempDir(), "none")} {
		if a, err := OpenAgent(socket); err == nil || a != nil {
			t.Errorf("socket %q: got %v, %v, want an error", socket, a, err)
		}
	}
}
