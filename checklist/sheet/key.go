package sheet

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
)

// keyStep is one name of a dotted key, or one index, from 1.
type keyStep struct {
	name  string
	index int // 0 for a name
}

// splitKey takes a dotted key apart.
func splitKey(key string) ([]keyStep, error) {
	bad := fmt.Errorf("sheet: set: malformed key %q", key)
	var path []keyStep
	rest := key
	for rest != "" {
		switch {
		case rest[0] == '[':
			digits, after, ok := strings.Cut(rest[1:], "]")
			n, err := strconv.Atoi(digits)
			if !ok || err != nil || n < 1 || len(path) == 0 {
				return nil, bad
			}
			path, rest = append(path, keyStep{index: n}), after
		default:
			if len(path) > 0 {
				if rest[0] != '.' {
					return nil, bad
				}
				rest = rest[1:]
			}
			name, after, err := firstName(rest)
			if err != nil {
				return nil, bad
			}
			path, rest = append(path, keyStep{name: name}), after
		}
	}
	if len(path) == 0 {
		return nil, bad
	}
	return path, nil
}

// wholeKey is a dotted key as faults write it.
func wholeKey(path []keyStep) string {
	key := ""
	for _, step := range path {
		if step.index > 0 {
			key = indexKey(key, step.index)
		} else {
			key = joinKey(key, step.name)
		}
	}
	return key
}

func firstName(s string) (name, rest string, err error) {
	if strings.HasPrefix(s, `"`) {
		quoted, err := strconv.QuotedPrefix(s)
		if err != nil {
			return "", "", err
		}
		name, err = strconv.Unquote(quoted)
		return name, s[len(quoted):], err
	}
	end := strings.IndexAny(s, ".[")
	if end < 0 {
		end = len(s)
	}
	if !bareKey(s[:end]) {
		return "", "", errors.New("sheet: set: not a bare key")
	}
	return s[:end], s[end:], nil
}

// joinKey appends a name to a dotted path.
func joinKey(path, name string) string {
	if !bareKey(name) {
		name = strconv.Quote(name)
	}
	if path == "" {
		return name
	}
	return path + "." + name
}

// indexKey appends an index, from 1, to a dotted path.
func indexKey(path string, n int) string { return path + "[" + strconv.Itoa(n) + "]" }

func bareKey(s string) bool {
	for _, c := range s {
		if !(c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == '_' || c == '-') {
			return false
		}
	}
	return s != ""
}
