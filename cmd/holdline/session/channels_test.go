package session

import (
	"os"
	"testing"
	"testing/synctest"

	"holdline/arming"
	"holdline/arming/groundbox/practice"
	"holdline/checklist/sheet"
)

// TestMotorsHangOnTheChannelsThatTheSheetSays: a box with more channels than
// motors will do, and what happens on a channel is its motor's.
func TestMotorsHangOnTheChannelsThatTheSheetSays(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		path := quickSheet(t)
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		for _, set := range [][2]string{{"motor[1].channel", "6"}, {"motor[3].channel", "1"}} {
			if data, err = sheet.Set(data, set[0], set[1]); err != nil {
				t.Fatal(err)
			}
		}
		copyFile(t, path, data)
		c := newCrew(t, quietDir(t), func(o *Options) { o.SheetPath, o.Practice = path, true })
		if c.s.box.first.Channels != 6 {
			t.Fatalf("a box of %d channels, want 6", c.s.box.first.Channels)
		}
		c.toReady()
		b := c.state().Box
		for k := range b.Channel {
			if measured := b.Channel[k].Kind == arming.OhmValue; measured != (k < c.s.plan.Motors) {
				t.Errorf("motor %d: %+v", k+1, b.Channel[k])
			}
		}
		if err := c.s.trainer.SetFault(practice.Fault{Kind: practice.OpenChannel, Channel: 6}); err != nil {
			t.Fatal(err)
		}
		c.until("motor 1 open", 2e9, func(s arming.State) bool {
			return s.Box.Channel[0].Kind == arming.OhmOpen && s.Box.Channel[2].Kind == arming.OhmValue
		})
	})
}
