package record

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
)

// Hash is a SHA-256 value, 32 bytes. As text and in JSON it is 64 lower-case
// hexadecimal digits. The zero Hash means that there is nothing before.
type Hash [sha256.Size]byte

// lineTag separates the hash of a record line from every other SHA-256 value.
// The leading zero byte marks a leaf, as in RFC 6962 section 2.1.
const lineTag = "\x00holdline-record-1\n"

// HashLine returns the chain hash of one line, which is given without its
// newline: SHA-256 over lineTag and then the bytes of the line.
func HashLine(line []byte) Hash {
	h := sha256.New()
	h.Write([]byte(lineTag))
	h.Write(line)
	var sum Hash
	h.Sum(sum[:0])
	return sum
}

// SumSHA256 returns the plain SHA-256 of data, for the hashes that a Header
// names: those can be checked with any SHA-256 program.
func SumSHA256(data []byte) Hash { return sha256.Sum256(data) }

// IsZero reports whether h is the zero Hash.
func (h Hash) IsZero() bool { return h == Hash{} }

// String returns h as 64 lower-case hexadecimal digits.
func (h Hash) String() string { return hex.EncodeToString(h[:]) }

// Short returns the first 12 digits of h, for screens and tables.
func (h Hash) Short() string { return h.String()[:12] }

// MarshalText implements encoding.TextMarshaler.
func (h Hash) MarshalText() ([]byte, error) { return []byte(h.String()), nil }

// UnmarshalText accepts 64 lower-case hexadecimal digits and nothing else.
func (h *Hash) UnmarshalText(text []byte) error {
	got, err := ParseHash(string(text))
	if err != nil {
		return err
	}
	*h = got
	return nil
}

// ParseHash reads 64 lower-case hexadecimal digits.
func ParseHash(s string) (Hash, error) {
	// A temporary, so that nothing is returned unless all of s is well-formed.
	var tmp Hash
	if len(s) != 2*len(tmp) {
		return Hash{}, fmt.Errorf("record: hash has %d characters, want %d", len(s), 2*len(tmp))
	}
	for i := 0; i < len(s); i++ {
		if c := s[i]; (c < '0' || c > '9') && (c < 'a' || c > 'f') {
			return Hash{}, fmt.Errorf("record: hash %q: want lower-case hexadecimal digits", s)
		}
	}
	if _, err := hex.Decode(tmp[:], []byte(s)); err != nil {
		return Hash{}, fmt.Errorf("record: hash %q: %v", s, err)
	}
	return tmp, nil
}
