//go:build external

package journal

import (
	"bytes"
	"os/exec"
	"path/filepath"
	"testing"
)

// ssh-keygen accepts the golden record, and not with a byte changed.
func TestTheGoldenRecordBySSHKeygen(t *testing.T) {
	path, text := goldenRecord(t)
	verify := func(text []byte) ([]byte, error) {
		cmd := exec.Command("ssh-keygen", "-Y", "verify", "-f", filepath.Join(goldenFolder, "allowed_signers"), "-I", "crew",
			"-n", "holdline-record", "-s", path+".sig")
		cmd.Stdin = bytes.NewReader(text)
		return cmd.CombinedOutput()
	}
	if out, err := verify(text); err != nil {
		t.Errorf("%v: %s", err, out)
	}
	text[len(text)/2] ^= 1
	if out, err := verify(text); err == nil {
		t.Errorf("accepted with a byte changed: %s", out)
	}
}
