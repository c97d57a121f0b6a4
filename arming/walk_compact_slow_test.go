//go:build slow

package arming

import (
	"time"

	"holdline/checklist"
)

// How the walk makes the machine finite.
//
// The machine is the real one: every edge is a call of Step on a real State.
// Between two edges a State is kept as a compact: all of it that any later step
// can tell apart. Names, texts and sentences are constant or only shown.
// Counts of the box are kept as differences (unread pulses: none or some;
// above the count before the permit: no or yes), since the machine only
// compares them.
//
// Instants are kept as the class that the machine's comparisons put them in.
// Where a single limit is compared (30 s for the code, 2 min for a hand in the
// proof, 0.5 s for a line, the end of an answer's age, ...) the class is
// 'within' or 'past', and any tick may pass it: more than any real clock does,
// so nothing that real times can reach is left out, whatever the limits are.
// Where several are compared with each other near zero (the age of a snapshot
// against 0.3 s, the count, the permit's age, the wait), time is counted in
// quanta of 0.2 s, below the 0.25 s that a gap may have; plan times are then
// short: count 1 s, wait 0.6 s. Ticks of other lengths, gaps, jumps of the
// wall clock and long silences are events of their own. Left out is a wall
// clock set both forth and back in one firing, by which an answer that was past
// by that clock only is within again: by the other clock it always was.
//
// The count has as many pauses as a plan may have, one in each of its quanta but
// the last two, and the tick that comes to one may also go by: so a count with
// any number of pauses is walked, none too. In a pause time passes quantum by
// quantum without end, any answer may grow old, and its 60 s are a limit that
// any tick may pass. The clock stands at the pause's mark itself; real ticks
// come to it up to 0.25 s later, which shortens by as much what an answer has to
// last, and nothing compares it else. That a program comes a whole second late
// to a pause is left out: the gap that it takes stops the count before. Real pauses lie 2 s or more before zero, where the line of the
// last second is not asked for yet; the walk's whole count lies in that second,
// so the line is asked for at the start and forgotten in a pause, and going on
// asks for it anew, as in a real count that has come to its last second.
// A real count is longer, but what would pass in its ticks may pass in a pause,
// where the same is watched.
//
// The plan is the built-in routine without posts, of which the steps are kept
// that the machine itself looks at or that stand for a kind: a measured answer
// that ages, one that is live, a spoken one that ages, one that rests on
// another. Left out are those that add only more of the same: code,
// prediction, key held, budget, radios, storm and the sheet's own. The crew
// signs on with the start. One motor, one person forward, one practice speed.
//
// That a State and its compact never part along a firing with real times is
// argued here and not tested.

const walkQuantum = 200 * time.Millisecond

// walkCountQuanta is the count: a pause may come in each of its quanta but the
// last two, which zero needs for itself.
const walkCountQuanta = checklist.MaxPauses + 2

// walkBase is the instant at which every compact is unfolded.
var walkBase = Instant{Mono: 48 * time.Hour, Wall: 48 * time.Hour}

func (i Instant) less(d time.Duration) Instant { return Instant{i.Mono - d, i.Wall - d} }

// The steps of the walk's plan.
const (
	walkFiring = iota
	walkRange
	walkProof
	walkDead
	walkShuntOn
	walkHookUp
	walkLine
	walkShuntOff
	walkClear
	walkContinuity
	walkBattery
	walkSteps
)

func walkPlan() *Plan {
	times := checklist.Bounds().Default
	times.RangeClear = 30 * time.Second
	times.Count, times.Window, times.Wait = walkCountQuanta*walkQuantum, 3*time.Second, 3*walkQuantum
	for k := range times.Pauses {
		times.Pauses[k] = time.Duration(walkCountQuanta-1-k) * walkQuantum
	}
	all := checklist.Routine(checklist.Inputs{Boxed: true, Motors: 1, Channels: []checklist.Band{{Low: 1, High: 2, Unit: "ohm"}}, Times: times})
	keep := []string{StepFiringOfficer, StepRangeOfficer, StepProof, StepDead, StepShuntOn, StepHookUp, StepLine, StepShuntOff,
		StepRangeClear, StepContinuity(1), StepBattery}
	p := &Plan{Mode: ModeBox, Practice: true, Motors: 1, Times: times, WaitSpeed: 1}
	kept := map[string]bool{}
	for _, st := range all {
		for _, id := range keep {
			if st.ID != id {
				continue
			}
			var rests []string
			for _, base := range st.RestsOn {
				if kept[base] {
					rests = append(rests, base)
				}
			}
			st.RestsOn = rests
			p.Steps, kept[id] = append(p.Steps, st), true
		}
	}
	if len(p.Steps) != walkSteps {
		panic("walk: the routine has lost a step")
	}
	return p
}

