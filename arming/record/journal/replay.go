package journal

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"time"

	"holdline/arming"
)

// MismatchError says that an entry tells of something that does not follow from
// the events before it.
type MismatchError struct {
	Event  string // name of the kind of event
	What   string // "phase", "line", "refusal", "effects"
	Stated string // what the entry says
	Follow string // what follows from the events
}

// Error names what was stated and what follows.
func (e *MismatchError) Error() string {
	return fmt.Sprintf("journal: replay: %s after event %q: recorded %q, the events give %q", e.What, e.Event, e.Stated,
		e.Follow)
}

// Replayer feeds the entries of a record to the arming machine and compares what
// they state with what follows. Its zero value is ready for the first entry.
type Replayer struct {
	Plan   *arming.Plan // nil until its entry has come
	State  arming.State
	Events int // stepped so far

	last     arming.Box
	mono     time.Duration // of the entry before
	started  bool
	taken    bool   // the record was taken up again, no event has come since
	boxed    bool   // the box has said who it is
	accepted string // SHA-256 of the prediction accepted last
	noted    string // and of the one whose entry has come
}

// Take plays the next entry of a record. mono is the entry's own time. The kinds
// "open" and "close" are the record's and are passed over; "recovered" means
// that the program stopped here, and that a new one begins with an event
// "start" that must not forget where the old one stood.
func (r *Replayer) Take(kind string, mono time.Duration, body []byte) error {
	if kind == "recovered" {
		r.taken, r.mono, r.accepted, r.noted = true, 0, "", ""
		return nil
	}
	bound := r.Plan != nil && !r.Plan.FirstRules
	if bound && mono < r.mono {
		return fmt.Errorf("journal: replay: entry %q at %v, after one at %v", kind, mono, r.mono)
	}
	r.mono = mono
	switch kind {
	case "open", KindNote:
		return nil
	case "close":
		return r.shown(bound)
	case KindPrediction:
		sum := sha256.Sum256(body)
		r.noted = hex.EncodeToString(sum[:])
		return r.shown(bound)
	case KindDrill:
		if r.Plan == nil || !r.Plan.Practice {
			return errors.New("journal: replay: a line of a drill in a firing that is no practice")
		}
		return nil
	case KindPlan:
		return r.plan(body)
	case KindEvent:
		return r.event(mono, body)
	case KindBeats:
		return r.beats(body)
	}
	return fmt.Errorf("journal: replay: kind %q is not known", kind)
}

// shown holds the prediction that was accepted against the one that is there.
func (r *Replayer) shown(bound bool) error {
	if bound && r.accepted != r.noted {
		return &MismatchError{"answer", "prediction", r.accepted, r.noted}
	}
	return nil
}

func (r *Replayer) plan(body []byte) error {
	if r.Plan != nil && !r.taken {
		return errors.New("journal: replay: a second plan in one firing")
	}
	p, err := DecodePlan(body)
	if err != nil {
		return err
	}
	if err := p.Validate(); err != nil {
		return fmt.Errorf("journal: replay: %w", err)
	}
	if r.Plan != nil && (p.Practice != r.Plan.Practice || p.Motors != r.Plan.Motors) {
		return errors.New("journal: replay: a firing taken up again has another plan")
	}
	r.Plan = p
	return nil
}

// eventBody is the body of an event line.
type eventBody struct {
	At      json.RawMessage `json:"at"`
	Event   string          `json:"event"`
	Data    json.RawMessage `json:"data"`
	Phase   string          `json:"phase"`
	Line    string          `json:"line"`
	Refused string          `json:"refused"`
	Effects json.RawMessage `json:"effects"`
	Digest  string          `json:"digest"`
}

func (r *Replayer) event(mono time.Duration, body []byte) error {
	var l eventBody
	strict := json.NewDecoder(bytes.NewReader(body))
	strict.DisallowUnknownFields()
	if err := strict.Decode(&l); err != nil {
		return fmt.Errorf("journal: replay: event line: %w", err)
	}
	if l.Data == nil {
		l.Data = json.RawMessage("{}")
	}
	ev, err := DecodeEvent(l.Event, l.Data)
	if err != nil {
		return err
	}
	var at arming.Instant
	if err := decode(l.At, reflect.ValueOf(&at).Elem()); err != nil {
		return fmt.Errorf("journal: replay: event %q: at: %w", l.Event, err)
	}
	if at.Mono != mono {
		return &MismatchError{l.Event, "time", mono.String(), at.Mono.String()}
	}
	effects, refused, err := r.step(at, ev)
	if err != nil {
		return err
	}
	if err := r.compare(&l, effects, refused); err != nil {
		return err
	}
	return r.bind(&l, at, ev, refused)
}

// bind holds what an entry of the second edition says against the whole state
// that follows, and against the plan.
func (r *Replayer) bind(l *eventBody, at arming.Instant, ev arming.Event, refused error) error {
	want := ""
	if !r.Plan.FirstRules {
		var err error
		if want, err = digest(at, ev, &r.State); err != nil {
			return err
		}
	}
	if l.Digest != want {
		return &MismatchError{l.Event, "digest", l.Digest, want}
	}
	switch ev := ev.(type) {
	case arming.BoxUp:
		if !r.boxed && !r.Plan.FirstRules && ev.Identity != r.Plan.Box {
			return &MismatchError{l.Event, "box", ev.Identity, r.Plan.Box}
		}
		r.boxed = true
	case arming.Answer:
		if ev.Step == arming.StepPrediction && refused == nil {
			r.accepted = ev.Shown
		}
	}
	return nil
}

