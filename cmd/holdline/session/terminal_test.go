package session

import "testing"

func TestThemeOfTheTerminal(t *testing.T) {
	for _, c := range []struct {
		asked string
		env   map[string]string
		want  string
	}{
		{"", nil, ""},
		{"", map[string]string{"COLORFGBG": "0;15"}, "light"},
		{"", map[string]string{"COLORFGBG": "0;default;7"}, "light"},
		{"", map[string]string{"COLORFGBG": "15;0"}, ""},
		{"dark", map[string]string{"COLORFGBG": "0;15"}, "dark"},
		{"", map[string]string{"COLORFGBG": "0;15", "NO_COLOR": "1"}, ""},
		{"", map[string]string{"COLORFGBG": "0;15", "TERM": "dumb"}, ""},
	} {
		if got := themeOf(c.asked, func(name string) string { return c.env[name] }); got != c.want {
			t.Errorf("%q with %v: %q, want %q", c.asked, c.env, got, c.want)
		}
	}
}
