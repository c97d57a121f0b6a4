package tui

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/x/ansi"
	"github.com/charmbracelet/x/vt"
	"github.com/google/go-cmp/cmp"

	"holdline/arming"
	"holdline/tui/theme"
)

// glass is a terminal, as an emulator, that shows one view after the other.
type glass struct {
	t    *testing.T
	emu  *vt.Emulator
	w, h int
}

func newGlass(t *testing.T, w, h int) *glass {
	t.Helper()
	g := &glass{t: t, emu: vt.NewEmulator(w, h), w: w, h: h}
	t.Cleanup(func() { _ = g.emu.Close() })
	return g
}

func (g *glass) resize(w, h int) {
	g.w, g.h = w, h
	g.emu.Resize(w, h)
}

// show writes a whole view as Bubble Tea does: from the first row on, each row
// emptied to its end unless the view fills it.
func (g *glass) show(view string) {
	g.t.Helper()
	rows := strings.Split(view, "\n")
	for i, row := range rows {
		if row = ansi.Truncate(row, g.w, ""); ansi.StringWidth(row) < g.w {
			row += ansi.EraseLineRight
		}
		rows[i] = row
	}
	if _, err := g.emu.WriteString(ansi.CursorHomePosition + "\r" + strings.Join(rows, "\r\n") + ansi.CursorPosition(0, len(rows))); err != nil {
		g.t.Fatal(err)
	}
}

// text is what a person reads on it.
func (g *glass) text() string {
	rows := strings.Split(g.emu.String(), "\n")
	for i := range rows {
		rows[i] = strings.TrimRight(rows[i], " ")
	}
	return strings.TrimRight(strings.Join(rows, "\n"), "\n")
}

// colours compares every cell with the theme: both colours set where it has
// colours, none where it has not.
func (g *glass) colours(name string) {
	g.t.Helper()
	for y := range g.h {
		for x := range g.w {
			c := g.emu.CellAt(x, y)
			if c == nil {
				g.t.Fatalf("no cell %d, %d of %d by %d", x, y, g.w, g.h)
			}
			if c.Width == 0 {
				continue // the second half of a wide character
			}
			if set := c.Style.Fg != nil && c.Style.Bg != nil; set != (name != "plain") {
				g.t.Fatalf("theme %s, %d by %d: cell %d, %d %q has the colours %v on %v", name, g.w, g.h, x, y, c.Content, c.Style.Fg, c.Style.Bg)
			}
		}
	}
}

// Every golden screen, in every theme, as the terminal shows it: from one to
// the next on the same terminal, larger and smaller, so that whatever is left
// behind is seen. The words are the same in every theme.
func TestGoldenScreensOnATerminal(t *testing.T) {
	t.Parallel()
	for _, sc := range scenes() {
		t.Run(sc.name, func(t *testing.T) {
			t.Parallel()
			w := newWorld(t, sc.mode)
			sc.act(w)
			g := newGlass(t, 80, 24)
			for _, name := range theme.Names() {
				w.m.theme = theme.New(name)
				for _, size := range [][2]int{{200, 50}, {60, 15}, {80, 24}, {120, 36}, {100, 30}} {
					w.m.Update(tea.WindowSizeMsg{Width: size[0], Height: size[1]})
					g.resize(size[0], size[1])
					g.show(w.m.View())
					path := filepath.Join("testdata", fmt.Sprintf("%s-%dx%d.golden", sc.name, size[0], size[1]))
					want, err := os.ReadFile(path)
					if err != nil {
						t.Fatal(err)
					}
					if d := cmp.Diff(strings.TrimRight(string(want), "\n"), g.text()); d != "" {
						t.Fatalf("theme %s: the terminal does not show %s (-want +got):\n%s", name, path, d)
					}
					g.colours(name)
				}
			}
		})
	}
}

// Names of every kind leave nothing behind on the terminal, and what stands
// beside them stays in its place.
func TestNamesOfEveryKindOnATerminal(t *testing.T) {
	t.Parallel()
	g := newGlass(t, 80, 24)
	for _, name := range []string{"日本 花子", "e\u0301e\u0301e\u0301", "👩‍🚀 Rider", "한글 이름", "Zoë Ångström", "a\u202egnirts"} {
		w := newWorld(t, arming.ModeBox)
		w.m.theme = theme.New("light")
		for _, key := range []string{"", "o", "s", "l", "esc"} {
			if key == "" {
				w.fill(name)
			} else {
				w.m.Update(keyMsg(key))
			}
			view := w.m.View()
			g.show(view)
			fresh := newGlass(t, 80, 24)
			fresh.show(view)
			if d := cmp.Diff(fresh.text(), g.text()); d != "" {
				t.Fatalf("%q, key %q: something was left behind (-fresh +got):\n%s", name, key, d)
			}
			g.colours("light")
			for y := range 24 { // the rule between the panels stands in one column
				if c := g.emu.CellAt(38, y); y > 3 && y < 18 && w.m.page == pageMain && c.Content != "│" && c.Content != "├" {
					t.Fatalf("%q, key %q: column 38 of row %d is %q\n%s", name, key, y, c.Content, g.text())
				}
			}
		}
	}
}
