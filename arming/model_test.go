package arming

import (
	"encoding/hex"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"holdline/arming/groundbox/wire"
	"holdline/checklist"
)

// The machine as the independent model in testdata/promela sees it: the same
// fields, so that what spin makes of a step can be compared with Step.

// modelField numbers the fields of a modelState, in the order of table.h.
type modelField int

const (
	fPhase modelField = iota
	fLine
	fHooked
	fInspected
	fWent
	fProof
	fDead
	fShunt
	fOff
	fBatt
	fShunted
	fClear
	fCont
	fNoRecord
	fSeen
	fPole1
	fChan
	fKey
	fPole2
	fPermit
	fBus
	fBattery
	fKnown
	fTested
	fStage
	fTrip
	fProofLine
	fEntry
	fKeySeen
	fTries
	fLeft
	fPaused
	fWanted
	fSpent
	fEver
	fPage
	fHope
	fWait
	fAtRest
	fMore
	fOhm
	fLeadsShunted
	fFireWatched
	fResult
	fScrub
	fOut
	fPending
	modelFields
)

var modelFieldNames = [...]string{"phase", "line", "hooked", "inspected", "went", "proof", "dead", "shunt", "off", "batt", "shunted",
	"clear", "cont", "no record", "seen", "pole 1", "channel", "key", "pole 2", "permit", "bus", "battery", "known", "tested", "stage",
	"trip", "proof line", "entry", "key seen", "tries", "left", "paused", "wanted", "spent", "ever", "page", "hope", "wait", "at rest", "more", "ohm",
	"leads shunted", "fire watched", "result", "scrub", "out", "pending"}

type modelState [modelFields]byte

// modelStep is one row of the model's table: a state, what is told, and what
// comes of it.
type modelStep struct {
	before modelState
	told   byte
	bits   int // of a snapshot, or what the record says at a start
	done   byte
	after  modelState
}

// What a step does.
const (
	didOff byte = 1 << iota
	didOn
	didWrite
	didRefuse
	didLease // the lease is wanted after it
)

// What is told, numbered as in events.pml.
const (
	toldHold     = 21
	toldMovement = 22
	toldScrub    = 23
	toldCodeBad  = 24
	toldCount    = 25
	toldWithdraw = 26
	toldRecFail  = 27
	toldStalled  = 28
	toldFocus    = 29
	toldTick     = 30
	toldStale    = 31
	toldShort    = 32
	toldPause    = 33
	toldCont     = 34
	toldLimit    = 35
	toldLate     = 36
	toldGap      = 37
	toldClocks   = 38
	toldRead     = 39
	toldLost     = 40
	toldUp       = 41
	toldNewBox   = 42
	toldWritten  = 44
	toldTrip     = 45
	toldWeld     = 46
	toldEarly    = 48
	toldMiscount = 49
	toldBegin    = 50
)

var toldNames = map[byte]string{1: "start proof", 2: "open line", 3: "arm entry", 4: "code", 5: "start count", 6: "resume", 7: "at rest",
	8: "shunted", 9: "fire watched", 10: "go forward", 11: "inspect", 12: "result", 13: "all clear", 14: "answer dead-check", 15: "answer shunt-on",
	16: "start count by another", 17: "answer shunt-off", 18: "answer range-clear", 19: "answer continuity", 20: "answer battery", toldHold: "HOLD", toldMovement: "movement",
	toldScrub: "scrub", toldCodeBad: "wrong code", toldCount: "count", toldWithdraw: "withdraw", toldRecFail: "record fails", toldStalled: "stall",
	toldFocus: "focus lost", toldTick: "tick", toldStale: "2 s without a snapshot", toldShort: "range-clear grows short",
	toldPause: "a pause comes", toldCont: "continuity grows old", toldLimit: "the phase's limit", toldLate: "line late", toldGap: "gap of 1.2 s", toldClocks: "clocks part",
	toldRead: "snapshot", toldLost: "box lost", toldUp: "box back", toldNewBox: "another box", toldWritten: "line on disk",
	toldTrip: "watchdog bit", toldWeld: "weld bit", toldEarly: "early bit", toldMiscount: "wrong count", toldBegin: "start"}

const (
	modelQuantum = 200 * time.Millisecond
	modelCount   = 4 // quanta
)

var modelBase = Instant{Mono: 48 * time.Hour, Wall: 48 * time.Hour}

func (i Instant) ago(d time.Duration) Instant { return Instant{i.Mono - d, i.Wall - d} }

// The steps of the model's plan.
const (
	mFiring = iota
	mRange
	mProof
	mDead
	mShuntOn
	mLine
	mShuntOff
	mClear
	mContinuity
	mBattery
)

