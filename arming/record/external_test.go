//go:build external

package record

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/pem"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/crypto/ssh"
)

// These tests hold the record against OpenSSH's ssh-keygen, ssh-agent and
// ssh-add, and against sha256sum of coreutils. They fail where those are
// missing.

// run runs a program and returns its output and whether it said yes.
func run(t *testing.T, env []string, stdin []byte, name string, args ...string) (string, bool) {
	t.Helper()
	cmd := exec.Command(name, args...)
	cmd.Env = append(os.Environ(), env...)
	cmd.Stdin = bytes.NewReader(stdin)
	out, err := cmd.CombinedOutput()
	if _, exited := err.(*exec.ExitError); err != nil && !exited {
		t.Fatalf("%s: %v", name, err)
	}
	return string(out), err == nil
}

func runOK(t *testing.T, env []string, stdin []byte, name string, args ...string) string {
	t.Helper()
	out, ok := run(t, env, stdin, name, args...)
	if !ok {
		t.Fatalf("%s %v: %s", name, args, out)
	}
	return out
}

// saveKey writes a private key in OpenSSH form and returns its path.
func saveKey(t *testing.T, name string, key any, passphrase string) string {
	t.Helper()
	block, err := ssh.MarshalPrivateKey(key, "test key")
	if passphrase != "" {
		block, err = ssh.MarshalPrivateKeyWithPassphrase(key, "test key", []byte(passphrase))
	}
	must(t, err)
	path := filepath.Join(t.TempDir(), name)
	must(t, os.WriteFile(path, pem.EncodeToMemory(block), 0o600))
	return path
}

func TestSSHKeygenVerifiesOurSignatures(t *testing.T) {
	for name, key := range testPrivateKeys(t) {
		signer, err := ssh.NewSignerFromKey(key)
		must(t, err)
		path := writeRecord(t, t.TempDir(), exampleHeader(), testTime, 3)
		sig, err := Sign(path, signer)
		must(t, err)
		signers := filepath.Join(t.TempDir(), "allowed_signers")
		write(t, signers, []byte(allowedSignerLine("range@example.org", signer.PublicKey())+"\n"))
		data := readFile(t, path)
		verify := []string{"-Y", "verify", "-f", signers, "-I", "range@example.org", "-n", Namespace, "-s", sig}
		novalidate := []string{"-Y", "check-novalidate", "-n", Namespace, "-s", sig}
		for _, args := range [][]string{verify, novalidate} {
			if out, ok := run(t, nil, data, "ssh-keygen", args...); !ok || !strings.Contains(out, "Good") {
				t.Errorf("%s: %v: %s", name, args, out)
			}
			for at := 0; at < len(data); at += 97 {
				changed := bytes.Clone(data)
				changed[at] ^= 1
				if out, ok := run(t, nil, changed, "ssh-keygen", args...); ok {
					t.Errorf("%s: byte %d changed, and it verifies: %s", name, at, out)
				}
			}
		}
		if out, ok := run(t, nil, data, "ssh-keygen", "-Y", "verify", "-f", signers, "-I", "other@example.org", "-n", Namespace, "-s", sig); ok {
			t.Errorf("%s: another principal: %s", name, out)
		}
		if out, ok := run(t, nil, data, "ssh-keygen", "-Y", "check-novalidate", "-n", "file", "-s", sig); ok {
			t.Errorf("%s: another namespace: %s", name, out)
		}
	}
}

