package record

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"math"
	"strings"
	"testing"

	"github.com/gowebpki/jcs"
	"golang.org/x/crypto/ssh"

	"crypto/ed25519"
)

// Source: RFC 8785 (June 2020), section 3.2.2 (input) and 3.2.4 (expected).
// U+20AC is the Euro sign.
func TestCanonicalFormOfRFC8785(t *testing.T) {
	const input = `{
  "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
  "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
  "literals": [null, true, false]
}`
	const want = `{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],` +
		`"string":"` + "\u20ac" + `$\u000f\nA'B\"\\\\\"/"}`
	got, err := jcs.Transform([]byte(input))
	if err != nil || string(got) != want {
		t.Errorf("got  %s, %v\nwant %s", got, err, want)
	}
	// The same sample through the record's own door fails on one number alone.
	if _, err := canonicalBody([]byte(input)); err == nil || !strings.Contains(err.Error(), "1e+30") {
		t.Errorf("1e30 is beyond 2^53: got %v", err)
	}
	smaller := strings.Replace(input, "1E30", "1E3", 1)
	got, err = canonicalBody([]byte(smaller))
	if err != nil || string(got) != strings.Replace(want, "1e+30", "1000", 1) {
		t.Errorf("got %s, %v", got, err)
	}
}

// Source: RFC 8785 section 3.2.3, sorting by UTF-16 code units.
func TestCanonicalSortOfRFC8785(t *testing.T) {
	const input = `{"\u20ac":"Euro Sign","\r":"Carriage Return","\ufb33":"Hebrew Letter Dalet With Dagesh",` +
		`"1":"One","\ud83d\ude00":"Emoji: Grinning Face","\u0080":"Control","\u00f6":"Latin Small Letter O With Diaeresis"}`
	got, err := canonicalBody([]byte(input))
	if err != nil {
		t.Fatal(err)
	}
	last := -1
	for _, name := range []string{"Carriage Return", "One", "Control", "Latin Small Letter O With Diaeresis",
		"Euro Sign", "Emoji: Grinning Face", "Hebrew Letter Dalet With Dagesh"} {
		at := strings.Index(string(got), name)
		if at <= last {
			t.Errorf("%q stands at %d, after %d is wanted", name, at, last)
		}
		last = at
	}
}

func TestBodiesThatAreRefused(t *testing.T) {
	for name, raw := range map[string]string{
		"not an object":         `[1]`,
		"a number":              `1`,
		"empty":                 ``,
		"two values":            `{} {}`,
		"a name twice":          `{"a":1,"a":2}`,
		"2^53":                  `{"a":9007199254740992}`,
		"-2^53":                 `{"a":-9007199254740992}`,
		"2^53 + 1, would round": `{"a":9007199254740993}`,
		"1e16 deep inside":      `{"a":[{"b":[10000000000000000]}]}`,
		"1e300":                 `{"a":1e300}`,
		"not UTF-8":             "{\"a\":\"\xff\"}",
		"half a surrogate pair": `{"a":"\ud800"}`,
		"cut short":             `{"a":1`,
	} {
		if got, err := canonicalBody([]byte(raw)); err == nil || got != nil {
			t.Errorf("%s: got %s, %v, want an error and nothing else", name, got, err)
		}
	}
	for name, raw := range map[string]string{
		"2^53 - 1":                 `{"a":9007199254740991}`,
		"-(2^53 - 1)":              `{"a":-9007199254740991}`,
		"digits inside a string":   `{"a":"9007199254740993 \" 1e300"}`,
		"smallest positive number": `{"a":5e-324}`,
	} {
		if got, err := canonicalBody([]byte(raw)); err != nil || string(got) != raw {
			t.Errorf("%s: got %s, %v, want it unchanged", name, got, err)
		}
	}
	if _, err := Canonical(map[string]float64{"ohm": math.NaN()}); err == nil {
		t.Error("NaN was accepted")
	}
	if got, err := Canonical(map[string]string{"b": "<&>\u2028", "a": ""}); err != nil || string(got) != `{"a":"","b":"<&>`+"\u2028"+`"}` {
		t.Errorf("no character is escaped that need not be: got %s, %v", got, err)
	}
	if got, err := Canonical(json.RawMessage(` {"b":1.0, "a":-0} `)); err != nil || string(got) != `{"a":0,"b":1}` {
		t.Errorf("raw JSON: got %s, %v", got, err)
	}
}

func TestHashLineIsDomainSeparated(t *testing.T) {
	// Written out anew: one zero byte, 17 letters, a newline, the line.
	want := sha256.Sum256(append([]byte{0}, "holdline-record-1\nline"...))
	if got := HashLine([]byte("line")); got != want {
		t.Errorf("got %s, want %x", got, want)
	}
	if plain := SumSHA256([]byte("line")); plain == want {
		t.Error("line hash and plain hash are the same")
	}
	// Source: FIPS 180-4; SHA-256 of nothing, a value met everywhere.
	if got := SumSHA256(nil).String(); got != "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855" {
		t.Errorf("SHA-256 of nothing: got %s", got)
	}
	for _, bad := range []string{"", "00", strings.Repeat("0", 63) + "G", strings.Repeat("A", 64), strings.Repeat("0", 65)} {
		if _, err := ParseHash(bad); err == nil {
			t.Errorf("hash %q was accepted", bad)
		}
	}
}

// Source: RFC 8032 section 7.1, tests 1 to 3 (pure Ed25519), through the
// signer and verifier that records use.
func TestEd25519VectorsOfRFC8032(t *testing.T) {
	for _, v := range []struct{ secret, public, message, signature string }{
		{"9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
			"d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", "",
			"e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b"},
		{"4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
			"3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c", "72",
			"92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"},
		{"c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
			"fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025", "af82",
			"6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a"},
	} {
		signer, err := ssh.NewSignerFromKey(ed25519.NewKeyFromSeed(unhex(t, v.secret)))
		if err != nil {
			t.Fatal(err)
		}
		public, err := ssh.NewPublicKey(ed25519.PublicKey(unhex(t, v.public)))
		if err != nil {
			t.Fatal(err)
		}
		if got, want := signer.PublicKey().Marshal(), public.Marshal(); string(got) != string(want) {
			t.Errorf("public key: got %x, want %x", got, want)
		}
		sig, err := signer.Sign(nil, unhex(t, v.message))
		if err != nil {
			t.Fatal(err)
		}
		if got := hex.EncodeToString(sig.Blob); got != v.signature {
			t.Errorf("signature of %q: got %s, want %s", v.message, got, v.signature)
		}
		if err := public.Verify(unhex(t, v.message), sig); err != nil {
			t.Error(err)
		}
		sig.Blob[0] ^= 1
		if public.Verify(unhex(t, v.message), sig) == nil {
			t.Error("a changed signature was accepted")
		}
	}
}

func unhex(t *testing.T, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	if err != nil {
		t.Fatal(err)
	}
	return b
}
