package tui

import (
	"fmt"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"holdline/arming"
	"holdline/tui/canvas"
	"holdline/tui/quietstart"
	"holdline/tui/strokes"
	"holdline/tui/theme"
)

func init() { quietstart.Restore() }

// page is one of the screens.
type page int

// The pages. The zero value is the cockpit itself.
const (
	pageMain page = iota
	pageRun
	pageCircuit
	pagePeople
	pageLog
	pageSteps
	pageHelp
	pageWords
)

// The lengths of a tick, and how far a key may come after the last one before
// it counts as typed at a screen that stood still.
const (
	tickIdle = 100 * time.Millisecond
	tickFast = 50 * time.Millisecond
	stallMax = time.Second
	handGap  = 800 * time.Millisecond // nearer presses of a hand's key are its repeat

	moveEvery = 95 * time.Millisecond // what only moves with time is drawn ten times a second
)

type tickMsg struct{}

// Model is the root of the cockpit: size, page, the newest frame and the form
// that is open. It decides nothing about a firing.
type Model struct {
	cfg    Config
	keys   KeyMap
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

	view    string // as last drawn
	canvas  canvas.Canvas
	strip   strip
	changed bool      // something is not yet in it
	moved   time.Time // when what moves with time was last drawn

	list []task // what can be done in this frame
	due  int    // which of it is due, -1 for nothing

	measuredM float64       // the rest that was typed in, 0 for none
	pressed   time.Duration // how long the button was kept pressed, as last seen
	volts     trace

	forecast forecast
	pulse    pulse
	rung     uint64 // how often the bell was to ring, as last seen
	silent   bool
}

