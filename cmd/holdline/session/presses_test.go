package session

import (
	"testing"
	"testing/synctest"
	"time"

	"holdline/arming"
	"holdline/arming/groundbox/wire"
)

// TestATapInTheCountIsHoldAfterDoublePresses: whatever lies between two presses
// in SETUP, a tap of 3 ms in COUNT is HOLD, and a key that is out for 3 ms too.
// The event is told each time: the counts alone do not do it.
func TestATapInTheCountIsHoldAfterDoublePresses(t *testing.T) {
	for i, gap := range []time.Duration{50, 100, 130, 160, 190, 220, 260, 300} {
		synctest.Test(t, func(t *testing.T) {
			c := newCrew(t, quietDir(t), func(o *Options) { o.SheetPath, o.Practice = quickSheet(t), true })
			hands := c.s.trainer.Hands()
			for range 2 {
				hands.Press(3 * time.Millisecond)
				time.Sleep(gap * time.Millisecond)
			}
			time.Sleep(time.Second)
			if left := c.s.trainer.State().Events &^ wire.EventKeyOut; left != 0 {
				t.Errorf("presses %v ms apart: %v is never cleared", gap, left)
			}
			c.toReady()
			c.toArmed()
			c.send(arming.StartCount{By: firing}, func(s arming.State) bool { return s.Phase == arming.Count })
			time.Sleep(time.Second)
			if i%2 == 0 {
				hands.Press(3 * time.Millisecond)
			} else {
				hands.Key(false)
				time.Sleep(3 * time.Millisecond)
				hands.Key(true)
			}
			c.phase(arming.Hold, 500*time.Millisecond)
			if why := c.state().HoldWhy; i%2 == 1 && why != "the box reports: the key went out" {
				t.Errorf("HOLD: %s", why)
			}
		})
	}
}
