package practice

import (
	"math"
	"time"

	"holdline/arming/groundbox/wire"
	"holdline/sim/circuit"
)

// Times of the hardware, ms.
const (
	debounceMs        = 20 // key in, pole open, bus dead
	relayCloseMs      = 8
	relayOpenMs       = 5
	defaultWatchdogMs = 500
	watchdogLagMs     = 4     // never before its time
	secondWatchdogMs  = 600   // of parts: 520 to 720, whatever the program does
	permitLimitMs     = 20000 // whatever is sent
	commandedOpenMs   = 50    // commanded open for this long counts as open
)

// hardware is what needs no controller: hands, contacts, the firing circuit,
// the watchdog; and the latches that the controller reads.
type hardware struct {
	problem *circuit.Problem
	bench   *circuit.Bench

	igniterAt []int // by channel, both from 0; -1 for none

	benchStartMs int64

	// hands
	keyHand   bool
	button    bool
	pressEnds int64 // a timed press lasts until then
	joined    bool
	connected bool
	shunt     bool

	// faults of hardware
	keyBridged, permitWelded, poleStuck bool
	noWatchdog, noSecond                bool

	// contacts
	keyLoop            bool // the loop's contact
	pole1, pole2       bool
	commanded          bool // the permit, by ON
	drive              bool // the relay, by the self-test
	permitContact      bool
	coil               bool
	coilSinceMs        int64
	closedMs, openedMs int64
	watchdogMs         int64
	watchdogFromMs     int64
	watchdogRestarts   int64
	testsSecond        bool // the self-test tries the watchdog of parts, and the program's stands aside
	contactSinceMs     int64

	// nodes, V
	batteryV, behindKeyV, behindPermitV, busV float64
	batteryLowV                               float64 // within the last millisecond
	deadSinceMs                               int64

	pulses, presses int64
	fire            pulseRecord
}

// pulseRecord is what STATus:FIRE? tells.
type pulseRecord struct {
	known    bool
	running  bool
	beganMs  int64
	endedMs  int64
	lowestV  float64
	byPermit bool // began with the permit closed
}

func (h *hardware) init(p *circuit.Problem, igniterAt []int) {
	h.problem, h.igniterAt = p, igniterAt
	h.bench = circuit.NewBench(p, nil)
	h.watchdogMs = defaultWatchdogMs
	h.deadSinceMs = math.MinInt64 / 2
	h.coilSinceMs = math.MinInt64 / 2
	h.contactSinceMs = math.MinInt64 / 2
}

func (h *hardware) channels() int { return len(h.igniterAt) }

func (h *hardware) benchTime(s float64) time.Duration {
	return msToTime(h.benchStartMs) + time.Duration(s*float64(time.Second))
}

func (h *hardware) buttonPressed(ms int64) bool { return h.button || ms < h.pressEnds }

// step moves the contacts and lets the circuit run for one millisecond.
func (h *hardware) step(ms int64) {
	h.keyLoop = h.keyHand || h.keyBridged
	h.pole2 = h.buttonPressed(ms)
	h.pole1 = h.pole2 || h.poleStuck
	if coil := h.commanded || h.drive; coil != h.coil {
		h.coil, h.coilSinceMs = coil, ms
	}
	was := h.permitContact
	switch {
	case h.permitWelded:
		h.permitContact = true
	case h.coil && ms-h.coilSinceMs >= relayCloseMs:
		h.permitContact = true
	case !h.coil && ms-h.coilSinceMs >= relayOpenMs:
		h.permitContact = false
	}
	if h.permitContact != was {
		h.contactSinceMs = ms
	}
	h.circuitStep()
	if math.Abs(h.busV) >= wire.DeadBelowV {
		h.deadSinceMs = ms + 1
	}
}

func (h *hardware) circuitStep() {
	toBus := h.joined && h.keyLoop && h.permitContact && h.pole1
	loaded := toBus && (h.connected || h.shunt)
	h.bench.Shunt(h.shunt)
	h.bench.Advance(0, loaded)
	h.batteryLowV = h.bench.BatteryV() // before a bridge fires within the step
	h.bench.Advance(1e-3, loaded)
	h.batteryLowV = min(h.batteryLowV, h.bench.BatteryV())
	h.batteryV, h.behindKeyV, h.behindPermitV, h.busV = 0, 0, 0, 0
	if !h.joined {
		return
	}
	h.batteryV = h.bench.BatteryV()
	if !h.keyLoop {
		return
	}
	h.behindKeyV = h.batteryV
	if !h.permitContact {
		return
	}
	h.behindPermitV = h.batteryV
	switch {
	case loaded:
		h.busV = h.bench.VoltageV()
	case toBus:
		h.busV = h.batteryV
	}
}

func (h *hardware) busDead(ms int64) bool { return ms-h.deadSinceMs >= debounceMs }

// ohmAt is what the test current sees beyond the box's terminals on channel k,
// counted from 0.
func (h *hardware) ohmAt(k int) wire.Reading {
	if h.shunt {
		return wire.Of(0.001)
	}
	if !h.connected || h.igniterAt[k] < 0 {
		return wire.Reading{Kind: wire.Open}
	}
	r := h.bench.Resistance(h.igniterAt[k])
	if math.IsInf(r, 1) || r > 1e4 {
		return wire.Reading{Kind: wire.Open}
	}
	return wire.Of(math.Round(r*1e4) / 1e4)
}

func (h *hardware) closePermit(ms int64) {
	h.commanded, h.closedMs = true, ms
	h.fire.byPermit = false
	h.restartWatchdog(ms)
}

func (h *hardware) openPermit(ms int64) {
	if h.commanded {
		h.openedMs = ms
	}
	h.commanded = false
}

// restartWatchdog counts from the end of this millisecond, so that the time is
// never cut short by rounding.
func (h *hardware) restartWatchdog(ms int64) {
	h.watchdogFromMs = ms + 1
	h.watchdogRestarts++
}

// watchdogStep is the second watchdog, of parts: it opens the relay a fixed time
// after the last ON or KEEP and shares nothing with the controller's program.
func (h *hardware) watchdogStep(ms int64) {
	if h.coil && !h.noSecond && ms >= h.watchdogFromMs+secondWatchdogMs {
		h.openPermit(ms)
		h.drive = false
	}
}
