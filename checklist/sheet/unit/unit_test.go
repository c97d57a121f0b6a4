package unit

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// TestFactorsAgainstNIST checks every unit against a factor that does not come
// from this package.
//
// Source: NIST Special Publication 811, 2008 edition, appendix B.8 (customary
// units, as printed there to seven digits or exactly) and table 5 (SI
// prefixes). The digits were written down from memory of that table.
func TestFactorsAgainstNIST(t *testing.T) {
	cases := []struct {
		text string
		dim  Dimension
		si   float64
		rel  float64 // half a digit of the printed value; 0 for an exact factor
	}{
		{"1 m", Length, 1, 0},
		{"1 cm", Length, 1e-2, 0},
		{"1 mm", Length, 1e-3, 0},
		{"1 km", Length, 1e3, 0},
		{"1 ft", Length, 3.048e-1, 0},
		{"1 in", Length, 2.54e-2, 0},
		{"1 yd", Length, 9.144e-1, 0},
		{"1 mi", Length, 1.609344e3, 0},
		{"1 kg", Mass, 1, 0},
		{"1 g", Mass, 1e-3, 0},
		{"1 lb", Mass, 4.535924e-1, 1.2e-7},
		{"1 oz", Mass, 2.834952e-2, 2e-7},
		{"1 N", Force, 1, 0},
		{"1 lbf", Force, 4.448222, 1.2e-7},
		{"1 N*s", Impulse, 1, 0},
		{"1 lbf*s", Impulse, 4.448222, 1.2e-7},
		{"1 m/s", Speed, 1, 0},
		{"1 km/h", Speed, 2.777778e-1, 2e-7},
		{"1 mph", Speed, 4.4704e-1, 0},
		{"1 ft/s", Speed, 3.048e-1, 0},
		{"1 kn", Speed, 5.144444e-1, 1e-7},
		{"1 Pa", Pressure, 1, 0},
		{"1 hPa", Pressure, 1e2, 0},
		{"1 kPa", Pressure, 1e3, 0},
		{"1 inHg", Pressure, 3.386389e3, 0},
		{"1 psi", Pressure, 6.894757e3, 1e-7},
		{"0 degC", Temperature, 273.15, 0},
		{"0 degF", Temperature, 255.3722, 2e-7},
		{"32 degF", Temperature, 273.15, 0},
		{"212 degF", Temperature, 373.15, 0},
		{"1 K", Temperature, 1, 0},
		{"1 s", Time, 1, 0},
		{"1 ms", Time, 1e-3, 0},
		{"1 min", Time, 60, 0},
		{"1 A", Current, 1, 0},
		{"1 mA", Current, 1e-3, 0},
		{"1 V", Voltage, 1, 0},
		{"1 mV", Voltage, 1e-3, 0},
		{"1 ohm", Resistance, 1, 0},
		{"1 mohm", Resistance, 1e-3, 0},
		{"1 m2", Area, 1, 0},
		{"1 cm2", Area, 1e-4, 0},
		{"1 mm2", Area, 1e-6, 0},
		{"1 ft2", Area, 9.290304e-2, 0},
		{"1 in2", Area, 6.4516e-4, 0},
		{"1 N/m", Stiffness, 1, 0},
		{"1 lbf/in", Stiffness, 1.751268e2, 2.9e-7},
		{"1 N*s/m", Damping, 1, 0},
		{"1 deg", Angle, 1.745329e-2, 2e-7},
		{"1 %", Ratio, 1e-2, 0},
		{"1 W", Power, 1, 0},
		{"1 mW", Power, 1e-3, 0},
		{"1 Hz", Frequency, 1, 0},
		{"1 kHz", Frequency, 1e3, 0},
		{"1 MHz", Frequency, 1e6, 0},
		{"1 GHz", Frequency, 1e9, 0},
		{"1 m/s2", Acceleration, 1, 0},
		{"1 g0", Acceleration, 9.80665, 0},
	}
	seen := map[string]bool{}
	for _, c := range cases {
		got, err := ParseAs(c.text, c.dim)
		if err != nil {
			t.Errorf("%q: %v", c.text, err)
			continue
		}
		rel := max(c.rel, 4e-16)
		if math.Abs(got-c.si) > rel*math.Abs(c.si) {
			t.Errorf("%q = %.17g, want %.17g within %g", c.text, got, c.si, rel)
		}
		seen[strings.Fields(c.text)[1]] = true
	}
	for _, u := range Units(Unknown) {
		if !seen[u.Name] {
			t.Errorf("unit %q is checked against nothing", u.Name)
		}
	}
}

