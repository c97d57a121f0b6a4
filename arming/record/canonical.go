package record

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strconv"

	"github.com/gowebpki/jcs"
)

// maxInteger is the largest whole number that every JSON reader keeps exactly
// (RFC 8785 appendix D, RFC 7493 section 2.2).
const maxInteger = 1<<53 - 1

// canonicalBody returns raw in the canonical form of RFC 8785. It refuses
// whatever is not one JSON object, and any number beyond ±(2^53 − 1), which
// the canonical form would round without a word.
func canonicalBody(raw []byte) ([]byte, error) {
	out, err := jcs.Transform(raw)
	if err != nil {
		return nil, fmt.Errorf("body is not JSON that has a canonical form: %w", err)
	}
	if len(out) == 0 || out[0] != '{' {
		return nil, fmt.Errorf("body is not a JSON object")
	}
	if err := checkNumbers(out); err != nil {
		return nil, err
	}
	return out, nil
}

// checkNumbers looks at every number of a canonical text. Canonical numbers
// of 2^53 and more are written as plain digits up to 1e21 and with "e+" above.
func checkNumbers(canonical []byte) error {
	for i := 0; i < len(canonical); {
		switch c := canonical[i]; {
		case c == '"':
			i = afterString(canonical, i)
		case c == '-' || (c >= '0' && c <= '9'):
			end := i + 1
			for end < len(canonical) && bytes.IndexByte([]byte("0123456789.eE+-"), canonical[end]) >= 0 {
				end++
			}
			if err := checkNumber(string(canonical[i:end])); err != nil {
				return err
			}
			i = end
		default:
			i++
		}
	}
	return nil
}

// afterString returns the index behind the string that starts at i.
func afterString(canonical []byte, i int) int {
	for i++; i < len(canonical); i++ {
		switch canonical[i] {
		case '\\':
			i++
		case '"':
			return i + 1
		}
	}
	return i
}

func checkNumber(token string) error {
	v, err := strconv.ParseFloat(token, 64)
	if err != nil || v > maxInteger || v < -maxInteger {
		return fmt.Errorf("number %s is beyond 2^53 - 1 and would be rounded: write it as a string", token)
	}
	return nil
}

// Canonical turns a body as callers give it into canonical bytes: nil gives
// an empty object, json.RawMessage and []byte are JSON already, anything else
// goes through encoding/json.
func Canonical(body any) ([]byte, error) {
	var raw []byte
	switch b := body.(type) {
	case nil:
		raw = []byte("{}")
	case json.RawMessage:
		raw = bytes.Clone(b) // the caller may write into it again
	case []byte:
		raw = bytes.Clone(b)
	default:
		var err error
		if raw, err = json.Marshal(body); err != nil {
			return nil, fmt.Errorf("body cannot be written as JSON: %w", err)
		}
	}
	return canonicalBody(raw)
}
