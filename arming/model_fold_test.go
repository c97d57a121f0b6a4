package arming

import (
	"time"
)

func bit(b bool) byte {
	if b {
		return 1
	}
	return 0
}

func modelContact(closed bool) Contact {
	if closed {
		return ContactClosed
	}
	return ContactOpen
}

func modelVolt(live bool) Volt {
	if live {
		return Volt{LevelLive, 12400}
	}
	return Volt{LevelDead, 0}
}

// unfoldModel makes a State of m at modelBase.
func unfoldModel(p *Plan, m *modelState) State {
	on := func(f modelField) bool { return m[f] != 0 }
	phase := Phase(m[fPhase])
	s := State{Phase: phase, Line: Line(m[fLine]), Now: modelBase, Started: true, Entered: modelBase, Hooked: on(fHooked),
		Shunted: on(fShunted), BatterySeen: on(fBattery), NoRecord: on(fNoRecord), TestCurrent: on(fTested),
		ArmEntry: on(fEntry), CodeTries: int(m[fTries]), CodeOK: phase >= Armed && phase <= Run, KeyInArmed: on(fKeySeen),
		PermitWanted: on(fWanted), PermitSpent: on(fSpent), PermitEver: on(fEver), NoPulse: NoPulseStage(m[fHope]),
		AtRest: on(fAtRest), WaitLeft: time.Duration(m[fWait]) * modelQuantum, ResultIn: on(fResult), ScrubAsked: on(fScrub),
		Proof: ProofStage(m[fStage]), ProofTrip: on(fTrip), ProofSince: modelBase, Tickets: 1, OnDisk: 1,
		OffAt: modelBase, RunPressAt: modelBase, WindowEnds: modelBase.Mono + p.Times.Window}
	s.Crew.Firing, s.Crew.Range, s.Crew.HookUp[0] = firing, ranger, forward
	if on(fWent) {
		s.Crew.Forward[0] = forward
	}
	if on(fInspected) {
		s.Fate[0] = FateInspected
	}
	if on(fEntry) {
		s.ArmEntryAt, s.ArmedBy = modelBase, firing
	}
	s.MakeSafe.Shunted, s.MakeSafe.FireWatched = on(fLeadsShunted), on(fFireWatched)
	s.WaitOhm[0] = OhmKind(m[fOhm])
	left := time.Duration(m[fLeft]) * modelQuantum
	if phase == Count { // a pause in each quantum but the last two, past or come to
		s.PausesDone = min(2, modelCount-int(m[fLeft]))
	}
	if on(fPaused) {
		s.Paused, s.PausedAt, s.PauseLeft = true, modelBase, left
	}
	s.ZeroAt = Instant{Mono: modelBase.Mono + left, Wall: modelBase.Wall + left}
	s.PermitAt = modelBase.ago(time.Duration(m[fPage]) * modelQuantum)
	unfoldModelAnswers(p, m, &s)
	unfoldModelBox(m, &s)
	unfoldModelRecord(m, &s)
	s.LeaseWanted = s.wantsLease(p)
	return s
}

func unfoldModelAnswers(p *Plan, m *modelState, s *State) {
	s.Evidence[mFiring] = Evidence{Present: true, Words: firing}
	s.Evidence[mRange] = Evidence{Present: true, Words: ranger}
	for i, f := range map[int]modelField{mProof: fProof, mDead: fDead, mShuntOn: fShunt, mShuntOff: fOff, mClear: fClear,
		mContinuity: fCont, mBattery: fBatt} {
		if m[f] != 0 {
			s.Evidence[i] = Evidence{Present: true, At: modelBase}
		}
	}
	if m[fClear] == 2 {
		s.Evidence[mClear].At = modelBase.ago(p.Times.RangeClear - 3*time.Second)
	}
	if m[fCont] == 2 {
		s.Evidence[mContinuity].At = modelBase.ago(p.Times.Live + time.Second)
	}
}

func unfoldModelBox(m *modelState, s *State) {
	b := &s.Box
	b.Up = m[fSeen] < 4
	b.Seen = modelBase.ago([]time.Duration{0, modelQuantum, 2 * modelQuantum, time.Minute, time.Minute}[m[fSeen]])
	b.Key, b.Pole1, b.Pole2 = modelContact(m[fKey] != 0), Contact(m[fPole1]), modelContact(m[fPole2] != 0)
	b.Permit, b.Bus, b.Battery = modelContact(m[fPermit] != 0), modelVolt(m[fBus] != 0), modelVolt(m[fBattery] != 0)
	b.Scan, b.ScanSeen, b.Channel[0] = 100, modelBase, Ohm{Kind: OhmKind(m[fChan])}
	if b.Channel[0].Kind == OhmValue {
		b.Channel[0].Milliohm = 1500
	}
	b.Pulses, b.Presses = -1, -1
	if m[fKnown] != 0 {
		b.Pulses, b.Presses = 100, 100
	}
	s.PulsesBefore, s.PressesBefore = b.Pulses, b.Presses
	s.WaitPulses = b.Pulses - int64(m[fMore])
}

