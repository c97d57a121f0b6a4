package circuit

import "math"

// heatTie is how close to ϑ = 1 a bridge fires together with the one whose
// time has come: like bridges fire in the same event whatever the rounding.
const heatTie = 1e-9

// bridge is one branch of a network.
type bridge struct {
	siemens      float64 // conductance of the branch now
	afterSiemens float64 // conductance once fired: 0 opens
	perA2        float64 // 1/I_t²
	tauS         float64
	drive        float64 // u = I²/I_t² now
	heat         float64 // ϑ
	firesS       float64 // +Inf until it fires
	fired        bool
}

// network is the circuit with the values of one solution. Its event functions
// do not allocate.
type network struct {
	emfV      float64
	sourceOhm float64
	timeS     float64
	bridges   []bridge
}

// reset puts every bridge back to cold and unfired, keeping its values.
func (n *network) reset() {
	n.timeS = 0
	for k := range n.bridges {
		b := &n.bridges[k]
		b.heat, b.drive, b.firesS, b.fired = 0, 0, math.Inf(1), false
	}
}

// busV returns the voltage across the igniters with the circuit closed.
func (n *network) busV() float64 {
	sum := 0.0
	for k := range n.bridges {
		sum += n.bridges[k].siemens
	}
	return n.emfV / (1 + n.sourceOhm*sum)
}

// settle solves the currents and returns how long until the next bridge fires
// and which one; +Inf and −1 when none can.
func (n *network) settle() (waitS float64, next int) {
	volts := n.busV()
	waitS, next = math.Inf(1), -1
	for k := range n.bridges {
		b := &n.bridges[k]
		if b.fired {
			continue
		}
		amps := volts * b.siemens
		b.drive = amps * amps * b.perA2
		if b.drive <= 1 {
			continue
		}
		// ln((u−ϑ)/(u−1)), written so that a hard drive keeps its digits.
		if t := b.tauS * math.Log1p((1-b.heat)/(b.drive-1)); t < waitS {
			waitS, next = t, k
		}
	}
	return waitS, next
}

// heatFor lets dtS pass at the currents settled last.
func (n *network) heatFor(dtS float64) {
	n.timeS += dtS
	for k := range n.bridges {
		b := &n.bridges[k]
		if !b.fired {
			b.heat -= (b.drive - b.heat) * math.Expm1(-dtS/b.tauS)
		}
	}
}

// coolFor lets dtS pass with the circuit open.
func (n *network) coolFor(dtS float64) {
	n.timeS += dtS
	for k := range n.bridges {
		b := &n.bridges[k]
		if !b.fired {
			b.heat *= math.Exp(-dtS / b.tauS)
		}
	}
}

// fire opens or shorts bridge next and all that have reached ϑ = 1 with it.
func (n *network) fire(next int) {
	for k := range n.bridges {
		b := &n.bridges[k]
		if b.fired || (k != next && b.heat < 1-heatTie) {
			continue
		}
		b.fired, b.heat, b.firesS, b.siemens = true, 1, n.timeS, b.afterSiemens
	}
}

// run closes the circuit for pulseS and returns when it is over: every bridge
// has fired, none can any more, or the pulse has ended. Firing at the pulse's
// very end counts.
func (n *network) run(pulseS float64) {
	for {
		waitS, next := n.settle()
		if next < 0 || n.timeS+waitS > pulseS {
			return
		}
		n.heatFor(waitS)
		n.fire(next)
	}
}

// nominal returns the branch of ig at nominal values, behind a branch lead of
// leadOhm: median threshold, and a short only where it is certain.
func (ig *Igniter) nominal(leadOhm float64) bridge {
	b := bridge{
		siemens: 1 / (leadOhm + ig.ResistanceOhm),
		perA2:   1 / (ig.NoFireA * ig.AllFireA),
		tauS:    ig.TimeConstantS,
		firesS:  math.Inf(1),
	}
	if ig.ShortProbability >= 1 {
		b.afterSiemens = 1 / (leadOhm + ig.ShortOhm)
	}
	return b
}
