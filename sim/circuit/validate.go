package circuit

import (
	"errors"
	"fmt"
	"math"
)

// MostIgniters is how many igniters one circuit may have.
const MostIgniters = 16

// FieldError is one fault of a problem, with enough to find its place in a run
// sheet.
type FieldError struct {
	Motor  int    // 1 to N for a motor's branch lead, else 0
	Kind   string // the igniter's name for a fault of an igniter, else ""
	Field  string // the sheet's key below its table, such as "battery.internal_resistance"
	Found  string // what was found, with its unit
	Reason string // what was expected
}

// Error names the place, what was found and what was expected.
func (e *FieldError) Error() string {
	place := "firing"
	switch {
	case e.Motor > 0:
		place = fmt.Sprintf("motor %d", e.Motor)
	case e.Kind != "":
		place = fmt.Sprintf("igniter %q", e.Kind)
	}
	found := ""
	if e.Found != "" {
		found = e.Found + ": "
	}
	return fmt.Sprintf("circuit: %s: %s: %s%s", place, e.Field, found, e.Reason)
}

// Bounds that no circuit of this kind comes near. They keep every answer finite.
const (
	leastMagnitude = 1e-9
	mostMagnitude  = 1e9
)

// faults collects the errors of one place.
type faults struct {
	errs  []error
	motor int
	kind  string
}

func (f *faults) add(field, found, reason string) {
	f.errs = append(f.errs, &FieldError{Motor: f.motor, Kind: f.kind, Field: field, Found: found, Reason: reason})
}

// above reports a value that is not above 0.
func (f *faults) above(field string, v float64, unit string) bool {
	if f.finite(field, v, unit) && v <= 0 {
		f.add(field, number(v, unit), "must be above 0")
		return false
	}
	if v > 0 && v < leastMagnitude {
		f.add(field, number(v, unit), fmt.Sprintf("too small to be a value of a firing circuit, least %g", leastMagnitude))
		return false
	}
	return v > 0 && v <= mostMagnitude
}

// notBelow reports a value below 0.
func (f *faults) notBelow(field string, v float64, unit string) {
	if f.finite(field, v, unit) && v < 0 {
		f.add(field, number(v, unit), "must not be below 0")
	}
}

// finite reports a value that is not a number, infinite, or out of all reason.
func (f *faults) finite(field string, v float64, unit string) bool {
	if math.IsNaN(v) || math.Abs(v) > mostMagnitude {
		f.add(field, number(v, unit), fmt.Sprintf("must be a number of at most %g", mostMagnitude))
		return false
	}
	return true
}

func number(v float64, unit string) string {
	if unit == "" {
		return fmt.Sprintf("%g", v)
	}
	return fmt.Sprintf("%g %s", v, unit)
}

// Validate returns every fault of p joined into one error, each a
// [*FieldError], or nil. An igniter that several motors share is reported once.
func Validate(p *Problem) error {
	var f faults
	f.firing(p)
	seen := map[Igniter]bool{}
	for k := range p.Igniters {
		ig := p.Igniters[k]
		f.motor, f.kind = k+1, ""
		if ig.BranchLead.Kind != LeadNone {
			f.lead("branch_lead", ig.BranchLead)
		}
		ig.BranchLead = Lead{}
		f.motor, f.kind = 0, ig.Kind
		// An igniter with NaN never equals itself, and is then reported for
		// each motor; that is better than not at all.
		if !seen[ig] {
			seen[ig] = true
			f.igniter(&ig)
		}
	}
	return errors.Join(f.errs...)
}

