package practice

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"sync"
	"time"

	"holdline/arming/groundbox/wire"
	"holdline/sim/circuit"
)

// Config describes a practice box.
type Config struct {
	// Problem is the firing circuit that hangs on the box. It must be one that
	// circuit.Validate accepts.
	Problem *circuit.Problem
	// Channels are the channels of the igniters, in their order: all different.
	// Nil is one after the other.
	Channels []int
	// Serial is the serial number in the identity; "0001" when empty.
	Serial string
}

// Box is a simulated ground box. Its methods may be called from any goroutine.
type Box struct {
	mu       sync.Mutex
	clock    func() time.Duration // real time since the box was made
	ms       int64                // device time
	identity wire.Identity
	hw       hardware
	ctl      controller
	faults   faults
	frozen   *wire.Snapshot // the last one before its inputs froze, nil while they do not
	framer   *wire.Framer
	out      []byte
	links    map[*transport]struct{}
}

// New returns a box that has just been powered up, with the key out, the
// battery off, no igniter connected and no shunt.
func New(cfg Config) (*Box, error) {
	if cfg.Problem == nil || len(cfg.Problem.Igniters) < 1 || len(cfg.Problem.Igniters) > wire.MaxChannels {
		return nil, fmt.Errorf("practice: a box needs a circuit of 1 to %d igniters", wire.MaxChannels)
	}
	if err := circuit.Validate(cfg.Problem); err != nil {
		return nil, fmt.Errorf("practice: circuit: %w", err)
	}
	igniterAt, err := placed(cfg)
	if err != nil {
		return nil, err
	}
	if cfg.Serial == "" {
		cfg.Serial = "0001"
	}
	began := time.Now()
	b := &Box{
		clock:    func() time.Duration { return time.Since(began) },
		identity: wire.Identity{Maker: "holdline", Model: "PRACTICE", Serial: cfg.Serial, Version: "1.0"},
		framer:   wire.NewFramer(wire.MaxCommandBytes),
		links:    map[*transport]struct{}{},
	}
	b.faults.noise = rand.New(rand.NewPCG(0, 1))
	b.hw.init(cfg.Problem, igniterAt)
	b.ctl.powerUp(b.hw.channels())
	return b, nil
}

// placed returns the igniter on each channel, from 0, -1 for none.
func placed(cfg Config) (igniterAt []int, err error) {
	for k := range cfg.Problem.Igniters {
		channel := k + 1
		if cfg.Channels != nil {
			channel = cfg.Channels[k]
		}
		for len(igniterAt) < channel {
			igniterAt = append(igniterAt, -1)
		}
		if channel < 1 || channel > wire.MaxChannels || igniterAt[channel-1] >= 0 {
			return nil, fmt.Errorf("practice: igniter %d on channel %d, want another from 1 to %d for each", k+1, channel, wire.MaxChannels)
		}
		igniterAt[channel-1] = k
	}
	return igniterAt, nil
}

// catchUp brings the box to the present. mu must be held.
func (b *Box) catchUp() {
	for now := b.clock().Milliseconds(); b.ms < now; {
		b.ms++
		b.step()
	}
}

// step lets one millisecond pass: the hands and the circuit first, then the
// watchdog of parts, then the controller's program with its own watchdog.
func (b *Box) step() {
	b.faults.step(b)
	b.hw.step(b.ms)
	b.hw.watchdogStep(b.ms)
	if b.faults.frozen() {
		return
	}
	b.ctl.sample(&b.hw, b.ms)
	if line, done := b.ctl.jobStep(&b.hw, b.ms); done {
		b.answer(line)
		b.runWaiting()
	}
}

// Input takes received bytes.
func (b *Box) Input(p []byte) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.catchUp()
	if b.faults.frozen() {
		return
	}
	for _, m := range b.framer.Push(p) {
		b.obey(m)
	}
}

// output takes away what the box has sent since the last call, and tells whether
// an answer that takes time is under way.
func (b *Box) output() (out []byte, slow bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.catchUp()
	out, b.out = b.out, nil
	return out, b.ctl.job != nil
}

// mostUnread bounds the answers that nobody takes.
const mostUnread = 1 << 16

func (b *Box) answer(line string) {
	if b.faults.has(Mute) || len(b.out) > mostUnread {
		return
	}
	b.out = append(b.out, b.faults.spoil([]byte(line+"\n"))...)
}

// restart restarts the controller, as a loss of power does: permit open, lease
// off, owner and errors forgotten, event 8; the counts are kept.
func (b *Box) restart() {
	b.hw.openPermit(b.ms)
	b.hw.drive = false
	b.hw.testsSecond = false
	b.hw.watchdogMs = defaultWatchdogMs
	b.hw.fire = pulseRecord{}
	b.ctl.powerUp(b.hw.channels())
	b.framer.Reset()
	b.out = nil
}

// State is what the box knows of itself, for a practice screen.
type State struct {
	At               time.Duration
	KeyIn            bool
	Button           bool // pressed by a hand or a fault
	BatteryJoined    bool
	Igniters         bool // connected
	Shunt            bool
	PermitCommanded  bool
	PermitClosed     bool // by the linked contact
	Lease            bool
	BatteryV         float64
	BusV             float64
	Pulses, Presses  int64
	Events           wire.Event
	PermitOpenedAt   time.Duration // when last commanded open after having been closed
	PermitClosedAt   time.Duration // when last commanded closed
	WatchdogRestarts int64         // ON and KEEP accepted
	WatchdogFrom     time.Duration // since when the watchdog runs: the last of them
}

// State returns the present state.
func (b *Box) State() State {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.catchUp()
	h := &b.hw
	return State{
		At: msToTime(b.ms), KeyIn: h.keyHand, Button: h.buttonPressed(b.ms), BatteryJoined: h.joined,
		Igniters: h.connected, Shunt: h.shunt, PermitCommanded: h.commanded, PermitClosed: h.permitContact,
		Lease: b.ctl.leaseOn(b.ms), BatteryV: h.batteryV, BusV: h.busV,
		Pulses: h.pulses, Presses: h.presses, Events: b.ctl.eventBits(),
		PermitOpenedAt: msToTime(h.openedMs), PermitClosedAt: msToTime(h.closedMs),
		WatchdogRestarts: h.watchdogRestarts, WatchdogFrom: msToTime(h.watchdogFromMs),
	}
}

// LitAt tells what one motor has done, for a practice screen. A box sees none
// of it.
type LitAt struct {
	Motor       int           // 1 to N
	BridgeFired bool          // the bridge has fired
	BridgeAt    time.Duration // when, in device time
	Lit         bool          // and the motor burns, or has burned
	At          time.Duration // when it lit, in device time
}

// Lit returns every motor, in order.
func (b *Box) Lit() []LitAt {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.catchUp()
	out := make([]LitAt, len(b.hw.problem.Igniters))
	for k := range out {
		channel := slices.Index(b.hw.igniterAt, k) + 1
		out[k].Motor = k + 1
		firedS, fired := b.hw.bench.Fired(k)
		if !fired {
			continue
		}
		out[k].BridgeFired, out[k].BridgeAt = true, b.hw.benchTime(firedS)
		lightsS, _ := b.hw.bench.Lights(k)
		if b.faults.hasChannel(Misfire, channel) {
			continue
		}
		if f, late := b.faults.getChannel(LateLight, channel); late {
			lightsS += f.Value
		}
		at := b.hw.benchTime(lightsS)
		if at <= msToTime(b.ms) {
			out[k].Lit, out[k].At = true, at
		}
	}
	return out
}

func msToTime(ms int64) time.Duration { return time.Duration(ms) * time.Millisecond }
