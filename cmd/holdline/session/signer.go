package session

import (
	"errors"
	"fmt"
	"os"
	"strings"

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
		return agentSigner(keyFile)
	}
	signer, err := record.LoadKey(keyFile, askPassphrase)
	if err != nil {
		return signing{}, err
	}
	return signing{signer: signer, public: signer.PublicKey()}, nil
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
	for _, have := range agent.Signers() {
		if string(have.PublicKey().Marshal()) == string(public.Marshal()) {
			return signing{public: public, socket: socket}, nil
		}
	}
	return signing{}, fmt.Errorf("session: the ssh agent does not have the key of %q", path)
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
