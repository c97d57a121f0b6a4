package session

import (
	"bytes"
	"os"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"holdline/tui/paint"
)

// Times of the screen.
const (
	paintEvery  = 8 * time.Millisecond   // least time between two frames
	paintStuck  = 200 * time.Millisecond // a frame on its way for longer is no live screen
	libraryRate = 1                      // frames a second that the library paints
)

// screen paints the frames of the cockpit as soon as they change. The library
// would look 60 times a second whether there is one, which costs as much as
// all else at rest, and lets a key wait for its turn. So the library is left
// with what it does well, to set the terminal up and to give it back in every
// kind of end; it writes through the screen, which paints only while the
// alternate screen is on, and drops what the library itself would paint there.
type screen struct {
	tty   *os.File
	next  atomic.Pointer[picture] // newest, nil when it is painted
	kick  chan struct{}           // capacity 1
	quit  chan struct{}
	done  chan struct{}
	first chan struct{} // closed when a frame has been painted
	late  atomic.Int64  // since when a frame is on its way, in Unix ns; 0 for none
	shown picture       // the last one taken; of the goroutine that shows

	mu sync.Mutex // one write at a time; guards on
	on bool       // the alternate screen is
}

// picture is a frame with the size that it was drawn for.
type picture struct {
	view string
	w, h int
}

func newScreen(tty *os.File) *screen {
	s := &screen{tty: tty, kick: make(chan struct{}, 1), quit: make(chan struct{}), done: make(chan struct{}), first: make(chan struct{})}
	go s.run()
	return s
}

// show takes the newest frame. It never blocks.
func (s *screen) show(p picture) {
	if p == s.shown {
		return // it stands, or is on its way
	}
	s.shown = p
	s.next.Store(&p)
	s.late.CompareAndSwap(0, time.Now().UnixNano())
	select {
	case s.kick <- struct{}{}:
	default:
	}
}

// stuck reports that the terminal takes nothing: what is on it is old.
func (s *screen) stuck() bool {
	since := s.late.Load()
	return since != 0 && time.Since(time.Unix(0, since)) > paintStuck
}

// run paints until the screen is closed.
func (s *screen) run() {
	defer close(s.done)
	var p paint.Painter
	var w, h int
	var last time.Time
	for {
		select {
		case <-s.quit:
			return
		case <-s.kick:
		}
		time.Sleep(time.Until(last.Add(paintEvery)))
		now := s.next.Swap(nil)
		if now == nil {
			continue
		}
		if now.w != w || now.h != h {
			w, h = now.w, now.h
			p.Resize(w, h)
		}
		s.paint(p.Paint(now.view))
		if last.IsZero() {
			close(s.first)
		}
		last = time.Now()
		s.late.Store(0)
		if s.next.Load() != nil { // came meanwhile
			s.late.CompareAndSwap(0, time.Now().UnixNano())
		}
	}
}

func (s *screen) paint(text string) {
	if text == "" {
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.on {
		_, _ = s.tty.WriteString(text) // a terminal that is gone ends the program elsewhere
	}
}

// close ends the painting. A write that the terminal does not take is left
// behind.
func (s *screen) close() {
	close(s.quit)
	select {
	case <-s.done:
	case <-time.After(paintStuck):
	}
}

// The switches of the alternate screen.
var (
	screenOn  = []byte("\x1b[?1049h")
	screenOff = []byte("\x1b[?1049l")
)

// home begins each frame of the library, in one write.
var home = []byte("\x1b[H")

// Write is how the library writes: nothing is painted before it has switched to
// the alternate screen, or after it has left it.
func (s *screen) Write(b []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.on && len(b) > len(home) && bytes.HasPrefix(b, home) {
		return len(b), nil
	}
	if bytes.Contains(b, screenOff) {
		s.on = false
	}
	n, err := s.tty.Write(b)
	if bytes.Contains(b, screenOn) {
		s.on = true
	}
	return n, err
}

// Read, Close and Fd make the screen what the library takes for a terminal.
func (s *screen) Read(b []byte) (int, error) { return s.tty.Read(b) }
func (s *screen) Close() error               { return s.tty.Close() }
func (s *screen) Fd() uintptr                { return s.tty.Fd() }

// painted is a cockpit whose frames the screen paints.
type painted struct {
	model  tea.Model
	screen *screen
	w, h   int
}

// The size that a terminal has until it says another.
const (
	firstW = 80
	firstH = 24
)

// Init implements tea.Model.
func (p painted) Init() tea.Cmd { return p.model.Init() }

// Update implements tea.Model.
func (p painted) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	if size, is := msg.(tea.WindowSizeMsg); is {
		p.w, p.h = size.Width, size.Height
	}
	var cmd tea.Cmd
	p.model, cmd = p.model.Update(msg)
	return p, cmd
}

// View implements tea.Model: the whole goes to the screen, and the first row to
// the library, which may do no harm with it.
func (p painted) View() string {
	view := p.model.View()
	p.screen.show(picture{view, p.w, p.h})
	first, _, _ := strings.Cut(view, "\n")
	return first
}
