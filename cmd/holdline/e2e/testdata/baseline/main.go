// Command baseline is the least program of its kind to hold the cockpit
// against: the library of the screen alone, a list, a chart of 600 points
// drawn in braille without styles, and a tick of 10 Hz that moves the chart.
// Every key adds one to a number on the screen. With the argument "still" it
// does not tick.
package main

import (
	"fmt"
	"math"
	"os"
	"strings"
	"time"

	tea "github.com/charmbracelet/bubbletea"
)

const (
	points = 600
	every  = 100 * time.Millisecond
)

type tick struct{}

type model struct {
	w, h, keys int
	still      bool
	at         float64
	y          []float64
}

func (m *model) Init() tea.Cmd { return m.tick() }

func (m *model) tick() tea.Cmd {
	if m.still {
		return nil
	}
	return tea.Tick(every, func(time.Time) tea.Msg { return tick{} })
}

func (m *model) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	switch msg := msg.(type) {
	case tick:
		m.grow()
		return m, m.tick()
	case tea.WindowSizeMsg:
		m.w, m.h = msg.Width, msg.Height
	case tea.KeyMsg:
		if msg.Type == tea.KeyCtrlC {
			return m, tea.Quit
		}
		m.keys += max(1, len(msg.Runes))
	}
	return m, nil
}

func (m *model) grow() {
	m.at += 0.1
	m.y = append(m.y[1:], math.Sin(m.at)+0.3*math.Sin(7.3*m.at))
}

func (m *model) View() string {
	if m.w == 0 {
		return ""
	}
	const side = 24
	chart := braille(m.y, max(m.w-side, 1), m.h)
	var b strings.Builder
	for row := range m.h {
		if row > 0 {
			b.WriteByte('\n')
		}
		cell := fmt.Sprintf("  item %d", row)
		if row == 0 {
			cell = fmt.Sprintf("> keys %d.", m.keys)
		}
		fmt.Fprintf(&b, "%-*s", side, cell)
		b.WriteString(string(chart[row]))
	}
	return b.String()
}

// braille draws y into w by h cells of 2 by 4 dots.
func braille(y []float64, w, h int) [][]rune {
	dots := [4][2]rune{{0x01, 0x08}, {0x02, 0x10}, {0x04, 0x20}, {0x40, 0x80}}
	rows := make([][]rune, h)
	for r := range rows {
		rows[r] = []rune(strings.Repeat("\u2800", w))
	}
	for i, v := range y {
		px := i * (2*w - 1) / (len(y) - 1)
		py := int((1.3 - v) / 2.6 * float64(4*h-1))
		if py >= 0 && py < 4*h {
			rows[py/4][px/2] |= dots[py%4][px%2]
		}
	}
	return rows
}

func main() {
	m := &model{y: make([]float64, points), still: len(os.Args) > 1 && os.Args[1] == "still"}
	for range points {
		m.grow()
	}
	if _, err := tea.NewProgram(m, tea.WithAltScreen()).Run(); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}