func TestWeVerifySignaturesOfSSHKeygen(t *testing.T) {
	for name, key := range testPrivateKeys(t) {
		signer, err := ssh.NewSignerFromKey(key)
		must(t, err)
		keyFile := saveKey(t, name, key, "")
		for _, hash := range []string{"sha512", "sha256"} {
			path := writeRecord(t, t.TempDir(), exampleHeader(), testTime, 3)
			runOK(t, nil, nil, "ssh-keygen", "-Y", "sign", "-f", keyFile, "-n", Namespace, "-O", "hashalg="+hash, path)
			o := Options{Signers: []AllowedSigner{{Principals: "*", Key: signer.PublicKey()}}}
			if r := VerifyFile(path, o); r.Status != OK || len(r.Signatures) != 1 {
				t.Errorf("%s %s: got %v\n%s", name, hash, r.Status, r.text())
			}
			write(t, path, bytes.Replace(readFile(t, path), []byte(`"normal"`), []byte(`"Normal"`), 1))
			if r := VerifyFile(path, o); r.Status == OK || !found(r, BadSignature) {
				t.Errorf("%s %s: changed, got %v\n%s", name, hash, r.Status, r.text())
			}
		}
		// For another use: a good signature, and none for a record.
		path := writeRecord(t, t.TempDir(), exampleHeader(), testTime, 3)
		runOK(t, nil, nil, "ssh-keygen", "-Y", "sign", "-f", keyFile, "-n", "file", path)
		if r := VerifyFile(path, Options{AnySigner: true}); r.Status != BadSignature {
			t.Errorf("%s: namespace file: got %v", name, r.Status)
		}
	}
}

// Ed25519 is deterministic: the same key and bytes give the same signature,
// whoever makes it. Only the width of the armour's lines differs.
func TestSSHKeygenMakesTheSameEd25519Signature(t *testing.T) {
	key := testPrivateKeys(t)["ed25519"]
	signer, err := ssh.NewSignerFromKey(key)
	must(t, err)
	path := writeRecord(t, t.TempDir(), exampleHeader(), testTime, 3)
	ours, err := SignBytes(readFile(t, path), signer)
	must(t, err)
	runOK(t, nil, nil, "ssh-keygen", "-Y", "sign", "-f", saveKey(t, "key", key, ""), "-n", Namespace, path)
	a, _ := pem.Decode(ours)
	b, _ := pem.Decode(readFile(t, path+".sig"))
	if a == nil || b == nil || !bytes.Equal(a.Bytes, b.Bytes) {
		t.Errorf("ours %v, theirs %v", a, b)
	}
}

func TestSSHKeygenReadsOurKeyAndWeReadIts(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "config")
	signer, path, _, err := EnsureKey(dir)
	must(t, err)
	want := ssh.FingerprintSHA256(signer.PublicKey())
	for _, file := range []string{path, path + ".pub"} {
		if out := runOK(t, nil, nil, "ssh-keygen", "-l", "-f", file); !strings.Contains(out, want) {
			t.Errorf("%s: got %s, want %s", file, out, want)
		}
	}
	for _, kind := range []string{"ed25519", "ecdsa", "rsa"} {
		file := filepath.Join(t.TempDir(), "key")
		runOK(t, nil, nil, "ssh-keygen", "-q", "-t", kind, "-N", "battery staple", "-C", "test key", "-f", file)
		signer, err := LoadKey(file, func(string) ([]byte, error) { return []byte("battery staple"), nil })
		if err != nil {
			t.Errorf("%s: %v", kind, err)
			continue
		}
		if out := runOK(t, nil, nil, "ssh-keygen", "-l", "-f", file+".pub"); !strings.Contains(out, ssh.FingerprintSHA256(signer.PublicKey())) {
			t.Errorf("%s: another key: %s", kind, out)
		}
	}
}

