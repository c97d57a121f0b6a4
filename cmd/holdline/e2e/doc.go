// Package e2e drives the real binary by its keys, in a pseudo-terminal, as a
// crew does that reads the screen: from the first screen to a signed record,
// and through every way in which the program can end in the window. The tests
// are built with the tag e2e.
package e2e