// firing checks the battery, the lead and what the sheet asks of them.
func (f *faults) firing(p *Problem) {
	b := p.Battery
	f.above("battery.voltage", b.VoltageV, "V")
	low := f.above("battery.internal_resistance", b.InternalOhm, "ohm")
	high := f.above("battery.highest_internal_resistance", b.HighestInternalOhm, "ohm")
	if low && high && b.HighestInternalOhm < b.InternalOhm {
		f.add("battery.highest_internal_resistance", number(b.HighestInternalOhm, "ohm"),
			fmt.Sprintf("must not be below internal_resistance, %g ohm", b.InternalOhm))
	}
	f.notBelow("battery.highest_current", b.HighestCurrentA, "A")
	f.lead("lead", p.Lead)
	if !(p.LeadTemperatureC >= -100 && p.LeadTemperatureC <= 300) {
		f.add("lead_temperature", number(p.LeadTemperatureC, "degC"), "must be from -100 to 300 degC")
	}
	f.notBelow("switch_resistance", p.SwitchOhm, "ohm")
	f.notBelow("contact_resistance", p.ContactOhm, "ohm")
	f.above("pulse", p.PulseS, "s")
	f.above("margin", p.Margin, "")
	f.above("test_current", p.TestCurrentA, "A")
	f.notBelow("meter_error", p.MeterErrorOhm, "ohm")
	f.notBelow("stagger", p.StaggerLimitS, "s")
	if !(p.AllLightProbabilityLeast >= 0 && p.AllLightProbabilityLeast <= 1) {
		f.add("all_light_probability", number(100*p.AllLightProbabilityLeast, "%"), "must be from 0 to 100 %")
	}
	switch n := len(p.Igniters); {
	case n == 0:
		f.add("motor", "0 motors", "at least one is needed")
	case n > MostIgniters:
		f.add("motor", fmt.Sprintf("%d motors", n), fmt.Sprintf("at most %d", MostIgniters))
	}
}

// lead checks a lead that must be there.
func (f *faults) lead(field string, l Lead) {
	switch l.Kind {
	case LeadGauge:
		if l.Gauge < leastGauge || l.Gauge > mostGauge {
			f.add(field+".gauge", fmt.Sprint(l.Gauge), fmt.Sprintf("must be a whole number from %d to %d", leastGauge, mostGauge))
		}
		f.above(field+".length", l.LengthM, "m")
	case LeadArea:
		f.above(field+".area", l.AreaM2*1e6, "mm2")
		f.above(field+".length", l.LengthM, "m")
	case LeadMeasured:
		f.above(field+".resistance", l.LoopOhm, "ohm")
	default:
		f.add(field, "nothing", "a gauge or an area with a length, or a measured resistance, is needed")
	}
}

// igniter checks one kind of igniter.
func (f *faults) igniter(ig *Igniter) {
	f.above("resistance", ig.ResistanceOhm, "ohm")
	f.above("time_constant", ig.TimeConstantS, "s")
	f.notBelow("tolerance", ig.Tolerance, "")
	if ig.Tolerance >= 0.75 {
		f.add("tolerance", number(100*ig.Tolerance, "%"), "must be below 75 %")
	}
	noFire, allFire := f.above("no_fire", ig.NoFireA, "A"), f.above("all_fire", ig.AllFireA, "A")
	if noFire && allFire && ig.AllFireA <= ig.NoFireA {
		f.add("all_fire", number(ig.AllFireA, "A"), fmt.Sprintf("must be above no_fire, %g A", ig.NoFireA))
	}
	// A mean of 0 lights at once, and then nothing can vary about it.
	if ig.PressureMeanS != 0 || ig.PressureSpreadS > 0 {
		f.above("pressurisation.mean", ig.PressureMeanS, "s")
	}
	f.notBelow("pressurisation.deviation", ig.PressureSpreadS, "s")
	if !(ig.ShortProbability >= 0 && ig.ShortProbability <= 1) {
		f.add("short_probability", number(100*ig.ShortProbability, "%"), "must be from 0 to 100 %")
	}
	switch {
	case ig.ShortProbability > 0 && ig.ShortOhm == 0:
		f.add("short_resistance", "nothing", "needed with a short probability, above 0")
	case ig.ShortOhm != 0:
		f.above("short_resistance", ig.ShortOhm, "ohm")
	}
}
