package tui

import (
	"strings"

	"holdline/arming"
)

// holds reports whether the space bar is HOLD in the phase, whatever is open on
// the screen.
func holds(p arming.Phase) bool {
	switch p {
	case arming.Ready, arming.Armed, arming.Count, arming.Window, arming.Run, arming.Proof, arming.Wait:
		return true
	}
	return false
}

// fold is how names are compared: without case and without blanks, because a
// blank cannot be typed where the space bar is HOLD.
func fold(name string) string {
	return strings.ToLower(strings.Join(strings.Fields(name), ""))
}

// pick returns the name that was meant: by its number in the list, or by its
// beginning when only one begins so.
func pick(typed string, names []string) (string, bool) {
	want := fold(typed)
	if want == "" {
		return "", false
	}
	if n, ok := whole(want); ok && n >= 1 && n <= len(names) {
		return names[n-1], true
	}
	found := ""
	for _, n := range names {
		switch f := fold(n); {
		case f == want:
			return n, true
		case strings.HasPrefix(f, want):
			if found != "" {
				return "", false
			}
			found = n
		}
	}
	return found, found != ""
}

// whole reads a count of at most four figures.
func whole(text string) (int, bool) {
	if text == "" || len(text) > 4 {
		return 0, false
	}
	n := 0
	for _, r := range text {
		if r < '0' || r > '9' {
			return 0, false
		}
		n = 10*n + int(r-'0')
	}
	return n, true
}