func unfoldModelRecord(m *modelState, s *State) {
	if s.Phase == Count {
		s.ZeroTicket = 1
	}
	s.ProofTicket = uint32(m[fProofLine])
	switch m[fOut] {
	case 1:
		s.Tickets = 2
		s.Pending = Pending{Event: modelAsked[m[fPending]], Ticket: 2, Asked: modelBase}
	case 2:
		s.Tickets, s.ZeroTicket = 2, 2
	case 3:
		s.Tickets, s.ProofTicket = 2, 2
	}
}

// modelForgets reports a phase from which no answer is looked at again.
func modelForgets(s *State) bool {
	return s.Phase == Run || s.Phase == MakeSafe || s.Phase == Closed || s.Phase == Wait && s.NoPulse == NoPulseNone
}

// foldModel is what the model would know of s.
func foldModel(p *Plan, s *State) modelState {
	var m modelState
	m[fPhase], m[fLine], m[fHooked] = byte(s.Phase), byte(s.Line), bit(s.Hooked)
	m[fInspected] = bit(s.Hooked && s.Fate[0] == FateInspected)
	m[fWent] = bit(s.Crew.Forward[0] != "")
	m[fWanted], m[fEver], m[fResult] = bit(s.PermitWanted), bit(s.PermitEver), bit(s.ResultIn)
	m[fTested] = bit(s.TestCurrent && s.Phase != Closed)
	m[fScrub] = bit(s.Phase == Hold && s.ScrubAsked)
	if !modelForgets(s) {
		m[fNoRecord], m[fSpent], m[fShunted] = bit(s.NoRecord), bit(s.PermitSpent), bit(s.Shunted)
		foldModelAnswers(p, s, &m)
	}
	foldModelBox(s, &m)
	foldModelPhase(s, &m)
	switch {
	case s.Pending.Event != nil:
		m[fOut] = 1
		for n, ev := range modelAsked {
			if ev == s.Pending.Event {
				m[fPending] = n
			}
		}
	case s.Phase == Count && s.ZeroTicket > s.OnDisk:
		m[fOut] = 2
	case s.Phase == Proof && s.ProofTicket > s.OnDisk:
		m[fOut] = 3
	}
	return m
}

func foldModelAnswers(p *Plan, s *State, m *modelState) {
	e := &s.Evidence
	m[fProof] = bit(e[mProof].Present && !s.BoxFault)
	m[fDead], m[fShunt], m[fOff], m[fBatt] = bit(e[mDead].Present), bit(e[mShuntOn].Present), bit(e[mShuntOff].Present), bit(e[mBattery].Present)
	if e[mClear].Present {
		m[fClear] = 1
		if s.Left(p, mClear) < p.Times.Count+p.Times.Window {
			m[fClear] = 2
		}
	}
	if e[mContinuity].Present {
		m[fCont] = 1
		if s.Now.Since(e[mContinuity].At) >= p.Times.Live {
			m[fCont] = 2
		}
	}
}

func foldModelBox(s *State, m *modelState) {
	b := &s.Box
	m[fKnown] = bit(b.Pulses >= 0)
	exact := s.Phase == Count && s.ToZero() < 2*modelQuantum || s.Phase == Proof && s.ProofTicket != 0
	age := s.Now.Since(b.Seen)
	switch {
	case !b.Up || s.Phase == Closed:
		m[fSeen] = 4
	case age > liveLead:
		m[fSeen] = 3
	case !exact || age < modelQuantum:
	case age <= freshWindow:
		m[fSeen] = 1
	default:
		m[fSeen] = 2
	}
	stale := m[fSeen] >= 3
	if !stale || !modelForgets(s) {
		m[fBattery] = bit(s.BatterySeen)
	}
	if stale {
		return
	}
	m[fKey], m[fPole1], m[fPole2], m[fPermit] = bit(b.Key == ContactClosed), byte(b.Pole1), bit(b.Pole2 == ContactClosed), bit(b.Permit == ContactClosed)
	m[fBus], m[fChan] = bit(b.Bus.Level == LevelLive), byte(b.Channel[0].Kind)
}

func foldModelPhase(s *State, m *modelState) {
	m[fTries] = byte(s.CodeTries)
	switch s.Phase {
	case Proof:
		m[fStage], m[fTrip], m[fProofLine] = byte(s.Proof), bit(s.ProofTrip), bit(s.ProofTicket != 0)
	case Ready:
		m[fEntry] = bit(s.ArmEntry)
	case Armed:
		m[fEntry], m[fKeySeen] = bit(s.ArmEntry), bit(s.KeyInArmed)
	case Count:
		m[fEntry], m[fKeySeen] = bit(s.ArmEntry), bit(s.KeyInArmed)
		m[fLeft], m[fPaused] = byte(s.ToZero()/modelQuantum), bit(s.Paused)
	case Window, Run:
		m[fEntry], m[fKeySeen] = bit(s.ArmEntry), bit(s.KeyInArmed)
		m[fPage] = byte(min(2, s.Now.Since(s.PermitAt)/modelQuantum))
	case Wait:
		m[fWait], m[fAtRest], m[fOhm], m[fHope] = byte(s.WaitLeft/modelQuantum), bit(s.AtRest), byte(s.WaitOhm[0]), byte(s.NoPulse)
		m[fMore] = bit(s.Box.Pulses != s.WaitPulses)
	case MakeSafe:
		m[fLeadsShunted], m[fFireWatched] = bit(s.MakeSafe.Shunted), bit(s.MakeSafe.FireWatched)
	}
}
