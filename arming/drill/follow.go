package drill

import (
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"holdline/arming"
	"holdline/arming/record/journal"
)

// ErrNoDrill says that a record has no drill.
var ErrNoDrill = errors.New("drill: this record is of no drill")

// act is one thing that a person did: an event of the cockpit, or a movement
// of a hand.
type act struct {
	at      time.Duration
	event   arming.Event // nil for a hand
	hand    Hand         // "" for an event
	refused string
	hands   // before it
}

// hands are how the practice hands have left key and battery.
type hands struct{ keyIn, battery bool }

// turn is a change of the phase.
type turn struct {
	at  time.Duration
	to  arming.Phase
	why string
}

// begun is a surprise that came.
type begun struct {
	at    time.Duration
	phase arming.Phase
	crew  arming.Crew
	hands
}

// Judge follows the record of a drill, entry by entry. Its zero value is ready.
type Judge struct {
	rep      journal.Replayer
	plan     *Plan
	hands    hands
	acts     []act
	turns    []turn
	came     [Most]*begun // by the surprise's number, from 1
	last     time.Duration
	brokeOff bool // the program stopped: what follows is no part of the drill
}

// Entry takes the next entry. An error means that the record cannot be judged.
func (j *Judge) Entry(kind string, mono time.Duration, body []byte) error {
	if j.brokeOff {
		return nil
	}
	if kind == "recovered" {
		j.brokeOff = true
		return nil
	}
	before := j.rep.State
	if err := j.rep.Take(kind, mono, body); err != nil {
		return err
	}
	j.last = max(j.last, mono)
	switch kind {
	case journal.KindDrill:
		return j.drillEntry(mono, body)
	case journal.KindEvent:
		return j.event(mono, body, &before)
	}
	return nil
}

// event keeps what a person did, and what the phase did.
func (j *Judge) event(mono time.Duration, body []byte, before *arming.State) error {
	var l struct {
		Event   string          `json:"event"`
		Data    json.RawMessage `json:"data"`
		Refused string          `json:"refused"`
	}
	if err := json.Unmarshal(body, &l); err != nil {
		return fmt.Errorf("drill: event entry: %w", err)
	}
	if l.Data == nil {
		l.Data = json.RawMessage("{}")
	}
	ev, err := journal.DecodeEvent(l.Event, l.Data)
	if err != nil {
		return err
	}
	if after := &j.rep.State; before.Phase != after.Phase {
		j.turns = append(j.turns, turn{mono, after.Phase, after.HoldWhy})
	}
	if human(ev) {
		j.acts = append(j.acts, act{at: mono, event: ev, refused: l.Refused, hands: j.hands})
	}
	return nil
}

// human reports an event that a person caused. What the box, the clocks and
// the program report is nobody's reaction.
func human(ev arming.Event) bool {
	switch ev.(type) {
	case arming.Answer, arming.Withdraw, arming.OpenLine, arming.CloseLine, arming.Say, arming.ArmEntry, arming.Code, arming.StartCount,
		arming.HoldCall, arming.HoldBy, arming.Resume, arming.Scrub, arming.Observe, arming.GoForward, arming.Inspect, arming.AllClear:
		return true
	}
	return false
}

func (j *Judge) drillEntry(mono time.Duration, body []byte) error {
	l, err := decodeEntry(body)
	if err != nil {
		return err
	}
	if l.Drill == wordPlan {
		if j.plan != nil {
			return errors.New("drill: a second plan in one record")
		}
		p, err := planOf(l)
		j.plan = &p
		return err
	}
	if j.plan == nil {
		return fmt.Errorf("drill: an entry %q before the plan", l.Drill)
	}
	switch l.Drill {
	case wordHand:
		j.hand(mono, Hand(l.Hand))
	case wordSurprise:
		return j.surprise(mono, l)
	case wordOver:
		if l.Number < 1 || l.Number > len(j.plan.Surprises) {
			return fmt.Errorf("drill: surprise %d of %d is over", l.Number, len(j.plan.Surprises))
		}
	}
	return nil
}

func (j *Judge) hand(mono time.Duration, h Hand) {
	j.acts = append(j.acts, act{at: mono, hand: h, hands: j.hands})
	switch h {
	case KeyIn, KeyOut:
		j.hands.keyIn = h == KeyIn
	case BatteryOn, BatteryOff:
		j.hands.battery = h == BatteryOn
	}
}

// surprise compares an entry with the plan: what was not planned is not judged.
func (j *Judge) surprise(mono time.Duration, l *entry) error {
	if l.Number < 1 || l.Number > len(j.plan.Surprises) || j.plan.Surprises[l.Number-1].Kind != l.Kind {
		return fmt.Errorf("drill: surprise %d, %s, is not the plan's", l.Number, l.Kind)
	}
	if j.came[l.Number-1] != nil {
		return fmt.Errorf("drill: surprise %d came twice", l.Number)
	}
	if l.Kind == BatteryForward { // another hand has joined it
		j.hands.battery = true
	}
	s := &j.rep.State
	j.came[l.Number-1] = &begun{mono, s.Phase, s.Crew, j.hands}
	return nil
}
