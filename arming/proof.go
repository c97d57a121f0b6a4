package arming

import (
	"fmt"
	"time"

	"holdline/checklist"
)

// The contact proof: with no igniter connected and the battery joined,
// key, permit and button are each seen open by the voltage behind them while
// all before them is live, and the watchdog is seen to open the permit.

const (
	proofPeople   = 2 * time.Minute // for a hand to move key or battery
	proofMachine  = 3 * time.Second // for the permit to close
	proofWatchdog = time.Second     // for the watchdog, 0.5 s, to open it
)

// onStartProof begins the contact proof.
func (m *machine) onStartProof(ev StartProof) error {
	i := m.p.index(StepProof)
	switch {
	case m.s.Phase != Setup:
		return m.refuse("the contact proof is made in SETUP", "")
	case m.p.Mode != ModeBox:
		return m.refuse("without a box the contacts are proved by typed readings", "answer the step")
	case m.s.Hooked:
		return m.refuse("igniters may be connected: no contact proof now", "scrub, make safe, and begin again")
	}
	if err := m.mayAnswer(i); err != nil {
		return err
	}
	if err := m.needs("contact proof", checklist.NeedLineClosed|checklist.NeedKeyOut|checklist.NeedPermitOpen|checklist.NeedBusDead); err != nil {
		return err
	}
	return m.ask(ev, func() {
		m.withdraw(i, "it is made again")
		m.s.BoxFault, m.s.ProofTrip, m.s.ProofTicket = false, false, 0
		m.enter(Proof)
		m.proofStage(ProofKeyOut)
	})
}

func (m *machine) proofStage(stage ProofStage) {
	m.s.Proof, m.s.ProofSince = stage, m.s.Now
	m.notice("contact proof: " + stage.String())
}

// failProof ends the proof without its result.
func (m *machine) failProof(why string) {
	m.permitOff()
	m.s.Proof = ProofNone
	m.enter(Setup)
	m.loud("contact proof failed: " + why)
}

// faultProof ends the proof with a fault of the box.
func (m *machine) faultProof(why string) {
	m.s.BoxFault = true
	m.failProof(why)
}

// proofReading compares a snapshot with what the stage must show.
func (m *machine) proofReading() {
	b := &m.s.Box
	if b.Pole1 == ContactClosed || b.Pole2 == ContactClosed {
		m.failProof("the button was closed")
		return
	}
	if b.Bus.Level == LevelLive {
		m.faultProof("the bus is live with the button open: the button's contact is welded or bridged")
		return
	}
	if k := m.s.conductive(m.p); k > 0 {
		m.failProof(fmt.Sprintf("channel %d is not open: no igniter may be connected", k))
		return
	}
	switch m.s.Proof {
	case ProofKeyOut:
		m.proofKeyOut()
	case ProofKeyIn:
		m.proofKeyIn()
	case ProofPermit:
		m.proofPermit()
	case ProofWatchdog:
		if b.Permit == ContactOpen && b.BehindPermit.Level == LevelDead && m.s.ProofTrip {
			m.proofStage(ProofKeyBack)
		}
	case ProofKeyBack:
		if b.Key == ContactOpen && b.BehindKey.Level == LevelDead {
			m.proofDone()
		}
	}
}

func (m *machine) proofKeyOut() {
	b := &m.s.Box
	if b.Key == ContactClosed {
		m.failProof("the key went in too early")
		return
	}
	if b.Battery.Level != LevelLive || !m.s.allOpen(m.p) {
		return
	}
	switch {
	case b.BehindKey.Level == LevelLive:
		m.faultProof("live behind the open key: its contact is welded or bridged")
	case b.BehindKey.Level == LevelDead && b.BehindPermit.Level == LevelDead && b.Bus.Level == LevelDead:
		m.proofStage(ProofKeyIn)
	}
}

func (m *machine) proofKeyIn() {
	b := &m.s.Box
	if b.Key != ContactClosed || b.BehindKey.Level != LevelLive {
		return
	}
	switch {
	case b.BehindPermit.Level == LevelLive:
		m.faultProof("live behind the open permit: its contact is welded or bridged")
	case b.BehindPermit.Level == LevelDead && m.s.ProofTicket == 0:
		m.s.ProofTicket = m.ticket()
	}
}

func (m *machine) proofPermit() {
	b := &m.s.Box
	if b.Permit != ContactClosed || b.BehindPermit.Level != LevelLive || b.Bus.Level != LevelDead {
		return
	}
	// From here on nothing renews the permit; no OFF is sent, for it is the
	// watchdog that has to open it.
	m.s.PermitWanted = false
	m.proofStage(ProofWatchdog)
}

func (m *machine) proofDone() {
	i := m.p.index(StepProof)
	m.s.Evidence[i] = Evidence{Present: true, At: m.s.Now, By: m.crewName(&m.p.Steps[i]), Means: MeansBox,
		Words: "key, permit and button each seen open with all before them live; the watchdog opened the permit"}
	m.s.Proof = ProofNone
	m.enter(Setup)
	m.notice("contacts proved")
}

// proofTimers closes the permit when its entry is on disk, and ends a proof
// that does not come on.
func (m *machine) proofTimers() {
	since := m.s.Now.Since(m.s.ProofSince)
	switch m.s.Proof {
	case ProofKeyIn:
		if t := m.s.ProofTicket; t != 0 && m.s.OnDisk >= t && m.s.Line == LineClosed && !m.s.PermitSpent && !m.s.Hooked && m.s.fresh(freshWindow) {
			m.s.PermitWanted, m.s.PermitSpent, m.s.PermitAt = true, true, m.s.Now
			m.fx = append(m.fx, PermitOn{t})
			m.proofStage(ProofPermit)
			return
		}
		if since > proofPeople {
			m.failProof("the key did not go in")
		}
	case ProofPermit:
		if since > proofMachine {
			m.faultProof("the permit did not close, or nothing was live behind it")
		}
	case ProofWatchdog:
		if since > proofWatchdog {
			m.faultProof("the watchdog did not open the permit")
		}
	case ProofKeyOut, ProofKeyBack:
		if since > proofPeople {
			m.failProof("it was not finished")
		}
	}
}

// conductive returns the first channel that conducts, 0 for none.
func (s *State) conductive(p *Plan) int {
	for k := 0; k < p.Motors; k++ {
		if s.Box.Channel[k].Kind == OhmValue {
			return k + 1
		}
	}
	return 0
}

// allOpen reports whether every channel was read open by a scan of this stage.
func (s *State) allOpen(p *Plan) bool {
	for k := 0; k < p.Motors; k++ {
		if s.Box.Channel[k].Kind != OhmOpen {
			return false
		}
	}
	return s.Box.ScanSeen.Mono >= s.ProofSince.Mono
}
