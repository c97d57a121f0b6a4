package groundbox

import (
	"flag"
	"fmt"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"holdline/arming/groundbox/practice"
	"holdline/arming/groundbox/wire"
	"holdline/sim/circuit"
)

func TestMain(m *testing.M) {
	flag.Parse()
	if f := flag.Lookup("test.fuzz"); f.Value.String() == "" {
		if err := flag.Set("test.parallel", "12"); err != nil { // most of them wait
			panic(err)
		}
	}
	goleak.VerifyTestMain(m)
}

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

// bench is a practice box with a link to it.
type bench struct {
	t    testing.TB
	box  *practice.Box
	link *Link
	seen []Report
}

func newBox(t testing.TB, channels int) *practice.Box {
	t.Helper()
	box, err := practice.New(practice.Config{Problem: alike(channels)})
	if err != nil {
		t.Fatal(err)
	}
	return box
}

// onTerminal gives a box a pseudo-terminal until the test ends.
func onTerminal(t testing.TB, box *practice.Box) (path string) {
	t.Helper()
	path, stop, err := practice.StartPTY(box)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(stop)
	return path
}

// overPTY connects through a real pseudo-terminal and the real serial library,
// which need real time.
func overPTY(t testing.TB) *bench {
	t.Helper()
	box := newBox(t, 4)
	path := onTerminal(t, box)
	return linkTo(t, box, func(c *Config) { c.Dial = SerialDial(path, 115200) })
}

// inProcess connects through a pipe in memory, as simulated time needs it.
func inProcess(t testing.TB) *bench {
	t.Helper()
	return linkTo(t, newBox(t, 4), func(*Config) {})
}

func linkTo(t testing.TB, box *practice.Box, change func(*Config)) *bench {
	t.Helper()
	cfg := Config{Dial: box.Dial, Port: "the practice port", RequirePractice: true, WantChannels: 4}
	change(&cfg)
	b := &bench{t: t, box: box, link: Open(cfg)}
	t.Cleanup(b.link.Close)
	return b
}

// next waits for a report for which want returns true.
func (b *bench) next(within time.Duration, what string, want func(Report) bool) Report {
	b.t.Helper()
	timeout := time.After(within)
	for {
		select {
		case r, open := <-b.link.Reports():
			if !open {
				b.t.Fatalf("waiting for %s: the link has closed", what)
			}
			b.seen = append(b.seen, r)
			if want(r) {
				return r
			}
		case <-timeout:
			b.t.Fatalf("waiting for %s: not within %v; the last reports:\n%s", what, within, b.tail(12))
		}
	}
}

func (b *bench) tail(n int) string {
	text := ""
	for _, r := range b.seen[max(0, len(b.seen)-n):] {
		text += fmt.Sprintf("  %T %+v\n", r, r)
	}
	return text
}

// has tells whether a report has been seen.
func (b *bench) has(want func(Report) bool) bool {
	for _, r := range b.seen {
		if want(r) {
			return true
		}
	}
	return false
}

// await waits for a report of one type.
func await[R Report](b *bench, within time.Duration) R {
	b.t.Helper()
	var zero R
	return b.next(within, fmt.Sprintf("%T", zero), func(r Report) bool { _, is := r.(R); return is }).(R)
}

// snapshot waits for a snapshot for which want holds.
func (b *bench) snapshot(within time.Duration, what string, want func(Snapshot) bool) SnapshotRead {
	b.t.Helper()
	return b.next(within, what, func(r Report) bool {
		s, is := r.(SnapshotRead)
		return is && want(s.S)
	}).(SnapshotRead)
}

// closed waits until the permit reads closed.
func (b *bench) closed() {
	b.t.Helper()
	b.snapshot(time.Second, "the permit closed", func(s Snapshot) bool { return s.PermitClosed })
}

// open waits until the permit reads open and its node dead.
func (b *bench) open() Snapshot {
	b.t.Helper()
	return b.snapshot(2*time.Second, "the permit open", func(s Snapshot) bool { return !s.PermitClosed && s.BehindPermitV.Dead() }).S
}

// ready brings the box to where the permit may close: key in, battery joined,
// button open, no event.
func (b *bench) ready() {
	b.t.Helper()
	if !b.has(func(r Report) bool { _, is := r.(Connected); return is }) {
		await[Connected](b, 3*time.Second)
	}
	time.Sleep(50 * time.Millisecond) // the box has to have seen the key out before it goes in
	h := b.box.Hands()
	h.Igniters(true)
	h.Battery(true)
	h.Key(true)
	b.snapshot(time.Second, "key in and poles open", func(s Snapshot) bool {
		b.link.ClearEvents(wire.EventKeyOut) // as the machine does
		return s.KeyIn && !s.Pole1Closed && !s.Pole2Closed && s.Events == 0
	})
}

// granting renews a grant in the background until the returned function is
// called, or the test ends.
func (b *bench) granting(number uint64) (stop func()) {
	quit, done := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		for {
			b.link.Permit(Grant{Number: number, Until: time.Now().Add(200 * time.Millisecond)})
			select {
			case <-quit:
				return
			case <-time.After(50 * time.Millisecond):
			}
		}
	}()
	stop = sync.OnceFunc(func() { close(quit); <-done })
	b.t.Cleanup(stop)
	return stop
}

func TestAFiringOverAPseudoTerminal(t *testing.T) {
	b := overPTY(t)
	c := await[Connected](b, 3*time.Second)
	if c.Channels != 4 || !c.Identity.Practice() || c.TestCurrentA != 0.001 || c.Changed {
		t.Fatalf("connected: %+v", c)
	}
	h := b.box.Hands()
	h.Igniters(true)
	b.link.Lease(true)
	s := b.snapshot(time.Second, "a resistance scan", func(s Snapshot) bool { return s.Scan > 0 })
	for k, r := range s.S.ChannelOhm {
		if v := r.Value; v < 1.5 || v > 3 {
			t.Errorf("channel %d reads %v ohm, want lead and bridge together", k+1, r)
		}
	}
	b.link.Lease(false)
	b.ready()
	stop := b.granting(1)
	b.closed()
	b.box.Hands().Press(700 * time.Millisecond)
	b.snapshot(time.Second, "a pulse", func(s Snapshot) bool { return s.Pulses == 1 && s.Presses == 1 && s.PermitClosed })
	if open := b.open(); open.Pulses != 1 {
		t.Errorf("%d pulses, want 1", open.Pulses)
	}
	stop()
	b.link.AskFire()
	f := await[FireRead](b, time.Second)
	if f.Pulses != 1 || f.LengthS.Value < 0.65 || f.LengthS.Value > 0.80 {
		t.Errorf("pulse: %+v, want a length of 0.7 s", f)
	}
	for _, m := range b.box.Lit() {
		if !m.Lit {
			t.Errorf("motor %d is dark: %+v", m.Motor, m)
		}
	}
}
