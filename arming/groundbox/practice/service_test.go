package practice

import (
	"strings"
	"testing"
	"time"

	"holdline/arming/groundbox/wire"
)

// Counts that are unknown become 0 by a hand at the box alone: key out, battery
// off, button kept pressed for 10 s from power-up.
func TestUnknownCountsAreServicedAtTheBox(t *testing.T) {
	for _, c := range []struct {
		what         string
		key, battery bool
		press        time.Duration
		want         int64
	}{
		{"as it should be", false, false, 11 * time.Second, 0},
		{"let go too early", false, false, 9 * time.Second, wire.Unknown},
		{"key in", true, false, 11 * time.Second, wire.Unknown},
		{"battery on", false, true, 11 * time.Second, wire.Unknown},
	} {
		r := newRig(t, 1)
		r.box.hw.pulses, r.box.hw.presses = wire.Unknown, wire.Unknown
		r.box.Hands().Key(c.key)
		r.box.Hands().Battery(c.battery)
		r.box.Hands().Press(c.press)
		r.passMs(20)
		hang := Fault{Kind: Freeze} // taking it back powers the box up
		if err := r.box.SetFault(hang); err != nil {
			t.Fatal(err)
		}
		r.box.ClearFault(hang)
		r.passMs(100)
		r.say("STAT:EVEN:CLE 511")
		r.pass(12 * time.Second)
		s := r.snapshot()
		if restarted := s.Events&wire.EventRestarted != 0; s.Pulses != c.want || s.Presses != c.want || restarted != (c.want == 0) {
			t.Errorf("%s: pulses %d, presses %d, events %v, want counts of %d", c.what, s.Pulses, s.Presses, s.Events, c.want)
		}
	}
}

// Event 16 is in the way of ON and of KEEP until it is cleared, and a weld brings
// it back at once.
func TestEvent16IsInTheWayOfOn(t *testing.T) {
	r := newRig(t, 1)
	r.armed()
	weld := Fault{Kind: PermitWelded}
	if err := r.box.SetFault(weld); err != nil {
		t.Fatal(err)
	}
	r.passMs(60)
	r.say("STAT:EVEN:CLE 511")
	if s := r.snapshot(); s.Events != wire.EventWelded {
		t.Errorf("events %v, want the weld again at once", s.Events)
	}
	r.box.ClearFault(weld)
	r.passMs(100)
	for _, want := range []string{"-221", "0"} {
		s := r.snapshot()
		r.say("OUTP:PERM ON," + token + "," + strings.TrimPrefix(strings.Split(s.Text(), ",")[0], "P"))
		if got := r.say("SYST:ERR?"); !strings.HasPrefix(got, want) {
			t.Errorf("ON with events %v: %s, want %s", s.Events, got, want)
		}
		r.say("STAT:EVEN:CLE 16")
	}
}
