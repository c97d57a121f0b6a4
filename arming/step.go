package arming

import (
	"fmt"
	"slices"
	"time"
)

// Lengths that no sheet can change.
const (
	gapFromArmed = 250 * time.Millisecond // longest gap between two ticks from ARMED on
	clockApart   = time.Second            // how far the clocks may part at once
	clockSlew    = 2000                   // one part in so many that they may part by slowly, for ever
	waitStepMost = time.Second            // longest step that WAIT counts (I-19)
	recordLimit  = 500 * time.Millisecond // longest time for an entry to reach the disk
	armPair      = 30 * time.Second       // from the firing officer's entry to the code
	runMost      = 3 * time.Second        // no motion 3 s after the press is a misfire (NFPA 1127 4.13.3, read second-hand)
	noPulseLimit = time.Second            // how soon after OFF the box must show that no pulse began
	codeTriesMax = 3
	pauseLate    = time.Second      // how much later than its mark a pause of the count may stand
	phaseLeft    = 20 * time.Minute // a phase left unfinished for so long begins again (common practice, no source)
)

// machine is one step under way: a copy of the state and the effects so far.
type machine struct {
	p         *Plan
	s         State
	fx        []Effect
	confirmed bool      // the event's own entry is on disk
	forward   bool      // the line was OPEN when the step began
	fell      []Blocker // answers withdrawn in this step, with what took them away
}

// Step applies ev at now to s and returns the next state and the effects to
// carry out, in order. It does no I/O, reads no clock and keeps nothing. A
// refused event leaves the state as it was, but for what time alone has done,
// and returns a *RefusedError.
func Step(p *Plan, s State, now Instant, ev Event) (State, []Effect, error) {
	m := machine{p: p, s: s, forward: s.Line == LineOpen}
	m.clocks(now, ev)
	before, kept := m.s, len(m.fx)
	err := m.dispatch(ev)
	if err != nil {
		m.s, m.fx = before, m.fx[:kept]
	}
	m.timers()
	m.settle()
	m.lease()
	return m.s, m.fx, err
}

// clocks takes in the time before the event itself is looked at (I-26): a gap
// or a jump withdraws what is timed and stops.
func (m *machine) clocks(now Instant, ev Event) {
	if _, first := ev.(Start); first && !m.s.Started {
		m.s.Now, m.s.Skew, m.s.Entered = now, now.Wall-now.Mono, now
		return
	}
	if !m.s.Started {
		return
	}
	last := m.s.Now
	gap, wall := now.Mono-last.Mono, now.Wall-last.Wall
	m.s.Now = now
	if gap < 0 {
		m.s.Now.Mono, gap = last.Mono, 0
		m.stop("the monotonic clock went back")
	}
	skew := now.Wall - now.Mono - m.s.Skew
	if skew > clockApart || skew < -clockApart {
		m.s.Skew = now.Wall - now.Mono
		m.dropTimed()
		m.stop(fmt.Sprintf("the clocks parted by %.1f s: timed answers are withdrawn", skew.Seconds()))
		return
	}
	// A wall clock that is being set right gains or loses up to 500 ppm on the
	// other (RFC 5905's slew, from memory). That is no jump, however long it lasts.
	slewed := max(0, gap) / clockSlew
	m.s.Skew += max(-slewed, min(slewed, skew))
	if m.s.Phase >= Armed && m.s.Phase <= Run && gap > gapFromArmed {
		m.dropTimed()
		m.stop(fmt.Sprintf("the program stood still for %.2f s: timed answers are withdrawn", gap.Seconds()))
		return
	}
	m.runWait(min(gap, wall))
}

// dispatch hands the event to the function of its kind.
func (m *machine) dispatch(ev Event) error {
	if start, ok := ev.(Start); ok {
		return m.onStart(start)
	}
	if !m.s.Started {
		return m.refuse("no firing has begun", "")
	}
	switch ev := ev.(type) {
	case Tick:
		return nil
	case HoldCall:
		return m.onHoldCall()
	case Quit:
		m.stop("the program ends: " + ev.Why)
		return nil
	case Stalled:
		m.stop("the program is late: " + ev.Part)
		return nil
	case FocusLost:
		return m.onFocusLost()
	case Written:
		return m.onWritten(ev)
	case RecordFailed:
		m.noRecord(ev.Why)
		return nil
	case BoxUp, BoxReading, BoxEvents, BoxLost, PermitStuck:
		return m.dispatchBox(ev)
	}
	return m.dispatchPeople(ev)
}

// dispatchBox handles what comes from the ground box.
func (m *machine) dispatchBox(ev Event) error {
	if m.p.Mode != ModeBox {
		return m.refuse("there is no ground box in this firing", "")
	}
	switch ev := ev.(type) {
	case BoxUp:
		return m.onBoxUp(ev)
	case BoxReading:
		return m.onBoxReading(ev)
	case BoxEvents:
		return m.onBoxEvents(ev)
	case BoxLost:
		m.onBoxLost(ev)
		return nil
	case PermitStuck:
		m.permitStuck("the permit did not open")
		return nil
	}
	return m.refuse(fmt.Sprintf("unknown event %T", ev), "")
}