func TestRealAgentSigns(t *testing.T) {
	socket := filepath.Join(t.TempDir(), "s")
	agentCmd := exec.Command("ssh-agent", "-D", "-a", socket)
	must(t, agentCmd.Start())
	t.Cleanup(func() { agentCmd.Process.Kill(); agentCmd.Wait() })
	env := []string{"SSH_AUTH_SOCK=" + socket}
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(10 * time.Millisecond) {
		if c, err := net.Dial("unix", socket); err == nil { // that it is there does not say that it listens
			must(t, c.Close())
			break
		}
		if time.Now().After(deadline) {
			t.Fatal("ssh-agent opened no socket")
		}
	}
	keys := testPrivateKeys(t)
	for name, key := range keys {
		runOK(t, env, nil, "ssh-add", "-q", saveKey(t, name, key, ""))
	}
	a, err := OpenAgent(socket)
	must(t, err)
	defer a.Close()
	if len(a.Signers()) != len(keys) {
		t.Fatalf("%d signers of %d keys", len(a.Signers()), len(keys))
	}
	path := writeRecord(t, t.TempDir(), exampleHeader(), testTime, 1)
	for _, s := range a.Signers() {
		sig, err := Sign(path, s)
		if err != nil {
			t.Errorf("%s: %v", s.PublicKey().Type(), err)
			continue
		}
		runOK(t, nil, readFile(t, path), "ssh-keygen", "-Y", "check-novalidate", "-n", Namespace, "-s", sig)
	}
	if r := VerifyFile(path, Options{AnySigner: true}); r.Status != OK || len(r.Signatures) != len(keys) {
		t.Errorf("got %v with %d signatures\n%s", r.Status, len(r.Signatures), r.text())
	}
}

// Our reading of an allowed_signers file and ssh-keygen's must agree line by
// line, on accepting and on refusing.
func TestAllowedSignersAsSSHKeygenReadsThem(t *testing.T) {
	path, sig := writeExample(t, t.TempDir())
	data, key := readFile(t, path), keyText(t, 1)
	accepted := 0
	for _, line := range []string{
		"range@example.org " + key,
		"range@example.org " + key + " a comment",
		"\trange@example.org\t" + key,
		"other@example.org " + key,
		"range@example.org " + keyText(t, 2),
		"*@example.org " + key,
		"*@example.org,!range@example.org " + key,
		"!range@example.org,*@example.org " + key,
		"r?nge@example.org " + key,
		"a@b,range@example.org " + key,
		"\"range@example.org\" " + key,
		"RANGE@example.org " + key,
		"range@example.org namespaces=\"holdline-record\" " + key,
		"range@example.org NameSpaces=\"holdline-record\" " + key,
		"range@example.org namespaces=\"file,holdline-*\" " + key,
		"range@example.org namespaces=\"file\" " + key,
		"range@example.org namespaces=\"*,!holdline-record\" " + key,
		"range@example.org namespaces=holdline-record " + key,
		"range@example.org namespaces " + key,
		"range@example.org speed=\"1\" " + key,
		"range@example.org valid-after=\"20260101Z\" " + key,
		"range@example.org valid-after=\"20260101\",valid-before=\"20270101\" " + key,
		"range@example.org valid-after=\"202605091304Z\" " + key,
		"range@example.org valid-after=\"20260509130405Z\" " + key,
		"range@example.org valid-after=\"20260509130406Z\" " + key,
		"range@example.org valid-before=\"20260509130405Z\" " + key,
		"range@example.org valid-before=\"20260509130404Z\" " + key,
		"range@example.org valid-before=\"20250101Z\" " + key,
		"range@example.org valid-after=\"20270101Z\",valid-before=\"20260101Z\" " + key,
		"range@example.org valid-after=\"2026\" " + key,
		"range@example.org valid-after=\"20261301Z\" " + key,
		"range@example.org namespaces=\"holdline-record\",valid-after=\"20260101Z\" " + key,
		"range@example.org namespaces=\"holdline-record\", " + key,
		"range@example.org cert-authority " + key,
		"range@example.org ssh-ed25519 AAAA",
		"range@example.org",
		"# range@example.org " + key,
		key,
	} {
		file := filepath.Join(t.TempDir(), "allowed_signers")
		write(t, file, []byte(line+"\n"))
		out, theirs := run(t, []string{"TZ=UTC"}, data, "ssh-keygen", "-Y", "verify", "-f", file, "-I", "range@example.org",
			"-n", Namespace, "-O", "verify-time=20260509130405Z", "-s", sig)
		signers, err := ParseAllowedSigners(file, readFile(t, file), time.UTC)
		r := VerifyFile(path, Options{Signers: signers, Principal: "range@example.org", At: testTime.Truncate(time.Second)})
		ours := err == nil && r.Status == OK
		if ours != theirs {
			t.Errorf("%s\nssh-keygen says %v (%s)\nwe say %v (%v, %s)", line, theirs, strings.TrimSpace(out), ours, err, r.text())
		}
		if ours {
			accepted++
		}
	}
	if accepted < 10 {
		t.Errorf("only %d lines were accepted by both", accepted)
	}
}

