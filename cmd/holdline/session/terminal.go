package session

import "strings"

// themeOf is the theme asked for, or the light one where the terminal says by
// COLORFGBG that its background is light; "" leaves the choice to the cockpit,
// which goes plain without colours.
func themeOf(asked string, getenv func(string) string) string {
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
