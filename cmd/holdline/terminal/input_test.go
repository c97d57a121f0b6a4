package terminal

import (
	"bytes"
	"os"
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"holdline/tui/strokes"
)

// Each read is what came at a time of its own, in milliseconds.
type read struct {
	at   int
	text string
}

const start, end = "\x1b[200~", "\x1b[201~"

// What comes of a paste is handed on at once; the keys that stop go ahead of it,
// and after 0.3 s without a byte a paste is over.
func TestAPasteKeepsNothingBack(t *testing.T) {
	for name, c := range map[string]struct {
		reads []read
		want  string // what is handed on, read by read
	}{
		"keys":                        {[]read{{0, "a \x1b[A"}, {1, "\x1b"}}, "a \x1b[A|\x1b"},
		"a whole paste":               {[]read{{0, "x" + start + "a b" + end + "y"}}, "x" + start + "a b" + end + "y"},
		"no end":                      {[]read{{0, start}, {100, " "}, {200, "q\x03\x00"}}, "|" + start + " " + end + "|\x03\x00" + start + "q" + end},
		"no end, then quiet":          {[]read{{0, start + "a"}, {300, " q"}}, start + "a" + end + "| q"},
		"an end in two reads":         {[]read{{0, start + "a\x1b[2"}, {9, "01~q"}}, start + "a" + end + "|" + start + end + "q"},
		"no end after all":            {[]read{{0, start + "a\x1b[2"}, {9, "0 q"}}, start + "a" + end + "|" + start + "\x1b[20 q" + end},
		"a start in two reads":        {[]read{{0, "a\x1b[2"}, {9, "00~b"}}, "a\x1b[2|" + start + "b" + end},
		"a mark that was never begun": {[]read{{0, "\x1b"}, {400, "[200~"}}, "\x1b|[200~"},
	} {
		var p pastes
		var got []string
		for _, r := range c.reads {
			got = append(got, string(p.take(time.UnixMilli(int64(r.at)), []byte(r.text), false)))
		}
		if strings.Join(got, "|") != c.want {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
	}
	var p pastes
	burst := bytes.Repeat([]byte("\x1b[A"), 20)
	if got := string(p.take(time.UnixMilli(0), burst, true)); got != start+string(burst)+end {
		t.Errorf("a full read: %q", got)
	}
}

// keys is a program that hands on the keys it gets.
type keys chan tea.KeyMsg

func (k keys) Init() tea.Cmd { return nil }
func (k keys) View() string  { return "" }
func (k keys) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	if msg, is := msg.(tea.KeyMsg); is {
		if msg.Type == tea.KeyCtrlC {
			return k, tea.Quit
		}
		if strokes.IsSpace(msg) {
			k <- msg
		}
	}
	return k, nil
}

// Bubble Tea itself, on a pipe: behind a paste without its end and behind a
// burst of keys, space comes through within 0.3 s, and ctrl+c ends the program.
func TestBubbleTeaGetsSpaceAndCtrlC(t *testing.T) {
	for name, before := range map[string]string{
		"a paste without its end": start + "text",
		"a burst of keys":         strings.Repeat("\x1b[B", 50_000),
	} {
		in, write, err := os.Pipe()
		if err != nil {
			t.Fatal(err)
		}
		spaces, over := make(keys, 9), make(chan error, 1)
		program := tea.NewProgram(spaces, tea.WithInput(NewInput(in)), tea.WithOutput(new(bytes.Buffer)), tea.WithoutSignalHandler())
		go func() {
			_, err := program.Run()
			over <- err
		}()
		if _, err := write.WriteString(before); err != nil { // the pipe takes so much only as it is read
			t.Fatal(err)
		}
		began := time.Now()
		_, _ = write.WriteString(" ")
		select {
		case <-spaces:
			if late := time.Since(began); late > 300*time.Millisecond {
				t.Errorf("%s: space after %v", name, late)
			}
		case <-time.After(5 * time.Second):
			t.Errorf("%s: no space", name)
		}
		_, _ = write.WriteString("\x03")
		select {
		case err := <-over:
			if err != nil {
				t.Error(err)
			}
		case <-time.After(5 * time.Second):
			t.Errorf("%s: no ctrl+c", name)
			program.Kill()
		}
		_, _ = write.Close(), in.Close()
	}
}
