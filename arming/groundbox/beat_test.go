package groundbox

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

// The next beat comes, at most one interval from now, and lies whole intervals
// from the first; so a poll is never later for the beat's sake.
func TestNextBeat(t *testing.T) {
	start := time.Now()
	rapid.Check(t, func(t *rapid.T) {
		every := time.Duration(rapid.Int64Range(1, int64(time.Second)).Draw(t, "every"))
		beat := start.Add(time.Duration(rapid.Int64Range(-int64(time.Hour), int64(time.Hour)).Draw(t, "beat")))
		now := start.Add(time.Duration(rapid.Int64Range(-int64(time.Hour), int64(time.Hour)).Draw(t, "now")))
		next := NextBeat(beat, now, every)
		if wait := next.Sub(now); wait <= 0 || wait > every {
			t.Fatalf("in %v, with %v from beat to beat", wait, every)
		}
		if next.Sub(beat)%every != 0 {
			t.Fatalf("%v from the first beat, with %v from beat to beat", next.Sub(beat), every)
		}
	})
}

func TestPollsComeOnTheBeatAndNeverLaterThanTheInterval(t *testing.T) {
	beat := time.Now()
	l := &Link{cfg: Config{PollEvery: PollSlow, Beat: beat}}
	s := newSession(newDriver(l), nil)
	late := beat.Add(30 * time.Millisecond) // a poll that began late
	if got := s.next(late).Sub(beat); got != PollSlow {
		t.Errorf("after a poll at 30 ms the next comes at %v", got)
	}
	if got := s.next(beat).Sub(beat); got != PollSlow {
		t.Errorf("after a poll on the beat the next comes after %v", got)
	}
	l.fast = true
	if got := s.next(late).Sub(beat); got != PollFast {
		t.Errorf("polled fast, after a poll at 30 ms the next comes at %v", got)
	}
}