// compact is a State as the walk keeps it.
type compact struct {
	phase, line                                               uint8
	hooked, shunted, boxFault, batterySeen, noRecord          bool
	has                                                       [walkSteps]bool
	clearAge, deadAge, proofAge, channelAge                   uint8 // of answers: 0 within, 1 too short for the count, 2 past
	shuntPast                                                 bool  // the shunt-on answer is older than a phase may be left unfinished
	up, known                                                 bool
	seen                                                      uint8 // 0, 1 quanta; 2 within 2 s; 3 past
	key, pole1, pole2, permit, battery, bus, channel          uint8
	scanPast, scanSince                                       bool
	pulseMore, pressMore, waitMore                            bool
	proof                                                     uint8
	proofTrip, proofTicket                                    bool
	armEntry, codeOK, keyIn                                   bool
	tries, zero                                               uint8
	paused                                                    bool
	zeroTicket, permitWanted, permitSpent, permitEver         bool
	permitAge, noPulse                                        uint8
	offPast                                                   bool
	wait                                                      uint8
	atRest                                                    bool
	ohm, fate                                                 uint8
	leadsShunted, fireWatched, resultIn, scrub, lease, wentIn bool
	current                                                   bool  // test current may flow
	out                                                       uint8 // whose line is not on disk yet
	pending                                                   uint8 // 1 + index of the request that waits
}

const (
	outNone uint8 = iota
	outPending
	outZero
	outProof
)

// Counts that stand for themselves.
const (
	walkCount = 100
	walkScan  = 100
)

// forgets reports a phase from which no answer is looked at again.
func (s *State) forgets() bool {
	return s.Phase == Run || s.Phase == MakeSafe || s.Phase == Closed || s.Phase == Wait && s.NoPulse == NoPulseNone
}

func past(age, limit time.Duration) uint8 {
	if age > limit {
		return 2
	}
	return 0
}

// fold makes the compact of s.
func (w *walker) fold(s *State) compact {
	c := compact{phase: uint8(s.Phase), line: uint8(s.Line), hooked: s.Hooked, known: s.Box.Pulses >= 0,
		tries: uint8(s.CodeTries), armEntry: s.ArmEntry, codeOK: s.CodeOK, keyIn: s.KeyInArmed,
		permitWanted: s.PermitWanted, permitEver: s.PermitEver, noPulse: uint8(s.NoPulse),
		resultIn: s.ResultIn, scrub: s.Phase == Hold && s.ScrubAsked, lease: s.LeaseWanted, wentIn: s.Crew.Forward[0] != ""}
	c.current = s.TestCurrent && s.Phase != Closed
	if s.Fate[0] == FateInspected {
		c.fate = uint8(FateInspected) // every other fate is live, and live is live
	}
	if !s.forgets() {
		c.permitSpent, c.noRecord = s.PermitSpent, s.NoRecord
		w.foldAnswers(s, &c)
	}
	foldBox(s, &c)
	foldPhase(s, &c)
	w.foldRecord(s, &c)
	return c
}

func (w *walker) foldAnswers(s *State, c *compact) {
	c.shunted, c.boxFault, c.batterySeen = s.Shunted, s.BoxFault, s.BatterySeen
	for i := walkProof; i < walkSteps; i++ {
		c.has[i] = s.Evidence[i].Present
	}
	t := &w.p.Times
	age := func(i int) time.Duration { return s.Now.Since(s.Evidence[i].At) }
	if c.has[walkClear] {
		left := t.RangeClear - age(walkClear)
		switch {
		case left <= 0:
			c.clearAge = 2
		case left < w.toLast(s):
			c.clearAge = 1
		}
	}
	if c.has[walkDead] {
		c.deadAge = past(age(walkDead), t.Dead-1)
	}
	if c.has[walkProof] {
		c.proofAge = past(age(walkProof), t.Proof-1)
	}
	c.shuntPast = c.has[walkShuntOn] && age(walkShuntOn) > phaseLeft
	if c.has[walkContinuity] {
		c.channelAge = past(age(walkContinuity), t.Live-1)
	}
}

