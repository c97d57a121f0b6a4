package paint

import (
	"fmt"
	"io"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/charmbracelet/x/ansi"
	"github.com/charmbracelet/x/vt"
)

// terminal is an emulator, and the same screen written plainly, row by row as
// given: that is what the painter is held against.
type terminal struct {
	t   *testing.T
	emu *vt.Emulator
}

func newTerminal(t *testing.T, w, h int) *terminal {
	t.Helper()
	x := &terminal{t, vt.NewEmulator(w, h)}
	done := make(chan struct{})
	go func() { // an emulator that asks must be heard
		defer close(done)
		_, _ = io.Copy(io.Discard, x.emu)
	}()
	t.Cleanup(func() {
		c, ok := x.emu.InputPipe().(io.Closer) // Close of the emulator races with its Read
		if !ok {
			t.Fatal("the emulator's input cannot be closed")
		}
		_ = c.Close()
		<-done
	})
	return x
}

func (x *terminal) write(text string) {
	x.t.Helper()
	if _, err := x.emu.WriteString(text); err != nil {
		x.t.Fatal(err)
	}
}

// cells are what the terminal shows, with colours.
func (x *terminal) cells(w, h int) []string {
	var out []string
	for y := range h {
		var row strings.Builder
		for at := range w {
			c := x.emu.CellAt(at, y)
			if c == nil {
				row.WriteString("(none)")
				continue
			}
			fmt.Fprintf(&row, "%q %d %v %v %v|", orElse(c.Content, " "), c.Width, c.Style.Fg, c.Style.Bg, c.Style.Attrs)
		}
		out = append(out, row.String())
	}
	return out
}

func plainly(view string) string {
	var b strings.Builder
	b.WriteString("\x1b[m\x1b[2J")
	for y, row := range strings.Split(view, "\n") {
		fmt.Fprintf(&b, "\x1b[%d;1H%s\x1b[m", y+1, row)
	}
	return b.String()
}

func compare(t *testing.T, got, want []string, why string) {
	t.Helper()
	for y := range want {
		if got[y] != want[y] {
			t.Fatalf("%s: row %d\n got %s\nwant %s", why, y, got[y], want[y])
		}
	}
}

var pieces = []string{"a", "b", " ", " ", "·", "▰", "⣀", "│", "日", "本", "한", "e\u0301", "é", "👩‍🚀", "ก็", "x", "12.42 V"}

var looks = []string{"", "\x1b[m", "\x1b[1;38;5;16;48;5;231m", "\x1b[22;38;5;244m", "\x1b[48;5;214m", "\x1b[38;2;1;2;3m", "\x1b[31m", "\x1b[39;49m"}

func randomRow(rng *rand.Rand, w int) string {
	var b strings.Builder
	left := w
	for left > 0 && rng.IntN(12) > 0 {
		piece := pieces[rng.IntN(len(pieces))]
		n := ansi.StringWidth(piece)
		if n > left {
			break
		}
		b.WriteString(looks[rng.IntN(len(looks))])
		b.WriteString(piece)
		left -= n
	}
	return b.String() + "\x1b[0m"
}

// Whatever is changed from one frame to the next, sizes too, the terminal shows
// what it would show had everything been written anew.
func TestShowsWhatWritingAllAnewShows(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(3, 5))
	for range 20 {
		w, h := 1+rng.IntN(40), 1+rng.IntN(8)
		x := newTerminal(t, w, h)
		var p Painter
		p.Resize(w, h)
		rows := make([]string, h)
		for step := range 30 {
			if rng.IntN(15) == 0 { // what is beyond the new size is cut by the terminal
				w, h = 1+rng.IntN(40), 1+rng.IntN(8)
				x.emu.Resize(w, h)
				p.Resize(w, h)
				rows = make([]string, h)
			}
			for range rng.IntN(3) {
				rows[rng.IntN(h)] = randomRow(rng, w)
			}
			view := strings.Join(rows, "\n")
			x.write(p.Paint(view))
			plain := newTerminal(t, w, h)
			plain.write(plainly(view))
			compare(t, x.cells(w, h), plain.cells(w, h), fmt.Sprintf("step %d, %d by %d, view %q", step, w, h, view))
			if again := p.Paint(view); again != "" {
				t.Fatalf("the same view again writes %q", again)
			}
		}
	}
}

// A changed cell costs its place, its colours and itself.
func TestAChangedCellIsWrittenAlone(t *testing.T) {
	t.Parallel()
	var p Painter
	p.Resize(40, 3)
	row := "\x1b[38;5;253;48;5;233mbox live                ◐ 14:02:31 ok   \x1b[0m"
	p.Paint("top\n" + row + "\nend")
	got := p.Paint("top\n" + strings.Replace(row, ":31", ":32", 1) + "\nend")
	if want := "\x1b[2;34H\x1b[38;5;253;48;5;233m2\x1b[m"; got != want {
		t.Errorf("got  %q\nwant %q", got, want)
	}
}

// A row is cut to the terminal, and a row too few is empty.
func TestKeepsToTheTerminal(t *testing.T) {
	t.Parallel()
	x := newTerminal(t, 4, 2)
	var p Painter
	p.Resize(4, 2)
	x.write(p.Paint("abcdefg\nabc日\nthird"))
	if got, want := strings.TrimRight(x.emu.String(), " \n"), "abcd\nabc"; got != want {
		t.Errorf("shows %q, want %q", got, want)
	}
	x.write(p.Paint("x"))
	if got, want := strings.TrimSpace(x.emu.String()), "x"; got != want {
		t.Errorf("shows %q, want %q", got, want)
	}
}

func TestNothingBeforeASizeIsKnown(t *testing.T) {
	t.Parallel()
	var p Painter
	if got := p.Paint("anything"); got != "" {
		t.Errorf("wrote %q", got)
	}
	p.Resize(-3, -1)
	_ = p.Paint("anything") // must not panic
}

func BenchmarkPaint(b *testing.B) {
	var p Painter
	p.Resize(200, 50)
	row := "\x1b[38;5;253;48;5;233m" + strings.Repeat("cell", 50) + "\x1b[0m"
	views := [2]string{strings.Repeat(row+"\n", 49) + row, strings.Repeat(strings.ReplaceAll(row, "cell", "call")+"\n", 50)}
	for i := 0; b.Loop(); i++ {
		p.Paint(views[i%2])
	}
}
