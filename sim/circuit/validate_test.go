package circuit

import (
	"errors"
	"math"
	"strings"
	"testing"
)

// fieldErrors takes a joined error apart.
func fieldErrors(t *testing.T, err error) []*FieldError {
	t.Helper()
	if err == nil {
		return nil
	}
	joined, ok := err.(interface{ Unwrap() []error })
	if !ok {
		t.Fatalf("error %v is not a join", err)
	}
	var out []*FieldError
	for _, e := range joined.Unwrap() {
		var f *FieldError
		if !errors.As(e, &f) {
			t.Fatalf("error %v is not a FieldError", e)
		}
		out = append(out, f)
	}
	return out
}

func TestValidateNamesEachFault(t *testing.T) {
	cases := []struct {
		name   string
		change func(*Problem)
		motor  int
		kind   string
		field  string
	}{
		{"no motor", func(p *Problem) { p.Igniters = nil }, 0, "", "motor"},
		{"too many motors", func(p *Problem) { p.Igniters = append(p.Igniters, alike(16).Igniters...) }, 0, "", "motor"},
		{"resistance 0", func(p *Problem) { p.Igniters[0].ResistanceOhm = 0 }, 0, "std", "resistance"},
		{"resistance below 0", func(p *Problem) { p.Igniters[0].ResistanceOhm = -1 }, 0, "std", "resistance"},
		{"resistance not a number", func(p *Problem) { p.Igniters[0].ResistanceOhm = math.NaN() }, 0, "std", "resistance"},
		{"time constant 0", func(p *Problem) { p.Igniters[0].TimeConstantS = 0 }, 0, "std", "time_constant"},
		{"tolerance 75 %", func(p *Problem) { p.Igniters[0].Tolerance = 0.75 }, 0, "std", "tolerance"},
		{"tolerance below 0", func(p *Problem) { p.Igniters[0].Tolerance = -0.1 }, 0, "std", "tolerance"},
		{"all-fire equal to no-fire", func(p *Problem) { p.Igniters[0].AllFireA = 0.15 }, 0, "std", "all_fire"},
		{"no-fire 0", func(p *Problem) { p.Igniters[0].NoFireA = 0 }, 0, "std", "no_fire"},
		{"no-fire infinite", func(p *Problem) { p.Igniters[0].NoFireA = math.Inf(1) }, 0, "std", "no_fire"},
		{"a short without its resistance", func(p *Problem) { p.Igniters[0].ShortProbability = 0.1 }, 0, "std", "short_resistance"},
		{"a short of negative resistance", func(p *Problem) { p.Igniters[0].ShortOhm = -1 }, 0, "std", "short_resistance"},
		{"short probability above 100 %", func(p *Problem) {
			p.Igniters[0].ShortProbability, p.Igniters[0].ShortOhm = 1.1, 0.1
		}, 0, "std", "short_probability"},
		{"deviation without a mean", func(p *Problem) { p.Igniters[0].PressureMeanS = 0 }, 0, "std", "pressurisation.mean"},
		{"deviation below 0", func(p *Problem) { p.Igniters[0].PressureSpreadS = -1 }, 0, "std", "pressurisation.deviation"},
		{"branch gauge 41", func(p *Problem) { p.Igniters[1].BranchLead.Gauge = 41 }, 2, "", "branch_lead.gauge"},
		{"branch length 0", func(p *Problem) { p.Igniters[1].BranchLead.LengthM = 0 }, 2, "", "branch_lead.length"},
		{"gauge below 0", func(p *Problem) { p.Lead.Gauge = -1 }, 0, "", "lead.gauge"},
		{"lead length below 0", func(p *Problem) { p.Lead.LengthM = -20 }, 0, "", "lead.length"},
		{"area 0", func(p *Problem) { p.Lead = Lead{Kind: LeadArea, LengthM: 20} }, 0, "", "lead.area"},
		{"measured lead 0", func(p *Problem) { p.Lead = Lead{Kind: LeadMeasured} }, 0, "", "lead.resistance"},
		{"no lead", func(p *Problem) { p.Lead = Lead{} }, 0, "", "lead"},
		{"lead temperature", func(p *Problem) { p.LeadTemperatureC = -273 }, 0, "", "lead_temperature"},
		{"voltage 0", func(p *Problem) { p.Battery.VoltageV = 0 }, 0, "", "battery.voltage"},
		{"internal resistance 0", func(p *Problem) { p.Battery.InternalOhm = 0 }, 0, "", "battery.internal_resistance"},
		{"highest below internal", func(p *Problem) { p.Battery.HighestInternalOhm = 0.02 }, 0, "", "battery.highest_internal_resistance"},
		{"highest current below 0", func(p *Problem) { p.Battery.HighestCurrentA = -1 }, 0, "", "battery.highest_current"},
		{"switch below 0", func(p *Problem) { p.SwitchOhm = -0.01 }, 0, "", "switch_resistance"},
		{"contacts below 0", func(p *Problem) { p.ContactOhm = -0.01 }, 0, "", "contact_resistance"},
		{"test current 0", func(p *Problem) { p.TestCurrentA = 0 }, 0, "", "test_current"},
		{"pulse 0", func(p *Problem) { p.PulseS = 0 }, 0, "", "pulse"},
		{"margin 0", func(p *Problem) { p.Margin = 0 }, 0, "", "margin"},
		{"meter error below 0", func(p *Problem) { p.MeterErrorOhm = -1 }, 0, "", "meter_error"},
		{"stagger not a number", func(p *Problem) { p.StaggerLimitS = math.NaN() }, 0, "", "stagger"},
		{"probability above 100 %", func(p *Problem) { p.AllLightProbabilityLeast = 1.01 }, 0, "", "all_light_probability"},
	}
	if err := Validate(alike(3)); err != nil {
		t.Fatalf("the problem itself: %v", err)
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			p := alike(3)
			for k := 1; k < len(p.Igniters); k++ {
				p.Igniters[k].Kind = "other"
			}
			c.change(p)
			got := fieldErrors(t, Validate(p))
			if len(got) != 1 {
				t.Fatalf("faults: got %d (%v), want 1", len(got), Validate(p))
			}
			f := got[0]
			if f.Motor != c.motor || f.Kind != c.kind || f.Field != c.field {
				t.Errorf("got motor %d, kind %q, field %q; want %d, %q, %q", f.Motor, f.Kind, f.Field, c.motor, c.kind, c.field)
			}
			if f.Reason == "" || !strings.HasPrefix(f.Error(), "circuit: ") || !strings.Contains(f.Error(), c.field) {
				t.Errorf("error text %q", f.Error())
			}
		})
	}
}

func TestValidateReportsAllFaultsAtOnceAndASharedIgniterOnce(t *testing.T) {
	p := alike(4) // all of one kind
	for k := range p.Igniters {
		p.Igniters[k].Tolerance = 0.8
	}
	p.PulseS, p.Lead.Gauge = 0, 50
	if got := fieldErrors(t, Validate(p)); len(got) != 3 {
		t.Errorf("faults: got %d, want 3: %v", len(got), Validate(p))
	}
}