func TestEveryUnitRoundTrips(t *testing.T) {
	all := Units(Unknown)
	rapid.Check(t, func(t *rapid.T) {
		u := rapid.SampledFrom(all).Draw(t, "unit")
		n := rapid.Float64Range(-1e6, 1e6).Draw(t, "n")
		back := u.Of(u.SI(n))
		// The offset of a temperature costs digits near its zero.
		if tol := 1e-14 * (math.Abs(n) + math.Abs(u.offset/u.mul*u.div)); math.Abs(back-n) > tol {
			t.Fatalf("%g %s came back as %g", n, u.Name, back)
		}
	})
}

// What Format shows can be typed into a sheet and means the same, to the four
// digits shown.
func TestFormatIsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := Dimension(rapid.IntRange(int(Ratio), int(Acceleration)).Draw(t, "dimension"))
		sys := rapid.SampledFrom([]System{Metric, US}).Draw(t, "system")
		// Sixteen decades, both signs.
		si := math.Pow(10, rapid.Float64Range(-9, 7).Draw(t, "exponent"))
		if rapid.Bool().Draw(t, "negative") {
			si = -si
		}
		text := Format(si, d, sys)
		got, err := ParseAs(text, d)
		if err != nil {
			t.Fatalf("%g %s as %q: %v", si, d, text, err)
		}
		u := Preferred(si, d, sys)
		if tol := 5.01e-4 * math.Abs(u.Of(si)); math.Abs(u.Of(got)-u.Of(si)) > tol {
			t.Fatalf("%g %s as %q is read back as %g", si, d, text, got)
		}
	})
}

func TestFormat(t *testing.T) {
	cases := []struct {
		si   float64
		dim  Dimension
		sys  System
		want string
	}{
		{1.42, Mass, Metric, "1.42 kg"},
		{1.42, Mass, US, "3.131 lb"},
		{0.011, Mass, Metric, "11 g"},
		{0.011, Mass, US, "0.388 oz"},
		{220, Length, Metric, "220 m"},
		{220, Length, US, "721.8 ft"},
		{0.045, Length, Metric, "45 mm"},
		{-0.0254, Length, US, "-1 in"},
		{0, Length, Metric, "0 m"},
		{0, Length, US, "0 ft"},
		{291.15, Temperature, Metric, "18 degC"},
		{291.15, Temperature, US, "64.4 degF"},
		{97800, Pressure, Metric, "978 hPa"},
		{101325, Pressure, US, "29.92 inHg"},
		{0.999, Ratio, Metric, "99.9 %"},
		{0.060, Time, Metric, "60 ms"},
		{600, Time, Metric, "10 min"},
		{2.4e9, Frequency, Metric, "2.4 GHz"},
		{25 * 9.80665, Acceleration, Metric, "25 g0"},
		{40, Speed, US, "89.48 mph"},
		{math.NaN(), Speed, US, "no value"},
		{math.Inf(1), Length, Metric, "no value"},
		{1, Unknown, Metric, "no value"},
		{math.Copysign(0, -1), Speed, Metric, "0 m/s"},
	}
	for _, c := range cases {
		if got := Format(c.si, c.dim, c.sys); got != c.want {
			t.Errorf("Format(%g, %v, %v) = %q, want %q", c.si, c.dim, c.sys, got, c.want)
		}
	}
}

func TestParseTakesSpacesSignsAndExponents(t *testing.T) {
	for text, want := range map[string]float64{
		"1.42kg": 1.42, "1.42    kg": 1.42, " 1.42 kg ": 1.42, "+1.5 kg": 1.5, "-3 g": -0.003,
		"1e3 g": 1, "1E+3g": 1, "25e-1 kg": 2.5, ".5 kg": 0.5, "5. kg": 5,
	} {
		got, err := ParseAs(text, Mass)
		if err != nil || got != want {
			t.Errorf("%q = %g, %v, want %g", text, got, err, want)
		}
	}
}

