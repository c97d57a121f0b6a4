package practice

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"

	"holdline/arming/groundbox/wire"
	"holdline/sim/circuit"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// alike is a circuit of n equal igniters of our own invention.
func alike(n int) *circuit.Problem {
	p := &circuit.Problem{
		Battery:          circuit.Battery{VoltageV: 12.4, InternalOhm: 0.025, HighestInternalOhm: 0.040},
		Lead:             circuit.Lead{Kind: circuit.LeadGauge, Gauge: 18, LengthM: 20},
		LeadTemperatureC: 20, SwitchOhm: 0.010, ContactOhm: 0.020,
		PulseS: 1, Margin: 1.5, TestCurrentA: 0.001, MeterErrorOhm: 0.02,
		StaggerLimitS: 0.060, AllLightProbabilityLeast: 0.99,
	}
	for range n {
		p.Igniters = append(p.Igniters, circuit.Igniter{
			Kind: "std", ResistanceOhm: 0.8, Tolerance: 0.12, NoFireA: 0.15, AllFireA: 0.60,
			Source: "invented", TimeConstantS: 0.004, PressureMeanS: 0.035, PressureSpreadS: 0.008,
			BranchLead: circuit.Lead{Kind: circuit.LeadGauge, Gauge: 24, LengthM: 0.4},
		})
	}
	return p
}

const token = "C0FFEE01"

// rig drives a box by hand, in device time that the test sets.
type rig struct {
	t   *testing.T
	box *Box
	now time.Duration
}

func newRig(t *testing.T, channels int) *rig {
	t.Helper()
	box, err := New(Config{Problem: alike(channels)})
	if err != nil {
		t.Fatal(err)
	}
	r := &rig{t: t, box: box}
	box.clock = func() time.Duration { return r.now }
	r.pass(100 * time.Millisecond)
	r.say("SYST:OWN " + token)
	r.say("STAT:EVEN:CLE 511")
	return r
}

func (r *rig) pass(d time.Duration) {
	r.now += d
	r.box.State() // brings it to the present
}

// output is what the box has sent since the last call.
func (r *rig) output() string {
	out, _ := r.box.output()
	return string(out)
}

func (r *rig) passMs(ms int) { r.pass(time.Duration(ms) * time.Millisecond) }

// say sends a line and returns what comes back at once.
func (r *rig) say(line string) string {
	r.box.Input([]byte(line + "\n"))
	return strings.TrimSuffix(r.output(), "\n")
}

func (r *rig) snapshot() wire.Snapshot {
	r.t.Helper()
	s, err := wire.ParseSnapshot(r.say("STAT:SNAP?"))
	if err != nil {
		r.t.Fatal(err)
	}
	return s
}

// noError wants an empty error queue.
func (r *rig) noError() {
	r.t.Helper()
	if got := r.say("SYST:ERR?"); got != `0,"No error"` {
		r.t.Fatalf("error: %s", got)
	}
}

func (r *rig) on() {
	r.box.Input([]byte(fmt.Sprintf("OUTP:PERM ON,%s,%d\n", token, r.snapshot().Sequence)))
}

func (r *rig) keep() {
	r.box.Input([]byte(fmt.Sprintf("OUTP:PERM:KEEP %s,%d\n", token, r.snapshot().Sequence)))
}

// armed joins the battery, connects the igniters and puts the key in.
func (r *rig) armed() {
	h := r.box.Hands()
	h.Igniters(true)
	h.Battery(true)
	h.Key(true)
	r.passMs(50)
	r.say("STAT:EVEN:CLE 256")
}

// closed closes the permit.
func (r *rig) closed() {
	r.t.Helper()
	r.armed()
	r.on()
	r.passMs(20)
	if s := r.snapshot(); !s.PermitClosed {
		r.t.Fatalf("the permit did not close: %s; %s", s.Text(), r.say("SYST:ERR?"))
	}
}

func TestKeyInCountsAfter20msAndOutAtOnce(t *testing.T) {
	r := newRig(t, 1)
	r.box.Hands().Key(true)
	r.passMs(20)
	if r.snapshot().KeyIn {
		t.Error("in after 20 ms less one")
	}
	r.passMs(1)
	if !r.snapshot().KeyIn {
		t.Error("not in after 20 ms")
	}
	r.box.Hands().Key(false)
	r.passMs(1)
	if r.snapshot().KeyIn {
		t.Error("in 1 ms after it went out")
	}
}

