package sheet

import (
	"math"
	"path/filepath"
	"testing"

	"holdline/checklist"
	"holdline/sim"
	"holdline/sim/circuit"
)

func TestReferenceSheetsAreRead(t *testing.T) {
	paths, err := filepath.Glob("testdata/reference/*/sheet.toml")
	if err != nil || len(paths) != 13 {
		t.Fatalf("%d reference sheets, %v, want 13", len(paths), err)
	}
	for _, path := range paths {
		s, err := Load(path)
		if err != nil {
			t.Errorf("%v", err)
			continue
		}
		if err := circuit.Validate(s.Circuit()); err != nil {
			t.Errorf("%s: %v", path, err)
		}
		if len(s.Run(nil).Motors) != len(s.Motors) || len(s.Circuit().Igniters) != len(s.Motors) {
			t.Errorf("%s: motors are missing from a problem", path)
		}
	}
}

// One sheet, value by value: the second of the run references.
func TestReferenceSheetValues(t *testing.T) {
	s, err := Load("testdata/reference/run-02/sheet.toml")
	if err != nil {
		t.Fatal(err)
	}
	near := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 1e-15*math.Abs(want) {
			t.Errorf("%s = %.17g, want %.17g", what, got, want)
		}
	}
	p := s.Run([]float64{0.1, 0.2, math.Inf(1), 0.4})
	near("elevation", *s.Site.Measured.ElevationM, 310)
	near("temperature", *s.Site.Measured.TemperatureK, 291.15)
	near("humidity", *s.Site.Measured.HumidityRatio, 0.4)
	near("headwind", p.HeadwindMps, 1.5)
	near("wind range", p.WindRangeMps, 1)
	near("slope", p.SlopeRatio, 0.002)
	near("clear length", p.ClearLengthM, 220)
	near("half width", s.Site.ClearHalfWidthM, 12)
	near("crew", s.Site.CrewDistanceM, 30)
	near("late light", p.LateLightDelayS, 0.5)
	if want := (sim.Vehicle{MassKg: 1.42, RotatingMassKg: 0.018, FrontalAreaM2: 0.012, DragCoefficient: 0.45, RollingResistance: 0.03,
		TyreFriction: 0.7, WheelbaseM: 0.62, CGBehindFrontAxleM: 0.36, CGHeightM: 0.045, DragHeightM: 0.05, LiftBehindFrontAxleM: 0.31}); p.Vehicle != want {
		t.Errorf("vehicle = %+v, want %+v", p.Vehicle, want)
	}
	wantStops := []sim.Stop{
		{Name: "tail chute", Kind: sim.Chute, AfterS: 1.8, After: true, DelayS: 0.1, DragAreaM2: 0.05, FillS: 0.2},
		{Name: "wheel brakes", Kind: sim.WheelBrake, AtM: 80, DelayS: 0.2, Friction: 0.6, BrakedShare: 0.55},
	}
	for i, want := range wantStops {
		if p.Stops[i] != want {
			t.Errorf("stop %d = %+v, want %+v", i+1, p.Stops[i], want)
		}
	}
	near("light of motor 3", p.Motors[2].IgnitionDelayS, math.Inf(1))
	near("light of motor 4", p.Motors[3].IgnitionDelayS, 0.4)
	near("lateral of motor 1", p.Motors[0].LateralM, -0.036)
	near("nozzle of motor 1", p.Motors[0].NozzleBehindFrontAxleM, 0.62)
	if p.Motors[0].Curve != p.Motors[3].Curve {
		t.Error("motors of one curve file have two curves")
	}
	if p.Guide != nil {
		t.Error("a vehicle running free has a guide")
	}
	if want := []string{"north gate", "south gate"}; len(s.Crew.Spotters) != 2 || s.Crew.Spotters[0] != want[0] || s.Crew.Spotters[1] != want[1] {
		t.Errorf("spotters = %q", s.Crew.Spotters)
	}
	if s.Times != checklist.Bounds().Default {
		t.Errorf("times = %+v", s.Times)
	}
	if s.Limits != DefaultLimits() {
		t.Errorf("limits = %+v", s.Limits)
	}
	c := s.Circuit()
	wantIgniter := circuit.Igniter{Kind: "bridge", ResistanceOhm: 0.8, Tolerance: 0.12, NoFireA: 0.15, AllFireA: 0.6, Source: "invented, lot card",
		TimeConstantS: 0.004, PressureMeanS: 0.035, PressureSpreadS: 0.008}
	if len(c.Igniters) != 4 || c.Igniters[0] != wantIgniter {
		t.Errorf("igniters = %+v", c.Igniters)
	}
	if want := (circuit.Lead{Kind: circuit.LeadGauge, Gauge: 18, LengthM: 20}); c.Lead != want {
		t.Errorf("lead = %+v", c.Lead)
	}
	near("lead temperature", c.LeadTemperatureC, 20)
	near("contacts", c.ContactOhm, 0.020)
	near("pulse", c.PulseS, 1)
	near("margin", c.Margin, 1.5)
	near("test current", c.TestCurrentA, 0.001)
}

func TestMotorsOnUnlikeBranchesAreNotAlike(t *testing.T) {
	s, err := Load("testdata/reference/dispersion-02/sheet.toml")
	if err != nil {
		t.Fatal(err)
	}
	m := s.Run(nil).Motors
	if m[0].Circuit != m[3].Circuit || m[1].Circuit != m[2].Circuit || m[0].Circuit == m[1].Circuit {
		t.Errorf("circuits are %q %q %q %q", m[0].Circuit, m[1].Circuit, m[2].Circuit, m[3].Circuit)
	}
}