func TestChainHashWithSha256sum(t *testing.T) {
	path, _ := writeExample(t, t.TempDir())
	first := line(readFile(t, path), 1)
	out := runOK(t, nil, append([]byte("\x00holdline-record-1\n"), first...), "sha256sum")
	if got, _, _ := strings.Cut(out, " "); got != HashLine(first).String() {
		t.Errorf("sha256sum says %s, we say %s", got, HashLine(first))
	}
	out = runOK(t, nil, first, "sha256sum")
	want := sha256.Sum256(first)
	if got, _, _ := strings.Cut(out, " "); got != hex.EncodeToString(want[:]) || got != SumSHA256(first).String() {
		t.Errorf("plain: sha256sum says %s", got)
	}
	script := fmt.Sprintf(`head -n 1 '%s' | { printf '\0holdline-record-1\n'; tr -d '\n'; } | sha256sum`, path)
	if out := runOK(t, nil, nil, "sh", "-c", script); !strings.HasPrefix(out, HashLine(first).String()) {
		t.Errorf("in a shell: %s", out)
	}
}

// An armour that was changed is judged as ssh-keygen judges it. What it lets
// follow the armour we refuse: that is not among these.
func TestArmourAsSSHKeygenReadsIt(t *testing.T) {
	path, sig := writeExample(t, t.TempDir())
	data, text := readFile(t, path), string(readFile(t, sig))
	lines := strings.Split(strings.TrimSuffix(text, "\n"), "\n")
	head, body, end := lines[0]+"\n", strings.Join(lines[1:len(lines)-1], "\n"), "\n"+lines[len(lines)-1]
	const alphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/"
	bare := strings.TrimRight(body, "=")
	if bare == body {
		t.Fatal("the example's signature has no padding, so no stray bits")
	}
	last := strings.IndexByte(alphabet, bare[len(bare)-1])
	stray := bare[:len(bare)-1] + string(alphabet[last^1]) + body[len(bare):]
	good := 0
	for name, armored := range map[string]string{
		"as it is": text, "stray bits": head + stray + end, "CRLF": strings.ReplaceAll(text, "\n", "\r\n"),
		"CRLF inside": head + strings.ReplaceAll(body, "\n", "\r\n") + end, "CRLF at the end": head + body + "\r" + end + "\r\n",
		"CR": strings.ReplaceAll(text, "\n", "\r"), "CRLF first": lines[0] + "\r\n" + body + end,
		"a line end before": "\n" + text, "a blank before": " " + text, "line ends after": text + "\n\n", "no line end": head + body + end,
		"one line": head + strings.ReplaceAll(body, "\n", "") + end, "blanks": head + strings.ReplaceAll(body, "\n", " \t") + end,
		"an empty line": head + "\n" + body + end, "no padding": head + bare + end, "more padding": head + body + "=" + end,
		"more behind the padding": head + body + "\nAAAA" + end, "a sign that is none": head + body[:9] + "!" + body[9:] + end,
		"a header": head + "A: b\n\n" + body + end, "end in the line": head + body + end[1:], "blank in the head": lines[0] + " \n" + body + end,
		"nothing": head + end, "no end": head + body + "\n",
	} {
		write(t, sig, []byte(armored))
		out, theirs := run(t, nil, data, "ssh-keygen", "-Y", "check-novalidate", "-n", Namespace, "-s", sig)
		_, err := verifySignature(data, []byte(armored))
		if theirs != (err == nil) {
			t.Errorf("%s: ssh-keygen says %v (%s), we say %v", name, theirs, strings.TrimSpace(out), err)
		}
		if theirs {
			good++
		}
	}
	if good < 6 {
		t.Errorf("only %d are good for both", good)
	}
}
