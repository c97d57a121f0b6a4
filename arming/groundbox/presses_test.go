package groundbox

import (
	"testing"
	"testing/synctest"
	"time"

	"holdline/arming"
	"holdline/arming/groundbox/wire"
)

// TestNoGapBetweenTwoPressesLeavesTheBitDead: whatever lies between two presses,
// a third that comes later is told. Every bit that is told is cleared, as the
// machine does it.
func TestNoGapBetweenTwoPressesLeavesTheBitDead(t *testing.T) {
	dead := 0
	for gap := 10 * time.Millisecond; gap <= 450*time.Millisecond; gap += 10 * time.Millisecond {
		synctest.Test(t, func(t *testing.T) {
			box := newBox(t, 4)
			link := Open(Config{Dial: box.Dial, Port: "the practice port", RequirePractice: true, WantChannels: 4})
			defer link.Close()
			tr := Translator{PulseS: 1, Channels: []int{1, 2, 3, 4}}
			told := make(chan wire.Event, 256)
			go func() {
				for r := range link.Reports() {
					for _, one := range tr.Translate(r) {
						if ev, is := one.Event.(arming.BoxEvents); is {
							told <- ev.Bits
							link.ClearEvents(ev.Bits)
						}
					}
				}
			}()
			for _, pause := range []time.Duration{time.Second, gap, time.Second} {
				time.Sleep(pause)
				box.Hands().Press(3 * time.Millisecond)
			}
			for len(told) > 0 { // those of the first two
				<-told
			}
			time.Sleep(400 * time.Millisecond)
			if len(told) != 1 || <-told != wire.EventButtonEarly {
				dead++
			}
		})
	}
	t.Logf("45 gaps between two presses: after %d of them a third press was told to nobody", dead)
	if dead > 0 {
		t.Errorf("after %d gaps of 45 a third press was told to nobody", dead)
	}
}
