package record

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/crypto/ssh"
)

// keyText is the public key of testKey n as it stands in files.
func keyText(t testing.TB, n byte) string {
	return strings.TrimSpace(string(ssh.MarshalAuthorizedKey(testKey(t, n).PublicKey())))
}

func TestAllowedSignersFile(t *testing.T) {
	text := "# the crew\r\n" +
		"\n" +
		"range@example.org " + keyText(t, 1) + " Range Officer's laptop\n" +
		"  *@example.org,!guest@example.org\tnamespaces=\"file,holdline-*\",valid-after=\"20260101Z\",VALID-BEFORE=\"20261231235959Z\" " + keyText(t, 2) + "\n" +
		"\"Ann Example\" valid-after=\"202601020304\" " + keyText(t, 3)
	zone := time.FixedZone("two hours east", 2*3600)
	signers, err := ParseAllowedSigners("crew", []byte(text), zone)
	if err != nil || len(signers) != 3 {
		t.Fatalf("got %d, %v", len(signers), err)
	}
	if s := signers[0]; s.Line != 3 || s.Principals != "range@example.org" || s.Namespaces != "" {
		t.Errorf("first: %+v", s)
	}
	if s := signers[1]; s.Line != 4 || s.Namespaces != "file,holdline-*" ||
		!s.ValidAfter.Equal(time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)) ||
		!s.ValidBefore.Equal(time.Date(2026, 12, 31, 23, 59, 59, 0, time.UTC)) {
		t.Errorf("second: %+v", s)
	}
	if s := signers[2]; s.Principals != "Ann Example" || !s.ValidAfter.Equal(time.Date(2026, 1, 2, 1, 4, 0, 0, time.UTC)) {
		t.Errorf("third: %+v", s)
	}
	in2026 := time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		signer    int
		principal string
		at        time.Time
		accepted  bool
	}{
		{0, "", time.Time{}, true},
		{0, "range@example.org", in2026, true},
		{0, "firing@example.org", in2026, false},
		{1, "firing@example.org", in2026, true},
		{1, "guest@example.org", in2026, false},
		{1, "range@elsewhere.org", in2026, false},
		{1, "", time.Time{}, false}, // limited in time, and no time to judge by
		{1, "", time.Date(2025, 12, 31, 23, 59, 59, 0, time.UTC), false},
		{1, "", time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC), true},
		{1, "", time.Date(2026, 12, 31, 23, 59, 59, 0, time.UTC), true},
		{1, "", time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC), false},
	} {
		if why := signers[c.signer].refuses(c.principal, c.at); (why == "") != c.accepted {
			t.Errorf("%+v: refused because %q", c, why)
		}
	}
	other := AllowedSigner{Principals: "*", Namespaces: "file,git"}
	if why := other.refuses("", in2026); !strings.Contains(why, "holdline-record") {
		t.Errorf("accepted for other uses only: got %q", why)
	}
}

func TestAllowedSignersFileThatIsRefused(t *testing.T) {
	key := keyText(t, 1)
	_, blob, _ := strings.Cut(key, " ")
	for line, want := range map[string]string{
		"range@example.org":                   "key",
		"range@example.org ssh-ed25519":       "key",
		"range@example.org ssh-ed25519 AAAA":  "key",
		"range@example.org ssh-ed25519 !!":    "not base64",
		"range@example.org ssh-rsa " + blob:   "says it is",
		key:                                   "key",
		"*@example.org cert-authority " + key: "cert-authority: certificates are not supported",
		"*@example.org namespaces=\"file\",cert-authority " + key:                       "cert-authority",
		"range@example.org speed=\"fast\" " + key:                                       `option "speed"`,
		"range@example.org namespaces " + key:                                           "no value",
		"range@example.org namespaces=file " + key:                                      "double quotes",
		"range@example.org namespaces=\"\" " + key:                                      "no value",
		"range@example.org namespaces=\"file " + key:                                    "no closing quote",
		"range@example.org namespaces=\"file\"x " + key:                                 "after the value",
		"range@example.org namespaces=\"file\", " + key:                                 "after the value",
		"range@example.org namespaces=\"a\",namespaces=\"b\" " + key:                    "given twice",
		"range@example.org valid-after=\"2026\" " + key:                                 "want YYYYMMDD",
		"range@example.org valid-after=\"20261301\" " + key:                             "month",
		"range@example.org valid-after=\"2026-01-01\" " + key:                           "20",
		"range@example.org valid-after=\"2027Z\",valid-before=\"2026Z\" x":              "want YYYYMMDD",
		"range@example.org valid-after=\"20270101Z\",valid-before=\"20260101Z\" " + key: "not later",
		"\"\" " + key:            "principals: empty",
		"\"range officer " + key: "no closing quote",
	} {
		signers, err := ParseAllowedSigners("crew", []byte("# first line\n"+line+"\n"), time.UTC)
		if err == nil || signers != nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "crew:2: ") {
			t.Errorf("%s: got %v, %v, want an error at crew:2 with %q", line, signers, err, want)
		}
	}
}

func TestReadAllowedSigners(t *testing.T) {
	path := filepath.Join(t.TempDir(), "allowed_signers")
	if _, err := ReadAllowedSigners(path); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("no file: got %v", err)
	}
	write(t, path, []byte("range@example.org "+keyText(t, 1)+"\n"))
	if signers, err := ReadAllowedSigners(path); err != nil || len(signers) != 1 {
		t.Errorf("got %v, %v", signers, err)
	}
}

func TestPatternLists(t *testing.T) {
	for _, c := range []struct {
		list, text string
		want       bool
	}{
		{"a", "a", true}, {"a", "b", false}, {"a", "ab", false}, {"*", "", true}, {"*", "anything", true},
		{"a*c", "abbc", true}, {"a*c", "abcd", false}, {"a?c", "abc", true}, {"a?c", "ac", false},
		{"*b*", "abc", true}, {"*ab", "aab", true}, {"**", "x", true}, {"", "", true}, {"", "x", false},
		{"a,b", "b", true}, {"a,!b,*", "b", false}, {"*,!b", "b", false}, {"*,!b", "c", true}, {"!b", "c", false},
	} {
		if got := matchList(c.list, c.text); got != c.want {
			t.Errorf("%q against %q: got %v, want %v", c.text, c.list, got, c.want)
		}
	}
}

func FuzzAllowedSigners(f *testing.F) {
	good := "a@b namespaces=\"x\",valid-after=\"20260101Z\" " + keyText(f, 1) + " comment\n"
	if s, err := ParseAllowedSigners("", []byte(good), time.UTC); err != nil || len(s) != 1 {
		f.Fatalf("the seed is not good: %v", err)
	}
	f.Add([]byte(good))
	f.Add([]byte("\"a\\\"b\" namespaces=\"\\\"\" ssh-ed25519 AAAA"))
	f.Fuzz(func(t *testing.T, text []byte) {
		signers, err := ParseAllowedSigners("", text, time.UTC)
		if err != nil && signers != nil {
			t.Fatal("an error and signers")
		}
		for _, s := range signers {
			if s.Key == nil || s.Principals == "" {
				t.Fatalf("half a signer: %+v", s)
			}
			s.refuses("a@b", testTime)
		}
	})
}