// NewModel returns the cockpit.
func NewModel(cfg Config) tea.Model {
	m := &Model{cfg: cfg, keys: Keys(), theme: theme.New(cfg.Theme), w: 80, h: 24, hand: map[Hand]time.Time{}}
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
		a.Drill.differs(b.Drill), len(a.Log) != len(b.Log), a.Refusal != b.Refusal, a.Loud != b.Loud, a.SoFar != b.SoFar, a.Record != b.Record, (a.Hands == nil) != (b.Hands == nil):
		return true
	}
	if n := len(a.Log); n > 0 && a.Log[n-1] != b.Log[n-1] {
		return true
	}
	if a.Hands != nil {
		x, y := a.Hands, b.Hands
		if x.KeyIn != y.KeyIn || x.Button != y.Button || x.Battery != y.Battery || x.Igniters != y.Igniters || x.Shunt != y.Shunt || len(x.Lit) != len(y.Lit) {
			return true
		}
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

func (m *Model) submit(ev arming.Event) {
	if r, is := ev.(arming.Result); is && r.HasRest {
		m.measuredM = r.RestM
	}
	if m.cfg.Submit != nil {
		m.cfg.Submit(ev)
	}
}

// onKeys takes one message of keys: HOLD first, whatever else is in it.
func (m *Model) onKeys(msg tea.KeyMsg) tea.Cmd {
	phase := m.newestPhase()
	if strokes.IsSpace(msg) && (m.spaceHolds() || holds(phase)) {
		m.hold()
		return nil
	}
	if msg.Paste {
		m.said = "a paste was thrown away: answers are typed"
		return nil
	}
	if m.stalled() {
		m.said = "keys typed while the screen stood still were thrown away"
		return nil
	}
	m.said = ""
	for _, s := range strokes.Of(msg) {
		if cmd := m.onStroke(s); cmd != nil {
			return cmd
		}
	}
	return nil
}

// newestPhase looks past the last tick, so that a HOLD pressed in the moment
// of a change is a HOLD.
func (m *Model) newestPhase() arming.Phase {
	if m.cfg.Latest == nil {
		return m.frame.State.Phase
	}
	f := m.cfg.Latest()
	return f.State.Phase
}

// stalled reports whether ticks have been missed.
func (m *Model) stalled() bool {
	if m.cfg.Latest == nil {
		return false
	}
	f := m.cfg.Latest()
	return f.Wall.Sub(m.frame.Wall) > stallMax
}

// spaceHolds reports whether the space bar is HOLD, or calls everyone back,
// where the cursor is now.
func (m *Model) spaceHolds() bool { return m.form == nil || !m.blankTypes() }

// blankTypes reports whether the space bar types a blank in an open field: in
// SETUP, MAKESAFE, HOLD and CLOSED, where a field is opened on purpose and no
// permit is near. In PROOF and from READY to WAIT it never does.
func (m *Model) blankTypes() bool { return !holds(m.frame.State.Phase) }

// hold calls HOLD, before anything else is done with the key.
func (m *Model) hold() {
	m.submit(arming.HoldCall{})
	m.form, m.page, m.chosen = nil, pageMain, ""
	m.said = ""
}

// onStroke takes one key.
func (m *Model) onStroke(s strokes.Stroke) tea.Cmd {
	switch {
	case is(s, m.keys.Leave):
		return m.leave()
	case m.onHand(s):
		return nil
	case m.form != nil:
		return m.onFormKey(s)
	case is(s, m.keys.Hold):
		m.hold()
		return nil
	}
	if !m.onTourKey(s) {
		m.onMainKey(s)
	}
	return nil
}

// onFormKey gives a key to the open form.
func (m *Model) onFormKey(s strokes.Stroke) tea.Cmd {
	if is(s, m.keys.Back) {
		m.form = nil
		return nil
	}
	done, ev := m.form.press(s, m.blankTypes())
	if !done {
		return nil
	}
	leave := m.form.task == taskLeave
	m.sent, m.form, m.chosen, m.page = m.form.task, nil, "", pageMain
	if ev != nil {
		m.submit(ev)
	}
	if leave {
		return tea.Quit
	}
	return nil
}

// onMainKey takes a key while no field is open.
func (m *Model) onMainKey(s strokes.Stroke) {
	k := m.keys
	switch {
	case is(s, k.Enter):
		m.enter()
	case is(s, k.Next):
		m.move(1)
	case is(s, k.Prev):
		m.move(-1)
	case is(s, k.Back):
		m.page, m.scroll, m.chosen = pageMain, 0, ""
	case is(s, k.Scrub) && m.mayScrub():
		m.openForm(scrubTask(&m.frame).open())
	case is(s, k.TakeBack):
		if t := m.atHand(); m.mayTakeBack(t) {
			m.openForm(withdrawForm(&m.frame.Plan.Steps[t.step]))
		}
	case is(s, k.Waive):
		if t := m.atHand(); m.mayWaive(t) {
			m.openForm(waiveForm(&m.frame, &m.frame.Plan.Steps[t.step]))
		}
	case is(s, k.Tour) && m.cfg.Move != nil:
		m.startTour()
	case is(s, k.Theme):
		m.theme = theme.New(theme.Next(m.theme.Name))
	case is(s, k.Bell):
		m.silent = !m.silent
		m.said = "the bell rings"
		if m.silent {
			m.said = "the bell is silent"
		}
	default:
		m.turnPage(s)
	}
}

// turnPage goes to another page, or back to the cockpit by the same key.
func (m *Model) turnPage(s strokes.Stroke) {
	k := m.keys
	for _, p := range []struct {
		is bool
		to page
	}{{is(s, k.Run), pageRun}, {is(s, k.Circuit), pageCircuit}, {is(s, k.People), pagePeople}, {is(s, k.Log), pageLog},
		{is(s, k.Steps), pageSteps}, {is(s, k.Help), pageHelp}, {is(s, k.Words), pageWords}} {
		switch {
		case !p.is:
			continue
		case m.page == p.to:
			m.page, m.scroll = pageMain, 0
		case m.mayTurn():
			m.page, m.scroll = p.to, 0
		}
		return
	}
	if s.Text != "" {
		m.said = fmt.Sprintf("%s does nothing now: enter opens the answer, %s shows the keys", s.Text, m.keys.Help.Help().Key)
	}
}

// mayTurn keeps the count on the screen.
func (m *Model) mayTurn() bool {
	p := m.frame.State.Phase
	return p != arming.Count && p != arming.Window && p != arming.Run
}

// enter opens the task at hand: its page first where there is one to read.
func (m *Model) enter() {
	t := m.atHand()
	switch {
	case m.page != pageMain && m.page != t.see && m.page != pageSteps:
		m.page, m.scroll = pageMain, 0
	case t.open == nil:
		m.said = "nothing is typed here: " + lower(t.ask)
	case t.see != pageMain && m.page != t.see:
		m.page, m.scroll = t.see, 0
	default:
		m.openForm(t.open())
	}
}

func (m *Model) openForm(fm *form) {
	switch fm.task {
	case "arm/code":
		fm.secret = m.cfg.TryCode
	case taskCounter:
		fm.send = m.sendCounter
	case arming.StepCode:
		if m.frame.State.Phase == arming.Setup || m.frame.State.Phase == arming.Ready {
			fm.secret = m.cfg.SetCode
		}
	}
	m.form = fm
	if m.page != pageRun {
		m.page = pageMain
	}
}

// move chooses another task, or scrolls a page.
func (m *Model) move(by int) {
	if m.page != pageMain && m.page != pageSteps {
		m.scroll = max(0, m.scroll+by)
		return
	}
	list, at := m.list, m.due
	if len(list) == 0 {
		return
	}
	for i := range list {
		if list[i].id == m.chosen {
			at = i
		}
	}
	m.chosen = list[(at+by+len(list))%len(list)].id
}

// atHand returns the task that enter opens: the one chosen, else the one due.
func (m *Model) atHand() task {
	for i := range m.list {
		if m.list[i].id == m.chosen {
			return m.list[i]
		}
	}
	if m.due < 0 {
		return task{step: -1}
	}
	return m.list[m.due]
}

func (m *Model) mayScrub() bool {
	switch m.frame.State.Phase {
	case arming.Setup, arming.Ready, arming.Armed, arming.Hold:
		return len(officers(&m.frame.State)) > 0
	}
	return false
}

func (m *Model) mayTakeBack(t task) bool {
	p := m.frame.State.Phase
	return t.step >= 0 && m.frame.State.Evidence[t.step].Present && (p == arming.Setup || p == arming.Ready || p == arming.Hold)
}

func (m *Model) mayWaive(t task) bool {
	return t.step >= 0 && m.frame.Plan.Steps[t.step].Waivable() && m.frame.State.Phase == arming.Setup
}

// taskLeave is the form that ends the program.
const taskLeave = "leave"

// leave stops first, then asks; asked again it ends the program.
func (m *Model) leave() tea.Cmd {
	p := m.frame.State.Phase
	if p == arming.Closed || m.form != nil && m.form.task == taskLeave {
		m.submit(arming.Quit{Why: "ctrl+c"})
		return tea.Quit
	}
	if p >= arming.Ready && p <= arming.Run || p == arming.Proof {
		m.submit(arming.HoldCall{})
	}
	m.page = pageMain
	const stay = "type leave, or esc to stay"
	m.form = &form{task: taskLeave, title: "LEAVE THE COCKPIT?", note: "The record is ended, the permit stays open. ctrl+c again leaves at once."}
	m.form.fields, m.form.send = typed("leave", stay, stay, arming.Quit{Why: "asked to leave"})
	return nil
}

// onHand moves a hand of the practice box. A key that repeats moves it once.
func (m *Model) onHand(s strokes.Stroke) bool {
	k, hand := m.keys, HandNone
	switch {
	case is(s, k.HandKey):
		hand = HandKey
	case is(s, k.HandBattery):
		hand = HandBattery
	case is(s, k.HandIgniters):
		hand = HandIgniters
	case is(s, k.HandShunt):
		hand = HandShunt
	case is(s, k.HandButton):
		hand = HandButtonDown
	default:
		return false
	}
	if m.cfg.Move == nil {
		return true
	}
	now := m.frame.Wall
	if m.cfg.Latest != nil {
		f := m.cfg.Latest()
		now = f.Wall
	}
	last, pressed := m.hand[hand]
	m.hand[hand] = now
	if pressed && now.Sub(last) < handGap && now.After(last) {
		return true
	}
	if hand == HandButtonDown && m.frame.Hands != nil && m.frame.Hands.Button {
		hand = HandButtonUp
	}
	m.cfg.Move(hand)
	return true
}
