package journal

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"reflect"
	"strconv"
	"time"

	"holdline/arming"
)

// events holds one of each kind of event.
var events = byName([]arming.Event{
	arming.Start{}, arming.Tick{}, arming.BoxUp{}, arming.BoxReading{}, arming.BoxEvents{}, arming.BoxLost{},
	arming.PermitStuck{}, arming.FocusLost{}, arming.Stalled{}, arming.Written{}, arming.RecordFailed{},
	arming.Answer{}, arming.Withdraw{}, arming.Waive{}, arming.BasisLeft{}, arming.SignOn{}, arming.OpenLine{}, arming.CloseLine{},
	arming.StartProof{}, arming.Say{}, arming.ArmEntry{}, arming.Code{}, arming.StartCount{}, arming.HoldCall{},
	arming.HoldBy{}, arming.Resume{}, arming.Scrub{}, arming.Observe{}, arming.GoForward{}, arming.Inspect{},
	arming.Result{}, arming.AllClear{}, arming.Quit{},
})

func byName(list []arming.Event) map[string]reflect.Type {
	out := make(map[string]reflect.Type, len(list))
	for _, ev := range list {
		out[EventName(ev)] = reflect.TypeOf(ev)
	}
	return out
}

// EventName returns the name of the kind of event, as entries have it.
func EventName(ev arming.Event) string { return snake(reflect.TypeOf(ev).Name()) }

// EncodeEvent returns the name of the kind of ev and its data as a JSON object.
// It refuses an event that DecodeEvent would not give back as it was: text that
// is not UTF-8, an enumeration out of its range, a time with a fraction of a
// microsecond.
func EncodeEvent(ev arming.Event) (name string, data json.RawMessage, err error) {
	name, val, err := encodeEvent(ev)
	if err != nil {
		return "", nil, err
	}
	data, err = json.Marshal(val)
	return name, data, err
}

func encodeEvent(ev arming.Event) (string, any, error) {
	if ev == nil {
		return "", nil, fmt.Errorf("journal: no event")
	}
	name := EventName(ev)
	if events[name] != reflect.TypeOf(ev) {
		return "", nil, fmt.Errorf("journal: event %q is not known", name)
	}
	val, err := encode(reflect.ValueOf(ev))
	if err != nil {
		return "", nil, fmt.Errorf("journal: event %q: %w", name, err)
	}
	return name, val, nil
}

// DecodeEvent is the reverse of EncodeEvent.
func DecodeEvent(name string, data json.RawMessage) (arming.Event, error) {
	t, ok := events[name]
	if !ok {
		return nil, fmt.Errorf("journal: event %q is not known", name)
	}
	v := reflect.New(t).Elem()
	if err := decode(data, v); err != nil {
		return nil, fmt.Errorf("journal: event %q: %w", name, err)
	}
	return v.Interface().(arming.Event), nil
}

// EncodePlan returns the plan as a JSON object.
func EncodePlan(p *arming.Plan) (json.RawMessage, error) {
	now := *p
	now.FirstRules = false
	val, err := encode(reflect.ValueOf(now))
	if err != nil {
		return nil, fmt.Errorf("journal: plan: %w", err)
	}
	if !p.FirstRules {
		val.(map[string]any)["edition"] = arming.Edition
	}
	return json.Marshal(val)
}

// DecodePlan is the reverse of EncodePlan. It does not judge the plan.
func DecodePlan(body json.RawMessage) (*arming.Plan, error) {
	var members map[string]json.RawMessage
	if err := json.Unmarshal(body, &members); err != nil {
		return nil, fmt.Errorf("journal: plan: %w", err)
	}
	edition, written := members["edition"]
	if written && string(edition) != strconv.Itoa(arming.Edition) {
		return nil, fmt.Errorf("journal: plan: rules of edition %s, this program knows 1 and %d", edition, arming.Edition)
	}
	delete(members, "edition")
	rest, err := json.Marshal(members)
	if err != nil {
		return nil, fmt.Errorf("journal: plan: %w", err)
	}
	var p arming.Plan
	if err := decode(rest, reflect.ValueOf(&p).Elem()); err != nil {
		return nil, fmt.Errorf("journal: plan: %w", err)
	}
	p.FirstRules = !written
	return &p, nil
}

// digest binds an event, when it came, and the state of the machine after it: the
// first 16 hexadecimal digits of the SHA-256 of the three as JSON with sorted
// members.
func digest(at arming.Instant, ev arming.Event, s *arming.State) (string, error) {
	bare, pending := *s, s.Pending.Event
	bare.Pending.Event = nil
	wholeMicroseconds(reflect.ValueOf(&bare).Elem())
	state, err := encode(reflect.ValueOf(bare))
	if err != nil {
		return "", fmt.Errorf("journal: state: %w", err)
	}
	parts := []any{[]time.Duration{at.Mono, at.Wall}, state}
	for _, e := range []arming.Event{ev, pending} {
		if e == nil {
			continue
		}
		name, data, err := encodeEvent(e)
		if err != nil {
			return "", err
		}
		parts = append(parts, name, data)
	}
	text, err := json.Marshal(parts)
	if err != nil {
		return "", fmt.Errorf("journal: state: %w", err)
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:8]), nil
}

// wholeMicroseconds cuts the durations in v: a skew of the clocks is smoothed, and
// has fractions.
func wholeMicroseconds(v reflect.Value) {
	switch {
	case v.Type() == reflect.TypeFor[time.Duration]():
		v.SetInt(v.Int() / 1000 * 1000)
	case v.Kind() == reflect.Struct:
		for i := range v.NumField() {
			wholeMicroseconds(v.Field(i))
		}
	case v.Kind() == reflect.Array:
		for i := range v.Len() {
			wholeMicroseconds(v.Index(i))
		}
	}
}

// encodeEffects writes the effects of a step, each with its name.
func encodeEffects(effects []arming.Effect) ([]any, error) {
	var out []any
	for _, e := range effects {
		val, err := encode(reflect.ValueOf(e))
		if err != nil {
			return nil, fmt.Errorf("journal: effect %T: %w", e, err)
		}
		obj := val.(map[string]any)
		obj["effect"] = snake(reflect.TypeOf(e).Name())
		out = append(out, obj)
	}
	return out, nil
}
