package arming

import (
	"time"

	"holdline/checklist"
)

// crewActs does what a good crew would do next: it moves one hand, answers one
// step, gives one order, or lets time pass. So random firings get far.
func (y *site) crewActs() {
	s := &y.s
	switch {
	case len(y.lines) > 0:
		y.slowDisk = false
		y.written()
		return
	case y.cut:
		y.cut = false
		if !s.PermitWanted {
			y.relay = false // the driver's first word
		}
		return
	case y.p.Mode == ModeBox && (!y.joined || s.BoxRefused):
		y.joined = true
		_ = y.do(BoxUp{Identity: "box", Practice: true, Channels: y.p.Motors})
		y.look()
		return
	}
	switch s.Phase {
	case Proof:
		y.actProof()
	case Armed, Count, Window, Run:
		y.actFiring()
	case Wait:
		y.actWait()
	case MakeSafe:
		y.actMakeSafe()
	case Hold:
		switch {
		case y.hand:
			y.press(false)
		case y.key || y.p.Mode != ModeBox && !s.keyOut(y.p):
			y.turnKey(false)
		default:
			_ = y.do(Resume{By: ranger})
		}
	case Closed:
		y.turnKey(false)
		y.join(false)
		y.repair()
		y.restart()
	default:
		y.actSetup()
	}
}

// actSetup goes through the routine to the code.
func (y *site) actSetup() {
	s := &y.s
	i := s.Cursor(y.p)
	switch {
	case y.hand:
		y.press(false)
	case y.key || y.p.Mode != ModeBox && !s.keyOut(y.p):
		y.turnKey(false)
	case s.Line != LineClosed && s.Crew.Range != "" && !(s.Line == LineOpen && i >= 0 && y.p.Steps[i].ID == StepHookUp):
		y.back()
	case s.Phase == Ready && !s.ArmEntry:
		_ = y.do(ArmEntry{By: firing})
	case s.Phase == Ready:
		_ = y.do(Code{Matched: true})
	case i < 0:
		if y.battery && y.fault != wholeBox {
			y.join(false)
		}
		y.repair()
	case s.PermitEver || s.BoxFault && s.Hooked:
		// Nothing leads on but to make it safe.
		_ = y.do(Scrub{By: ranger, Why: "begin again"})
	default:
		y.actStep(i)
	}
}

func (y *site) actStep(i int) {
	s := &y.s
	st := &y.p.Steps[i]
	off := st.ID == StepDead || st.ID == StepProof || st.ID == StepShuntOn || st.ID == StepHookUp || st.Needs&checklist.NeedBatteryOff != 0
	switch {
	case off && (y.battery || y.p.Mode != ModeBox && !s.batteryOff(y.p)):
		y.join(false)
		y.repair()
	case st.ID == StepBattery && !y.battery:
		y.join(true)
	case st.ID == StepHookUp && s.Line == LineClosed:
		y.open(OpenLine{By: ranger, Names: [checklist.MaxPosts]string{forward}, Key: forward})
	case st.ID == StepHookUp && y.person:
		for k := range y.p.Motors {
			y.igniter[k] = Ohm{OhmValue, 1500}
		}
		_ = y.do(goodAnswer(s, y.p, i))
	case st.Kind == checklist.KindProof:
		_ = y.do(StartProof{})
	default:
		_ = y.do(goodAnswer(s, y.p, i))
	}
}

// back lets the person come back, and counts.
func (y *site) back() {
	if y.person {
		y.person = false
		return
	}
	_ = y.do(y.count())
}

func (y *site) actProof() {
	switch y.s.Proof {
	case ProofKeyOut:
		y.join(true)
	case ProofKeyIn:
		if !y.key {
			y.turnKey(true)
		}
	case ProofKeyBack:
		y.turnKey(false)
	}
}

