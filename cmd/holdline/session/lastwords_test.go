package session

import (
	"crypto/rand"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"golang.org/x/crypto/ssh"

	"holdline/arming"
)

// slowSigner is a key that is not ready before wait is over, as one is whose
// owner has to touch it.
type slowSigner struct {
	ssh.Signer
	wait time.Duration
}

func (s slowSigner) Sign(random io.Reader, data []byte) (*ssh.Signature, error) {
	time.Sleep(s.wait)
	return s.SignWithAlgorithm(random, data, "")
}

func (s slowSigner) SignWithAlgorithm(_ io.Reader, data []byte, algorithm string) (*ssh.Signature, error) {
	return s.Signer.(ssh.AlgorithmSigner).SignWithAlgorithm(rand.Reader, data, algorithm)
}

// lastWords are what the terminal says after the program.
func (b *bench) lastWords(t *testing.T) string {
	t.Helper()
	out, err := os.Create(filepath.Join(t.TempDir(), "out"))
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	b.s.o.Out = out
	b.s.tell()
	text, err := os.ReadFile(out.Name())
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// Who leaves while the record is being closed and signed is told how that ended.
func TestTheLastWordsAreTrueWhileTheRecordIsSigned(t *testing.T) {
	for name, c := range map[string]struct {
		wait time.Duration
		say  string
	}{
		"signed in the end":        {time.Second, "signed by SHA256:"},
		"signing does not end":     {signWithin + time.Second, "closed, NOT SIGNED: signing has not come to an end"},
		"signed before it is left": {0, "signed by SHA256:"},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b := newBench(t)
				b.record.signer.signer = slowSigner{b.record.signer.signer, c.wait}
				b.step(arming.Start{})
				b.state.Phase = arming.Closed
				if err := b.record.closeNormal(b.clock); err != nil {
					t.Fatal(err)
				}
				b.finish("left")
				words := b.lastWords(t)
				if failed := strings.Contains(c.say, "NOT SIGNED"); (b.failure != nil) != failed {
					t.Errorf("the program ends with %v", b.failure)
				}
				if !strings.Contains(words, c.say) || strings.Contains(words, "OPEN") || strings.Contains(words, "forward") {
					t.Errorf("%q, want %q", words, c.say)
				}
				time.Sleep(2 * signWithin) // the signer comes to its end
			})
		})
	}
}

// A signature that has failed before the program is left is told in its end too.
func TestAFailedSignatureIsNoGoodEnd(t *testing.T) {
	b := newBench(t)
	b.step(arming.Start{})
	b.record.signer.signer, b.record.signer.socket = nil, filepath.Join(t.TempDir(), "gone")
	if err := b.record.closeNormal(b.clock); err != nil {
		t.Fatal(err)
	}
	for b.record.closing != nil {
		b.record.settle(<-b.record.closing)
	}
	b.finish("left")
	if words := b.lastWords(t); b.failure == nil || !strings.Contains(words, "holdline countersign") {
		t.Errorf("ends with %v, %q", b.failure, words)
	}
}

// A record that could not be closed is closed by the next start where nothing is
// connected, and only a firing that has to be made safe is taken up again.
func TestTheLastWordsAboutAnOpenRecord(t *testing.T) {
	for _, c := range []struct {
		phase     arming.Phase
		says, not string
	}{
		{arming.Setup, "the next start closes it", "forward"},
		{arming.Wait, "the next start takes this firing up again.\nKey out, battery off, nobody goes forward.", "closes it"},
	} {
		b := newBench(t)
		b.step(arming.Start{})
		b.state.Phase = c.phase
		b.record.fault = errors.New("planted")
		b.finish("left")
		if words := b.lastWords(t); !strings.Contains(words, c.says) || strings.Contains(words, c.not) {
			t.Errorf("%v: %q", c.phase, words)
		}
	}
}

// A counter-signature that ends after the driver is told too.
func TestACounterSignatureUnderWayIsTold(t *testing.T) {
	b := newBench(t)
	b.step(arming.Start{})
	b.finish("left")
	b.s.counterSign(keyFile(t, 2, ""), "")
	close(b.done)
	b.s.counterEnd(10 * time.Second)
	if words := b.lastWords(t); !strings.Contains(words, "counter-signed by SHA256:") || strings.Contains(words, "not counter-signed") {
		t.Errorf("%q", words)
	}
}
