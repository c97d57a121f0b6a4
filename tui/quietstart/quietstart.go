// Package quietstart keeps a program that uses Bubble Tea from waiting five
// seconds at its start.
//
// Bubble Tea v1 asks the terminal for its background colour while it is being
// initialised and waits up to five seconds for terminals that do not answer.
// The question is not asked where the environment says CI; so this package
// says so before Bubble Tea is initialised, and takes it back afterwards
// ([Restore], called by package tui when it is initialised).
//
// Why it comes first: Go initialises packages in the order of their import
// paths among those whose imports are ready. This package imports os alone, so
// it is ready as soon as os is; Bubble Tea imports os/signal, which also waits
// for os and sorts after holdline/. It must therefore never import anything
// but os.
package quietstart

import "os"

const variable = "CI"

var set bool

func init() {
	if os.Getenv(variable) == "" {
		set = os.Setenv(variable, "holdline start") == nil
	}
}

// Restore takes back what the start needed. It may be called again.
func Restore() {
	if set {
		set = os.Unsetenv(variable) != nil
	}
}
