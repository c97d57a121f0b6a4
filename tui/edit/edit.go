// Package edit is a form that changes the values of a run sheet: every entry
// with its unit and what it is, the prediction's limits live beside it, and
// what would make the run a go.
//
// The package reads no clock, opens nothing and starts no goroutine. It edits
// the sheet's text through package sheet, so that comments and layout stay.
// Whatever takes time is asked for through Config and comes back as a message;
// each piece of work has a number, and what comes late of an older one is
// dropped.
package edit

import (
	"bytes"
	"errors"
	"fmt"
	"slices"

	tea "github.com/charmbracelet/bubbletea"

	"holdline/checklist/prediction"
	"holdline/checklist/sheet"
	"holdline/checklist/sheet/unit"
	"holdline/tui/quietstart"
	"holdline/tui/strokes"
	"holdline/tui/theme"
)

func init() { quietstart.Restore() }

// Config joins the form to its shell.
type Config struct {
	Path  string // of the sheet, as people know it
	Text  []byte // as read
	Units unit.System
	Theme string // "light", "dark", "plain", "" to choose by the terminal
	ASCII bool   // the locale is not UTF-8

	// Work starts a piece of work and returns at once. A newer piece ends the
	// one before.
	Work func(Work)
	// Save writes the text over the file, which must still read was, or, with
	// over, whatever it reads. It is called beside Update.
	Save func(was, now []byte, over bool) error
}

// Work is what the shell is asked for. Its answers are Checked, then Predicted,
// then one Ranged for each key and one Counted, each with its number.
type Work struct {
	Number  int
	Text    []byte
	Predict bool     // false: it is known already
	Keys    []string // entries whose go values are wanted, the most wanted first
	Motors  bool     // with how many motors it is a go
}

// Checked is a text read as a sheet: its faults, none where it is one.
type Checked struct {
	Number int
	Faults sheet.Faults
}

// Progress says how far the work is.
type Progress struct {
	Number int
	What   string
	Share  float64
}

// Predicted is the prediction of a text.
type Predicted struct {
	Number  int
	Run     *prediction.Run
	Circuit *prediction.Circuit
	Err     error
}

// Ranged is at which values of one entry the sheet is a go.
type Ranged struct {
	Number int
	Key    string
	Range  prediction.Range
	Err    error
}

// Counted is with how many of its motors the sheet is a go.
type Counted struct {
	Number int
	Counts []prediction.MotorCount
	Err    error
}

// Worked ends a piece of work.
type Worked struct{ Number int }

// saved is what came of a save.
type saved struct {
	text []byte
	err  error
}

// standing are the entries whose go values are always shown.
var standing = []string{"site.clear_length", "vehicle.mass"}

// answers are what is known of the present text.
type answers struct {
	faults  sheet.Faults
	run     *prediction.Run
	circuit *prediction.Circuit
	err     error
	ranges  map[string]Ranged
	counts  *Counted
}

// both reports whether run and circuit are known.
func (a *answers) both() bool { return a.run != nil && a.circuit != nil }

// isGo reports a go: only when run and circuit both say so.
func (a *answers) isGo() bool { return a.both() && a.run.Go && a.circuit.Go }

// limits are all limits of run and circuit.
func (a *answers) limits() []prediction.Limit {
	if !a.both() {
		return nil
	}
	return slices.Concat(a.run.Limits, a.circuit.Limits)
}

// moment is one step of the history: a text and where the cursor was.
type moment struct {
	text []byte
	at   string
}

// screen is what fills the window.
type screen int

const (
	screenForm screen = iota
	screenHelp
	screenLeave   // unsaved values: save, throw away, or stay
	screenChanged // the file has changed on disk
)

// Model is the form.
type Model struct {
	cfg    Config
	theme  *theme.Theme
	w, h   int
	screen screen
	scroll int // of the help

	saved   []byte // as it is on disk, as far as is known
	saves   int    // how often it was saved
	text    []byte
	past    []moment
	future  []moment
	groups  []sheet.Group
	rows    []row
	at      int // in rows
	top     int // first row shown
	changed map[string]string

	field *field
	said  string // what came of the last key
	bad   bool   // it is a refusal

	number  int // of the newest work
	newest  answers
	shown   answers // the last that had a prediction
	asked   string  // the entry whose go values were asked for
	working bool
	what    string
	share   float64
	saving  bool
	leaving bool // once it is saved
	found   string
}

