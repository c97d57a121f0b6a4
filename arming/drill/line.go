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

// The words under "drill" in a line.
const (
	wordPlan     = "plan"
	wordSurprise = "surprise"
	wordOver     = "over"
	wordHand     = "hand"
)

// line is the body of a drill line.
type line struct {
	Drill     string         `json:"drill"`
	Seed      string         `json:"seed,omitempty"`
	Surprises []surpriseLine `json:"surprises,omitempty"`
	Number    int            `json:"number,omitempty"`
	Kind      Kind           `json:"kind,omitempty"`
	Heard     string         `json:"heard,omitempty"`
	Hand      string         `json:"hand,omitempty"`
}

type surpriseLine struct {
	Kind    Kind    `json:"kind"`
	Phase   string  `json:"phase"`
	AfterMS int64   `json:"after_ms"`
	Motor   int     `json:"motor,omitempty"`
	LateMS  int64   `json:"late_ms,omitempty"`
	Post    string  `json:"post,omitempty"`
	WindMps float64 `json:"wind_mps,omitempty"`
	Heard   string  `json:"heard,omitempty"`
}

// PlanLine is the body of the line that a drill begins with.
func PlanLine(p Plan) any {
	l := line{Drill: wordPlan, Seed: strconv.FormatUint(p.Seed, 10)}
	for _, s := range p.Surprises {
		l.Surprises = append(l.Surprises, surpriseLine{s.Kind, s.Phase.String(), s.After.Milliseconds(), s.Motor, s.Late.Milliseconds(),
			s.Post, s.Wind, s.Phrase})
	}
	return l
}

// SurpriseLine is the body of the line at the moment of surprise number n,
// counted from 1.
func SurpriseLine(p *Plan, n int) any {
	s := &p.Surprises[n-1]
	return line{Drill: wordSurprise, Number: n, Kind: s.Kind, Heard: s.Phrase}
}

// OverLine is the body of the line that takes the fault of surprise n back.
func OverLine(n int) any { return line{Drill: wordOver, Number: n} }

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

// HandLine is the body of the line of a movement.
func HandLine(h Hand) any { return line{Drill: wordHand, Hand: string(h)} }

// decodeLine reads the body of a drill line, strictly: a line that is not
// understood is no line to judge by.
func decodeLine(body []byte) (*line, error) {
	var l line
	dec := json.NewDecoder(bytes.NewReader(body))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&l); err != nil {
		return nil, fmt.Errorf("drill: line: %w", err)
	}
	if _, err := dec.Token(); err != io.EOF {
		return nil, fmt.Errorf("drill: line: more than one value")
	}
	switch l.Drill {
	case wordPlan, wordSurprise, wordOver:
		return &l, nil
	case wordHand:
		if !slices.Contains(handWords, Hand(l.Hand)) {
			return nil, fmt.Errorf("drill: line: hand %q is not known", l.Hand)
		}
		return &l, nil
	}
	return nil, fmt.Errorf("drill: line: %q is not known", l.Drill)
}

// planOf reads the plan that a line holds.
func planOf(l *line) (Plan, error) {
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

// Note says a drill line in words, for the record's page; "" for one that says
// nothing by itself.
func Note(body []byte) string {
	l, err := decodeLine(body)
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
