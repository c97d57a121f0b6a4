package practice

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"

	"holdline/sim/circuit"
)

// FaultKind names a fault that can be ordered.
type FaultKind string

// The faults of a practice box.
const (
	OpenChannel  FaultKind = "open"
	ShortChannel FaultKind = "short"
	DriftChannel FaultKind = "drift"
	WeakBattery  FaultKind = "weak-battery"
	KeyBridged   FaultKind = "key"
	PermitWelded FaultKind = "permit-welded"
	ButtonStuck  FaultKind = "button-stuck"
	ButtonEarly  FaultKind = "button-early"
	Mute         FaultKind = "mute"
	Freeze       FaultKind = "freeze"
	NoWatchdog   FaultKind = "no-watchdog"
	NoSecond     FaultKind = "no-second-watchdog"
	FrozenInputs FaultKind = "frozen-inputs"
	Noise        FaultKind = "noise"
	Unplug       FaultKind = "unplug"
	LateLight    FaultKind = "late-light"
	Misfire      FaultKind = "dark"
)

// FaultHelp describes one kind of fault.
type FaultHelp struct {
	Kind    FaultKind
	Form    string // as it is ordered
	Meaning string
}

// FaultKinds lists every fault with its meaning, in a fixed order.
func FaultKinds() []FaultHelp {
	return []FaultHelp{
		{OpenChannel, "open:K", "channel K is broken: it reads open and never fires"},
		{ShortChannel, "short:K", "the bridge of channel K is shorted: it stays cold and robs the others"},
		{DriftChannel, "drift:K", "the resistance of channel K creeps up by 0.02 ohm a second, as a bad joint does"},
		{WeakBattery, "weak-battery", "the battery is flat and its internal resistance eight times as high"},
		{KeyBridged, "key", "the key's contact in the loop is bridged"},
		{PermitWelded, "permit-welded", "the permit's contact is welded"},
		{ButtonStuck, "button-stuck", "the button's pole in the loop is stuck closed"},
		{ButtonEarly, "button-early", "a hand presses the button 2 s after the key has gone in"},
		{Mute, "mute", "the box carries everything out and answers nothing"},
		{Freeze, "freeze", "the box's program hangs; its second watchdog does not"},
		{NoWatchdog, "no-watchdog", "the program's watchdog does not trip"},
		{NoSecond, "no-second-watchdog", "the second watchdog, of parts, does not trip"},
		{FrozenInputs, "frozen-inputs", "the snapshots count on and show what the inputs were"},
		{Noise, "noise or noise:P", "P percent of the answers are spoiled, 20 when not given"},
		{Unplug, "unplug", "the cable is pulled; taking the fault back plugs it in again"},
		{LateLight, "late-light:K or late-light:K=S", "motor K lights S seconds late, 6 when not given"},
		{Misfire, "dark:K", "the bridge of channel K fires and its motor stays dark"},
	}
}

// Fault is one fault of a box. Channel is 0 for a fault that has none.
type Fault struct {
	Kind    FaultKind
	Channel int
	Value   float64 // percent of noise, seconds of a late light
}

// String returns the fault as ParseFault reads it.
func (f Fault) String() string {
	switch f.Kind {
	case LateLight:
		return fmt.Sprintf("%s:%d=%s", f.Kind, f.Channel, strconv.FormatFloat(f.Value, 'f', -1, 64))
	case Noise:
		return fmt.Sprintf("%s:%s", f.Kind, strconv.FormatFloat(f.Value, 'f', -1, 64))
	}
	if f.Channel > 0 {
		return fmt.Sprintf("%s:%d", f.Kind, f.Channel)
	}
	return string(f.Kind)
}

const (
	defaultNoisePercent = 20
	defaultLateS        = 6
	driftOhmPerMs       = 0.02 / 1000
	earlyAfterMs        = 2000
	earlyPressMs        = 300
)

// ParseFault reads a fault in one of the forms that FaultKinds lists.
func ParseFault(text string) (Fault, error) {
	name, arg, hasArg := strings.Cut(strings.TrimSpace(text), ":")
	f := Fault{Kind: FaultKind(name)}
	fail := func(want string) (Fault, error) {
		return Fault{}, fmt.Errorf("practice: fault %q: want %s", text, want)
	}
	switch f.Kind {
	case OpenChannel, ShortChannel, DriftChannel, Misfire, LateLight:
		num, late, hasLate := strings.Cut(arg, "=")
		k, err := strconv.Atoi(num)
		if err != nil || k < 1 || k > 16 || hasLate && f.Kind != LateLight {
			return fail(name + ":K with a channel from 1 to 16")
		}
		f.Channel = k
		if f.Kind == LateLight {
			f.Value = defaultLateS
			if hasLate {
				if f.Value, err = strconv.ParseFloat(late, 64); err != nil || !(f.Value > 0 && f.Value <= 3600) {
					return fail(name + ":K=S with S above 0 and up to 3600 seconds")
				}
			}
		}
		return f, nil
	case Noise:
		f.Value = defaultNoisePercent
		if hasArg {
			v, err := strconv.ParseFloat(arg, 64)
			if err != nil || !(v > 0 && v <= 100) {
				return fail("noise:P with P above 0 and up to 100 percent")
			}
			f.Value = v
		}
		return f, nil
	case WeakBattery, KeyBridged, PermitWelded, ButtonStuck, ButtonEarly, Mute, Freeze, NoWatchdog, NoSecond, FrozenInputs, Unplug:
		if hasArg {
			return fail(name + " with nothing behind it")
		}
		return f, nil
	}
	var names []string
	for _, h := range FaultKinds() {
		names = append(names, string(h.Kind))
	}
	return fail("one of " + strings.Join(names, ", "))
}

