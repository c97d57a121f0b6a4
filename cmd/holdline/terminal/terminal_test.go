package terminal

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
		if got := Theme(c.asked, func(name string) string { return c.env[name] }); got != c.want {
			t.Errorf("%q with %v: %q, want %q", c.asked, c.env, got, c.want)
		}
	}
}

func TestLocale(t *testing.T) {
	for lang, want := range map[string]bool{"": true, "C": false, "en_GB.UTF-8": true, "C.utf8": true, "en_US.ISO-8859-1": false} {
		if got := UTF8(func(name string) string { return map[string]string{"LANG": lang}[name] }); got != want {
			t.Errorf("%q: %v", lang, got)
		}
	}
	if UTF8(func(name string) string { return map[string]string{"LC_ALL": "C", "LANG": "en_GB.UTF-8"}[name] }) {
		t.Error("LC_ALL does not go before LANG")
	}
}