// modelPlan is the built-in routine with the steps that the model has, one
// motor, no posts, a count of four quanta with two pauses, and a wait of two.
func modelPlan() *Plan {
	times := checklist.Bounds().Default
	times.RangeClear = 30 * time.Second
	times.Count, times.Window, times.Wait = modelCount*modelQuantum, 3*time.Second, 2*modelQuantum
	times.Pauses[0], times.Pauses[1] = 3*modelQuantum, 2*modelQuantum
	all := checklist.Routine(checklist.Inputs{Boxed: true, Motors: 1, Channels: []checklist.Band{{Low: 1, High: 2, Unit: "ohm"}}, Times: times})
	keep := []string{StepFiringOfficer, StepRangeOfficer, StepProof, StepDead, StepShuntOn, StepLine, StepShuntOff, StepRangeClear,
		StepContinuity(1), StepBattery}
	p := &Plan{Mode: ModeBox, Practice: true, Motors: 1, Times: times, WaitSpeed: 1}
	for _, st := range all {
		if slices.Contains(keep, st.ID) {
			st.RestsOn = slices.DeleteFunc(slices.Clone(st.RestsOn), func(id string) bool { return !slices.Contains(keep, id) })
			p.Steps = append(p.Steps, st)
		}
	}
	return p
}

// modelAsked are the requests that wait for their line, by number.
var modelAsked = modelRequests(modelPlan())

func modelRequests(p *Plan) map[byte]Event {
	answer := func(i int) Event {
		return Answer{Step: p.Steps[i].ID, Words: "seen: as it should be", Means: MeansSaid}
	}
	return map[byte]Event{1: StartProof{}, 2: OpenLine{By: ranger, Names: [checklist.MaxPosts]string{forward}, Key: forward},
		3: ArmEntry{By: firing}, 4: Code{Matched: true}, 5: StartCount{By: firing}, 6: Resume{By: ranger}, 7: Say{FactAtRest, firing},
		8: Say{FactShunted, forward}, 9: Say{FactFireWatched, ranger}, 10: GoForward{By: ranger, Person: forward},
		11: Inspect{Motor: 1, Found: "burned out", By: forward}, 12: Result{RestM: 90, HasRest: true}, 13: AllClear{By: ranger},
		14: answer(mDead), 15: answer(mShuntOn), 16: StartCount{By: ranger}, 17: answer(mShuntOff), 18: answer(mClear), 19: answer(mContinuity), 20: answer(mBattery)}
}

// goStep makes the model's step with the real machine. It returns what was
// done, the state after, and the invariant that was broken, if any.
func goStep(p *Plan, m *modelState, told byte, bits int) (done byte, after modelState, broken error) {
	if told == toldBegin {
		s, fx, err := goBegin(p, m, bits)
		if _, off := firstEffect(fx).(PermitOff); off {
			done = didOff
		}
		return done, foldModel(p, &s), err
	}
	s := unfoldModel(p, m)
	now, ev := modelEvent(p, m, &s, told, bits)
	next, fx, err := Step(p, s, now, ev)
	broken = Check(p, s, ev, next, fx)
	for _, f := range fx {
		switch f.(type) {
		case PermitOff:
			done |= didOff
		case PermitOn:
			done |= didOn
		case Write:
			done |= didWrite
		}
	}
	if err != nil {
		done |= didRefuse
	}
	if next.LeaseWanted {
		done |= didLease
	}
	return done, foldModel(p, &next), broken
}

// goBegin is the program's start, with both officers signing on.
func goBegin(p *Plan, m *modelState, record int) (State, []Effect, error) {
	ev := Start{}
	if record > 0 {
		ev.Hooked = true
		if m[fWent] != 0 {
			ev.Forward[0] = forward
		}
	}
	if record > 1 {
		ev.From = Window
	}
	s, fx, err := Step(p, State{}, modelBase, ev)
	for i, name := range []string{firing, ranger} {
		if err == nil {
			s, _, err = Step(p, s, modelBase, Answer{Step: p.Steps[i].ID, Words: name})
		}
		if err == nil {
			s, _, err = Step(p, s, modelBase, Written{s.Tickets})
		}
	}
	return s, fx, err
}

// modelEvent is the event that is told, and its instant; s is changed where
// time alone is what passes.
func modelEvent(p *Plan, m *modelState, s *State, told byte, bits int) (Instant, Event) {
	if ev, ok := modelAsked[told]; ok {
		return modelBase, ev
	}
	count := int(m[fWent])
	if s.Line != LineOpen {
		count = 3 // both officers and the one who has signed on to go
	}
	switch told {
	case toldHold:
		return modelBase, HoldCall{}
	case toldMovement:
		return modelBase, Say{FactMovement, firing}
	case toldScrub:
		return modelBase, Scrub{By: ranger, Why: "enough"}
	case toldCodeBad:
		return modelBase, Code{}
	case toldCount:
		return modelBase, CloseLine{By: ranger, Count: count}
	case toldMiscount:
		return modelBase, CloseLine{By: ranger, Count: count + 1}
	case toldWithdraw:
		return modelBase, Withdraw{StepRangeClear, "somebody walks"}
	case toldRecFail:
		return modelBase, RecordFailed{"disk full"}
	case toldStalled:
		return modelBase, Stalled{"screen"}
	case toldFocus:
		return modelBase, FocusLost{}
	case toldRead:
		return modelBase, BoxReading{modelReading(&s.Box, bits)}
	case toldLost:
		return modelBase, BoxLost{"no answer"}
	case toldUp, toldNewBox:
		return modelBase, BoxUp{Identity: "box", Practice: true, Channels: 1, NewBox: told == toldNewBox}
	case toldWritten:
		return modelBase, Written{s.Tickets}
	case toldTrip:
		return modelBase, BoxEvents{wire.EventWatchdog}
	case toldWeld:
		return modelBase, BoxEvents{wire.EventWelded}
	case toldEarly:
		return modelBase, BoxEvents{wire.EventButtonEarly}
	}
	return modelTime(p, s, told), Tick{}
}