// faults are those that a box has now.
type faults struct {
	on         map[faultKey]Fault
	noise      *rand.Rand
	earlyKeyMs int64
}

type faultKey struct {
	kind    FaultKind
	channel int
}

func (f *faults) has(kind FaultKind) bool { return f.hasChannel(kind, 0) }

func (f *faults) hasChannel(kind FaultKind, channel int) bool {
	_, on := f.getChannel(kind, channel)
	return on
}

func (f *faults) getChannel(kind FaultKind, channel int) (Fault, bool) {
	x, on := f.on[faultKey{kind, channel}]
	return x, on
}

// frozen reports that the controller's program does not run.
func (f *faults) frozen() bool { return f.has(Freeze) || f.has(Unplug) }

func (f *faults) list() []Fault {
	return slices.SortedFunc(maps.Values(f.on), func(a, b Fault) int { return strings.Compare(a.String(), b.String()) })
}

// SetFault orders a fault. A channel that the box has not is refused.
func (b *Box) SetFault(f Fault) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.catchUp()
	if f.Channel > b.hw.channels() {
		return fmt.Errorf("practice: fault %q: the box has %d channels", f, b.hw.channels())
	}
	if f.Channel > 0 && b.hw.igniterAt[f.Channel-1] < 0 {
		return fmt.Errorf("practice: fault %q: no igniter is on channel %d", f, f.Channel)
	}
	if b.faults.on == nil {
		b.faults.on = map[faultKey]Fault{}
	}
	key := faultKey{f.Kind, f.Channel}
	_, already := b.faults.on[key]
	b.faults.on[key] = f
	if already {
		return nil
	}
	switch f.Kind {
	case Unplug:
		b.unplug()
	case ButtonEarly:
		b.faults.earlyKeyMs = b.ms
	case OpenChannel, ShortChannel, WeakBattery:
		b.applyToBench(f)
	}
	b.contactFaults()
	return nil
}

// ClearFault takes a fault back. An igniter that has fired stays fired, and one
// that has drifted keeps what it has gained until new igniters are put in.
func (b *Box) ClearFault(f Fault) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.catchUp()
	key := faultKey{f.Kind, f.Channel}
	if _, on := b.faults.on[key]; !on {
		return
	}
	delete(b.faults.on, key)
	switch f.Kind {
	case OpenChannel, ShortChannel, DriftChannel, WeakBattery:
		if !b.anyFired() {
			b.newBench()
		}
	case Unplug:
		b.plugIn()
	case Freeze:
		b.restart() // somebody switched it off and on
	}
	b.contactFaults()
}

func (b *Box) contactFaults() {
	b.hw.keyBridged = b.faults.has(KeyBridged)
	b.hw.permitWelded = b.faults.has(PermitWelded)
	b.hw.poleStuck = b.faults.has(ButtonStuck)
	b.hw.noWatchdog, b.hw.noSecond = b.faults.has(NoWatchdog), b.faults.has(NoSecond)
	if !b.faults.has(FrozenInputs) {
		b.frozen = nil
	}
}

func (b *Box) anyFired() bool {
	for k := range b.hw.problem.Igniters {
		if _, fired := b.hw.bench.Fired(k); fired {
			return true
		}
	}
	return false
}

// newBench puts cold igniters in, with the faults that are on.
func (b *Box) newBench() {
	b.hw.bench = circuit.NewBench(b.hw.problem, nil)
	b.hw.benchStartMs = b.ms
	for _, f := range b.faults.list() {
		b.applyToBench(f)
	}
}

func (b *Box) applyToBench(f Fault) {
	switch f.Kind {
	case OpenChannel:
		b.hw.bench.Break(b.hw.igniterAt[f.Channel-1])
	case ShortChannel:
		b.hw.bench.ShortBridge(b.hw.igniterAt[f.Channel-1], 0.02)
	case WeakBattery:
		battery := b.hw.problem.Battery
		b.hw.bench.SetBattery(0.9*battery.VoltageV, 8*battery.InternalOhm)
	}
}

// step does what faults do by themselves.
func (f *faults) step(b *Box) {
	if len(f.on) == 0 {
		return
	}
	for key := range f.on {
		if key.kind == DriftChannel && b.hw.connected {
			b.hw.bench.AddOhm(b.hw.igniterAt[key.channel-1], driftOhmPerMs)
		}
	}
	if !f.has(ButtonEarly) || !b.hw.keyHand {
		f.earlyKeyMs = b.ms
	} else if b.ms-f.earlyKeyMs == earlyAfterMs {
		b.hw.pressEnds = b.ms + earlyPressMs
	}
}

// spoil changes, loses or adds one byte in some of the answers.
func (f *faults) spoil(text []byte) []byte {
	n, on := f.getChannel(Noise, 0)
	if !on || f.noise.Float64()*100 >= n.Value {
		return text
	}
	out := append([]byte(nil), text...)
	at := f.noise.IntN(len(out))
	switch f.noise.IntN(3) {
	case 0:
		out[at] ^= byte(1 + f.noise.IntN(255))
	case 1:
		out = append(out[:at], out[at+1:]...)
	default:
		out = append(out[:at], append([]byte{byte(f.noise.IntN(256))}, out[at:]...)...)
	}
	return out
}
