//go:build !linux && !darwin

package practice

import "errors"

// StartPTY reports that this system has no pseudo-terminals; use Box.Dial.
func StartPTY(*Box) (path string, stop func(), err error) {
	return "", nil, errors.New("practice: start pty: this system has no pseudo-terminals")
}
