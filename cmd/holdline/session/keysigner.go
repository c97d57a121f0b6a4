package session

import (
	"errors"
	"fmt"
	"os"
	"strings"

	"golang.org/x/crypto/ssh"

	"holdline/arming/record"
)

// AgentKey is what KeySigner takes for the only key of the ssh agent.
const AgentKey = "agent"

// KeySigner finds the key that counter-signs: a private key file, whose
// passphrase is asked for on the terminal; a public key file (.pub) whose
// private half the ssh agent has; or AgentKey. Call done after signing.
func KeySigner(key string) (signer ssh.Signer, done func(), err error) {
	return keySigner(key, askPassphrase)
}

func keySigner(key string, passphrase func(path string) ([]byte, error)) (signer ssh.Signer, done func(), err error) {
	none := func() {}
	if key != AgentKey && !strings.HasSuffix(key, ".pub") {
		signer, err := record.LoadKey(key, passphrase)
		return signer, none, err
	}
	wanted := ""
	if key != AgentKey {
		public, err := record.LoadPublicKey(key)
		if err != nil {
			return nil, none, err
		}
		wanted = ssh.FingerprintSHA256(public)
	}
	agent, err := record.OpenAgent(os.Getenv("SSH_AUTH_SOCK"))
	if err != nil {
		return nil, none, err
	}
	signer, err = pick(agent.Signers(), wanted)
	if err != nil {
		agent.Close()
		return nil, none, err
	}
	return signer, func() { agent.Close() }, nil
}

// pick finds the key with the wanted fingerprint, or the only one when none is
// named.
func pick(have []ssh.Signer, wanted string) (ssh.Signer, error) {
	var prints []string
	for _, s := range have {
		print := ssh.FingerprintSHA256(s.PublicKey())
		if print == wanted || wanted == "" && len(have) == 1 {
			return s, nil
		}
		prints = append(prints, print)
	}
	switch {
	case wanted != "":
		return nil, fmt.Errorf("session: the ssh agent does not have %s", wanted)
	case len(have) == 0:
		return nil, errors.New("session: the ssh agent has no Ed25519, ECDSA or RSA key")
	}
	return nil, fmt.Errorf("session: the ssh agent has %d keys, %s: name one by its public key file", len(have), strings.Join(prints, " "))
}
