package tui

import "regexp"

// readingPattern finds voltages and resistances, which are always read or
// typed; predicted values have neither unit on the screen without the word.
var readingPattern = regexp.MustCompile(`\d (V|Ω|ohm)\b|key (in|out) ·|lead \d reads`)