// modelReading is a snapshot by its bits.
func modelReading(old *Box, bits int) Box {
	on := func(n int) bool { return bits>>n&1 != 0 }
	b := Box{Key: modelContact(on(0)), Pole1: modelContact(on(1)), Pole2: modelContact(on(2)), Permit: modelContact(on(3)),
		Battery: modelVolt(on(4)), BehindKey: modelVolt(on(5)), BehindPermit: modelVolt(on(6)), Bus: modelVolt(on(7)), Scan: old.Scan,
		Pulses: max(100, old.Pulses) + int64(bits>>10&1), Presses: max(100, old.Presses) + int64(bits>>11&1)}
	if b.Channel[0].Kind = OhmKind(bits >> 8 & 3); b.Channel[0].Kind != OhmNotMeasured {
		b.Scan++
	}
	if b.Channel[0].Kind == OhmValue {
		b.Channel[0].Milliohm = 1500
	}
	return b
}

// modelTime lets what the tick says pass.
func modelTime(p *Plan, s *State, told byte) Instant {
	now := Instant{modelBase.Mono + modelQuantum, modelBase.Wall + modelQuantum}
	if s.Phase == Count && !s.Paused && told != toldPause {
		s.PausesDone++ // of a plan without the next one
	}
	switch told {
	case toldGap:
		return Instant{modelBase.Mono + 6*modelQuantum, modelBase.Wall + 6*modelQuantum}
	case toldClocks:
		now.Wall = modelBase.Wall - 5*time.Second
	case toldStale:
		s.Box.Seen = now.ago(liveLead + time.Second)
	case toldShort:
		s.Evidence[mClear].At = now.ago(p.Times.RangeClear - 3*time.Second)
	case toldCont:
		s.Evidence[mContinuity].At = now.ago(p.Times.Live + time.Second)
	case toldLate:
		s.Pending.Asked = now.ago(recordLimit + time.Second)
	case toldLimit:
		s.ProofSince, s.ArmEntryAt = now.ago(proofPeople+time.Second), now.ago(armPair+time.Second)
		s.Entered, s.WindowEnds = now.ago(p.Times.Armed+time.Second), now.Mono
		s.RunPressAt, s.OffAt = now.ago(runMost+time.Second), now.ago(noPulseLimit+time.Second)
		s.PausedAt = now.ago(checklist.PauseMost + time.Second)
	}
	return now
}

// phase is the phase's word, and whether the count stands in it.
func (m *modelState) phase() string {
	if m[fPaused] != 0 {
		return Phase(m[fPhase]).String() + " in a pause"
	}
	return Phase(m[fPhase]).String()
}

// tableLine is a step as the table of phases and events has it.
func tableLine(before *modelState, told, done byte, after *modelState) string {
	line := before.phase() + " | " + toldNames[told] + " | " + after.phase()
	for _, d := range []struct {
		bit  byte
		text string
	}{{didOff, " OFF"}, {didOn, " ON"}, {didRefuse, " refused"}} {
		if done&d.bit != 0 {
			line += d.text
		}
	}
	return line
}

const modelTableFile = "testdata/promela/table.golden"

// TestModelTable compares the golden table of phases and events, which the
// independent model's search has written, with the machine: every line has
// a state from which the machine makes just this step.
func TestModelTable(t *testing.T) {
	b, err := os.ReadFile(modelTableFile)
	if err != nil {
		t.Fatal(err)
	}
	p := modelPlan()
	phases, lines := map[byte]bool{}, strings.Split(strings.TrimSpace(string(b)), "\n")
	for n, line := range lines {
		want, witness, ok := strings.Cut(line, " # ")
		raw, err := hex.DecodeString(witness)
		if !ok || err != nil || len(raw) != int(modelFields)+3 {
			t.Fatalf("%s:%d: no witness in %q", modelTableFile, n+1, line)
		}
		m := modelState(raw[:modelFields])
		told, bits := raw[modelFields], int(raw[modelFields+1])|int(raw[modelFields+2])<<8
		done, after, broken := goStep(p, &m, told, bits)
		if broken != nil {
			t.Errorf("%s:%d: %v", modelTableFile, n+1, broken)
		}
		if got := tableLine(&m, told, done, &after); got != want {
			t.Errorf("%s:%d: the machine makes %q, the table has %q", modelTableFile, n+1, got, want)
		}
		phases[m[fPhase]] = true
	}
	if len(phases) != int(phaseEnd) || len(lines) < 300 {
		t.Errorf("%d phases in %d lines: the table has lost some", len(phases), len(lines))
	}
}