// New returns the form. The text must be TOML.
func New(cfg Config) (*Model, error) {
	m := &Model{cfg: cfg, theme: theme.New(cfg.Theme), w: 80, h: 24, saved: cfg.Text, text: cfg.Text}
	if err := m.outline(); err != nil {
		return nil, err
	}
	m.at = m.next(-1, 1, func(r *row) bool { return !r.heading })
	return m, nil
}

// Init starts the first piece of work.
func (m *Model) Init() tea.Cmd {
	m.begin()
	return nil
}

// Saved returns how often the text was saved, and what is on disk.
func (m *Model) Saved() (times int, text []byte) { return m.saves, m.saved }

// Lost is how many values are not as they are on disk.
func (m *Model) Lost() int { return len(m.changed) }

// Unsaved reports whether there is anything to lose.
func (m *Model) Unsaved() bool { return !bytes.Equal(m.text, m.saved) }

// Update takes one message.
func (m *Model) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	switch msg := msg.(type) {
	case tea.WindowSizeMsg:
		m.w, m.h = msg.Width, msg.Height
	case tea.KeyMsg:
		return m, m.onKeys(msg)
	case saved:
		return m, m.onSaved(msg)
	default:
		m.onAnswer(msg)
	}
	return m, nil
}

// onAnswer takes an answer of the newest work; any other is too late.
func (m *Model) onAnswer(msg tea.Msg) {
	switch msg := msg.(type) {
	case Checked:
		if msg.Number == m.number {
			m.newest.faults = msg.Faults
			m.flag()
		}
	case Progress:
		if msg.Number == m.number {
			m.what, m.share = msg.What, msg.Share
		}
	case Predicted:
		if msg.Number == m.number {
			m.newest.run, m.newest.circuit, m.newest.err = msg.Run, msg.Circuit, msg.Err
			m.shown = m.newest
		}
	case Ranged:
		if msg.Number == m.number {
			m.newest.ranges[msg.Key] = msg
			if text, s := m.rangeText(msg.Key); msg.Key == m.asked {
				m.say(s != theme.Good, m.label(msg.Key)+", a go with: "+text)
			}
		}
	case Counted:
		if msg.Number == m.number {
			m.newest.counts = &msg
		}
	case Worked:
		if msg.Number == m.number {
			m.working = false
		}
	}
}

// begin asks for everything about the present text.
func (m *Model) begin() {
	m.number++
	m.newest = answers{ranges: map[string]Ranged{}}
	m.asked = ""
	m.work(true)
}

// work asks for what is missing.
func (m *Model) work(predict bool) {
	w := Work{Number: m.number, Text: bytes.Clone(m.text), Predict: predict, Motors: m.newest.counts == nil}
	for _, key := range append([]string{m.asked}, standing...) {
		if _, known := m.newest.ranges[key]; !known && key != "" && !slices.Contains(w.Keys, key) {
			w.Keys = append(w.Keys, key)
		}
	}
	m.working, m.what, m.share = true, "prediction", 0
	if m.cfg.Work != nil {
		m.cfg.Work(w)
	}
}

// change puts a new text in the place of the present one.
func (m *Model) change(text []byte, at string) {
	if bytes.Equal(text, m.text) {
		return
	}
	m.past = append(m.past, moment{m.text, m.here()})
	m.future = nil
	m.take(text, at)
}

// take shows a text, the cursor on one of its keys.
func (m *Model) take(text []byte, at string) {
	m.text = text
	if err := m.outline(); err != nil { // sheet has checked it
		m.say(true, err.Error())
	}
	m.goTo(at)
	m.begin()
}

