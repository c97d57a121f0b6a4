package main

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"holdline/checklist/sheet"
)

// The exit status of every subcommand.
const (
	exitYes   = 0 // go, valid, done
	exitFail  = 1 // it could not be done
	exitUsage = 2 // the command line is wrong
	exitNo    = 3 // it was done, and the answer is no
	exitPart  = 4 // a part of it was done, without a no
)

// errAnswerNo ends a command whose answer, printed already, is no.
var errAnswerNo = errors.New("the answer is no")

// errIncomplete ends a command that has said already what it left out.
var errIncomplete = errors.New("incomplete")

// usageError is a command line that cannot be obeyed.
type usageError struct {
	err  error
	path string // of the command, for the hint
}

func (e *usageError) Error() string { return e.err.Error() }

// hintedError is an error with its remedy.
type hintedError struct {
	err  error
	hint string
}

func (e *hintedError) Error() string { return e.err.Error() }
func (e *hintedError) Unwrap() error { return e.err }

// withHint adds the remedy to an error; a nil error stays nil.
func withHint(err error, format string, args ...any) error {
	if err == nil {
		return nil
	}
	return &hintedError{err, fmt.Sprintf(format, args...)}
}

// insides are names of packages that errors begin with and people do not know.
var insides = []string{"session", "scenario", "starter", "record", "sheet", "unit", "practice", "prediction", "groundbox", "report"}

// withoutPackages is an error without the names of packages that it begins with.
func withoutPackages(err error) string {
	text := err.Error()
	for {
		before, rest, found := strings.Cut(text, ": ")
		if !found || !slices.Contains(insides, before) {
			return text
		}
		text = rest
	}
}

// report tells people on w why a command ended, and returns its exit status.
func report(w io.Writer, err error) int {
	var usage *usageError
	var hinted *hintedError
	var faults sheet.Faults
	switch {
	case err == nil:
		return exitYes
	case errors.Is(err, errAnswerNo):
		return exitNo
	case errors.Is(err, errIncomplete):
		return exitPart
	case errors.As(err, &usage):
		fmt.Fprintf(w, "holdline: %v\nhint: %s --help\n", usage.err, usage.path)
		return exitUsage
	case errors.As(err, &faults):
		fmt.Fprint(w, faults.Text())
		return exitFail
	}
	// A further line stands back: it is no answer, wherever its text came from.
	for line := range strings.SplitSeq("holdline: "+strings.ReplaceAll(withoutPackages(err), "\n", "\n  "), "\n") {
		_ = tell(w, "%s", line)
	}
	if errors.As(err, &hinted) {
		_ = tell(w, "hint: %s", hinted.hint)
	}
	return exitFail
}
