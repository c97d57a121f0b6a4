// Command holdline is a cockpit for the countdown and arming discipline of
// rocket-boosted model ground vehicles. It can stop a firing; it can never
// start one: no command, key or line of its protocol fires.
//
// Run without arguments it opens the cockpit on an invented vehicle with a
// practice box. See holdline --help.
package main

import (
	"context"
	"os"
)

func main() {
	os.Exit(run(context.Background(), os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}
