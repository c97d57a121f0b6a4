package sim

import (
	"math"
	"testing"
)

func close(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > rel*max(math.Abs(want), 1e-9) {
		t.Errorf("%s: got %.12g, want %.12g (off by %.3g relative)", what, got, want, (got-want)/want)
	}
}

// Worked values of the CIPM-2007 formula, computed in Python from the published
// constants, independently of this package.
func TestMoistAirDensityWorkedValues(t *testing.T) {
	for _, c := range []struct{ celsius, pa, humidity, want float64 }{
		{20, 101325, 0.5, 1.1993139},
		{20, 101325, 0, 1.2045573},
		{20, 100000, 0.5, 1.1835566},
		{15, 101325, 0, 1.2255213},
		{0, 101325, 0, 1.2930487},
		{30, 101325, 0.8, 1.1500117},
		{35, 95000, 0.3, 1.0670259},
	} {
		close(t, "density", MoistAirDensity(c.pa, c.celsius+273.15, c.humidity), c.want, 5e-8)
	}
}

// ISO 2533 standard atmosphere at geopotential altitudes: temperature, pressure
// and the density that its own ideal-gas law gives.
func TestStandardAtmosphereISO2533(t *testing.T) {
	for _, c := range []struct{ altitudeM, kelvin, pa, density float64 }{
		{0, 288.150, 101325, 1.22500},
		{500, 284.900, 95460.8, 1.16727},
		{1000, 281.650, 89874.6, 1.11164},
		{1500, 278.400, 84556.0, 1.05807},
		{2000, 275.150, 79495.2, 1.00649},
		{3000, 268.650, 70108.5, 0.909121},
	} {
		p, k := standardPressurePa(c.altitudeM), standardTemperatureK(c.altitudeM)
		close(t, "temperature", k, c.kelvin, 1e-9)
		close(t, "pressure", p, c.pa, 1e-6)
		// ρ = p M/(R* T) with the standard's constants. CIPM-2007 differs from it by
		// the compressibility of real air, 0.04 %.
		close(t, "ideal-gas density", p*standardAirKgPerMol/(standardGasConstant*k), c.density, 5e-6)
		close(t, "moist-air density of dry air", MoistAirDensity(p, k, 0), c.density, 7e-4)
	}
}

func TestAirTakesWhatWasMeasured(t *testing.T) {
	num := func(v float64) *float64 { return &v }
	both, err := AirInput{ElevationM: num(1000), PressurePa: num(95000)}.Air()
	if err != nil {
		t.Fatal(err)
	}
	if both.PressurePa != 95000 || math.Abs(both.TemperatureK-281.65) > 1e-9 {
		t.Errorf("station pressure with an elevation: got %+v, want 95000 Pa and 281.65 K", both)
	}
	alone, err := AirInput{PressurePa: num(89874.57)}.Air()
	if err != nil {
		t.Fatal(err)
	}
	close(t, "temperature at the pressure's altitude", alone.TemperatureK, 281.65, 1e-7)
	for _, bad := range []AirInput{
		{}, {ElevationM: num(math.NaN())}, {PressurePa: num(-1)}, {ElevationM: num(0), TemperatureK: num(0)},
		{ElevationM: num(0), HumidityRatio: num(1.2)}, {ElevationM: num(math.Inf(1))},
	} {
		if air, err := bad.Air(); err == nil {
			t.Errorf("%+v: got %+v, want an error", bad, air)
		}
	}
}