// undo goes one step back, or with forth one step forward.
func (m *Model) undo(forth bool) {
	from, to, none := &m.past, &m.future, "nothing to undo"
	if forth {
		from, to, none = &m.future, &m.past, "nothing to redo"
	}
	n := len(*from)
	if n == 0 {
		m.say(true, none)
		return
	}
	step := (*from)[n-1]
	*from = (*from)[:n-1]
	*to = append(*to, moment{m.text, step.at})
	m.take(step.text, step.at)
	m.say(false, "")
}

func (m *Model) say(bad bool, text string) { m.said, m.bad = text, bad }

// save asks the shell to write the text.
func (m *Model) save(over bool) tea.Cmd {
	if m.saving || m.cfg.Save == nil {
		return nil
	}
	if !m.Unsaved() && !over {
		m.say(false, "nothing to save: the file reads so already")
		return m.mayLeave()
	}
	m.saving = true
	was, now, write := m.saved, m.text, m.cfg.Save
	return func() tea.Msg { return saved{now, write(was, now, over)} }
}

func (m *Model) onSaved(msg saved) tea.Cmd {
	m.saving = false
	switch {
	case errors.Is(msg.err, sheet.ErrChanged):
		m.screen = screenChanged
		return nil
	case msg.err != nil:
		m.leaving = false
		m.say(true, "NOT SAVED: "+msg.err.Error())
		return nil
	}
	m.saved = msg.text
	m.saves++
	m.mark()
	m.say(false, "saved")
	if n := len(m.newest.faults); n > 0 {
		m.say(true, fmt.Sprintf("saved with %s: no other command reads it so", counted(n, "fault")))
	}
	return m.mayLeave()
}

// mayLeave ends the form when leaving waited for the save.
func (m *Model) mayLeave() tea.Cmd {
	if !m.leaving {
		return nil
	}
	m.leaving = false
	return m.leave()
}

// leave ends the form, asking first when something is not saved. Asked again
// it ends without.
func (m *Model) leave() tea.Cmd {
	switch {
	case m.saving && m.screen != screenLeave:
		m.leaving = true
		return nil
	case !m.Unsaved() || m.screen == screenLeave:
		return tea.Quit
	}
	m.screen, m.field = screenLeave, nil
	return nil
}

// onKeys takes one message of keys.
func (m *Model) onKeys(msg tea.KeyMsg) tea.Cmd {
	if msg.Paste && m.field == nil {
		m.say(true, "a paste outside a field was thrown away")
		return nil
	}
	var cmds []tea.Cmd
	for _, s := range strokes.Of(msg) {
		if cmd := m.onStroke(s); cmd != nil {
			cmds = append(cmds, cmd)
		}
	}
	return tea.Batch(cmds...)
}

func (m *Model) onStroke(s strokes.Stroke) tea.Cmd {
	switch {
	case s.Name == "ctrl+c":
		return m.leave()
	case m.screen == screenHelp:
		m.onHelpKey(s)
	case m.screen == screenLeave:
		return m.onLeaveKey(s)
	case m.screen == screenChanged:
		return m.onChangedKey(s)
	case m.field != nil:
		m.onFieldKey(s)
	default:
		return m.onFormKey(s)
	}
	return nil
}

func (m *Model) onHelpKey(s strokes.Stroke) {
	switch s.Name {
	case "down":
		m.scroll++
	case "up":
		m.scroll = max(0, m.scroll-1)
	default:
		m.screen, m.scroll = screenForm, 0
	}
}

func (m *Model) onLeaveKey(s strokes.Stroke) tea.Cmd {
	switch s.Name {
	case "s":
		m.screen, m.leaving = screenForm, true
		return m.save(false)
	case "n":
		return tea.Quit
	case "esc":
		m.screen = screenForm
	}
	return nil
}

func (m *Model) onChangedKey(s strokes.Stroke) tea.Cmd {
	switch s.Name {
	case "o":
		m.screen = screenForm
		return m.save(true)
	case "esc":
		m.screen, m.leaving = screenForm, false
		m.say(true, "NOT SAVED: "+sheet.ErrChanged.Error())
	}
	return nil
}

// counted is a number with its noun.
func counted(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
