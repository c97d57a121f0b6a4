package sim

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/pelletier/go-toml/v2"
)

// The sheets of testdata/reference are read here by a small reader of their
// own, so that this package is checked without the one that reads sheets.

const referenceDir = "../testdata/reference"

var siPerUnit = map[string]float64{
	"m": 1, "cm": 0.01, "mm": 1e-3, "ft": 0.3048, "in": 0.0254, "kg": 1, "g": 1e-3, "lb": 0.45359237, "oz": 0.45359237 / 16,
	"m/s": 1, "mph": 0.44704, "s": 1, "ms": 1e-3, "N": 1, "%": 0.01, "m2": 1, "N/m": 1, "lbf/in": 4.4482216152605 / 0.0254,
	"N*s/m": 1, "deg": math.Pi / 180, "": 1,
}

type table map[string]any

func (tb table) num(t testing.TB, key string, missing float64) float64 {
	t.Helper()
	switch v := tb[key].(type) {
	case nil:
		return missing
	case float64:
		return v
	case int64:
		return float64(v)
	case string:
		number, unit, _ := strings.Cut(v, " ")
		value, err := strconv.ParseFloat(number, 64)
		if err != nil {
			t.Fatalf("%s = %q: %v", key, v, err)
		}
		switch unit {
		case "degC":
			return value + 273.15
		case "degF":
			return (value-32)*5/9 + 273.15
		}
		scale, known := siPerUnit[unit]
		if !known {
			t.Fatalf("%s = %q: unknown unit", key, v)
		}
		return value * scale
	}
	t.Fatalf("%s: unexpected %T", key, tb[key])
	return 0
}

func (tb table) optional(t testing.TB, key string) *float64 {
	if tb[key] == nil {
		return nil
	}
	v := tb.num(t, key, 0)
	return &v
}

func (tb table) sub(key string) table {
	m, _ := tb[key].(map[string]any)
	return m
}

func (tb table) list(key string) (tables []table) {
	l, _ := tb[key].([]any)
	for _, e := range l {
		tables = append(tables, e.(map[string]any))
	}
	return tables
}

func readCurve(t testing.TB, path string) *Curve {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	reader := csv.NewReader(f)
	reader.Comment = '#'
	rows, err := reader.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var points []Point
	for _, row := range rows[1:] {
		time, err1 := strconv.ParseFloat(row[0], 64)
		thrust, err2 := strconv.ParseFloat(row[1], 64)
		if err1 != nil || err2 != nil {
			t.Fatal(err1, err2)
		}
		points = append(points, Point{time, thrust})
	}
	curve, err := NewCurve(points)
	if err != nil {
		t.Fatal(err)
	}
	return curve
}