func TestABounceOfTheKeyInTheWindowEndsTheFiring(t *testing.T) {
	r := newRig(t, 2)
	r.closed()
	r.box.Hands().Key(false)
	r.passMs(1)
	r.box.Hands().Key(true)
	r.passMs(60)
	if s := r.snapshot(); s.PermitClosed || s.Events != wire.EventKeyPulled|wire.EventKeyOut {
		t.Errorf("permit %v, events %v, want open and key pulled", s.PermitClosed, s.Events)
	}
	r.on()
	r.passMs(20)
	if !r.snapshot().PermitClosed {
		t.Error("the bounce was an insertion: one more ON is allowed")
	}
}

// Every length of silence: the watchdog never opens before its time and at most
// 20 ms after.
func TestWatchdogTime(t *testing.T) {
	for _, set := range []int{250, 333, 500} {
		r := newRig(t, 1)
		r.say(fmt.Sprintf("OUTP:PERM:TIM %g,%s", float64(set)/1000, token))
		r.noError()
		r.closed()
		r.passMs(70)
		r.keep()
		r.noError()
		r.passMs(set)
		if s := r.box.State(); !s.PermitCommanded {
			t.Errorf("%d ms: open at its time", set)
		}
		r.passMs(20)
		if s := r.box.State(); s.PermitCommanded || s.Events != wire.EventWatchdog {
			t.Errorf("%d ms: commanded %v, events %v 20 ms after its time", set, s.PermitCommanded, s.Events)
		}
	}
}

func TestWatchdogNeedsNoProgram(t *testing.T) {
	r := newRig(t, 1)
	r.closed()
	if err := r.box.SetFault(Fault{Kind: Freeze}); err != nil {
		t.Fatal(err)
	}
	r.keep0()
	r.passMs(510)
	if s := r.box.State(); !s.PermitCommanded {
		t.Error("the program's own watchdog ran although the program hung")
	}
	r.passMs(210)
	if s := r.box.State(); s.PermitCommanded || s.PermitClosed {
		t.Error("closed 0.72 s after the program hung")
	}
	if got := r.say("*IDN?"); got != "" {
		t.Errorf("a hung program answers %q", got)
	}
}

// keep0 sends a KEEP that the box cannot hear.
func (r *rig) keep0() { r.box.Input([]byte("OUTP:PERM:KEEP " + token + ",1\n")) }

func TestThePermitOpensAfter20sWhateverIsSent(t *testing.T) {
	r := newRig(t, 1)
	r.closed()
	from := r.box.State().PermitClosedAt
	for r.now < from+19990*time.Millisecond {
		r.keep()
		r.passMs(50)
		if !r.box.State().PermitCommanded && r.now < from+20*time.Second {
			t.Fatalf("open after %v", r.now-from)
		}
	}
	r.noError()
	r.passMs(20)
	if s := r.box.State(); s.PermitCommanded || s.Events != wire.EventPermitLimit {
		t.Errorf("commanded %v, events %v after 20 s", s.PermitCommanded, s.Events)
	}
}

func TestATapOf3msIsAPressAndAPulse(t *testing.T) {
	r := newRig(t, 2)
	r.closed()
	r.box.Hands().Press(3 * time.Millisecond)
	r.passMs(10)
	if s := r.snapshot(); s.Presses != 1 || s.Pulses != 1 || !s.PermitClosed {
		t.Errorf("presses %d, pulses %d, permit %v, want one of each while it bounces", s.Presses, s.Pulses, s.PermitClosed)
	}
	r.passMs(40)
	if s := r.snapshot(); s.PermitClosed || s.Events != 0 {
		t.Errorf("permit %v, events %v, want open by the release", s.PermitClosed, s.Events)
	}
}

func TestAPulseLightsTheMotorsAsTheCircuitSays(t *testing.T) {
	r := newRig(t, 4)
	r.closed()
	bench := circuit.NewBench(alike(4), nil)
	bench.Advance(1, true)
	r.box.Hands().Press(600 * time.Millisecond)
	began := r.now
	for range 12 {
		r.passMs(50)
		r.keep()
	}
	r.passMs(60)
	for k, m := range r.box.Lit() {
		wantS, _ := bench.Lights(k)
		if d := (m.At - began).Seconds() - wantS; !m.Lit || math.Abs(d) > 0.0025 {
			t.Errorf("motor %d: lit %v at %v, the circuit says %.4f s", k+1, m.Lit, m.At-began, wantS)
		}
	}
	f := strings.Split(r.say("STAT:FIRE?"), ",")
	length, err := wire.ParseReading(f[2])
	if f[0] != "1" || err != nil || math.Abs(length.Value-0.62) > 0.002 { // 20 ms until an open pole counts
		t.Errorf("STAT:FIRE?: %v, want a length of 0.62 s", f)
	}
	lowest, err := wire.ParseReading(f[3])
	if err != nil || lowest.Value >= 12.4 || lowest.Value < 8 {
		t.Errorf("lowest battery voltage %v, want a sag under load", f[3])
	}
}

