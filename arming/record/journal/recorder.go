package journal

import (
	"encoding/json"
	"fmt"
	"reflect"

	"holdline/arming"
)

// The kinds of entries that this package writes or passes over.
const (
	KindPlan       = "plan"
	KindEvent      = "event"
	KindBeats      = "beats"
	KindNote       = "note"
	KindPrediction = "prediction"
	KindDrill      = "drill"
)

// maxBeats bounds one entry of beats: some ten seconds of them.
const maxBeats = 512

// Entry is one entry to be recorded.
type Entry struct {
	Kind   string
	At     arming.Instant // of the event, or of the first beat
	Body   json.RawMessage
	Ticket uint32 // that the machine waits for, 0 for none
}

// Recorder turns steps into entries. Its zero value is ready. It is not safe for
// use by several goroutines.
type Recorder struct {
	FirstRules bool // as Plan.FirstRules: entries without a digest

	beats []any
	first arming.Instant
	last  arming.Box // reading that the next changes are counted from
}

// Step writes down one step of the machine: the event at its instant, what
// state it met and left, the effects and the refusal. Ticks and readings that
// did nothing are kept back until Flush, until the next other event, or until
// there are too many of them. A step that cannot be encoded gives an error;
// EncodeEvent says so beforehand.
func (r *Recorder) Step(at arming.Instant, ev arming.Event, before, after *arming.State, effects []arming.Effect,
	refused error) ([]Entry, error) {
	if refused == nil && len(effects) == 0 && quiet(before, after) {
		if beat, ok := r.beat(at, ev); ok {
			if len(r.beats) == 0 {
				r.first = at
			}
			r.beats = append(r.beats, beat)
			if len(r.beats) >= maxBeats {
				return r.Flush()
			}
			return nil, nil
		}
	}
	name, data, err := encodeEvent(ev)
	if err != nil {
		return nil, err
	}
	times, err := encode(reflect.ValueOf(at))
	if err != nil {
		return nil, fmt.Errorf("journal: event %q: %w", name, err)
	}
	body := map[string]any{"at": times, "event": name, "phase": after.Phase.String(), "line": after.Line.String()}
	if obj := data.(map[string]any); len(obj) > 0 {
		body["data"] = obj
	}
	if refused != nil {
		body["refused"] = refused.Error()
	}
	list, err := encodeEffects(effects)
	if err != nil {
		return nil, err
	}
	if len(list) > 0 {
		body["effects"] = list
	}
	if !r.FirstRules {
		if body["digest"], err = digest(at, ev, after); err != nil {
			return nil, err
		}
	}
	text, err := json.Marshal(body)
	if err != nil {
		return nil, fmt.Errorf("journal: event %q: %w", name, err)
	}
	lines, err := r.Flush()
	if err != nil {
		return nil, err
	}
	if reading, ok := ev.(arming.BoxReading); ok {
		r.last = reading.Box
	}
	return append(lines, Entry{Kind: KindEvent, At: at, Body: text, Ticket: ticketOf(effects)}), nil
}

// Flush returns the beats kept back as an entry, or nothing.
func (r *Recorder) Flush() ([]Entry, error) {
	if len(r.beats) == 0 {
		return nil, nil
	}
	body, err := json.Marshal(map[string]any{"beats": r.beats})
	if err != nil {
		return nil, fmt.Errorf("journal: beats: %w", err)
	}
	r.beats = nil
	return []Entry{{Kind: KindBeats, At: r.first, Body: body}}, nil
}

// ticketOf returns the ticket that the entry of these effects carries.
func ticketOf(effects []arming.Effect) uint32 {
	var ticket uint32
	for _, e := range effects {
		if w, ok := e.(arming.Write); ok {
			ticket = w.Ticket
		}
	}
	return ticket
}

// quiet reports that nothing of what people look at has changed.
func quiet(before, after *arming.State) bool {
	if before.Phase != after.Phase || before.Line != after.Line || before.PermitWanted != after.PermitWanted ||
		before.LeaseWanted != after.LeaseWanted || before.Proof != after.Proof || before.NoRecord != after.NoRecord ||
		before.Box.Up != after.Box.Up || before.HoldWhy != after.HoldWhy {
		return false
	}
	for i := range before.Evidence {
		if before.Evidence[i].Present != after.Evidence[i].Present {
			return false
		}
	}
	return true
}

// beat returns the short form of a tick or a reading.
func (r *Recorder) beat(at arming.Instant, ev arming.Event) (any, bool) {
	times, err := encode(reflect.ValueOf(at))
	if err != nil {
		return nil, false
	}
	switch e := ev.(type) {
	case arming.Tick:
		return times, true
	case arming.BoxReading:
		if e.Box.Seen != at {
			return nil, false
		}
		changes, err := changes(&r.last, &e.Box)
		if err != nil {
			return nil, false
		}
		r.last = e.Box
		return append(times.([]any), changes), true
	}
	return nil, false
}

// changes encodes the members of b that differ from those of a; Seen is always
// the reading's own time.
func changes(a, b *arming.Box) (map[string]any, error) {
	out := map[string]any{}
	va, vb := reflect.ValueOf(*a), reflect.ValueOf(*b)
	for i := range vb.NumField() {
		f := vb.Type().Field(i)
		if f.Name == "Seen" || va.Field(i).Equal(vb.Field(i)) {
			continue
		}
		val, err := encode(vb.Field(i))
		if err != nil {
			return nil, err
		}
		out[member(f)] = val
	}
	return out, nil
}
