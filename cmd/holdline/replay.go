package main

import (
	"fmt"
	"time"

	"holdline/arming/journal"
	"holdline/checklist/record"
)

// replay plays the events of a record through the arming machine again and
// says where a recorded state does not follow.
func replay(entries []record.Entry) error {
	var r journal.Replayer
	for _, e := range entries {
		if err := r.Line(e.Kind, time.Duration(e.MonoUS)*time.Microsecond, e.Body); err != nil {
			return fmt.Errorf("line %d: %w", e.Seq, err)
		}
	}
	return nil
}
