package tui

import (
	"fmt"
	"time"

	"github.com/charmbracelet/bubbles/key"
	tea "github.com/charmbracelet/bubbletea"

	"holdline/arming"
	"holdline/tui/strokes"
	"holdline/tui/theme"
)

// spaceIsHold reports whether the space bar is HOLD in the phase, whatever is open on
// the screen.
func spaceIsHold(p arming.Phase) bool {
	switch p {
	case arming.Ready, arming.Armed, arming.Count, arming.Window, arming.Run, arming.Proof, arming.Wait:
		return true
	}
	return false
}

// onKeys takes one message of keys: HOLD first, whatever else is in it.
func (m *Model) onKeys(msg tea.KeyMsg) tea.Cmd {
	newest := m.newest()
	if strokes.IsSpace(msg) && (m.spaceHolds() || spaceIsHold(newest.State.Phase)) {
		m.hold()
		return nil
	}
	if msg.Paste {
		m.said = "a paste was thrown away: answers are typed"
		return nil
	}
	if newest.Wall.Sub(m.frame.Wall) > stallMax { // ticks have been missed
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

// spaceHolds reports whether the space bar is HOLD, or calls everyone back,
// where the cursor is now.
func (m *Model) spaceHolds() bool { return m.form == nil || !m.blankTypes() }

// blankTypes reports whether the space bar types a blank in an open field: in
// SETUP, MAKESAFE, HOLD and CLOSED, where a field is opened on purpose and no
// permit is near. In PROOF and from READY to WAIT it never does.
func (m *Model) blankTypes() bool { return !spaceIsHold(m.frame.State.Phase) }

// hold calls HOLD, before anything else is done with the key.
func (m *Model) hold() {
	m.submit(arming.HoldCall{})
	m.form, m.page, m.chosen = nil, pageMain, ""
	m.said = ""
}

// onStroke takes one key.
func (m *Model) onStroke(s strokes.Stroke) tea.Cmd {
	switch {
	case is(s, keyLeave):
		return m.leave()
	case m.onHand(s):
		return nil
	case m.form != nil:
		return m.onFormKey(s)
	case is(s, keyHold):
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
	if is(s, keyBack) {
		m.form = m.form.back
		return nil
	}
	done, ev := m.form.press(s, m.blankTypes())
	if ahead := m.form.ahead; ahead != nil {
		ahead.back, m.form.ahead = m.form, nil
		m.form = ahead
	}
	if !done {
		return nil
	}
	leave := m.form.task == taskLeave
	m.sent, m.form, m.chosen, m.page = m.form.task, m.form.back, "", pageMain
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
	switch {
	case is(s, keyEnter):
		m.enter()
	case is(s, keyNext):
		m.move(1)
	case is(s, keyPrev):
		m.move(-1)
	case is(s, keyBack):
		m.page, m.scroll, m.chosen = pageMain, 0, ""
	case is(s, keyScrub) && m.mayScrub():
		m.openForm(scrubTask(&m.frame).open())
	case is(s, keyTakeBack):
		if t := m.atHand(); m.mayTakeBack(t) {
			m.openForm(withdrawForm(&m.frame.Plan.Steps[t.step]))
		}
	case is(s, keyWaive):
		if t := m.atHand(); m.mayWaive(t) {
			m.openForm(waiveForm(&m.frame, &m.frame.Plan.Steps[t.step]))
		}
	case is(s, keyPass):
		if t := m.atHand(); m.mayPass(t) {
			m.submit(arming.Answer{Step: m.frame.Plan.Steps[t.step].ID, Means: arming.MeansPassed})
		}
	case is(s, keyTour) && m.cfg.Move != nil:
		m.startTour()
	case is(s, keyTheme):
		m.theme = theme.New(theme.Next(m.theme.Name))
	case is(s, keyBell):
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
	for p, to := range pages {
		switch {
		case !is(s, to.key):
			continue
		case m.page == p:
			m.page, m.scroll = pageMain, 0
		case m.mayTurn():
			m.page, m.scroll = p, 0
		}
		return
	}
	if s.Text != "" {
		m.said = fmt.Sprintf("%s does nothing now: enter opens the answer, %s shows the keys", s.Text, keyHelp.Help().Key)
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

// mayPass reports a step that the sheet lets the crew pass over.
func (m *Model) mayPass(t task) bool {
	return t.step >= 0 && m.frame.Plan.Steps[t.step].Optional && !m.frame.State.Evidence[t.step].Present
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

// hands are the practice box's hands, each with the key that moves it.
var hands = []struct {
	key  key.Binding
	hand Hand
}{{keyHandKey, HandKey}, {keyHandBattery, HandBattery}, {keyHandIgniters, HandIgniters}, {keyHandShunt, HandShunt}, {keyHandButton, HandButtonDown}}

// handGap is how near two presses of a hand's key are its repeat.
const handGap = 800 * time.Millisecond

// onHand moves a hand of the practice box. A key that repeats moves it once.
func (m *Model) onHand(s strokes.Stroke) bool {
	for _, h := range hands {
		if is(s, h.key) {
			m.moveHand(h.hand)
			return true
		}
	}
	return false
}

func (m *Model) moveHand(hand Hand) {
	if m.cfg.Move == nil {
		return
	}
	now := m.newest().Wall
	last, pressed := m.hand[hand]
	m.hand[hand] = now
	if pressed && now.Sub(last) < handGap && now.After(last) {
		return
	}
	if hand == HandButtonDown && m.frame.Hands != nil && m.frame.Hands.Button {
		hand = HandButtonUp
	}
	m.cfg.Move(hand)
}
