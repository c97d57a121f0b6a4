package session

import "holdline/arming"

// clean makes text from outside fit for the record and the screen.
func clean(text string) string { return arming.Clean(text) }
