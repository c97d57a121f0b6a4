package record

import (
	"bytes"
	"crypto/ed25519"
	"crypto/rand"
	"encoding/pem"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"time"

	"golang.org/x/crypto/ssh"
	"golang.org/x/crypto/ssh/agent"
)

// maxKeyFile is the most bytes a key file may have.
const maxKeyFile = 64 << 10

// ErrNoPassphrase says that a key file is protected and no passphrase was given.
var ErrNoPassphrase = errors.New("key is protected by a passphrase and none was given")

// KeyPath is the file of the key that EnsureKey makes, in the folder of the
// program's settings.
func KeyPath(configDir string) string {
	return filepath.Join(configDir, "record_ed25519")
}

// EnsureKey returns the signer whose key is at KeyPath(configDir). On first
// use it makes an Ed25519 key there, in OpenSSH form, readable by its owner
// alone, without a passphrase, and its public half beside it; made is then
// true, so that the caller can say where.
func EnsureKey(configDir string) (signer ssh.Signer, path string, made bool, err error) {
	path = KeyPath(configDir)
	if _, err = os.Lstat(path); errors.Is(err, fs.ErrNotExist) {
		made, err = makeKey(configDir, path)
	}
	if err != nil {
		return nil, path, false, fmt.Errorf("record: key %q: %w", path, err)
	}
	signer, err = LoadKey(path, nil)
	return signer, path, made && err == nil, err
}

// SignersPath is the allowed_signers file of the signers accepted beside the user's
// own key, in the folder of the program's settings.
func SignersPath(configDir string) string { return filepath.Join(configDir, "allowed_signers") }

// AcceptSigner puts a key that has signed here into that file, once.
func AcceptSigner(configDir, name string, key ssh.PublicKey) error {
	path := SignersPath(configDir)
	data, err := readLimited(path, maxAllowedSigners)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("record: accept a signer: %w", err)
	}
	text := bytes.TrimSpace(ssh.MarshalAuthorizedKey(key))
	if bytes.Contains(data, text) {
		return nil
	}
	if len(data) > 0 && data[len(data)-1] != '\n' {
		data = append(data, '\n')
	}
	if err = os.MkdirAll(configDir, 0o700); err == nil {
		err = ReplaceFile(path, fmt.Appendf(data, "%s namespaces=%q %s\n", name, Namespace, text), 0o644)
	}
	if err != nil {
		return fmt.Errorf("record: accept a signer: %w", err)
	}
	return nil
}

// makeKey reports false without an error when another program made the key in
// the meantime.
func makeKey(dir, path string) (bool, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return false, err
	}
	public, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return false, err
	}
	const comment = "holdline record key"
	block, err := ssh.MarshalPrivateKey(private, comment)
	if err != nil {
		return false, err
	}
	err = writeNewFile(path, pem.EncodeToMemory(block), 0o600)
	if errors.Is(err, fs.ErrExist) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	sshPublic, err := ssh.NewPublicKey(public)
	if err != nil {
		return false, err
	}
	line := append(bytes.TrimSpace(ssh.MarshalAuthorizedKey(sshPublic)), " "+comment+"\n"...)
	// A stale public half beside a new key would mislead.
	return true, ReplaceFile(path+".pub", line, 0o644)
}

// LoadKey reads a private key file in OpenSSH or PEM form. passphrase is
// called when the key is protected; nil, or an empty answer, gives an error
// wrapping ErrNoPassphrase. As OpenSSH does, it refuses a file that others can
// read. Only Ed25519, ECDSA and RSA keys are taken.
func LoadKey(path string, passphrase func(path string) ([]byte, error)) (ssh.Signer, error) {
	signer, err := loadKey(path, passphrase)
	if err != nil {
		return nil, fmt.Errorf("record: key %q: %w", path, err)
	}
	return signer, nil
}

func loadKey(path string, passphrase func(path string) ([]byte, error)) (ssh.Signer, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if mode := info.Mode().Perm(); runtime.GOOS != "windows" && mode&0o077 != 0 {
		return nil, fmt.Errorf("others can read it (mode %04o): change its mode to 0600", mode)
	}
	data, err := readLimited(path, maxKeyFile)
	if err != nil {
		return nil, err
	}
	signer, err := ssh.ParsePrivateKey(data)
	var missing *ssh.PassphraseMissingError
	if errors.As(err, &missing) {
		signer, err = parseProtected(path, data, passphrase)
	}
	if err != nil {
		return nil, err
	}
	return signer, checkKeyType(signer.PublicKey())
}

// LoadPublicKey reads a public key file.
func LoadPublicKey(path string) (ssh.PublicKey, error) {
	data, err := readLimited(path, maxKeyFile)
	if err != nil {
		return nil, fmt.Errorf("record: public key: %w", err)
	}
	key, _, _, _, err := ssh.ParseAuthorizedKey(data)
	if err != nil {
		return nil, fmt.Errorf("record: public key %q: %w", path, err)
	}
	return key, nil
}

func parseProtected(path string, data []byte, passphrase func(path string) ([]byte, error)) (ssh.Signer, error) {
	if passphrase == nil {
		return nil, ErrNoPassphrase
	}
	phrase, err := passphrase(path)
	if err != nil {
		return nil, err
	}
	if len(phrase) == 0 {
		return nil, ErrNoPassphrase
	}
	defer clear(phrase)
	return ssh.ParsePrivateKeyWithPassphrase(data, phrase)
}

// Agent is a connection to an ssh-agent.
type Agent struct {
	conn    io.ReadWriteCloser
	signers []ssh.Signer
}

// answerWithin is how long an agent may take for an answer.
const answerWithin = 5 * time.Second

// timed ends a connection on which nothing comes.
type timed struct{ io.ReadWriteCloser }

func (c timed) Read(b []byte) (int, error) {
	late := time.AfterFunc(answerWithin, func() { c.Close() })
	n, err := c.ReadWriteCloser.Read(b)
	if !late.Stop() {
		return n, fmt.Errorf("no answer within %v", answerWithin)
	}
	return n, err
}

// OpenAgent connects to the agent at socket, the value of SSH_AUTH_SOCK; on
// Windows an empty socket means the system's own agent. Close it after signing.
// An agent that does not answer within five seconds, now or later, is an error.
func OpenAgent(socket string) (*Agent, error) {
	conn, err := dialAgent(socket)
	if err != nil {
		return nil, fmt.Errorf("record: ssh agent: %w", err)
	}
	conn = timed{conn}
	all, err := agent.NewClient(conn).Signers()
	if err != nil {
		conn.Close()
		return nil, fmt.Errorf("record: ssh agent: %w", err)
	}
	a := &Agent{conn: conn}
	for _, s := range all {
		// Certificates and hardware-bound keys are listed too.
		if checkKeyType(s.PublicKey()) == nil {
			a.signers = append(a.signers, s)
		}
	}
	return a, nil
}

// Signers returns the agent's Ed25519, ECDSA and RSA keys, in its order.
func (a *Agent) Signers() []ssh.Signer { return a.signers }

// Close ends the connection. Its signers can sign no more.
func (a *Agent) Close() error { return a.conn.Close() }
