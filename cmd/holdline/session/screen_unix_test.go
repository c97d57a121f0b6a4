//go:build !windows

package session

import (
	"bytes"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"holdline/arming"
)

// pipedScreen is a screen whose terminal is a pipe, which takes 64 kB and then
// nothing more until it is read.
func pipedScreen(t *testing.T) (s *screen, read *os.File) {
	t.Helper()
	read, write, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	s = newScreen(write)
	t.Cleanup(func() {
		_ = read.Close() // lets a write that hangs go
		s.close()
		_ = write.Close()
	})
	return s, read
}

// readUntil reads what has been written up to text.
func readUntil(t *testing.T, from *os.File, text string) string {
	t.Helper()
	if err := from.SetReadDeadline(time.Now().Add(10 * time.Second)); err != nil {
		t.Fatal(err)
	}
	var got bytes.Buffer
	buf := make([]byte, 4096)
	for !strings.Contains(got.String(), text) {
		n, err := from.Read(buf)
		got.Write(buf[:n])
		if err != nil {
			t.Fatalf("%q was not written: %v: %q", text, err, got.String())
		}
	}
	return got.String()
}

// Only the alternate screen is painted, and the library's own frames are not.
func TestPaintsTheAlternateScreenOnly(t *testing.T) {
	s, read := pipedScreen(t)
	s.paint("too early")
	for _, text := range []string{"\x1b[?25l", "\x1b[?1049h", "\x1b[2J", "\x1b[H", "\x1b[Hframe of the library"} {
		if n, err := s.Write([]byte(text)); n != len(text) || err != nil {
			t.Fatalf("write %q: %d, %v", text, n, err)
		}
	}
	s.paint("painted")
	for _, text := range []string{"\x1b[2K", "\x1b[?1049l", "\x1b[Hwords after the end"} {
		if _, err := s.Write([]byte(text)); err != nil {
			t.Fatal(err)
		}
	}
	s.paint("too late")
	if _, err := s.Write([]byte("END")); err != nil {
		t.Fatal(err)
	}
	got := readUntil(t, read, "END")
	if want := "\x1b[?25l\x1b[?1049h\x1b[2J\x1b[Hpainted\x1b[2K\x1b[?1049l\x1b[Hwords after the endEND"; got != want {
		t.Errorf("got  %q\nwant %q", got, want)
	}
}

// still is a cockpit that shows its size and the keys it got.
type still struct{ text string }

func (m *still) Init() tea.Cmd { return nil }
func (m *still) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	switch msg := msg.(type) {
	case tea.WindowSizeMsg:
		m.text = fmt.Sprintf("%d by %d", msg.Width, msg.Height)
	case tea.KeyMsg:
		m.text = "key " + msg.String() + "."
	}
	return m, nil
}
func (m *still) View() string { return "first row\n" + m.text }

// Each change goes to the screen, the newest in the end, at the size that the
// terminal has; the library gets one row.
func TestTheNewestFrameIsPainted(t *testing.T) {
	s, read := pipedScreen(t)
	if _, err := s.Write(screenOn); err != nil {
		t.Fatal(err)
	}
	var m tea.Model = painted{model: &still{"start"}, screen: s, w: firstW, h: firstH}
	if got := m.View(); got != "first row" {
		t.Errorf("the library got %q", got)
	}
	readUntil(t, read, "start")
	m, _ = m.Update(tea.WindowSizeMsg{Width: 40, Height: 2})
	_ = m.View()
	if got := readUntil(t, read, "40 by 2"); !strings.Contains(got, "\x1b[2J") {
		t.Errorf("another size is painted without clearing: %q", got)
	}
	for i := range 500 {
		m, _ = m.Update(tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune(fmt.Sprint(i))})
		_ = m.View()
	}
	m, _ = m.Update(tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune("last")})
	_ = m.View()
	readUntil(t, read, "last")
}

// A terminal that takes nothing is no live screen, until it takes again; the
// cockpit goes on meanwhile.
func TestAClogIsSeen(t *testing.T) {
	s, read := pipedScreen(t)
	if _, err := s.Write(screenOn); err != nil {
		t.Fatal(err)
	}
	end := time.Now().Add(20 * time.Second)
	for i := 0; !s.stuck(); i++ {
		if time.Now().After(end) {
			t.Fatal("a clogged terminal was not seen")
		}
		s.show(picture{strings.Repeat(fmt.Sprintf("%07d ", i), 25) + "\n" + strings.Repeat(fmt.Sprintf("%d ", i%7), 90), 200, 2})
		time.Sleep(time.Millisecond)
	}
	go func() { // ends with the pipe
		buf := make([]byte, 1<<16)
		for {
			if _, err := read.Read(buf); err != nil {
				return
			}
		}
	}()
	for s.stuck() {
		if time.Now().After(end) {
			t.Fatal("the terminal takes again, and still counts as clogged")
		}
		time.Sleep(time.Millisecond)
	}
}

// What asks for a frame while nobody sees it is no sign of life: the permit is
// granted on such signs.
func TestAFrameThatNobodySeesIsNotAskedFor(t *testing.T) {
	s, _ := pipedScreen(t)
	d := newDriver(&arming.Plan{}, port{}, nil, clock{opened: time.Now().Add(-time.Minute)}, hooks{})
	x := &session{driver: d, screen: s}
	s.late.Store(1) // on its way since long ago
	_ = x.frameAsked()
	if d.asked.Load() != 0 {
		t.Error("a clogged screen counts as alive")
	}
	s.late.Store(0)
	_ = x.frameAsked()
	if d.asked.Load() == 0 {
		t.Error("a live screen does not count as alive")
	}
}

// A frame that is shown already is not on its way again.
func TestTheSameFrameIsNotPaintedAgain(t *testing.T) {
	s, read := pipedScreen(t)
	if _, err := s.Write(screenOn); err != nil {
		t.Fatal(err)
	}
	p := picture{"a frame", 20, 1}
	s.show(p)
	readUntil(t, read, "a frame")
	for end := time.Now().Add(10 * time.Second); s.late.Load() != 0; time.Sleep(time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal("the frame is painted, and still on its way")
		}
	}
	s.show(p)
	if s.late.Load() != 0 || s.next.Load() != nil {
		t.Error("the same frame is on its way once more")
	}
	s.show(picture{"a frame", 30, 1}) // of another size
	readUntil(t, read, "a frame")
}
