package tui

import (
	"reflect"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"holdline/arming"
	"holdline/tui/canvas"
	"holdline/tui/quietstart"
	"holdline/tui/theme"
)

func init() { quietstart.Restore() }

// The lengths of a tick, and how far a key may come after the last one before
// it counts as typed at a screen that stood still.
const (
	tickIdle = 100 * time.Millisecond
	tickFast = 50 * time.Millisecond
	stallMax = time.Second

	moveEvery = 95 * time.Millisecond // what only moves with time is drawn ten times a second
)

type tickMsg struct{}

// Model is the root of the cockpit: size, page, the newest frame and the form
// that is open. It decides nothing about a firing.
type Model struct {
	cfg    Config
	theme  *theme.Theme
	frame  Frame
	w, h   int
	page   page
	scroll int
	form   *form
	tour   int    // stop of the tour, counted from 1; 0 for none
	chosen string // the task chosen by hand, "" for the one at hand
	said   string // a word about the last key, until the next
	sent   string // the task that was sent last, for the place of its refusal
	hand   map[Hand]time.Time

	view    string        // as last drawn
	canvas  canvas.Canvas // drawn on again, so that a frame leaves little behind
	changed bool          // something is not yet in it
	moved   time.Time     // when what moves with time was last drawn

	list []task // what can be done in this frame
	due  int    // which of it is due, -1 for nothing

	measuredM float64       // the stopping position that was typed in, 0 for none
	pressed   time.Duration // how long the button was kept pressed, as last seen
	volts     trace

	forecast forecast
	pulse    pulse
	rung     uint64 // how often the bell was to ring, as last seen
	silent   bool
}

// NewModel returns the cockpit.
func NewModel(cfg Config) tea.Model {
	m := &Model{cfg: cfg, theme: theme.New(cfg.Theme), w: 80, h: 24, hand: map[Hand]time.Time{}}
	m.take()
	if cfg.Tour && m.mayTour() {
		m.tour = 1
	}
	return m
}

// Options returns how the program has to be run: on the alternate screen, with
// the terminal telling when it loses the keyboard.
func Options() []tea.ProgramOption {
	return []tea.ProgramOption{tea.WithAltScreen(), tea.WithReportFocus()}
}

// Init starts the tick.
func (m *Model) Init() tea.Cmd { return m.tick() }

// tick comes when there is a newer frame, or by time where nobody says so.
func (m *Model) tick() tea.Cmd {
	if await := m.cfg.Await; await != nil {
		return func() tea.Msg {
			await()
			return tickMsg{}
		}
	}
	every := tickIdle
	if p := m.frame.State.Phase; p >= arming.Armed && p <= arming.Wait {
		every = tickFast
	}
	return tea.Tick(every, func(time.Time) tea.Msg { return tickMsg{} })
}

// take gets the newest frame. In SETUP and CLOSED the screen is drawn anew once
// a second, and at once when anything but time and the age of a reading has
// changed.
func (m *Model) take() {
	if m.cfg.Latest == nil {
		return
	}
	was, f := m.frame.State.Phase, m.cfg.Latest()
	turned := m.pulse.update(&f)
	moving := turned || f.State.Phase >= arming.Ready && f.State.Phase != arming.Closed
	if moving && f.Wall.Sub(m.moved).Abs() >= moveEvery {
		m.moved, m.changed = f.Wall, true
	}
	m.changed = m.changed || differs(&m.frame, &f)
	m.frame = f
	if s := &m.frame.State; s.Phase == arming.Run {
		m.pressed = s.Now.Since(s.RunPressAt)
	}
	if m.frame.State.Phase != was {
		m.phaseChanged()
	}
	if turned {
		m.volts.take(&m.frame.State.Box, slow(m.frame.State.Phase))
	}
	if m.changed {
		m.list, m.due = tasks(&m.frame)
	}
	m.forecast.update(&m.frame)
}

// differs reports whether two frames differ in more than time.
func differs(a, b *Frame) bool {
	switch {
	case a.Plan != b.Plan, a.Sheet != b.Sheet, a.Run != b.Run, a.Circuit != b.Circuit, a.Computing != b.Computing,
		len(a.Log) != len(b.Log), a.Refusal != b.Refusal, a.Loud != b.Loud, a.SoFar != b.SoFar, a.Record != b.Record,
		!reflect.DeepEqual(a.Drill, b.Drill), !reflect.DeepEqual(a.Hands, b.Hands):
		return true
	}
	if n := len(a.Log); n > 0 && a.Log[n-1] != b.Log[n-1] {
		return true
	}
	s := b.State // compared with the old clocks
	s.Now, s.Skew, s.Box.Seen, s.Box.ScanSeen, s.Box.Scan = a.State.Now, a.State.Skew, a.State.Box.Seen, a.State.Box.ScanSeen, a.State.Box.Scan
	return s != a.State
}

// phaseChanged closes what belonged to the phase before.
func (m *Model) phaseChanged() {
	// The question whether to leave stays: asking it has called HOLD, and the
	// change that follows must not swallow the answer.
	if m.form == nil || m.form.task != taskLeave {
		m.form = nil
	}
	m.chosen, m.said, m.tour = "", "", 0
	switch m.frame.State.Phase {
	case arming.Armed, arming.Count, arming.Window, arming.Run, arming.Hold, arming.Wait:
		m.page = pageMain
	}
}

// ring rings the bell once beside next when a frame has called for it.
func (m *Model) ring(next tea.Cmd) tea.Cmd {
	due := m.frame.Rings != m.rung
	m.rung = m.frame.Rings
	if !due || m.silent || m.cfg.Bell == nil {
		return next
	}
	bell := m.cfg.Bell
	return tea.Batch(next, func() tea.Msg { bell(); return nil })
}

// Update takes one message.
func (m *Model) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	if _, is := msg.(tickMsg); is {
		m.take()
		return m, m.ring(m.tick())
	}
	m.changed = true
	switch msg := msg.(type) {
	case tea.WindowSizeMsg:
		m.w, m.h = msg.Width, msg.Height
	case tea.BlurMsg:
		m.submit(arming.FocusLost{})
	case tea.KeyMsg:
		return m, m.onKeys(msg)
	}
	return m, nil
}

// newest looks past the last tick, so that a HOLD pressed in the moment of a
// change is a HOLD.
func (m *Model) newest() *Frame {
	if m.cfg.Latest == nil {
		return &m.frame
	}
	f := m.cfg.Latest()
	return &f
}

func (m *Model) submit(ev arming.Event) {
	if r, is := ev.(arming.Result); is && r.HasRest {
		m.measuredM = r.RestM
	}
	if m.cfg.Submit != nil {
		m.cfg.Submit(ev)
	}
}