func foldBox(s *State, c *compact) {
	b := &s.Box
	if c.up = b.Up; !b.Up {
		return
	}
	// 0.3 s are asked for only where the permit is about to be given, of a
	// reading that was made there: in PROOF once its line was asked for, and one
	// quantum before zero.
	exact := s.Phase == Proof && s.ProofTicket != 0 || s.Phase == Count && s.ToZero() < 2*walkQuantum
	switch age := s.Now.Since(b.Seen); {
	case age < walkQuantum, age <= liveLead && !exact:
		c.seen = 0
	case age <= freshWindow:
		c.seen = 1
	case age <= liveLead:
		c.seen = 2
	default:
		c.seen = 3
		return // nothing that it shows is believed
	}
	c.key, c.pole1, c.pole2, c.permit = uint8(b.Key), uint8(b.Pole1), uint8(b.Pole2), uint8(b.Permit)
	c.battery, c.bus, c.channel = uint8(b.Battery.Level), uint8(b.Bus.Level), uint8(b.Channel[0].Kind)
	if s.Phase == Proof {
		c.scanSince = s.Proof == ProofKeyOut && c.channel != uint8(OhmNotMeasured) && b.ScanSeen.Mono >= s.ProofSince.Mono
	} else if c.channel != uint8(OhmNotMeasured) && !s.forgets() {
		c.scanPast = s.Now.Since(b.ScanSeen) > liveLead
	}
}

func foldPhase(s *State, c *compact) {
	b := &s.Box
	switch s.Phase {
	case Proof:
		c.proof, c.proofTrip, c.proofTicket = uint8(s.Proof), s.ProofTrip, s.ProofTicket != 0
	case Count:
		c.zero, c.paused = uint8(s.ToZero()/walkQuantum), s.Paused
		c.zeroTicket = s.ZeroTicket != 0 && !s.Paused // going on asks for another
	case Window, Run:
		c.permitAge = uint8(min(2, s.Now.Since(s.PermitAt)/walkQuantum))
	case Wait:
		c.wait, c.atRest, c.ohm = uint8(s.WaitLeft/walkQuantum), s.AtRest, uint8(s.WaitOhm[0])
		c.waitMore = b.Pulses != s.WaitPulses
		c.offPast = s.NoPulse != NoPulseNone && s.Now.Since(s.OffAt) > noPulseLimit
	case MakeSafe:
		c.leadsShunted, c.fireWatched = s.MakeSafe.Shunted, s.MakeSafe.FireWatched
	}
	if s.Phase == Window || s.Phase == Run || s.NoPulse != NoPulseNone {
		c.pulseMore, c.pressMore = b.Pulses > s.PulsesBefore, b.Presses > s.PressesBefore
	}
}

func (w *walker) foldRecord(s *State, c *compact) {
	switch {
	case s.Pending.Event != nil:
		c.out = outPending
		c.pending = w.requestIndex(s.Pending.Event) + 1
	case s.Phase == Count && !s.Paused && s.ZeroTicket > s.OnDisk:
		c.out = outZero
	case s.Phase == Proof && s.ProofTicket > s.OnDisk:
		c.out = outProof
	}
}

