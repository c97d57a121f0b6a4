package record

import (
	"bytes"
	"crypto/rand"
	"encoding/base64"
	"errors"
	"fmt"
	"io/fs"
	"strings"

	"github.com/hiddeco/sshsig"
	"golang.org/x/crypto/ssh"
)

// Namespace is the SSHSIG namespace of a record's signatures. A signature
// made for anything else is none for a record.
const Namespace = "holdline-record"

// Errors of signing.
var (
	ErrNotClosed     = errors.New("record has no closing line")
	ErrAlreadySigned = errors.New("this key has signed the record already")
)

// SignBytes returns an armoured SSHSIG signature over data, with SHA-512.
// signer holds an Ed25519, ECDSA or RSA key, from a file or an agent.
func SignBytes(data []byte, signer ssh.Signer) ([]byte, error) {
	if err := checkKeyType(signer.PublicKey()); err != nil {
		return nil, fmt.Errorf("record: sign: %w", err)
	}
	sig, err := sshsig.SignWithRand(bytes.NewReader(data), rand.Reader, signer, sshsig.HashSHA512, Namespace)
	if err != nil {
		return nil, fmt.Errorf("record: sign with %s: %w", ssh.FingerprintSHA256(signer.PublicKey()), err)
	}
	// An agent or a token may answer with anything: never leave a bad signature.
	armored := sshsig.Armor(sig)
	if _, err := verifySignature(data, armored); err != nil {
		return nil, fmt.Errorf("record: sign with %s: signer gave a bad signature: %w",
			ssh.FingerprintSHA256(signer.PublicKey()), err)
	}
	return armored, nil
}

func checkKeyType(key ssh.PublicKey) error {
	switch key.Type() {
	case ssh.KeyAlgoED25519, ssh.KeyAlgoRSA, ssh.KeyAlgoECDSA256, ssh.KeyAlgoECDSA384, ssh.KeyAlgoECDSA521:
		return nil
	}
	return fmt.Errorf("key type %q, want Ed25519, ECDSA or RSA", key.Type())
}

// The armour of an SSHSIG file.
const (
	armorBegin = "-----BEGIN " + sshsig.PEMType + "-----\n"
	armorEnd   = "\n-----END " + sshsig.PEMType + "-----"
)

// unarmor reads an SSHSIG file as ssh-keygen does: the first line to the byte,
// blanks and line ends in the base64, no bit of it unused. But only blanks may
// follow, so that a signature file says one thing only.
func unarmor(armored []byte) (*sshsig.Signature, error) {
	text, begins := strings.CutPrefix(string(armored), armorBegin)
	if !begins {
		return nil, errors.New("does not start with the armour of an SSH signature, ended by LF alone")
	}
	text, rest, ends := strings.Cut(text, armorEnd)
	blob, err := base64.StdEncoding.Strict().DecodeString(strings.NewReplacer(" ", "", "\t", "", "\r", "", "\n", "").Replace(text))
	if !ends || err != nil || strings.Trim(rest, " \t\r\n") != "" {
		return nil, errors.New("armour of the SSH signature is damaged")
	}
	return sshsig.ParseSignature(blob)
}

// verifySignature checks that armored is a signature over data in the
// record's namespace, whoever made it, and returns the key.
func verifySignature(data, armored []byte) (ssh.PublicKey, error) {
	sig, err := unarmor(armored)
	if err != nil {
		return nil, err
	}
	if err := checkKeyType(sig.PublicKey); err != nil {
		return nil, err
	}
	if sig.Namespace != Namespace {
		return nil, fmt.Errorf("namespace %q, want %q", sig.Namespace, Namespace)
	}
	if err := sshsig.Verify(bytes.NewReader(data), sig, sig.PublicKey, sig.HashAlgorithm, Namespace); err != nil {
		return nil, fmt.Errorf("does not fit the record's bytes: %w", err)
	}
	return sig.PublicKey, nil
}

// SignaturePath returns the name of the n-th signature of a record, from 1:
// NAME.jsonl.sig, then NAME.jsonl.2.sig and so on.
func SignaturePath(path string, n int) string {
	if n == 1 {
		return path + ".sig"
	}
	return fmt.Sprintf("%s.%d.sig", path, n)
}

// maxSignatures is how many signatures a record may have.
const maxSignatures = 20

// maxSignatureFile is the most bytes a signature file may have.
const maxSignatureFile = 64 << 10

// Sign adds a signature to the closed record at path and returns the name of
// the new signature file. The first signature is the one of closing, every
// further one a counter-signature, then or later; the record's own bytes are
// never touched. A record that is damaged or open is refused, and so is a key
// that has signed already (ErrAlreadySigned).
func Sign(path string, signer ssh.Signer) (string, error) {
	name, err := signFile(path, signer)
	if err != nil {
		return "", fmt.Errorf("record: sign %q: %w", path, err)
	}
	return name, nil
}

func signFile(path string, signer ssh.Signer) (string, error) {
	data, err := readLimited(path, MaxFile)
	if err != nil {
		return "", err
	}
	log, err := Parse(data)
	if err != nil {
		return "", err
	}
	if !log.Closed() {
		return "", ErrNotClosed
	}
	armored, err := SignBytes(data, signer)
	if err != nil {
		return "", err
	}
	for n := 1; n <= maxSignatures; n++ {
		name := SignaturePath(path, n)
		had, err := readLimited(name, maxSignatureFile)
		if err == nil {
			if key, err := verifySignature(data, had); err == nil && bytes.Equal(key.Marshal(), signer.PublicKey().Marshal()) {
				return "", ErrAlreadySigned
			}
			continue
		}
		if !errors.Is(err, fs.ErrNotExist) {
			return "", err
		}
		err = writeNewFile(name, armored, 0o644)
		if errors.Is(err, fs.ErrExist) {
			continue // another signer was faster
		}
		return name, err
	}
	return "", fmt.Errorf("%d signatures are there already", maxSignatures)
}

// readSignatures returns the signature files of a record by name.
func readSignatures(path string) (map[string][]byte, error) {
	sigs := map[string][]byte{}
	for n := 1; n <= maxSignatures; n++ {
		name := SignaturePath(path, n)
		armored, err := readLimited(name, maxSignatureFile)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return nil, err
		}
		sigs[name] = armored
	}
	return sigs, nil
}