// step checks that ev may come here and lets the machine take it.
func (r *Replayer) step(at arming.Instant, ev arming.Event) (effects []arming.Effect, refused, err error) {
	if r.Plan == nil {
		return nil, nil, errors.New("journal: replay: an event before the plan")
	}
	start, isStart := ev.(arming.Start)
	switch {
	case isStart == (r.started && !r.taken):
		return nil, nil, fmt.Errorf("journal: replay: event %q out of place", EventName(ev))
	case isStart && !r.taken && !r.started:
	case isStart:
		if want := Resumed(&r.State); start != want {
			return nil, nil, &MismatchError{"start", "start", fmt.Sprintf("%v hooked %v", start.From, start.Hooked),
				fmt.Sprintf("%v hooked %v", want.From, want.Hooked)}
		}
		r.State, r.last = arming.State{}, arming.Box{}
	}
	r.started, r.taken = true, false
	if r.Events > 0 && !isStart && at.Mono < r.State.Now.Mono {
		return nil, nil, fmt.Errorf("journal: replay: event %q at %v, after one at %v", EventName(ev), at.Mono,
			r.State.Now.Mono)
	}
	r.Events++
	r.State, effects, refused = arming.Step(r.Plan, r.State, at, ev)
	if reading, ok := ev.(arming.BoxReading); ok {
		r.last = reading.Box
	}
	return effects, refused, nil
}

// Resumed is the first event of a program that takes up a firing which broke
// off in state s: nothing that was known then is carried over but how far it
// had come, whether igniters may be connected, and who may be forward.
func Resumed(s *arming.State) arming.Start {
	forward := s.Crew.Forward
	switch asked := s.Pending.Event.(type) {
	case arming.OpenLine:
		forward = asked.Names
	case arming.GoForward:
		forward[0] = asked.Person
	}
	if s.Pending.Event != nil && !Grave(s.Phase) {
		// It had asked to go forward; whether it did, no line tells.
		return arming.Start{From: arming.Armed, Hooked: true, Forward: forward}
	}
	return arming.Start{From: s.Phase, Hooked: s.Hooked || Grave(s.Phase), Forward: forward}
}

// Grave reports a phase from which a firing that broke off may only go on
// with a full wait: ARMED or anything that can follow it.
func Grave(p arming.Phase) bool {
	return p != arming.Setup && p != arming.Proof && p != arming.Ready && p != arming.Closed
}

func (r *Replayer) compare(l *eventBody, effects []arming.Effect, refused error) error {
	text := ""
	if refused != nil {
		text = refused.Error()
	}
	if l.Refused != text {
		return &MismatchError{l.Event, "refusal", l.Refused, text}
	}
	if got := r.State.Phase.String(); l.Phase != got {
		return &MismatchError{l.Event, "phase", l.Phase, got}
	}
	if got := r.State.Line.String(); l.Line != got {
		return &MismatchError{l.Event, "line", l.Line, got}
	}
	list, err := encodeEffects(effects)
	if err != nil {
		return err
	}
	raw, err := json.Marshal(list)
	if err != nil {
		return fmt.Errorf("journal: replay: effects: %w", err)
	}
	var stated, follow any
	if err := json.Unmarshal(raw, &follow); err != nil {
		return fmt.Errorf("journal: replay: effects: %w", err)
	}
	if l.Effects != nil {
		if err := json.Unmarshal(l.Effects, &stated); err != nil {
			return fmt.Errorf("journal: replay: effects: %w", err)
		}
	}
	if !reflect.DeepEqual(stated, follow) {
		return &MismatchError{l.Event, "effects", string(l.Effects), string(raw)}
	}
	return nil
}

func (r *Replayer) beats(body []byte) error {
	var members map[string][][]json.RawMessage
	if err := json.Unmarshal(body, &members); err != nil {
		return fmt.Errorf("journal: replay: beats: %w", err)
	}
	list := members["beats"]
	if list == nil || len(members) != 1 {
		return errors.New("journal: replay: beats: no list of beats")
	}
	for i, beat := range list {
		at, ev, err := r.beat(beat)
		if err != nil {
			return fmt.Errorf("journal: replay: beat %d: %w", i, err)
		}
		before := r.State
		effects, refused, err := r.step(at, ev)
		if err != nil {
			return err
		}
		if refused != nil || len(effects) > 0 || !quiet(&before, &r.State) {
			return &MismatchError{EventName(ev), "effects", "nothing", fmt.Sprintf("%d effects, phase %v, line %v, refusal %v",
				len(effects), r.State.Phase, r.State.Line, refused)}
		}
	}
	return nil
}

func (r *Replayer) beat(beat []json.RawMessage) (at arming.Instant, ev arming.Event, err error) {
	if len(beat) != 2 && len(beat) != 3 {
		return at, nil, fmt.Errorf("%d members", len(beat))
	}
	if err := decodeTimes(beat[:2], &at); err != nil || len(beat) == 2 {
		return at, arming.Tick{}, err
	}
	box := r.last
	if err := decode(beat[2], reflect.ValueOf(&box).Elem()); err != nil {
		return at, nil, err
	}
	box.Seen = at
	return at, arming.BoxReading{Box: box}, nil
}
