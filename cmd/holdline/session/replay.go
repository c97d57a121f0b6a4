package session

import (
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"holdline/arming"
	"holdline/arming/record"
	"holdline/arming/record/journal"
)

// Replay plays the entries of a record through the arming machine again, for
// record.Options. Beyond what the machine says, it compares the first entry with
// the plan, and the last one with the state that the events lead to.
func Replay(entries []record.Entry) error {
	var r journal.Replayer
	return ReplayBy(entries, func(e record.Entry) (*arming.Plan, *arming.State, error) {
		err := r.Take(e.Kind, time.Duration(e.MonoUS)*time.Microsecond, e.Body)
		return r.Plan, &r.State, err
	})
}

// ReplayBy is Replay by way of somebody who follows the entries for a purpose of
// their own and says what they lead to.
func ReplayBy(entries []record.Entry, line func(record.Entry) (*arming.Plan, *arming.State, error)) error {
	var header record.Header
	taken := false // a firing taken up again may be measured in another way
	for _, e := range entries {
		plan, state, err := line(e)
		var differs *journal.MismatchError
		if errors.As(err, &differs) && plan != nil && plan.FirstRules {
			err = fmt.Errorf("%w: %w", record.ErrFirstRules, err)
		}
		if err != nil {
			return fmt.Errorf("entry %d: %w", e.Seq, err)
		}
		switch e.Kind {
		case record.KindOpen:
			err = json.Unmarshal(e.Body, &header)
		case record.KindRecovered:
			taken = true
		case journal.KindPlan:
			if !taken {
				err = planFits(&header, plan)
			}
		case record.KindClose:
			err = closingFits(e.Body, state)
		}
		if err != nil {
			return fmt.Errorf("entry %d: %w", e.Seq, err)
		}
	}
	return nil
}

func planFits(h *record.Header, p *arming.Plan) error {
	if h.Practice != p.Practice {
		return fmt.Errorf("session: replay: the plan says practice %v, the first entry %v", p.Practice, h.Practice)
	}
	if h.WaitScale != 1/float64(p.WaitSpeed) {
		return fmt.Errorf("session: replay: the plan's wait runs %d times as fast, the first entry scales it by %v", p.WaitSpeed, h.WaitScale)
	}
	if p.FirstRules {
		return nil
	}
	mode := map[arming.Mode]record.Mode{arming.ModeBox: record.ModeGroundBox, arming.ModeMeter: record.ModeMeter, arming.ModeTyped: record.ModeTyped}[p.Mode]
	for what, pair := range map[string][2]string{
		"mode": {string(mode), string(h.Mode)}, "sheet": {p.SheetSHA256, h.SheetSHA256.String()}, "box": {p.Box, h.Box.Identity},
	} {
		if pair[0] != pair[1] {
			return fmt.Errorf("session: replay: the plan says %s %q, the first line %q", what, pair[0], pair[1])
		}
	}
	return nil
}

func closingFits(body []byte, s *arming.State) error {
	var c record.Closing
	if err := json.Unmarshal(body, &c); err != nil {
		return err
	}
	switch {
	case c.Outcome == record.Normal && s.Phase != arming.Closed:
		return fmt.Errorf("session: replay: closed as %s in %v", c.Outcome, s.Phase)
	case c.Outcome == record.Interrupted && staysOpen(s):
		return fmt.Errorf("session: replay: closed as %s in %v, where a firing stays open until it is made safe", c.Outcome, s.Phase)
	}
	return nil
}