// unfold makes a State of c at walkBase.
func (w *walker) unfold(c *compact, s *State) {
	*s = State{Phase: Phase(c.phase), Line: Line(c.line), Now: walkBase, Started: true, Entered: walkBase, Hooked: c.hooked,
		Shunted: c.shunted, BoxFault: c.boxFault, BatterySeen: c.batterySeen, NoRecord: c.noRecord,
		ArmEntry: c.armEntry, CodeTries: int(c.tries), CodeOK: c.codeOK,
		KeyInArmed: c.keyIn, PermitWanted: c.permitWanted, PermitSpent: c.permitSpent, PermitEver: c.permitEver,
		NoPulse: NoPulseStage(c.noPulse), AtRest: c.atRest, WaitLeft: time.Duration(c.wait) * walkQuantum, ResultIn: c.resultIn,
		ScrubAsked: c.scrub, LeaseWanted: c.lease, TestCurrent: c.current, Proof: ProofStage(c.proof), ProofTrip: c.proofTrip, ProofSince: walkBase,
		Tickets: 1, OnDisk: 1}
	s.Crew.Firing, s.Crew.Range, s.Crew.HookUp[0] = firing, ranger, forward
	if c.wentIn {
		s.Crew.Forward[0] = forward
	}
	s.Fate[0], s.WaitOhm[0] = Fate(c.fate), OhmKind(c.ohm)
	s.MakeSafe.Shunted, s.MakeSafe.FireWatched = c.leadsShunted, c.fireWatched
	w.unfoldAnswers(c, s)
	unfoldBox(c, s)
	if c.armEntry {
		s.ArmEntryAt, s.ArmedBy = walkBase, firing
	}
	s.ZeroAt = Instant{Mono: walkBase.Mono + time.Duration(c.zero)*walkQuantum, Wall: walkBase.Wall + time.Duration(c.zero)*walkQuantum}
	if c.paused {
		s.Paused, s.PausedAt, s.PauseLeft = true, walkBase, time.Duration(c.zero)*walkQuantum
	}
	if s.Phase == Count { // each quantum that began without a pause is past one that the plan has not
		s.PausesDone = min(checklist.MaxPauses, walkCountQuanta-int(c.zero))
	}
	s.PermitAt = walkBase.less(time.Duration(c.permitAge) * walkQuantum)
	s.RunPressAt, s.WindowEnds = walkBase, walkBase.Mono+w.p.Times.Window
	s.OffAt = walkBase
	if c.offPast {
		s.OffAt = walkBase.less(noPulseLimit + time.Second)
	}
	if c.zeroTicket {
		s.ZeroTicket = 1
	}
	if c.proofTicket {
		s.ProofTicket = 1
	}
	switch c.out {
	case outPending:
		s.Tickets = 2
		s.Pending = Pending{Event: w.requests[c.pending-1], Ticket: 2, Asked: walkBase}
	case outZero:
		s.Tickets, s.ZeroTicket = 2, 2
	case outProof:
		s.Tickets, s.ProofTicket = 2, 2
	}
}

func (w *walker) unfoldAnswers(c *compact, s *State) {
	s.Evidence[walkFiring] = Evidence{Present: true, Words: firing}
	s.Evidence[walkRange] = Evidence{Present: true, Words: ranger}
	for i := walkProof; i < walkSteps; i++ {
		if c.has[i] {
			s.Evidence[i] = Evidence{Present: true, At: walkBase}
		}
	}
	t := &w.p.Times
	old := func(i int, class uint8, limit time.Duration) {
		switch {
		case !c.has[i]:
		case class == 2:
			s.Evidence[i].At = walkBase.less(limit + time.Second)
		case class == 1:
			s.Evidence[i].At = walkBase.less(limit - time.Second)
		}
	}
	if c.shuntPast {
		s.Evidence[walkShuntOn].At = walkBase.less(phaseLeft + time.Second)
	}
	old(walkClear, c.clearAge, t.RangeClear)
	old(walkDead, c.deadAge, t.Dead)
	old(walkProof, c.proofAge, t.Proof)
	old(walkContinuity, c.channelAge, t.Live)
}

func unfoldBox(c *compact, s *State) {
	b := &s.Box
	b.Up, b.Scan, b.Pulses, b.Presses = c.up, walkScan, walkCount, walkCount
	if !c.known {
		b.Pulses, b.Presses = -1, -1
	}
	b.Key, b.Pole1, b.Pole2, b.Permit = Contact(c.key), Contact(c.pole1), Contact(c.pole2), Contact(c.permit)
	b.Battery, b.Bus = voltAt(c.battery), voltAt(c.bus)
	b.Channel[0] = Ohm{Kind: OhmKind(c.channel)}
	if b.Channel[0].Kind == OhmValue {
		b.Channel[0].Milliohm = 1500
	}
	b.Seen = walkBase.less([]time.Duration{0, walkQuantum, 2 * walkQuantum, time.Minute}[c.seen])
	b.ScanSeen = walkBase
	if c.scanPast {
		b.ScanSeen = walkBase.less(time.Minute)
	}
	if s.Phase != Proof || !c.scanSince {
		b.ScanSeen = b.ScanSeen.less(1)
	}
	less := func(more bool) int64 {
		if more {
			return 1
		}
		return 0
	}
	s.PulsesBefore, s.PressesBefore = b.Pulses-less(c.pulseMore), b.Presses-less(c.pressMore)
	s.WaitPulses = b.Pulses - less(c.waitMore)
}

