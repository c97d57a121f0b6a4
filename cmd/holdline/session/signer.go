package session

import (
	"errors"
	"fmt"
	"os"
	"strings"

	"golang.org/x/crypto/ssh"
	"golang.org/x/term"

	"holdline/arming/record"
)

// openSigner finds the key that closes the record, before anything begins: a
// private key file, or a public one whose private half an ssh agent has; with
// no file the user's own key, made on first use in settings.
func openSigner(keyFile, settings string) (signing, error) {
	if keyFile == "" {
		signer, path, made, err := record.EnsureKey(settings)
		if err != nil {
			return signing{}, err
		}
		s := signing{signer: signer, public: signer.PublicKey()}
		if made {
			s.made = path
		}
		return s, nil
	}
	if strings.HasSuffix(keyFile, ".pub") {
		s, err := agentSigner(keyFile)
		s.accept = settings
		return s, err
	}
	signer, err := record.LoadKey(keyFile, askPassphrase)
	if err != nil {
		return signing{}, err
	}
	return signing{signer: signer, public: signer.PublicKey(), accept: settings}, nil
}

// acceptSigner lets verify find a key that has signed here. Where it cannot, the
// record is signed all the same, and verify asks for --signers.
func acceptSigner(settings, name string, key ssh.PublicKey) {
	if settings != "" {
		_ = record.AcceptSigner(settings, name, key)
	}
}

func agentSigner(path string) (signing, error) {
	public, err := record.LoadPublicKey(path)
	if err != nil {
		return signing{}, err
	}
	socket := os.Getenv("SSH_AUTH_SOCK")
	agent, err := record.OpenAgent(socket)
	if err != nil {
		return signing{}, err
	}
	defer agent.Close()
	if _, err := pick(agent.Signers(), ssh.FingerprintSHA256(public)); err != nil {
		return signing{}, fmt.Errorf("session: the ssh agent does not have the key of %q", path)
	}
	return signing{public: public, socket: socket}, nil
}

// askPassphrase asks on the terminal, without echo.
func askPassphrase(path string) ([]byte, error) {
	fd := int(os.Stdin.Fd())
	if !term.IsTerminal(fd) {
		return nil, errors.New("its passphrase can only be asked for on a terminal; an ssh agent can keep the key instead")
	}
	fmt.Fprintf(os.Stderr, "passphrase of %s: ", path)
	phrase, err := term.ReadPassword(fd)
	fmt.Fprintln(os.Stderr)
	return phrase, err
}

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
