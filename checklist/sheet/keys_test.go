package sheet

import (
	"errors"
	"math"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"holdline/checklist"
	"holdline/checklist/sheet/unit"
	"holdline/sim"
	"holdline/sim/circuit"
)

func readFull(t testing.TB) []byte {
	t.Helper()
	data, err := os.ReadFile("testdata/full.toml")
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// readCurve reads curves beside testdata/full.toml.
func readCurve(path string) ([]byte, error) { return os.ReadFile("testdata/" + path) }

// parseFull parses an edited full.toml.
func parseFull(data []byte) (*Sheet, error) { return Parse("testdata/full.toml", data, readCurve) }

// Every key arrives in its own place, in SI.
func TestEveryKeyArrives(t *testing.T) {
	s, err := parseFull(readFull(t))
	if err != nil {
		t.Fatal(err)
	}
	curve, neutral := s.Motors[0].Curve, s.Motors[1].Curve
	if s.Motors[2].Curve != curve || neutral == curve || len(curve.Points()) != 25 {
		t.Errorf("curves: %d points", len(curve.Points()))
	}
	bridge := circuit.Igniter{Kind: "bridge", ResistanceOhm: 0.8, Tolerance: 0.12, NoFireA: 0.15, AllFireA: 0.6, Source: "invented lot card",
		TimeConstantS: 0.004, PressureMeanS: 0.035, PressureSpreadS: 0.008, ShortProbability: 0.05, ShortOhm: 0.05}
	stiff := circuit.Igniter{Kind: "stiff wire", ResistanceOhm: 1.05, Tolerance: 0.08, NoFireA: 0.35, AllFireA: 1.1, Source: "invented table",
		TimeConstantS: 0.009, PressureMeanS: 0.028, PressureSpreadS: 0.005}
	gauge := circuit.Lead{Kind: circuit.LeadGauge, Gauge: 24, LengthM: 0.4}
	area := circuit.Lead{Kind: circuit.LeadArea, AreaM2: 0.25e-6, LengthM: 0.5}
	measured := circuit.Lead{Kind: circuit.LeadMeasured, LoopOhm: 0.065}
	value := func(v float64) *float64 { return &v }
	want := Sheet{
		Title: "Every key",
		Mark:  "SB-3",
		Site: Site{Measured: sim.AirInput{ElevationM: value(310), PressurePa: value(97800), TemperatureK: value(291.15), HumidityRatio: value(0.4)},
			HeadwindMps: 2, WindRangeMps: 3, SlopeRatio: 0.002, ClearLengthM: 220, ClearHalfWidthM: 12, CrewDistanceM: 30},
		Vehicle: sim.Vehicle{MassKg: 1.42, RotatingMassKg: 0.02, FrontalAreaM2: 0.012, DragCoefficient: 0.45, LiftCoefficient: -0.05,
			RollingResistance: 0.03, TyreFriction: 0.7, WheelbaseM: 0.62, CGBehindFrontAxleM: 0.36, CGHeightM: 0.045, DragHeightM: 0.05,
			LiftBehindFrontAxleM: 0.29},
		Guide: &sim.Guide{Kind: sim.GuideRail, DragN: 1.5, Friction: 0.15, BearingSpacingM: 0.33, HeightM: 0.04, RatingN: 400},
		Motors: []Motor{
			{sim.Motor{Curve: curve, PropellantKg: 0.011, LateralM: -0.031, HeightM: 0.060, AngleRad: 1.5 * math.Pi / 180,
				NozzleBehindFrontAxleM: 0.60}, "curves/c.csv", "bridge", gauge, 1},
			{sim.Motor{Curve: neutral, PropellantKg: 0.012, LateralM: 0.032, HeightM: 0.061, AngleRad: 0,
				NozzleBehindFrontAxleM: 0.62}, "builtin:neutral-c", "stiff wire", area, 2},
			{sim.Motor{Curve: curve, PropellantKg: 0.013, LateralM: 0, HeightM: 0.062, AngleRad: 0,
				NozzleBehindFrontAxleM: 0.62}, "curves/c.csv", "bridge", measured, 5},
		},
		Igniters: map[string]circuit.Igniter{"bridge": bridge, "stiff wire": stiff},
		Firing: circuit.Problem{Battery: circuit.Battery{VoltageV: 12.4, InternalOhm: 0.025, HighestInternalOhm: 0.040, HighestCurrentA: 30},
			Lead: circuit.Lead{Kind: circuit.LeadGauge, Gauge: 18, LengthM: 20}, LeadTemperatureC: 25, SwitchOhm: 0.010, ContactOhm: 0.021,
			PulseS: 1.2, Margin: 1.75, TestCurrentA: 0.001, MeterErrorOhm: 0.02, Nulled: true},
		Stops: []sim.Stop{
			{Name: "servo brake", Kind: sim.WheelBrake, AfterS: 1.6, After: true, DelayS: 0.15, Friction: 0.61, BrakedShare: 0.55},
			{Name: "tail chute", Kind: sim.Chute, AtM: 90, DelayS: 0.16, DragAreaM2: 0.05, FillS: 0.2},
			{Name: "sacks", Kind: sim.WeightedLine, AtM: 110, MassKg: 3.5, Friction: 0.5, StiffnessNpm: 900, HookHeightM: 0.041, RatingN: 1500},
			{Name: "cord", Kind: sim.ElasticLine, AtM: 120, SlackM: 0.9, StiffnessNpm: 21, DampingNspm: 2, HookHeightM: 0.042, RatingN: 1600},
			{Name: "gravel", Kind: sim.ArrestBed, AtM: 150, LengthM: 30, Friction: 0.52},
		},
		Limits: Limits{21, 9, 0.22, 1.6, 0.055, 24 * 9.80665, 0.0005, 0.995},
		Spread: sim.Spread{ThrustLot: 0.021, ThrustMotor: 0.022, Drag: 0.08, Rolling: 0.2, Mass: 0.01, WindMps: 1.1, StopDelayS: 0.05,
			MotorSilent: 0.015, StopFails: 0.025},
		LateLightS: 0.5,
		Crew:       Crew{Spotters: []string{"north gate", "south gate"}},
		Posts:      []Post{{"north gate", 60}, {"south gate", 61}},
		Radios:     []Radio{{"steering", 0.1, 2.4e9, 33}},
		Steps: []Step{
			{checklist.Site, "Extinguisher and water at the hold line", checklist.RangeOfficer, 10 * time.Minute, false},
			{checklist.After, "Strip walked", checklist.HookUpPerson, 0, true},
		},
	}
	want.Times = checklist.Bounds().Default
	want.Times.RangeClear, want.Times.Spotter = 91*time.Second, 92*time.Second
	want.Times.Typed, want.Times.Weather = 11*time.Minute, 16*time.Minute
	want.Times.Armed, want.Times.Count, want.Times.Window, want.Times.Wait = 61*time.Second, 11*time.Second, 12*time.Second, 100*time.Second
	want.Times.Pauses = [checklist.MaxPauses]time.Duration{8 * time.Second, 3 * time.Second}
	// What is made of the text as a whole has tests of its own.
	want.Name, want.SHA256, want.Curves, want.Notes, want.Site.Air = s.Name, s.SHA256, s.Curves, s.Notes, s.Site.Air
	compare(t, "", reflect.ValueOf(*s), reflect.ValueOf(want))
	if s.Site.Air.PressurePa != 97800 || s.Site.Air.TemperatureK != 291.15 || !(s.Site.Air.DensityKgM3 > 1) {
		t.Errorf("air %+v", s.Site.Air)
	}
	if s.Name != "testdata/full.toml" || len(s.Curves) != 2 || s.Curves[0].Name != "curves/c.csv" || s.Curves[1].File != "" {
		t.Errorf("name %q, curves %+v", s.Name, s.Curves)
	}
}

// compare reports values that differ by more than the rounding of a decimal.
func compare(t *testing.T, path string, got, want reflect.Value) {
	t.Helper()
	switch got.Kind() {
	case reflect.Struct:
		for i := range got.NumField() {
			if got.Type().Field(i).IsExported() {
				compare(t, path+"."+got.Type().Field(i).Name, got.Field(i), want.Field(i))
			}
		}
	case reflect.Pointer:
		if got.IsNil() || want.IsNil() {
			if got.IsNil() != want.IsNil() {
				t.Errorf("%s: got %v, want %v", path, got, want)
			}
			return
		}
		compare(t, path, got.Elem(), want.Elem())
	case reflect.Slice:
		if got.Len() != want.Len() {
			t.Errorf("%s: got %d, want %d", path, got.Len(), want.Len())
			return
		}
		for i := range got.Len() {
			compare(t, path, got.Index(i), want.Index(i))
		}
	case reflect.Map:
		if got.Len() != want.Len() {
			t.Errorf("%s: got %d, want %d", path, got.Len(), want.Len())
		}
		for _, k := range want.MapKeys() {
			if !got.MapIndex(k).IsValid() {
				t.Errorf("%s: %v is missing", path, k)
				continue
			}
			compare(t, path, got.MapIndex(k), want.MapIndex(k))
		}
	case reflect.Float64:
		if math.Abs(got.Float()-want.Float()) > 1e-14*math.Abs(want.Float()) {
			t.Errorf("%s: got %.17g, want %.17g", path, got.Float(), want.Float())
		}
	default:
		if !reflect.DeepEqual(got.Interface(), want.Interface()) {
			t.Errorf("%s: got %v, want %v", path, got, want)
		}
	}
}

// The same sheet with every quantity in US customary units is the same sheet.
func TestUSUnitsMeanTheSame(t *testing.T) {
	data := readFull(t)
	metric, err := parseFull(data)
	if err != nil {
		t.Fatal(err)
	}
	entries, err := Entries(data)
	if err != nil {
		t.Fatal(err)
	}
	text := string(data)
	changed := 0
	for _, e := range entries {
		q, err := unit.Parse(e.Value)
		if err != nil || q.Unit.Dimension == unit.Ratio {
			continue
		}
		next := unit.FormatIn(q.SI, unit.Preferred(q.SI, q.Unit.Dimension, unit.US), 15)
		edited, err := Set([]byte(text), e.Key, next)
		if err != nil {
			t.Fatalf("%s = %s: %v", e.Key, next, err)
		}
		text = string(edited)
		changed++
	}
	us, err := parseFull([]byte(text))
	if err != nil {
		t.Fatal(err)
	}
	if changed < 80 || !strings.Contains(text, "lbf/in") || !strings.Contains(text, "degF") {
		t.Fatalf("%d quantities changed", changed)
	}
	us.SHA256, us.Site.Air, us.Curves, us.Notes = metric.SHA256, metric.Site.Air, metric.Curves, metric.Notes
	for i := range us.Motors {
		us.Motors[i].Curve = metric.Motors[i].Curve
	}
	compareLoosely(t, us, metric)
}

func compareLoosely(t *testing.T, got, want *Sheet) {
	t.Helper()
	var round func(v reflect.Value)
	round = func(v reflect.Value) {
		switch v.Kind() {
		case reflect.Struct:
			for i := range v.NumField() {
				if v.Type().Field(i).IsExported() && v.Type().Field(i).Name != "Curve" {
					round(v.Field(i))
				}
			}
		case reflect.Pointer:
			if !v.IsNil() {
				round(v.Elem())
			}
		case reflect.Slice:
			for i := range v.Len() {
				round(v.Index(i))
			}
		case reflect.Float64:
			// Ten digits: fifteen were written, and a temperature's offset
			// costs three of those left.
			if f := v.Float(); f != 0 {
				scale := math.Pow(10, 10-math.Ceil(math.Log10(math.Abs(f))))
				v.SetFloat(math.Round(f*scale) / scale)
			}
		}
	}
	for _, s := range []*Sheet{got, want} {
		igniters := map[string]circuit.Igniter{}
		for name, g := range s.Igniters {
			round(reflect.ValueOf(&g))
			igniters[name] = g
		}
		s.Igniters = igniters
		round(reflect.ValueOf(s))
	}
	compare(t, "", reflect.ValueOf(*got), reflect.ValueOf(*want))
}

// mayBeLeftOut are the keys marked optional in the format, for full.toml.
var mayBeLeftOut = []string{
	"site.elevation", "site.pressure", // one of the two
	"site.temperature", "site.humidity", "site.headwind", "site.wind_range", "site.slope",
	"vehicle.mark", "vehicle.rotating_mass", "vehicle.lift_coefficient", "vehicle.lift_behind_front_axle",
	"motor[1].angle", "motor[1].nozzle_behind_front_axle", "motor[3].channel",
	"igniter.bridge.short_probability",
	"firing.battery.highest_current", "firing.lead_temperature", "firing.meter_error", "firing.nulled",
	"stop[1].delay", "stop[2].delay",
	"limits.stop_margin", "limits.thrust_to_weight", "limits.front_load", "limits.yaw_margin", "limits.stagger",
	"limits.deceleration", "limits.overrun_probability", "limits.all_light_probability",
	"uncertainty.thrust_lot", "uncertainty.thrust_motor", "uncertainty.drag", "uncertainty.rolling", "uncertainty.mass",
	"uncertainty.wind", "uncertainty.stop_delay", "uncertainty.motor_silent", "uncertainty.stop_fails",
	"crew.spotters[1]", "crew.spotters[2]", // a list, with a test of its own
	"times.range_clear", "times.spotter", "times.typed", "times.weather", "times.armed", "times.count", "times.window", "times.wait",
	"step[1].expires", "step[1].gate", "step[2].optional",
}

// without takes one key and its value out of the text.
func without(data []byte, e Entry) []byte {
	doc, err := editable(data)
	if err != nil {
		return nil
	}
	path, err := splitKey(e.Key)
	if err != nil {
		return nil
	}
	at, err := doc.spot(path, e.Key)
	if err != nil {
		return nil
	}
	from, to := at.now.keyAt, at.to
	if strings.HasPrefix(string(data[to:]), ", ") {
		to += 2
	} else if strings.HasSuffix(string(data[:from]), ", ") {
		from -= 2
	}
	return slices.Concat(data[:from], data[to:])
}

// Every key that is not optional is missed, at its table, by name.
func TestEveryRequiredKeyIsMissed(t *testing.T) {
	data := readFull(t)
	entries, err := Entries(data)
	if err != nil || len(entries) < 150 {
		t.Fatalf("%d entries, %v", len(entries), err)
	}
	for _, e := range entries {
		_, err := parseFull(without(data, e))
		if slices.Contains(mayBeLeftOut, e.Key) {
			if err != nil && !strings.HasPrefix(e.Key, "crew.") {
				t.Errorf("without %s: %v", e.Key, err)
			}
			continue
		}
		var faults Faults
		if !errors.As(err, &faults) {
			t.Errorf("without %s: %v", e.Key, err)
			continue
		}
		// A lead is one of three, so that the lead itself is at fault.
		parent := e.Key[:max(0, strings.LastIndexByte(e.Key, '.'))]
		if !slices.ContainsFunc(faults, func(f Fault) bool {
			return f.Key == e.Key && f.Found == "nothing" || f.Key == parent && strings.HasPrefix(f.Found, "none of gauge") ||
				strings.HasPrefix(e.Key, "stop[") && strings.HasSuffix(f.Key, ".after") && f.Found == "nothing"
		}) {
			t.Errorf("without %s: %v", e.Key, err)
		}
	}
}

// withAll puts a literal in the place of each of the entries.
func withAll(t *testing.T, data []byte, entries []Entry, literal string) []byte {
	t.Helper()
	doc, err := editable(data)
	if err != nil {
		t.Fatal(err)
	}
	var spots []spot
	for _, e := range entries {
		path, err := splitKey(e.Key)
		if err != nil {
			t.Fatal(err)
		}
		at, err := doc.spot(path, e.Key)
		if err != nil {
			t.Fatal(err)
		}
		spots = append(spots, at)
	}
	slices.SortFunc(spots, func(a, b spot) int { return b.from - a.from })
	for _, at := range spots {
		data = at.write(&document{data: data}, literal)
	}
	return data
}

// refused parses a sheet in which all the entries have a wrong value at once,
// and holds every one of them to a fault at the value's own place.
func refused(t *testing.T, data []byte, entries []Entry, literal string) {
	t.Helper()
	edited := withAll(t, data, entries, literal)
	doc, err := editable(edited)
	if err != nil {
		t.Fatalf("%s: %v", literal, err)
	}
	_, err = parseFull(edited)
	for _, e := range entries {
		path, _ := splitKey(e.Key)
		at, spotErr := doc.anySpot(path)
		if spotErr != nil {
			t.Fatalf("%s = %s: %v", e.Key, literal, spotErr)
		}
		line, column := place(edited, at)
		if !hasFault(err, line, column, e.Key) {
			t.Errorf("%s = %s: want a fault at %d:%d", e.Key, literal, line, column)
		}
	}
}

// anySpot is the offset of the value of a path, of any kind.
func (d *document) anySpot(path []keyStep) (int, error) {
	at := d.root
	for _, step := range path {
		if at = at.child(step); at == nil {
			return 0, errors.New("no such key")
		}
	}
	return at.offset, nil
}

// Every key refuses a value of the wrong type, at the value's own place, and
// all of them at once.
func TestEveryKeyRefusesAWrongType(t *testing.T) {
	data := readFull(t)
	entries, err := Entries(data)
	if err != nil {
		t.Fatal(err)
	}
	// A device of no kind says nothing of its other keys: kinds by themselves.
	var kinds, rest []Entry
	for _, e := range entries {
		if strings.HasPrefix(e.Key, "stop[") && strings.HasSuffix(e.Key, "].kind") {
			kinds = append(kinds, e)
		} else {
			rest = append(rest, e)
		}
	}
	if len(kinds) != 5 || len(rest) < 150 {
		t.Fatalf("%d kinds, %d others", len(kinds), len(rest))
	}
	for _, wrong := range []string{"1979-05-27", "[[7]]", "{ a = 1 }"} {
		refused(t, data, kinds, wrong)
		refused(t, data, rest, wrong)
	}
}

// Every quantity refuses a bare number, another dimension, and a value that is
// not finite; every number refuses one that is not.
func TestEveryNumberRefusesWhatIsNone(t *testing.T) {
	data := readFull(t)
	entries, err := Entries(data)
	if err != nil {
		t.Fatal(err)
	}
	var quantities, numbers []Entry
	for _, e := range entries {
		if q, err := unit.Parse(e.Value); err == nil && q.Unit.Dimension != unit.Ratio {
			quantities = append(quantities, e)
		} else if err == nil || e.Value[0] >= '0' && e.Value[0] <= '9' || e.Value[0] == '-' {
			numbers = append(numbers, e)
		}
	}
	if len(quantities) < 80 || len(numbers) < 25 {
		t.Fatalf("only %d quantities and %d numbers", len(quantities), len(numbers))
	}
	// No key of a sheet is an impulse.
	for _, wrong := range []string{"3", "-1.5e3", `"3"`, `"1e400 m"`, `"3 parsec"`, "nan", `"3 N*s"`, "true"} {
		refused(t, data, quantities, wrong)
	}
	for _, wrong := range []string{"nan", "inf", "-inf", "1e300", `"3 mm"`, `"0.3"`, "true"} {
		refused(t, data, numbers, wrong)
	}
}

func hasFault(err error, line, column int, key string) bool {
	var faults Faults
	return errors.As(err, &faults) && slices.ContainsFunc(faults, func(f Fault) bool {
		return f.Line == line && f.Column == column && f.Key == key
	})
}
