// Package terminal is what is known of the terminal itself: what it can show, by
// the environment, and how its bytes are read so that no paste keeps a key back.
package terminal

import "strings"

// Theme is the theme asked for, or the light one where the terminal says by
// COLORFGBG that its background is light; "" leaves the choice to the cockpit,
// which goes plain without colours.
func Theme(asked string, getenv func(string) string) string {
	if asked != "" || getenv("NO_COLOR") != "" || getenv("TERM") == "dumb" {
		return asked
	}
	colours := strings.Split(getenv("COLORFGBG"), ";")
	switch colours[len(colours)-1] {
	case "7", "15":
		return "light"
	}
	return ""
}

// UTF8 reports whether the terminal may be sent more than ASCII. Only a
// locale that says otherwise is taken at its word.
func UTF8(getenv func(string) string) bool {
	for _, name := range []string{"LC_ALL", "LC_CTYPE", "LANG"} {
		if v := strings.ToUpper(getenv(name)); v != "" {
			return strings.Contains(v, "UTF-8") || strings.Contains(v, "UTF8")
		}
	}
	return true
}
