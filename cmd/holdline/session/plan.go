package session

import (
	"math"
	"time"

	"holdline/arming"
	"holdline/checklist"
	"holdline/checklist/sheet"
	"holdline/sim/circuit"
)

// How far what is measured on the day may lie from the sheet before the
// prediction no longer speaks of it. Common practice, no source.
const (
	leastWindMps   = 0.5  // no hand-held wind meter resolves less
	leastMassShare = 0.02 // of the mass, where the sheet gives no spread
	batteryShare   = 0.05 // of the battery's voltage
	deviations     = 3    // that a spread is taken to
)

// newPlan sets a firing up from its sheet.
func newPlan(s *sheet.Sheet, mode arming.Mode, practice bool, waitSpeed int) *arming.Plan {
	return &arming.Plan{
		Mode:      mode,
		Practice:  practice,
		Motors:    len(s.Motors),
		Posts:     append([]string(nil), s.Crew.Spotters...),
		Steps:     checklist.Routine(inputs(s, mode == arming.ModeBox)),
		Times:     s.Times,
		WaitSpeed: waitSpeed,
	}
}

// inputs are the bands and places of the routine, taken from the sheet.
func inputs(s *sheet.Sheet, boxed bool) checklist.Inputs {
	p := s.Circuit()
	in := checklist.Inputs{
		Boxed:    boxed,
		Motors:   len(s.Motors),
		Budget:   budget(p),
		Wind:     around(s.Site.HeadwindMps, max(s.Site.WindRangeMps, deviations*s.Spread.WindMps, leastWindMps), "m/s"),
		Mass:     around(s.Vehicle.MassKg, s.Vehicle.MassKg*max(deviations*s.Spread.Mass, leastMassShare), "kg"),
		Mark:     s.Mark,
		Times:    s.Times,
		MeterOhm: s.Firing.MeterErrorOhm,
	}
	for k := range s.Motors {
		b := circuit.ChannelBand(p, k)
		in.Channels = append(in.Channels, checklist.Band{
			Low: b.LowOhm - b.MeterErrorOhm, High: b.HighOhm + b.MeterErrorOhm, Unit: "ohm",
		})
	}
	distance := map[string]float64{}
	for _, post := range s.Posts {
		distance[post.Name] = post.DistanceM
	}
	for _, name := range s.Crew.Spotters {
		in.Posts = append(in.Posts, checklist.Post{Name: name, DistanceM: distance[name]})
	}
	for _, r := range s.Radios {
		in.Radios = append(in.Radios, checklist.Radio{
			Name: r.Name, DistanceM: r.DistanceM, LeastM: sheet.RadioDistanceM(r.PowerW, r.FrequencyHz),
		})
	}
	for _, st := range s.Steps {
		in.Extra = append(in.Extra, checklist.Step{
			Phase: st.Phase, Challenge: st.Text, Role: st.Role, Expires: st.Expires, Optional: st.Optional,
		})
	}
	return in
}

func around(middle, off float64, unit string) checklist.Band {
	return checklist.Band{Low: middle - off, High: middle + off, Unit: unit}
}

// budget is the band of the battery's voltage without load: high enough for
// the current budget, and no other battery than the sheet's.
func budget(p *circuit.Problem) checklist.Band {
	b := around(p.Battery.VoltageV, batteryShare*p.Battery.VoltageV, "V")
	b.Low = max(b.Low, circuit.LeastVoltageV(p))
	return b
}

// waitSpeed is how many times faster than a real one a practice wait runs, so
// that it lasts wanted; a sixth of the real one when wanted is 0.
func waitSpeed(real, wanted time.Duration) int {
	if wanted <= 0 {
		return defaultWaitSpeed
	}
	return max(1, int(math.Round(float64(real)/float64(wanted))))
}

const defaultWaitSpeed = 6