// readProblem reads the sheet in dir with every ignition delay 0.
func readProblem(t testing.TB, dir string) *Problem {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(dir, "sheet.toml"))
	if err != nil {
		t.Fatal(err)
	}
	var sheet table
	if err := toml.Unmarshal(data, &sheet); err != nil {
		t.Fatal(err)
	}
	site, v := sheet.sub("site"), sheet.sub("vehicle")
	air, err := AirInput{
		ElevationM: site.optional(t, "elevation"), PressurePa: site.optional(t, "pressure"),
		TemperatureK: site.optional(t, "temperature"), HumidityRatio: site.optional(t, "humidity"),
	}.Air()
	if err != nil {
		t.Fatal(err)
	}
	wheelbase := v.num(t, "wheelbase", 0)
	p := &Problem{
		Air: air, HeadwindMps: site.num(t, "headwind", 0), WindRangeMps: site.num(t, "wind_range", 0),
		SlopeRatio: site.num(t, "slope", 0), ClearLengthM: site.num(t, "clear_length", 0),
		LateLightDelayS: sheet.sub("late_light").num(t, "delay", 0),
		Vehicle: Vehicle{
			MassKg: v.num(t, "mass", 0), RotatingMassKg: v.num(t, "rotating_mass", 0),
			FrontalAreaM2: v.num(t, "frontal_area", 0), DragCoefficient: v.num(t, "drag_coefficient", 0),
			LiftCoefficient: v.num(t, "lift_coefficient", 0), RollingResistance: v.num(t, "rolling_resistance", 0),
			TyreFriction: v.num(t, "tyre_friction", 0), WheelbaseM: wheelbase,
			CGBehindFrontAxleM: v.num(t, "cg_behind_front_axle", 0), CGHeightM: v.num(t, "cg_height", 0),
			DragHeightM: v.num(t, "drag_height", 0), LiftBehindFrontAxleM: v.num(t, "lift_behind_front_axle", wheelbase/2),
		},
	}
	if g := sheet.sub("guide"); g != nil {
		p.Guide = &Guide{
			Kind: GuideWire, DragN: g.num(t, "drag", 0), Friction: g.num(t, "friction", 0),
			BearingSpacingM: g.num(t, "bearing_spacing", 0), HeightM: g.num(t, "height", 0), RatingN: g.num(t, "rating", 0),
		}
	}
	for _, m := range sheet.list("motor") {
		igniter, _ := m["igniter"].(string)
		if m["branch_lead"] != nil {
			igniter += " branch"
		}
		p.Motors = append(p.Motors, Motor{
			Curve: readCurve(t, filepath.Join(dir, m["curve"].(string))), PropellantKg: m.num(t, "propellant", 0),
			LateralM: m.num(t, "lateral", 0), HeightM: m.num(t, "height", 0), AngleRad: m.num(t, "angle", 0),
			NozzleBehindFrontAxleM: m.num(t, "nozzle_behind_front_axle", wheelbase), Circuit: igniter,
		})
	}
	// motors with one curve share it, as a sheet's reader would have it
	for i := range p.Motors {
		for j := range i {
			if sameCurve(p.Motors[i].Curve, p.Motors[j].Curve) {
				p.Motors[i].Curve = p.Motors[j].Curve
			}
		}
	}
	kinds := map[string]StopKind{
		"wheel-brake": WheelBrake, "chute": Chute, "weighted-line": WeightedLine, "elastic-line": ElasticLine, "arrest-bed": ArrestBed,
	}
	for _, s := range sheet.list("stop") {
		p.Stops = append(p.Stops, Stop{
			Name: s["name"].(string), Kind: kinds[s["kind"].(string)],
			AtM: s.num(t, "at", 0), AfterS: s.num(t, "after", 0), After: s["after"] != nil, DelayS: s.num(t, "delay", 0),
			Friction: s.num(t, "friction", 0) + s.num(t, "ground_friction", 0), BrakedShare: s.num(t, "braked_share", 0),
			DragAreaM2: s.num(t, "area", 0), FillS: s.num(t, "fill_time", 0), MassKg: s.num(t, "mass", 0),
			StiffnessNpm: s.num(t, "stiffness", 0), SlackM: s.num(t, "slack", 0), DampingNspm: s.num(t, "damping", 0),
			HookHeightM: s.num(t, "hook_height", 0), RatingN: s.num(t, "rating", 0), LengthM: s.num(t, "length", 0),
		})
	}
	u := sheet.sub("uncertainty")
	p.Spread = Spread{
		ThrustLot: u.num(t, "thrust_lot", 0), ThrustMotor: u.num(t, "thrust_motor", 0), Drag: u.num(t, "drag", 0),
		Rolling: u.num(t, "rolling", 0), Mass: u.num(t, "mass", 0), WindMps: u.num(t, "wind", 0),
		StopDelayS: u.num(t, "stop_delay", 0), MotorSilent: u.num(t, "motor_silent", 0), StopFails: u.num(t, "stop_fails", 0),
	}
	return p
}

