// Package golden compares screens with those kept in testdata, at every size
// that a screen is drawn for. It is for tests alone.
package golden

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/charmbracelet/lipgloss"
	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "write the golden screens anew; look at every difference")

// Sizes are the windows that screens are kept for. The last is too small for
// a whole screen.
var Sizes = [][2]int{{80, 24}, {100, 30}, {120, 36}, {200, 50}, {60, 15}}

// Screens draws a moment at every size, and in ASCII, and compares each screen
// with its window and with the one kept.
func Screens(t *testing.T, moment string, draw func(w, h int, ascii bool) string) {
	t.Helper()
	for _, size := range Sizes {
		view := draw(size[0], size[1], false)
		Fits(t, view, size[0], size[1])
		kept(t, fmt.Sprintf("%s-%dx%d", moment, size[0], size[1]), view)
	}
	view := draw(Sizes[0][0], Sizes[0][1], true)
	Fits(t, view, Sizes[0][0], Sizes[0][1])
	for _, r := range view {
		if r > '~' {
			t.Fatalf("%q on an ASCII screen\n%s", r, view)
		}
	}
	kept(t, moment+"-ascii", view)
}

// Fits compares every line with the width and the screen with the height.
func Fits(t interface {
	Errorf(string, ...any)
	Helper()
}, view string, w, h int) {
	t.Helper()
	lines := strings.Split(view, "\n")
	if len(lines) != h {
		t.Errorf("%d lines, want %d", len(lines), h)
	}
	for i, l := range lines {
		if n := lipgloss.Width(l); n > w {
			t.Errorf("line %d is %d columns wide, the screen %d: %q", i, n, w, l)
		}
	}
}

// kept compares a screen with the one in testdata, or with -update puts it
// there.
func kept(t *testing.T, name, view string) {
	t.Helper()
	path := filepath.Join("testdata", name+".golden")
	view += "\n"
	if *update {
		if err := os.MkdirAll("testdata", 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(view), 0o666); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(want), view); d != "" {
		t.Errorf("%s differs (-want +got):\n%s", path, d)
	}
}