// dispatchPeople handles what people ask for and say.
func (m *machine) dispatchPeople(ev Event) error {
	switch ev := ev.(type) {
	case Answer:
		return m.onAnswer(ev)
	case Withdraw:
		return m.onWithdraw(ev)
	case Waive:
		return m.onWaive(ev)
	case BasisLeft:
		m.dropBasis(ev.What)
		return nil
	case SignOn:
		return m.onSignOn(ev)
	case OpenLine:
		return m.onOpenLine(ev)
	case CloseLine:
		return m.onCloseLine(ev)
	case StartProof:
		return m.onStartProof(ev)
	case Say:
		return m.onSay(ev)
	case ArmEntry:
		return m.onArmEntry(ev)
	case Code:
		return m.onCode(ev)
	case StartCount:
		return m.onStartCount(ev)
	case HoldBy:
		return m.onHoldBy(ev)
	case Resume:
		return m.onResume(ev)
	case Scrub:
		return m.onScrub(ev)
	case Observe:
		return m.onObserve(ev)
	case GoForward:
		return m.onGoForward(ev)
	case Inspect:
		return m.onInspect(ev)
	case Result:
		return m.onResult(ev)
	case AllClear:
		return m.onAllClear(ev)
	}
	return m.refuse(fmt.Sprintf("unknown event %T", ev), "")
}

// onStart begins a firing. After a break in ARMED or later it begins in WAIT,
// at full length, with the line unknown.
func (m *machine) onStart(ev Start) error {
	if m.s.Started {
		return m.refuse("the firing has begun already", "")
	}
	m.s.Started = true
	m.s.Box.Pulses, m.s.Box.Presses = -1, -1
	m.s.Crew.Forward = ev.Forward
	if ev.From >= Armed && ev.From != Closed {
		m.s.Hooked, m.s.PermitEver = true, true
		m.enterWait("an earlier firing broke off in " + ev.From.String() + ": its outcome is not known")
		m.s.Line = LineUnknown
		return nil
	}
	if ev.Hooked {
		// Nobody watched the circuit meanwhile: an outcome that nobody knows is
		// a live cluster.
		m.s.Hooked = true
		m.enterWait("igniters may be connected, and nobody watched the circuit")
		m.s.Line = LineUnknown
	}
	return nil
}

// ask lets apply happen once the event's entry is on disk: at once when it is,
// else by way of Written.
func (m *machine) ask(ev Event, apply func()) error {
	if m.confirmed {
		apply()
		return nil
	}
	if m.s.Pending.Event != nil {
		return m.refuse("the entry before is still being written to the record", "try again in a moment")
	}
	m.s.Pending = Pending{Event: ev, Ticket: m.ticket(), Asked: m.s.Now}
	return nil
}

// ticket gives the next ticket and asks for the entry of this event on disk.
func (m *machine) ticket() uint32 {
	m.s.Tickets++
	m.fx = append(m.fx, Write{m.s.Tickets})
	return m.s.Tickets
}

// onWritten takes the news that an entry is on disk and carries out what waited
// for it, if it is still allowed.
func (m *machine) onWritten(ev Written) error {
	if ev.Ticket > m.s.Tickets || ev.Ticket <= m.s.OnDisk {
		return m.refuse("a line was reported that nobody waits for", "")
	}
	m.s.OnDisk, m.s.NoRecord = ev.Ticket, false
	if m.s.Pending.Event == nil || m.s.Pending.Ticket != ev.Ticket {
		return nil
	}
	asked := m.s.Pending.Event
	m.s.Pending = Pending{}
	m.confirmed = true
	before, kept := m.s, len(m.fx)
	if err := m.dispatch(asked); err != nil {
		m.s, m.fx = before, m.fx[:kept]
		m.notice("no longer possible: " + err.Error())
	}
	return nil
}

// noRecord stops because the record cannot be written; the hold line stays as it is.
func (m *machine) noRecord(why string) {
	m.s.NoRecord = true
	m.s.Pending = Pending{}
	m.stop("no record: " + why)
}

// timers does what time alone does.
func (m *machine) timers() {
	if !m.s.Started {
		return
	}
	if m.s.Pending.Event != nil && m.s.Now.Since(m.s.Pending.Asked) > recordLimit {
		m.noRecord("the line was not on disk after 0.5 s")
	}
	m.unread()
	switch m.s.Phase {
	case Setup:
		m.phaseTimers()
	case Proof:
		m.proofTimers()
	case Ready:
		if m.s.ArmEntry && m.s.Now.Since(m.s.ArmEntryAt) > armPair {
			m.clearArming()
			m.notice("the code did not come within 30 s: arm again")
		}
	case Armed:
		if m.s.Now.Since(m.s.Entered) > m.p.Times.Armed {
			m.stop(fmt.Sprintf("ARMED for %s without a count", m.p.Times.Armed))
		}
	case Count:
		m.countTimers()
	case Window:
		m.windowTimers()
	case Wait:
		m.waitTimers()
	case Run:
		if m.s.Now.Since(m.s.RunPressAt) > runMost || m.s.Now.Since(m.s.PermitAt) > m.p.Times.Permit {
			m.enterWait("3 s after the press: the permit is open again")
		}
	}
}