func TestAPulseGoesOnWhenTheBridgesHaveOpened(t *testing.T) {
	r := newRig(t, 1)
	r.closed()
	r.box.Hands().Press(300 * time.Millisecond)
	r.passMs(200)
	// The bridge has opened long since; the bus stays live without a load.
	if s := r.snapshot(); !s.BusV.Live() || s.Pulses != 1 {
		t.Errorf("bus %v, pulses %d", s.BusV, s.Pulses)
	}
}

func TestFireIsForgottenAtPowerLossAndTheCountsAreNot(t *testing.T) {
	r := newRig(t, 1)
	r.closed()
	r.box.Hands().Press(50 * time.Millisecond)
	r.passMs(100)
	r.box.restart()
	r.passMs(10)
	if got := r.say("STAT:FIRE?"); got != "1,9.91E37,9.91E37,9.91E37" {
		t.Errorf("STAT:FIRE?: %s", got)
	}
	s := r.snapshot()
	if s.Pulses != 1 || s.Presses != 1 || s.Events != wire.EventRestarted || s.PermitClosed {
		t.Errorf("after the restart: %s", s.Text())
	}
	// The key was in all along: this is no insertion.
	r.say("SYST:OWN " + token)
	r.passMs(50)
	r.on()
	if got := r.say("SYST:ERR?"); !strings.HasPrefix(got, "-221") {
		t.Errorf("ON with a key that was never seen out: %s", got)
	}
}

func TestUnknownCountsStayUnknown(t *testing.T) {
	r := newRig(t, 1)
	r.box.hw.pulses, r.box.hw.presses = wire.Unknown, wire.Unknown
	r.closed()
	r.box.Hands().Press(50 * time.Millisecond)
	r.passMs(100)
	if s := r.snapshot(); s.Pulses != wire.Unknown || s.Presses != wire.Unknown {
		t.Errorf("pulses %d, presses %d, want -1", s.Pulses, s.Presses)
	}
}

func TestBridgedContactsShowAsVoltageBehindThem(t *testing.T) {
	for name, c := range map[string]struct {
		fault   FaultKind
		prepare func(*rig)
		seen    func(wire.Snapshot) bool
	}{
		"key bridged": {KeyBridged, func(r *rig) { r.box.Hands().Battery(true) },
			func(s wire.Snapshot) bool { return !s.KeyIn && s.BehindKeyV.Live() }},
		"permit welded": {PermitWelded, func(r *rig) { r.armed() },
			func(s wire.Snapshot) bool { return s.PermitClosed && s.BehindPermitV.Live() }},
		"pole stuck": {ButtonStuck, func(r *rig) { r.armed() },
			func(s wire.Snapshot) bool { return s.Pole1Closed && !s.Pole2Closed }},
	} {
		t.Run(name, func(t *testing.T) {
			r := newRig(t, 2)
			if err := r.box.SetFault(Fault{Kind: c.fault}); err != nil {
				t.Fatal(err)
			}
			c.prepare(r)
			r.passMs(100)
			s := r.snapshot()
			if !c.seen(s) {
				t.Errorf("snapshot: %s", s.Text())
			}
			if wantEvent := c.fault != ButtonStuck; (s.Events&wire.EventWelded != 0) != wantEvent {
				t.Errorf("events %v", s.Events)
			}
			r.say("STAT:EVEN:CLE 16")
			if again := r.snapshot(); again.Events&wire.EventWelded != s.Events&wire.EventWelded {
				t.Error("what lasts did not come again at once")
			}
			r.on() // a box takes ON with a welded permit: the program does not send it
			if r.box.State().PermitCommanded && c.fault != PermitWelded {
				t.Error("ON was taken")
			}
		})
	}
}

// A stuck pole is told before the permit closes, and is no press.
func TestAStuckPoleNeverFires(t *testing.T) {
	r := newRig(t, 1)
	if err := r.box.SetFault(Fault{Kind: ButtonStuck}); err != nil {
		t.Fatal(err)
	}
	r.armed()
	r.on()
	r.passMs(500)
	if s := r.snapshot(); s.Presses != 0 || s.Pulses != 0 || !s.Pole1Closed {
		t.Errorf("snapshot: %s", s.Text())
	}
}

func TestOnlyAWeldedPermitAndAPressLightWithoutOn(t *testing.T) {
	r := newRig(t, 1)
	r.armed()
	r.box.Hands().Press(500 * time.Millisecond)
	r.passMs(600)
	if s := r.snapshot(); s.Pulses != 0 || s.Presses != 1 || s.Events != wire.EventButtonEarly || r.box.Lit()[0].BridgeFired {
		t.Errorf("a press with the permit open: %s", s.Text())
	}
}

