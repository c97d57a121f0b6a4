package record

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"strings"
	"time"

	"golang.org/x/crypto/ssh"
)

// AllowedSigner is one line of an allowed_signers file, as ssh-keygen(1)
// describes it: who may sign, with which key, for what and when.
type AllowedSigner struct {
	Line        int
	Principals  string        // pattern list: commas, '*', '?', '!' for not
	Namespaces  string        // pattern list, empty for any
	ValidAfter  time.Time     // zero for no limit
	ValidBefore time.Time     // zero for no limit
	Key         ssh.PublicKey // never nil
}

// maxAllowedSigners is the most bytes an allowed_signers file may have.
const maxAllowedSigners = 4 << 20

// ReadAllowedSigners reads an allowed_signers file. Times without a Z are in
// the system's time zone, as ssh-keygen has it.
func ReadAllowedSigners(path string) ([]AllowedSigner, error) {
	data, err := readLimited(path, maxAllowedSigners)
	if err != nil {
		return nil, fmt.Errorf("record: allowed signers: %w", err)
	}
	return ParseAllowedSigners(path, data, time.Local)
}

// ParseAllowedSigners reads the text of an allowed_signers file. name is used
// in errors; times without a Z are in loc. The whole text must be good: an
// unknown option, a damaged key or a certificate authority, which records do
// not support, is an error that names the line.
func ParseAllowedSigners(name string, data []byte, loc *time.Location) ([]AllowedSigner, error) {
	var signers []AllowedSigner
	for i, line := range bytes.Split(data, []byte("\n")) {
		text := strings.TrimSpace(string(line))
		if text == "" || text[0] == '#' {
			continue
		}
		s, err := parseAllowedSigner(text, loc)
		if err != nil {
			return nil, fmt.Errorf("record: allowed signers: %s:%d: %w", name, i+1, err)
		}
		s.Line = i + 1
		signers = append(signers, s)
	}
	return signers, nil
}

func parseAllowedSigner(text string, loc *time.Location) (AllowedSigner, error) {
	var s AllowedSigner
	principals, rest, err := cutField(text)
	if err != nil {
		return s, fmt.Errorf("principals: %w", err)
	}
	if s.Principals = principals; strings.HasPrefix(principals, `"`) {
		s.Principals = strings.Trim(principals, `"`)
	}
	if s.Principals == "" {
		return s, fmt.Errorf("principals: empty")
	}
	if s.Key, err = parseKey(rest); err == nil {
		return s, nil
	}
	options, afterOptions, cutErr := cutField(rest)
	if cutErr != nil {
		return s, fmt.Errorf("options: %w", cutErr)
	}
	if afterOptions == "" || isKeyType(options) {
		return s, err
	}
	if err := s.parseOptions(options, loc); err != nil {
		return s, err
	}
	s.Key, err = parseKey(afterOptions)
	return s, err
}

// cutField cuts text at the first blank outside double quotes.
func cutField(text string) (field, rest string, err error) {
	quoted := false
	for i := 0; i < len(text); i++ {
		switch {
		case text[i] == '"':
			quoted = !quoted
		case text[i] == '\\' && quoted:
			i++
		case (text[i] == ' ' || text[i] == '\t') && !quoted:
			return text[:i], strings.TrimLeft(text[i:], " \t"), nil
		}
	}
	if quoted {
		return "", "", fmt.Errorf("no closing quote in %q", text)
	}
	return text, "", nil
}

func isKeyType(word string) bool {
	return strings.HasPrefix(word, "ssh-") || strings.HasPrefix(word, "ecdsa-") || strings.HasPrefix(word, "sk-")
}

// parseKey reads the key type, the key in base64, and leaves out a comment.
func parseKey(text string) (ssh.PublicKey, error) {
	fields := strings.Fields(text)
	if len(fields) < 2 {
		return nil, fmt.Errorf("key: found %q, want a key type and a key in base64", text)
	}
	blob, err := base64.StdEncoding.DecodeString(fields[1])
	if err != nil {
		return nil, fmt.Errorf("key: %q is not base64", fields[1])
	}
	key, err := ssh.ParsePublicKey(blob)
	if err != nil {
		return nil, fmt.Errorf("key: %w", err)
	}
	if key.Type() != fields[0] {
		return nil, fmt.Errorf("key: says it is %q and is %q", fields[0], key.Type())
	}
	if _, isCert := key.(*ssh.Certificate); isCert {
		return nil, fmt.Errorf("key: is a certificate, want a plain public key")
	}
	return key, nil
}

// parseOptions reads comma-separated options; values stand in double quotes.
func (s *AllowedSigner) parseOptions(text string, loc *time.Location) error {
	for text != "" {
		end := strings.IndexAny(text, `=,`)
		name, value, quoted := text, "", false
		switch {
		case end < 0:
			text = ""
		case text[end] == ',':
			name, text = text[:end], text[end+1:]
			if text == "" {
				return fmt.Errorf("options: nothing after the last comma")
			}
		default:
			name = text[:end]
			var err error
			if value, text, err = cutQuoted(text[end+1:]); err != nil {
				return fmt.Errorf("option %q: %w", name, err)
			}
			quoted = true
		}
		if err := s.setOption(strings.ToLower(name), value, quoted, loc); err != nil {
			return err
		}
	}
	return nil
}