// settle makes the moves that follow from the gates: READY when all stand, and
// back, or a stop, when one falls. In RUN age alone drops nothing (I-03).
func (m *machine) settle() {
	if !m.s.Started {
		return
	}
	if m.s.Phase == Hold && m.s.ScrubAsked && m.s.keyOut(m.p) {
		m.enterMakeSafe("scrubbed, key out")
	}
	switch m.s.Phase {
	case Setup, Ready, Armed, Count, Window:
	default:
		return
	}
	blockers := m.s.Blockers(m.p)
	switch {
	case m.s.Phase == Setup && len(blockers) == 0 && m.s.keyOut(m.p):
		m.enter(Ready)
		m.notice("every gate stands: READY")
	case m.s.Phase == Setup || len(blockers) == 0:
	case m.s.Phase == Ready:
		m.clearArming()
		m.enter(Setup)
		m.notice("back to the gates: " + m.cause(blockers))
	default:
		m.stop(m.cause(blockers))
	}
}

// cause is what a person is told of the gates that fell: of an answer that was
// withdrawn in this very step not that it is missing, but what took it away.
func (m *machine) cause(blockers []Blocker) string {
	for _, b := range m.fell {
		if slices.ContainsFunc(blockers, func(left Blocker) bool { return left.Step == b.Step }) {
			return b.Why
		}
	}
	return blockers[0].Why
}

// lease keeps the measuring lease as the state wants it: only with the line
// CLOSED and the permit not wanted (I-10), and only where readings are used.
func (m *machine) lease() {
	if m.p.Mode != ModeBox {
		return
	}
	want := m.s.wantsLease(m.p)
	m.s.TestCurrent = m.s.TestCurrent || want
	if want != m.s.LeaseWanted {
		m.s.LeaseWanted = want
		m.fx = append(m.fx, Lease{want})
	}
}

func (s *State) wantsLease(p *Plan) bool {
	if s.Line != LineClosed || s.PermitWanted || !s.Started {
		return false
	}
	switch s.Phase {
	case Proof:
		return s.Proof <= ProofKeyIn
	case Setup, Ready, Armed, Count:
		i := p.index(StepShuntOff)
		return i >= 0 && s.Evidence[i].Present && !s.Shunted
	case Wait:
		return s.WaitLeft > 0
	}
	return false
}

// enter sets the phase and forgets what belongs to the one before.
func (m *machine) enter(p Phase) {
	m.s.Phase, m.s.Entered = p, m.s.Now
	if p != Setup && p != Proof && p != Ready {
		m.s.CodeTries = 0 // counted over every entry to arm until then
	}
	if m.s.Pending.Event != nil {
		m.s.Pending = Pending{}
		m.notice("not done, the state changed: what was asked last")
	}
}

// clearArming forgets both arming acts.
func (m *machine) clearArming() {
	m.s.ArmEntry, m.s.ArmEntryAt, m.s.ArmedBy = false, Instant{}, ""
	m.s.CodeOK, m.s.KeyInArmed = false, false
	m.s.ZeroAt, m.s.ZeroTicket, m.s.CalledAt = Instant{}, 0, 0
	m.s.Paused, m.s.PausedAt, m.s.PauseLeft, m.s.PausesDone = false, Instant{}, 0, 0
}

// permitOff opens the permit, before any other effect of this step (I-11).
func (m *machine) permitOff() {
	m.s.PermitWanted = false
	m.s.OffAt = m.s.Now
	m.fx = append([]Effect{PermitOff{}}, m.fx...)
}

// stop is what any doubt does, by phase: HOLD before a permit, WAIT after one,
// a full wait again once waiting, the end of a proof.
func (m *machine) stop(why string) {
	switch m.s.Phase {
	case Proof:
		m.failProof(why)
	case Ready, Armed, Count:
		m.enterHold(why)
	case Window, Run:
		m.enterWait(why)
	case Wait:
		m.restartWait(why)
	case MakeSafe:
		m.enterWait(why)
	default: // SETUP, HOLD, CLOSED, and any phase that does not exist
		m.notice(why)
	}
}

// enterHold stops before any pulse. Both arming acts are asked again (I-12).
func (m *machine) enterHold(why string) {
	from := m.s.Phase
	m.permitOff()
	m.clearArming()
	m.enter(Hold)
	m.s.HoldFrom, m.s.HoldWhy, m.s.HoldCaller, m.s.ScrubAsked = from, why, "", false
	m.loud("HOLD: " + why)
}

func (m *machine) refuse(why, remedy string) error {
	return &RefusedError{Phase: m.s.Phase, Why: why, Remedy: remedy}
}

func (m *machine) notice(text string) { m.fx = append(m.fx, Notice{Text: text}) }
func (m *machine) loud(text string)   { m.fx = append(m.fx, Notice{Text: text, Loud: true}) }
