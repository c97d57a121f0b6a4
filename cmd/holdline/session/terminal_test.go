package session

import (
	"fmt"
	"io"
	"os"
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"holdline/arming"
	"holdline/tui"
)

// counted is a cockpit that shows another frame every 5 ms.
type counted int

func (c counted) Init() tea.Cmd {
	return tea.Tick(5*time.Millisecond, func(time.Time) tea.Msg { return c })
}
func (c counted) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	if _, is := msg.(counted); is {
		return c + 1, c.Init()
	}
	return c, nil
}
func (c counted) View() string { return strings.Repeat(fmt.Sprintf("%07d ", c), 10) }

func within(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(20 * time.Second); !ok(); time.Sleep(time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("not within 20 s: %s", what)
		}
	}
}

// A terminal that takes nothing ends the permit while Bubble Tea draws on it. It
// is a pipe that nobody reads. Once it is read again it counts as alive.
func TestATerminalThatTakesNothingEndsThePermit(t *testing.T) {
	b := newBench(t)
	b.wanting()
	read, write, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	x := &timedTerminal{file: write}
	b.hooks.stuck = x.standsStill
	program := tea.NewProgram(counted(0), append(tui.Options(), tea.WithOutput(x), tea.WithInput(nil), tea.WithoutSignalHandler())...)
	over := make(chan error)
	go func() {
		_, err := program.Run()
		over <- err
	}()
	within(t, "the first frame is drawn", x.drawn.Load)
	b.asked.Store(int64(b.clock.mono()))
	if stalled := b.renew(); len(stalled) != 0 || len(b.grants) != 1 {
		t.Fatalf("%v, %d grants with a terminal that takes all", stalled, len(b.grants))
	}
	within(t, "the terminal is full", x.standsStill)
	b.asked.Store(int64(b.clock.mono())) // the cockpit still asked for a frame
	if stalled := b.renew(); len(stalled) != 1 || stalled[0] != (arming.Stalled{Part: "screen"}) || len(b.grants) != 1 || !b.was("off") {
		t.Errorf("%v, %d grants, told %v with a terminal that takes nothing", stalled, len(b.grants), b.told)
	}
	go func() { _, _ = io.Copy(io.Discard, read) }() // ends with the pipe
	within(t, "the terminal is alive again", func() bool { return !x.standsStill() })
	program.Quit()
	if err := <-over; err != nil {
		t.Error(err)
	}
	_, _ = write.Close(), read.Close()
}