func TestSelfTestFindsAWeldedPermit(t *testing.T) {
	r := newRig(t, 1)
	if err := r.box.SetFault(Fault{Kind: PermitWelded}); err != nil {
		t.Fatal(err)
	}
	r.passMs(10)
	r.say("SYST:TEST? " + token)
	r.pass(2 * time.Second)
	if got := strings.TrimSpace(r.output()); got != "2" {
		t.Errorf("self-test: %q, want 2, the relay did not open", got)
	}
}

func TestSelfTestIsBrokenOffByTheKeyAndByANewOwner(t *testing.T) {
	for name, do := range map[string]func(*rig){
		"key":   func(r *rig) { r.box.Hands().Key(true); r.passMs(30) },
		"owner": func(r *rig) { r.say("SYST:OWN 00000001") },
		"off":   func(r *rig) { r.say("OUTP:PERM OFF") },
	} {
		r := newRig(t, 1)
		r.say("SYST:TEST? " + token)
		r.passMs(30)
		if !r.box.hw.permitContact {
			t.Errorf("%s: the relay is not closed in the test", name)
		}
		do(r)
		r.passMs(10)
		if got := strings.TrimSpace(r.output()); r.box.hw.permitContact {
			t.Errorf("%s: the relay is closed, answer %q", name, got)
		}
	}
}

func TestTheLeaseMeasuresOnlyADeadBus(t *testing.T) {
	r := newRig(t, 2)
	r.box.Hands().Igniters(true)
	r.say("SENS:RES:STAT ON," + token)
	r.passMs(100)
	bench := circuit.NewBench(alike(2), nil)
	s := r.snapshot()
	if got, want := s.ChannelOhm[0].Value, bench.Resistance(0); math.Abs(got-want) > 1e-3 {
		t.Errorf("channel 1: %g ohm, the circuit says %g", got, want)
	}
	r.box.Hands().Shunt(true)
	r.passMs(100)
	if got := r.snapshot().ChannelOhm[1]; got.Kind != wire.Measured || got.Value > 0.01 {
		t.Errorf("with the shunt on: %v", got)
	}
	r.box.Hands().Shunt(false)
	r.box.Hands().Igniters(false)
	r.passMs(100)
	if got := r.snapshot().ChannelOhm[0]; got.Kind != wire.Open {
		t.Errorf("without igniters: %v", got)
	}
	// Bridged all the way, the bus becomes live under the lease.
	for _, k := range []FaultKind{KeyBridged, PermitWelded} {
		if err := r.box.SetFault(Fault{Kind: k}); err != nil {
			t.Fatal(err)
		}
	}
	r.box.Hands().Battery(true)
	r.box.Hands().Button(true)
	r.passMs(2)
	s = r.snapshot()
	if !s.BusV.Live() || s.ChannelOhm[0].Kind != wire.NotMeasured || s.Pulses != 1 {
		t.Errorf("bus live: %s", s.Text())
	}
}

func TestNewRefusesABadCircuit(t *testing.T) {
	bad := alike(1)
	bad.Igniters[0].ResistanceOhm = -1
	for name, p := range map[string]*circuit.Problem{"none": nil, "no igniter": alike(0), "seventeen": alike(17), "bad": bad} {
		if box, err := New(Config{Problem: p}); err == nil || box != nil {
			t.Errorf("%s: taken", name)
		}
	}
}

// No line closes anything but by ON under every condition: with the key out no
// bytes whatever light a motor.
func FuzzNoBytesFire(f *testing.F) {
	f.Add([]byte("OUTP:PERM ON,C0FFEE01,1\nSYST:TEST? C0FFEE01\n"))
	f.Add([]byte("SYST:OWN C0FFEE01\nSENS:RES:STAT ON,C0FFEE01\nMEAS:RES? (@1:2)\nSTAT:SNAP?\n"))
	f.Add([]byte("OUTP:PERM:TIM 9.9E37,C0FFEE01\nSTAT:EVEN:CLE 255\n\xff\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		data = data[:min(len(data), 4000)] // each piece takes 30 ms of the box's time
		r := newRig(t, 2)
		r.box.Hands().Igniters(true)
		r.box.Hands().Battery(true)
		r.box.Hands().Button(true)
		for len(data) > 0 {
			n := min(len(data), 40)
			r.box.Input(data[:n])
			data = data[n:]
			r.passMs(30)
			for _, line := range strings.Split(strings.TrimSuffix(r.output(), "\n"), "\n") {
				if len(line) > wire.MaxAnswerBytes {
					t.Fatalf("an answer of %d bytes", len(line))
				}
			}
			s := r.box.State()
			if s.PermitCommanded || s.Pulses != 0 || s.BusV != 0 || r.box.Lit()[0].BridgeFired {
				t.Fatalf("state: %+v", s)
			}
		}
	})
}
