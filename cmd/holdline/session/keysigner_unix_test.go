//go:build unix

package session

import (
	"crypto/ed25519"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/crypto/ssh"
	"golang.org/x/crypto/ssh/agent"
)

// serveAgent is an ssh agent of the standard protocol, by the library, that
// holds so many keys; it returns their public halves.
func serveAgent(t *testing.T, keys int) []ssh.PublicKey {
	t.Helper()
	ring := agent.NewKeyring()
	var public []ssh.PublicKey
	for k := range keys {
		seed := make([]byte, ed25519.SeedSize)
		seed[0] = byte(k + 1)
		private := ed25519.NewKeyFromSeed(seed)
		if err := ring.Add(agent.AddedKey{PrivateKey: private}); err != nil {
			t.Fatal(err)
		}
		s, err := ssh.NewSignerFromKey(private)
		if err != nil {
			t.Fatal(err)
		}
		public = append(public, s.PublicKey())
	}
	dir, err := os.MkdirTemp("", "agent") // a socket's path has to be short
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	socket := filepath.Join(dir, "s")
	l, err := net.Listen("unix", socket)
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			_ = agent.ServeAgent(ring, conn) // ends with the connection
			conn.Close()
		}
	}()
	t.Cleanup(func() {
		l.Close()
		<-done
	})
	t.Setenv("SSH_AUTH_SOCK", socket)
	return public
}

func TestTheAgentsOnlyKeySigns(t *testing.T) {
	public := serveAgent(t, 1)
	signer, done, err := KeySigner(AgentKey)
	if err != nil {
		t.Fatal(err)
	}
	defer done()
	if got, want := ssh.FingerprintSHA256(signer.PublicKey()), ssh.FingerprintSHA256(public[0]); got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	sig, err := signer.Sign(nil, []byte("a record"))
	if err != nil || public[0].Verify([]byte("a record"), sig) != nil {
		t.Errorf("the agent's signature does not fit: %v", err)
	}
}

func TestAmongSeveralKeysOneIsNamed(t *testing.T) {
	public := serveAgent(t, 3)
	_, _, err := KeySigner(AgentKey)
	if err == nil || !strings.Contains(err.Error(), "has 3 keys") || !strings.Contains(err.Error(), ssh.FingerprintSHA256(public[1])) {
		t.Errorf("three keys, none named: %v", err)
	}
	file := filepath.Join(t.TempDir(), "second.pub")
	copyFile(t, file, ssh.MarshalAuthorizedKey(public[1]))
	signer, done, err := KeySigner(file)
	if err != nil {
		t.Fatal(err)
	}
	done()
	if got, want := ssh.FingerprintSHA256(signer.PublicKey()), ssh.FingerprintSHA256(public[1]); got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

func TestKeysThatCannotSign(t *testing.T) {
	serveAgent(t, 0)
	other := filepath.Join(t.TempDir(), "other.pub")
	private := ed25519.NewKeyFromSeed(make([]byte, ed25519.SeedSize))
	s, err := ssh.NewSignerFromKey(private)
	if err != nil {
		t.Fatal(err)
	}
	copyFile(t, other, ssh.MarshalAuthorizedKey(s.PublicKey()))
	broken := filepath.Join(t.TempDir(), "broken.pub")
	copyFile(t, broken, []byte("no key\n"))
	for key, want := range map[string]string{AgentKey: "has no", other: "does not have", broken: "broken.pub", filepath.Join(t.TempDir(), "none.pub"): "none.pub",
		filepath.Join(t.TempDir(), "none"): "none"} {
		if _, _, err := KeySigner(key); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", filepath.Base(key), err, want)
		}
	}
}
