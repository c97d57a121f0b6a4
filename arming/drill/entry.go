package drill

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"holdline/arming"
	"holdline/checklist"
)

// The words under "drill" in an entry.
const (
	wordPlan     = "plan"
	wordSurprise = "surprise"
	wordOver     = "over"
	wordHand     = "hand"
)

// entry is the body of an entry of a drill.
type entry struct {
	Drill     string          `json:"drill"`
	Seed      string          `json:"seed,omitempty"`
	Surprises []surpriseEntry `json:"surprises,omitempty"`
	Number    int             `json:"number,omitempty"`
	Kind      Kind            `json:"kind,omitempty"`
	Heard     string          `json:"heard,omitempty"`
	Hand      string          `json:"hand,omitempty"`
}

type surpriseEntry struct {
	Kind    Kind    `json:"kind"`
	Phase   string  `json:"phase"`
	AfterMS int64   `json:"after_ms"`
	Motor   int     `json:"motor,omitempty"`
	LateMS  int64   `json:"late_ms,omitempty"`
	Post    string  `json:"post,omitempty"`
	WindMps float64 `json:"wind_mps,omitempty"`
	Heard   string  `json:"heard,omitempty"`
}

// PlanEntry is the body of the entry that a drill begins with.
func PlanEntry(p Plan) any {
	l := entry{Drill: wordPlan, Seed: strconv.FormatUint(p.Seed, 10)}
	for _, s := range p.Surprises {
		l.Surprises = append(l.Surprises, surpriseEntry{s.Kind, s.Phase.String(), s.After.Milliseconds(), s.Motor, s.Late.Milliseconds(),
			s.Post, s.Wind, s.Phrase})
	}
	return l
}

// SurpriseEntry is the body of the entry at the moment of surprise number n,
// counted from 1.
func SurpriseEntry(p *Plan, n int) any {
	s := &p.Surprises[n-1]
	return entry{Drill: wordSurprise, Number: n, Kind: s.Kind, Heard: s.Phrase}
}

// OverEntry is the body of the entry that takes the fault of surprise n back.
func OverEntry(n int) any { return entry{Drill: wordOver, Number: n} }

// Hand is a movement of the practice box's hands.
type Hand string

// The movements.
const (
	KeyIn      Hand = "key in"
	KeyOut     Hand = "key out"
	BatteryOn  Hand = "battery on"
	BatteryOff Hand = "battery off"
	ButtonDown Hand = "button down"
	ButtonUp   Hand = "button up"
	LeadsOn    Hand = "igniters on"
	LeadsOff   Hand = "igniters off"
	ShuntOn    Hand = "shunt on"
	ShuntOff   Hand = "shunt off"
)

var handWords = []Hand{KeyIn, KeyOut, BatteryOn, BatteryOff, ButtonDown, ButtonUp, LeadsOn, LeadsOff, ShuntOn, ShuntOff}

// HandEntry is the body of the entry of a movement.
func HandEntry(h Hand) any { return entry{Drill: wordHand, Hand: string(h)} }

// decodeEntry reads the body of an entry, strictly: one that is not
// understood is nothing to judge by.
func decodeEntry(body []byte) (*entry, error) {
	var l entry
	dec := json.NewDecoder(bytes.NewReader(body))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&l); err != nil {
		return nil, fmt.Errorf("drill: entry: %w", err)
	}
	if _, err := dec.Token(); err != io.EOF {
		return nil, fmt.Errorf("drill: entry: more than one value")
	}
	switch l.Drill {
	case wordPlan, wordSurprise, wordOver:
		return &l, nil
	case wordHand:
		if !slices.Contains(handWords, Hand(l.Hand)) {
			return nil, fmt.Errorf("drill: entry: hand %q is not known", l.Hand)
		}
		return &l, nil
	}
	return nil, fmt.Errorf("drill: entry: %q is not known", l.Drill)
}

// planOf reads the plan that an entry has.
func planOf(l *entry) (Plan, error) {
	seed, err := strconv.ParseUint(l.Seed, 10, 64)
	if err != nil || len(l.Surprises) == 0 || len(l.Surprises) > Most {
		return Plan{}, fmt.Errorf("drill: plan: seed %q, %d surprises", l.Seed, len(l.Surprises))
	}
	p := Plan{Seed: seed}
	for i, s := range l.Surprises {
		h := help(s.Kind)
		if h == nil {
			return Plan{}, fmt.Errorf("drill: plan: surprise %d: %q is not known", i+1, s.Kind)
		}
		at := slices.IndexFunc(h.Phases, func(ph arming.Phase) bool { return ph.String() == s.Phase })
		if at < 0 || s.AfterMS < 0 || s.AfterMS > 3_600_000 || s.LateMS < 0 || s.LateMS > 3_600_000 || s.Motor < 0 ||
			s.Motor > checklist.MaxMotors || math.Abs(s.WindMps) > 100 {
			return Plan{}, fmt.Errorf("drill: plan: surprise %d, %s in %s: out of range", i+1, s.Kind, s.Phase)
		}
		p.Surprises = append(p.Surprises, Surprise{Kind: s.Kind, Phase: h.Phases[at], After: ms(s.AfterMS), Motor: s.Motor, Late: ms(s.LateMS),
			Post: s.Post, Wind: s.WindMps, Phrase: s.Heard})
	}
	return p, nil
}

func ms(n int64) time.Duration { return time.Duration(n) * time.Millisecond }

// Note says an entry in words, for the record's page; "" for one that says
// nothing by itself.
func Note(body []byte) string {
	l, err := decodeEntry(body)
	if err != nil {
		return ""
	}
	switch l.Drill {
	case wordPlan:
		n := len(l.Surprises)
		text := fmt.Sprintf("DRILL with %d surprises, seed %s", n, l.Seed)
		return strings.Replace(text, "with 1 surprises", "with 1 surprise", 1)
	case wordSurprise:
		text := fmt.Sprintf("DRILL surprise %d: %s", l.Number, l.Kind)
		if h := help(l.Kind); h != nil {
			text = fmt.Sprintf("DRILL surprise %d: %s", l.Number, h.Meaning)
		}
		if l.Heard != "" {
			text += ", heard: " + l.Heard
		}
		return text
	}
	return ""
}
