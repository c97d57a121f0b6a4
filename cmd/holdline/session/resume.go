package session

import (
	"errors"
	"fmt"
	"os"
	"time"

	"holdline/arming"
	"holdline/arming/record"
	"holdline/arming/record/journal"
)

// unfinished is a firing that broke off and goes on in the same record.
type unfinished struct {
	path  string
	plan  *arming.Plan // nil when the record has none
	first arming.Start
}

// lookBack deals with what an earlier run of the program left open in dir: a
// record of a firing in which nothing was connected is closed as interrupted
// and signed, any other is to be taken up again.
func lookBack(dir string, practice bool, s signing, version string) (*unfinished, error) {
	open, err := record.LastOpen(dir)
	if err != nil {
		return nil, err
	}
	var found *unfinished
	for _, o := range open {
		if !o.Begun() || o.Practice != practice {
			continue
		}
		switch {
		case o.InUse:
			return nil, fmt.Errorf("session: %w: %q", record.ErrInUse, o.Path)
		case !o.Recoverable():
			return nil, unknown(o)
		}
		u := brokeOff(o)
		if u == nil {
			if err := closeInterrupted(o.Path, s, version); err != nil {
				return nil, err
			}
			continue
		}
		if found != nil {
			return nil, fmt.Errorf("session: two earlier firings broke off, %q and %q: make both vehicles safe, then move one "+
				"file out of the folder", found.path, u.path)
		}
		found = u
	}
	return found, nil
}

// unknown is what to do about a record of which nobody can say how far its
// firing came.
func unknown(o record.OpenRecord) error {
	return fmt.Errorf("session: the record %q of an earlier firing is not closed and cannot be taken up: %w; it may be live: stay behind "+
		"the line, wait in full by a watch, make the vehicle safe. Then let the program that wrote it close it where it was written, or "+
		"move it out of the folder", o.Path, o.Err)
}

// brokeOff tells how far an open record came, nil when there is nothing to
// take up.
func brokeOff(o record.OpenRecord) *unfinished {
	var r journal.Replayer
	var bad error
	for _, e := range o.Log.Entries {
		if bad = r.Take(e.Kind, time.Duration(e.MonoUS)*time.Microsecond, e.Body); bad != nil {
			break
		}
	}
	u := &unfinished{path: o.Path, plan: r.Plan}
	switch {
	case bad != nil: // nobody can say how far it came
		u.first = arming.Start{From: arming.Run, Hooked: true}
		return u
	case r.Plan == nil || r.Events == 0 || !staysOpen(&r.State):
		return nil
	}
	u.first = journal.Resumed(&r.State)
	return u
}

// closeInterrupted ends a record in which nothing was connected.
func closeInterrupted(path string, s signing, version string) error {
	w, _, err := record.Recover(path, time.Now(), version)
	if err != nil {
		return err
	}
	if err := w.Close(time.Now(), 0, record.Interrupted, "the program had stopped before anything was connected"); err != nil {
		return err
	}
	if _, err := s.sign(path); err != nil && !errors.Is(err, record.ErrAlreadySigned) {
		return err
	}
	return nil
}

// signLeft signs what was closed in dir and not signed, because the program or
// the agent was gone between the two, and says so. The caller has the lock, so
// that no other program is at it.
func signLeft(dir string, s signing, version string) (said []string) {
	paths, _ := record.Paths(dir) // the folder was read a moment ago
	for _, path := range paths {
		if _, err := os.Lstat(record.SignaturePath(path, 1)); err == nil {
			continue
		}
		result := record.VerifyFile(path, record.Options{AnySigner: true, At: time.Now(), Replay: Replay, Program: version})
		if result.Status != record.Unsigned {
			continue // it is open, or holdline verify says what is wrong with it
		}
		by, err := s.sign(path)
		if err != nil {
			said = append(said, fmt.Sprintf("%q was closed and NOT SIGNED: %s; holdline countersign %q --key FILE signs it", path, clean(err.Error()), path))
			continue
		}
		said = append(said, fmt.Sprintf("%q was closed and not signed: it is now, by %s", path, by))
	}
	return said
}

// noRealFiring refuses practice while a real firing is under way or has broken
// off: its vehicle may be live, and nobody is to believe the practice box's
// word for it.
func noRealFiring(dir string) error {
	open, err := record.LastOpen(dir)
	if err != nil {
		return err
	}
	for _, o := range open {
		switch {
		case !o.Begun() || o.Practice:
		case !o.InUse && !o.Recoverable():
			return fmt.Errorf("no practice now: %w", unknown(o))
		case o.InUse || brokeOff(o) != nil:
			return fmt.Errorf("session: no practice now: a real firing is recorded in %q and is not over: end that one first", o.Path)
		}
	}
	return nil
}