func (y *site) actFiring() {
	s := &y.s
	switch {
	case s.Phase == Armed && !s.KeyInArmed:
		y.turnKey(true)
	case s.Phase == Armed:
		_ = y.do(StartCount{By: firing})
	case s.Phase == Count && s.Paused && s.Now.Since(s.PausedAt) > 500*time.Millisecond:
		_ = y.do(StartCount{By: firing})
	case s.Phase == Window && !y.hand:
		y.press(true)
	case s.Phase == Run && s.Now.Since(s.RunPressAt) > 500*time.Millisecond:
		y.press(false)
	}
}

// safer takes the next hand off: button, key, battery. It reports whether there
// was one.
func (y *site) safer() bool {
	s := &y.s
	switch {
	case y.hand:
		y.press(false)
	case y.key || y.p.Mode != ModeBox && !s.keyOut(y.p):
		y.turnKey(false)
	case y.battery || y.p.Mode != ModeBox && !(s.batteryOff(y.p) && s.busDead(y.p)):
		y.join(false)
		y.repair()
	default:
		return false
	}
	return true
}

func (y *site) actWait() {
	s := &y.s
	switch {
	case y.safer():
	case s.Crew.Range == "" || s.Crew.Firing == "":
		for i := range 2 {
			_ = y.do(goodAnswer(s, y.p, i))
		}
	case s.Line != LineClosed:
		y.back()
	case s.NoPulse != NoPulseNone:
	case !s.AtRest:
		_ = y.do(Say{FactAtRest, firing})
	case s.WaitLeft > 0:
		y.pass(900*time.Millisecond, 900*time.Millisecond)
	default:
		y.repair()
		y.open(GoForward{By: ranger, Person: forward})
	}
}

func (y *site) actMakeSafe() {
	s := &y.s
	inspect := 0
	for k := range y.p.Motors {
		if s.Hooked && s.Fate[k] != FateInspected {
			inspect = k + 1
		}
	}
	switch {
	case y.safer():
	case s.Line == LineOpen && y.person && inspect > 0 && sameName(s.Crew.Forward[0], forward):
		_ = y.do(Inspect{Motor: inspect, Found: "burned out, igniter out", By: forward})
	case s.Line == LineOpen && y.person && s.Hooked && !s.MakeSafe.Shunted:
		_ = y.do(Say{FactShunted, forward})
	case s.Line != LineClosed:
		y.back()
	case inspect > 0:
		y.open(GoForward{By: ranger, Person: forward})
	case s.Hooked && !s.MakeSafe.Shunted:
		_ = y.do(Say{FactShunted, ranger})
	case !s.MakeSafe.FireWatched:
		_ = y.do(Say{FactFireWatched, ranger})
	case !s.ResultIn:
		_ = y.do(Result{RestM: 131, HasRest: true})
	default:
		for _, i := range s.CountsDue(y.p) {
			if ok, _ := s.Stands(y.p, i); !ok {
				_ = y.do(goodAnswer(s, y.p, i))
				return
			}
		}
		_ = y.do(AllClear{By: ranger})
	}
}

// goodAnswer is the answer that step i wants.
func goodAnswer(s *State, p *Plan, i int) Event {
	st := &p.Steps[i]
	a := Answer{Step: st.ID, Means: MeansSaid, Words: "seen: all as it should be"}
	switch st.Kind {
	case checklist.KindName:
		a.Words = map[string]string{StepFiringOfficer: firing, StepRangeOfficer: ranger, StepKeyHeld: ranger}[st.ID]
		if a.Words == "" {
			a.Words = "name of " + st.Post
		}
	case checklist.KindAccept, checklist.KindSecret, checklist.KindQuantity:
		a.Means, a.Value = MeansTyped, (st.Band.Low+min(st.Band.High, st.Band.Low+4))/2
		if st.Whole {
			a.Value = st.Band.Low
		}
		a.Again = a.Value
	case checklist.KindProof:
		return StartProof{}
	case checklist.KindLine:
		return CloseLine{By: ranger, Count: max(len(s.ForwardNames()), 1)}
	}
	if st.Match != "" {
		a.Words = st.Match
	}
	if st.CallWord {
		a.Words = s.CallWord(i) + ", " + a.Words
	}
	return a
}
