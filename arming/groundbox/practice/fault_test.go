package practice

import (
	"math"
	"strings"
	"testing"
	"time"

	"holdline/arming/groundbox/wire"
	"holdline/sim/circuit"
)

func TestFaultsOfTheCircuit(t *testing.T) {
	r := newRig(t, 4)
	for _, text := range []string{"open:1", "short:2", "drift:3", "weak-battery"} {
		f, err := ParseFault(text)
		if err != nil {
			t.Fatal(err)
		}
		if err := r.box.SetFault(f); err != nil {
			t.Fatal(err)
		}
	}
	r.box.Hands().Igniters(true)
	r.say("SENS:RES:STAT ON," + token)
	r.passMs(200)
	a := r.snapshot().ChannelOhm
	r.pass(4 * time.Second)
	b := r.snapshot().ChannelOhm
	bench := circuit.NewBench(alike(4), nil)
	sound := bench.Resistance(3)
	if a[0].Kind != wire.Open || math.Abs(a[1].Value-(sound-0.78)) > 0.01 || math.Abs(a[3].Value-sound) > 0.001 {
		t.Errorf("readings %v, want open, short, …, %g", a, sound)
	}
	if up := b[2].Value - a[2].Value; math.Abs(up-0.08) > 0.01 {
		t.Errorf("channel 3 drifted by %g ohm in 4 s, want 0.08", up)
	}
	r.say("SENS:RES:STAT OFF")
	r.closed()
	r.box.Hands().Press(500 * time.Millisecond)
	r.passMs(20)
	if v := r.snapshot().BatteryV.Value; v > 10.5 {
		t.Errorf("a weak battery under load shows %g V", v)
	}
	r.passMs(400)
	lit := r.box.Lit()
	if lit[0].BridgeFired || lit[1].BridgeFired {
		t.Errorf("an open and a shorted bridge fired: %+v", lit)
	}
}

func TestLateAndDarkMotors(t *testing.T) {
	r := newRig(t, 3)
	for _, text := range []string{"late-light:1=2", "dark:2"} {
		f, err := ParseFault(text)
		if err != nil {
			t.Fatal(err)
		}
		if err := r.box.SetFault(f); err != nil {
			t.Fatal(err)
		}
	}
	r.closed()
	r.box.Hands().Press(500 * time.Millisecond)
	r.passMs(400)
	lit := r.box.Lit()
	if lit[0].Lit || lit[1].Lit || !lit[2].Lit || !lit[0].BridgeFired || !lit[1].BridgeFired {
		t.Errorf("after 0.4 s: %+v", lit)
	}
	r.passMs(2000)
	if lit = r.box.Lit(); !lit[0].Lit || lit[1].Lit {
		t.Errorf("after 2.4 s: %+v", lit)
	}
}

func TestButtonEarlyPressesAfterTheKey(t *testing.T) {
	r := newRig(t, 1)
	if err := r.box.SetFault(Fault{Kind: ButtonEarly}); err != nil {
		t.Fatal(err)
	}
	r.pass(5 * time.Second)
	if r.snapshot().Presses != 0 {
		t.Error("pressed without a key")
	}
	r.armed()
	r.pass(2200 * time.Millisecond)
	if s := r.snapshot(); s.Presses != 1 || s.Events != wire.EventButtonEarly {
		t.Errorf("presses %d, events %v", s.Presses, s.Events)
	}
}

func TestNewIgnitersAndClearedFaults(t *testing.T) {
	r := newRig(t, 1)
	f, err := ParseFault("open:1")
	if err != nil {
		t.Fatal(err)
	}
	if err := r.box.SetFault(f); err != nil {
		t.Fatal(err)
	}
	r.box.ClearFault(f)
	r.closed()
	r.box.Hands().Press(100 * time.Millisecond)
	r.passMs(200)
	if !r.box.Lit()[0].Lit {
		t.Fatal("a mended channel did not light")
	}
	r.box.Hands().NewIgniters()
	if r.box.Lit()[0].BridgeFired {
		t.Error("a new igniter has fired")
	}
}

func TestParseFault(t *testing.T) {
	for _, h := range FaultKinds() {
		text := string(h.Kind)
		if strings.Contains(h.Form, ":K") {
			text += ":2"
		}
		f, err := ParseFault(text)
		if err != nil {
			t.Errorf("%q: %v", text, err)
		}
		again, err := ParseFault(f.String())
		if err != nil || again != f {
			t.Errorf("%q came back as %+v, %v", f, again, err)
		}
		if h.Meaning == "" {
			t.Errorf("%s has no meaning", h.Kind)
		}
	}
	for _, text := range []string{"", "open", "open:0", "open:17", "open:x", "open:1=2", "key:1", "noise:0", "noise:101", "noise:x",
		"late-light", "late-light:1=0", "late-light:1=x", "late-light:1=9999", "fire"} {
		if f, err := ParseFault(text); err == nil {
			t.Errorf("%q was taken: %+v", text, f)
		}
	}
	r := newRig(t, 2)
	if err := r.box.SetFault(Fault{Kind: OpenChannel, Channel: 3}); err == nil {
		t.Error("a channel that the box has not was taken")
	}
}