func voltAt(level uint8) Volt {
	switch Level(level) {
	case LevelLive:
		return Volt{LevelLive, 12400}
	case LevelDead:
		return Volt{LevelDead, 0}
	}
	return Volt{}
}

// agers lists what may pass its limit in the next step, each as a change of
// the unfolded state; now is the instant of that step.
func (w *walker) agers(s *State, now Instant, full bool) []func(*State) {
	var out []func(*State)
	t := &w.p.Times
	if s.Box.Up && s.Now.Since(s.Box.Seen) <= liveLead {
		out = append(out, func(s *State) { s.Box.Seen = now.less(liveLead + time.Second) })
	}
	if w.answersMatter(s) {
		out = append(out, w.answerAgers(s, now, full)...)
	}
	if s.Pending.Event != nil {
		out = append(out, func(s *State) { s.Pending.Asked = now.less(recordLimit + 1) })
	}
	switch s.Phase {
	case Ready:
		if s.ArmEntry {
			out = append(out, func(s *State) { s.ArmEntryAt = now.less(armPair + 1) })
		}
	case Armed:
		out = append(out, func(s *State) { s.Entered = now.less(t.Armed + 1) })
	case Count:
		if s.Paused {
			out = append(out, func(s *State) { s.PausedAt = now.less(checklist.PauseMost + time.Second) })
		} else if s.PausesDone < checklist.MaxPauses { // of a plan without the next one
			out = append(out, func(s *State) { s.PausesDone++ })
		}
	case Proof:
		out = append(out, func(s *State) { s.ProofSince = now.less(proofPeople + 1) })
	case Window:
		out = append(out, func(s *State) { s.WindowEnds = now.Mono })
	case Run:
		out = append(out, func(s *State) { s.RunPressAt = now.less(runMost + 1) })
	case Wait:
		if s.NoPulse != NoPulseNone && s.Now.Since(s.OffAt) <= noPulseLimit {
			out = append(out, func(s *State) { s.OffAt = now.less(noPulseLimit + 1) })
		}
	}
	return out
}

// toLast is how long an answer that ages has to last, for the count to start or
// to go on.
func (w *walker) toLast(s *State) time.Duration {
	if s.Phase == Count {
		return s.ToZero() + w.p.Times.Window
	}
	return w.p.Times.Count + w.p.Times.Window
}

// answersMatter reports a phase in which answers are looked at now or later.
func (w *walker) answersMatter(s *State) bool { return !s.forgets() }

func (w *walker) answerAgers(s *State, now Instant, full bool) []func(*State) {
	var out []func(*State)
	t := &w.p.Times
	past := func(i int, limit time.Duration) {
		if s.Evidence[i].Present && s.Now.Since(s.Evidence[i].At) < limit {
			out = append(out, func(s *State) { s.Evidence[i].At = now.less(limit + time.Second) })
		}
	}
	if e := &s.Evidence[walkClear]; e.Present {
		switch left := t.RangeClear - s.Now.Since(e.At); {
		case left >= w.toLast(s):
			out = append(out, func(s *State) { s.Evidence[walkClear].At = now.less(t.RangeClear - time.Second) })
		case left > 0:
			out = append(out, func(s *State) { s.Evidence[walkClear].At = now.less(t.RangeClear + time.Second) })
		}
	}
	past(walkContinuity, t.Live)
	if full {
		past(walkDead, t.Dead)
		past(walkShuntOn, phaseLeft)
		past(walkProof, t.Proof)
		if s.Box.Up && s.Phase != Proof && s.Box.Channel[0].Kind != OhmNotMeasured && s.Now.Since(s.Box.ScanSeen) <= liveLead {
			out = append(out, func(s *State) { s.Box.ScanSeen = now.less(liveLead + time.Second) })
		}
	}
	return out
}