// cutQuoted reads a value in double quotes and the comma behind it.
func cutQuoted(text string) (value, rest string, err error) {
	if text == "" || text[0] != '"' {
		return "", "", fmt.Errorf("value is not in double quotes")
	}
	var b strings.Builder
	for i := 1; i < len(text); i++ {
		switch {
		case text[i] == '\\' && i+1 < len(text) && text[i+1] == '"':
			b.WriteByte('"')
			i++
		case text[i] == '"':
			rest = text[i+1:]
			if rest == "" {
				return b.String(), "", nil
			}
			if rest[0] != ',' || rest == "," {
				return "", "", fmt.Errorf("found %q after the value, want a comma and another option", rest)
			}
			return b.String(), rest[1:], nil
		default:
			b.WriteByte(text[i])
		}
	}
	return "", "", fmt.Errorf("no closing quote")
}

func (s *AllowedSigner) setOption(name, value string, hasValue bool, loc *time.Location) error {
	var err error
	switch {
	case name == "cert-authority":
		return fmt.Errorf("option cert-authority: certificates are not supported for records: list the signer's own public key")
	case name != "namespaces" && name != "valid-after" && name != "valid-before":
		return fmt.Errorf("option %q: want namespaces, valid-after or valid-before", name)
	case !hasValue || value == "":
		return fmt.Errorf("option %q: has no value", name)
	case name == "namespaces" && s.Namespaces != "",
		name == "valid-after" && !s.ValidAfter.IsZero(),
		name == "valid-before" && !s.ValidBefore.IsZero():
		return fmt.Errorf("option %q: given twice", name)
	case name == "namespaces":
		s.Namespaces = value
	case name == "valid-after":
		s.ValidAfter, err = parseSignerTime(value, loc)
	case name == "valid-before":
		s.ValidBefore, err = parseSignerTime(value, loc)
	}
	if err == nil && !s.ValidAfter.IsZero() && !s.ValidBefore.IsZero() && !s.ValidAfter.Before(s.ValidBefore) {
		return fmt.Errorf("options: valid-before is not later than valid-after")
	}
	if err != nil {
		return fmt.Errorf("option %q: %w", name, err)
	}
	return nil
}

// parseSignerTime reads YYYYMMDD, YYYYMMDDHHMM or YYYYMMDDHHMMSS, each with
// or without a Z for UTC.
func parseSignerTime(text string, loc *time.Location) (time.Time, error) {
	digits, isUTC := strings.CutSuffix(text, "Z")
	if isUTC || loc == nil {
		loc = time.UTC
	}
	layouts := map[int]string{8: "20060102", 12: "200601021504", 14: "20060102150405"}
	layout, ok := layouts[len(digits)]
	if !ok {
		return time.Time{}, fmt.Errorf("time %q: want YYYYMMDD, YYYYMMDDHHMM or YYYYMMDDHHMMSS, with Z for UTC", text)
	}
	t, err := time.ParseInLocation(layout, digits, loc)
	if err != nil {
		return time.Time{}, fmt.Errorf("time %q: %w", text, err)
	}
	return t, nil
}

// refuses says why s does not accept a record's signature of its own key at
// the time at, by principal when that is not empty; empty when it accepts.
func (s AllowedSigner) refuses(principal string, at time.Time) string {
	switch {
	case principal != "" && !matchList(s.Principals, principal):
		return fmt.Sprintf("key belongs to %q, not to %q", s.Principals, principal)
	case s.Namespaces != "" && !matchList(s.Namespaces, Namespace):
		return fmt.Sprintf("key is accepted for %q, not for %q", s.Namespaces, Namespace)
	case s.ValidAfter.IsZero() && s.ValidBefore.IsZero():
		return ""
	case at.IsZero():
		return "key is valid for a time only, and no time to judge it by is given"
	case !s.ValidAfter.IsZero() && at.Before(s.ValidAfter):
		return fmt.Sprintf("key is valid from %s on", s.ValidAfter.UTC().Format(time.RFC3339))
	case !s.ValidBefore.IsZero() && at.After(s.ValidBefore):
		return fmt.Sprintf("key was valid until %s", s.ValidBefore.UTC().Format(time.RFC3339))
	}
	return ""
}

// matchList reports whether text matches a pattern list of ssh_config(5): at
// least one pattern matches, and none that begins with '!'.
func matchList(list, text string) bool {
	found := false
	for pattern := range strings.SplitSeq(list, ",") {
		pattern, not := strings.CutPrefix(pattern, "!")
		if !matchPattern(pattern, text) {
			continue
		}
		if not {
			return false
		}
		found = true
	}
	return found
}

// matchPattern matches '*' with any characters and '?' with one, without
// stepping back further than the last '*'.
func matchPattern(pattern, text string) bool {
	p, t, star, mark := 0, 0, -1, 0
	for t < len(text) {
		switch {
		case p < len(pattern) && pattern[p] == '*':
			star, mark = p, t
			p++
		case p < len(pattern) && (pattern[p] == '?' || pattern[p] == text[t]):
			p++
			t++
		case star >= 0:
			mark++
			p, t = star+1, mark
		default:
			return false
		}
	}
	return strings.Trim(pattern[p:], "*") == ""
}