func TestErrorsSayFoundAndExpected(t *testing.T) {
	cases := []struct {
		text     string
		dim      Dimension
		found    string
		expected string
	}{
		{"1.42", Mass, `"1.42", without a unit`, `a mass, such as "1.42 kg" (units: kg g lb oz)`},
		{"1.42 m", Mass, `"1.42 m", a length`, `a mass, such as`},
		{"heavy", Mass, `"heavy", which does not begin with a number`, `a mass`},
		{"", Mass, `"", which does not begin with a number`, `a mass`},
		{"1,42 kg", Mass, `"1,42 kg", with a comma`, `decimals take a point`},
		{"1.42 stone", Mass, `"1.42 stone", with the unknown unit "stone"`, `a mass`},
		{"1.42 KG", Mass, `with the unknown unit "KG"`, `"kg" is meant?`},
		{"18 °C", Temperature, `with the unknown unit "°C"`, `"degC" is meant?`},
		{"0.8 \u2126", Resistance, `with the unknown unit`, `"ohm" is meant?`},
		{"5 g", Acceleration, `"5 g", a mass`, `an acceleration, such as "25 g0" (units: m/s2 g0)`},
		{"5 g0", Mass, `"5 g0", an acceleration`, `a mass`},
		{"1e999 kg", Mass, `a number too large`, `a mass`},
		{"1e308 km", Length, `a number too large`, `a length`},
		{"nan kg", Mass, `does not begin with a number`, `a mass`},
		{"inf kg", Mass, `does not begin with a number`, `a mass`},
		{"0x10 kg", Mass, `with the unknown unit "x10 kg"`, `a mass`},
		{"1_000 g", Mass, `with the unknown unit "_000 g"`, `a mass`},
		{"3 mm", Ratio, `a length`, `a percentage, such as "2 %"`},
		{strings.Repeat("9", 4) + " " + strings.Repeat("x", 400), Mass, "…", "a mass"},
	}
	for _, c := range cases {
		got, err := ParseAs(c.text, c.dim)
		var e *Error
		if !errors.As(err, &e) {
			t.Errorf("%q = %g, %v, want a *Error", c.text, got, err)
			continue
		}
		if !strings.Contains(e.Found, c.found) || !strings.Contains(e.Expected, c.expected) {
			t.Errorf("%q: found %s, expected %s; want found %s, expected %s", c.text, e.Found, e.Expected, c.found, c.expected)
		}
		if len(e.Error()) > 400 {
			t.Errorf("%q: an error of %d bytes", c.text, len(e.Error()))
		}
	}
}

func FuzzParse(f *testing.F) {
	for _, u := range Units(Unknown) {
		f.Add("1.5 " + u.Name)
	}
	f.Add("-1e-3kg")
	f.Fuzz(func(t *testing.T, text string) {
		q, err := Parse(text)
		if err != nil {
			return
		}
		if math.IsNaN(q.SI) || math.IsInf(q.SI, 0) || q.Unit.Name == "" {
			t.Fatalf("%q = %+v", text, q)
		}
	})
}

func BenchmarkParse(b *testing.B) {
	for b.Loop() {
		if _, err := ParseAs("1.42 kg", Mass); err != nil {
			b.Fatal(err)
		}
	}
}

// What people know as it is written stays so; the rest is converted.
func TestInASystem(t *testing.T) {
	for _, c := range []struct {
		text string
		sys  System
		want string
	}{
		{"1.85 kg", US, "4.079 lb"}, {"1.85 kg", Metric, "1.85 kg"}, {"3.13 lb", US, "3.13 lb"}, {"3.13 lb", Metric, "3.13 lb"}, {"12 kn", US, "12 kn"},
		{"0.5 s", US, "0.5 s"}, {"12.4 V", US, "12.4 V"}, {"2 %", US, "2 %"}, {"0.45", US, "0.45"}, {"", US, ""}, {"two", US, "two"},
		{"18 degC", US, "64.4 degF"}, {"45 mm", US, "1.772 in"}, {"245 m/s2", US, "24.98 g0"}, {"25 g0", US, "25 g0"}, {"0 m/s", US, "0 mph"},
	} {
		if got := In(c.text, c.sys); got != c.want {
			t.Errorf("%q: %q, want %q", c.text, got, c.want)
		}
	}
}
