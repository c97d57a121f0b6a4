package circuit

import "math"

// Solution is the nominal circuit: nominal resistances, the battery's nominal
// internal resistance and median thresholds. Time runs from the closing of the
// button.
type Solution struct {
	SourceOhm float64 // R_s
	TotalA    float64 // out of the battery at t = 0
	BusV      float64 // across the igniters' branches at t = 0
	BatteryV  float64 // at the battery's terminals at t = 0

	Igniters []IgniterAnswer // in the problem's order
	Events   []Event         // the closing first, then each firing

	AllFire  bool    // every bridge fires within the pulse
	StaggerS float64 // largest less smallest ignition delay; +Inf when not all light, 0 for one motor
}

// IgniterAnswer is what the nominal circuit and the worst corner give one
// igniter.
type IgniterAnswer struct {
	BranchOhm      float64 // branch lead and bridge
	CurrentA       float64 // nominal, at t = 0
	WorstCaseA     float64 // at the worst corner, at t = 0
	Margin         float64 // worst-case current over the all-fire current
	FiresS         float64 // +Inf when it never fires
	IgnitionDelayS float64 // FiresS + the mean pressurisation delay
}

// Event is one moment at which currents change.
type Event struct {
	TimeS    float64
	Fired    uint32    // bit k set: bridge k fires in this event
	CurrentA []float64 // after the event; 0 through an open bridge
	Heat     []float64 // ϑ at the event, 1 from a bridge's firing on
}

// solver is one solution in the making.
type solver struct {
	p   *Problem
	net network
	sol Solution
}

// Solve returns the nominal solution of p, which must be one that [Validate]
// accepts.
func Solve(p *Problem) Solution {
	n := len(p.Igniters)
	s := &solver{p: p, net: network{emfV: p.Battery.VoltageV, sourceOhm: p.SourceOhm(), bridges: make([]bridge, n)}}
	net, sol := &s.net, &s.sol
	sol.Igniters = make([]IgniterAnswer, n)
	sol.SourceOhm = net.sourceOhm
	for k := range net.bridges {
		net.bridges[k] = p.Igniters[k].nominal(p.BranchLeadOhm(k))
		sol.Igniters[k].BranchOhm = p.BranchOhm(k)
	}
	sol.BusV = net.busV()
	for k := range net.bridges {
		amps := sol.BusV * net.bridges[k].siemens
		sol.Igniters[k].CurrentA = amps
		sol.TotalA += amps
	}
	sol.BatteryV = net.emfV - sol.TotalA*p.Battery.InternalOhm
	s.worstCase()
	s.events()

	first, last := math.Inf(1), math.Inf(-1)
	for k := range net.bridges {
		ans := &sol.Igniters[k]
		ans.FiresS = net.bridges[k].firesS
		ans.IgnitionDelayS = ans.FiresS + p.Igniters[k].PressureMeanS
		first, last = min(first, ans.IgnitionDelayS), max(last, ans.IgnitionDelayS)
	}
	sol.AllFire, sol.StaggerS = !math.IsInf(last, 1), math.Inf(1)
	if sol.AllFire {
		sol.StaggerS = last - first
	}
	return *sol
}

// events runs the circuit to the end and keeps what happens.
func (s *solver) events() {
	net := &s.net
	s.keep(0)
	for {
		waitS, next := net.settle()
		if next < 0 || net.timeS+waitS > s.p.PulseS {
			return
		}
		before := net.firedSet()
		net.heatFor(waitS)
		net.fire(next)
		s.keep(net.firedSet() &^ before)
	}
}

// keep adds an event with the network's state.
func (s *solver) keep(fired uint32) {
	ev := Event{TimeS: s.net.timeS, Fired: fired}
	volts := s.net.busV()
	for k := range s.net.bridges {
		ev.CurrentA = append(ev.CurrentA, volts*s.net.bridges[k].siemens)
		ev.Heat = append(ev.Heat, s.net.bridges[k].heat)
	}
	s.sol.Events = append(s.sol.Events, ev)
}

func (n *network) firedSet() uint32 {
	var set uint32
	for k := range n.bridges {
		if n.bridges[k].fired {
			set |= 1 << k
		}
	}
	return set
}

// IgnitionDelays returns the nominal ignition delay of each motor in seconds, +Inf for
// one that never fires.
func (s *Solution) IgnitionDelays() []float64 {
	lights := make([]float64, len(s.Igniters))
	for k := range s.Igniters {
		lights[k] = s.Igniters[k].IgnitionDelayS
	}
	return lights
}

// SlowestFiringS returns the latest nominal firing time in seconds among the
// bridges that fire, and how many do.
func (s *Solution) SlowestFiringS() (slowestS float64, firing int) {
	for k := range s.Igniters {
		if t := s.Igniters[k].FiresS; !math.IsInf(t, 1) {
			slowestS, firing = max(slowestS, t), firing+1
		}
	}
	return slowestS, firing
}

// Weakest returns the igniter of the least margin, −1 without igniters.
func (s *Solution) Weakest() int {
	weakest := -1
	for k := range s.Igniters {
		if weakest < 0 || s.Igniters[k].Margin < s.Igniters[weakest].Margin {
			weakest = k
		}
	}
	return weakest
}
