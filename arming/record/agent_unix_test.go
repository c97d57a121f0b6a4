//go:build unix

package record

import (
	"net"
	"path/filepath"
	"testing"

	"golang.org/x/crypto/ssh/agent"
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

func TestNoAgent(t *testing.T) {
	for _, socket := range []string{"", filepath.Join(t.TempDir(), "none")} {
		if a, err := OpenAgent(socket); err == nil || a != nil {
			t.Errorf("socket %q: got %v, %v, want an error", socket, a, err)
		}
	}
}