type referenceAnswer struct {
	Air struct {
		Density     float64 `json:"density_kg_m3"`
		Temperature float64 `json:"temperature_k"`
		Pressure    float64 `json:"pressure_pa"`
	} `json:"air"`
	Motors []struct {
		Class string  `json:"class"`
		Total float64 `json:"total_impulse_ns"`
		Mean  float64 `json:"average_thrust_n"`
		Peak  float64 `json:"peak_thrust_n"`
		Burn  float64 `json:"burn_time_s"`
	} `json:"motors"`
	Cases          []map[string]any `json:"cases"`
	ThrustToWeight float64          `json:"thrust_to_weight"`
}

func readAnswer(t *testing.T, dir string) (answer referenceAnswer) {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(dir, "expected.json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, &answer); err != nil {
		t.Fatal(err)
	}
	return answer
}

// fields returns an outcome by its JSON names, null as nil.
func fields(t *testing.T, o Outcome) map[string]any {
	t.Helper()
	data, err := json.Marshal(o)
	if err != nil {
		t.Fatal(err)
	}
	var m map[string]any
	if err := json.Unmarshal(data, &m); err != nil {
		t.Fatal(err)
	}
	return m
}

// off returns how far got is from want: relative, or over the floor near zero.
func off(got, want, floor float64) float64 {
	return math.Abs(got-want) / max(math.Abs(want), floor)
}

// TestReferenceRuns compares every case of six sheets with SUNDIALS CVODE 6.4.1
// (Adams, rtol 1e-11, atol 1e-12). The references themselves are good to about
// 2e-8; agreement is asked to 1e-7 relative, times to 1e-6 s.
func TestReferenceRuns(t *testing.T) {
	worst, where := 0.0, ""
	for _, name := range []string{"01", "02", "03", "04", "05", "06"} {
		dir := filepath.Join(referenceDir, "run", name)
		p, want := readProblem(t, dir), readAnswer(t, dir)
		got, err := predict(p)
		if err != nil {
			t.Fatal(name, err)
		}
		if len(got) != len(want.Cases) {
			t.Fatalf("%s: got %d cases, want %d", name, len(got), len(want.Cases))
		}
		for i, result := range got {
			expected := want.Cases[i]
			if result.Case.Name != expected["name"] || string(result.Case.Kind) != expected["kind"] {
				t.Errorf("%s case %d: got %q %q, want %q %q", name, i, result.Case.Name, result.Case.Kind, expected["name"], expected["kind"])
			}
			for key, value := range fields(t, result.Outcome) {
				number, isNumber := expected[key].(float64)
				g, gotNumber := value.(float64)
				if !isNumber || !gotNumber {
					if value != expected[key] {
						t.Errorf("%s %s: %s: got %v, want %v", name, result.Case.Name, key, value, expected[key])
					}
					continue
				}
				d := off(g, number, 1e-2)
				if strings.HasSuffix(key, "time_s") && math.Abs(g-number) > 1e-6 || d > 1e-7 {
					t.Errorf("%s %s: %s: got %.12g, want %.12g (%.2g)", name, result.Case.Name, key, g, number, d)
				}
				if d > worst {
					worst, where = d, name+" "+result.Case.Name+" "+key
				}
			}
		}
		close(t, name+" density", p.Air.DensityKgM3, want.Air.Density, 1e-13)
		close(t, name+" pressure", p.Air.PressurePa, want.Air.Pressure, 1e-13)
		close(t, name+" temperature", p.Air.TemperatureK, want.Air.Temperature, 1e-13)
		close(t, name+" thrust to weight", ThrustToWeight(p), want.ThrustToWeight, 1e-13)
		for i, m := range want.Motors {
			c := p.Motors[i].Curve
			close(t, name+" total impulse", c.TotalImpulseNs(), m.Total, 1e-13)
			close(t, name+" average thrust", c.AverageThrustN(), m.Mean, 1e-13)
			close(t, name+" peak thrust", c.PeakThrustN(), m.Peak, 1e-13)
			close(t, name+" burn time", c.BurnTimeS(), m.Burn, 1e-13)
			if c.Class() != m.Class {
				t.Errorf("%s motor %d: got class %s, want %s", name, i+1, c.Class(), m.Class)
			}
		}
	}
	t.Logf("worst agreement %.2g at %s", worst, where)
}
