package circuit

import (
	"math"
	"testing"
)

// Published resistances of copper wire at 20 °C in Ω/km to three figures, as
// wire-gauge tables have them; they follow ASTM B258 diameters and 100 % IACS
// copper (IEC 60028). Read second hand.
func TestGaugeTable(t *testing.T) {
	published := []struct {
		gauge int
		value float64
	}{
		{10, 3.28}, {11, 4.13}, {12, 5.21}, {13, 6.57}, {14, 8.29}, {15, 10.4}, {16, 13.2}, {17, 16.6},
		{18, 21.0}, {19, 26.4}, {20, 33.3}, {21, 42.0}, {22, 53.0}, {23, 66.8}, {24, 84.2}, {25, 106}, {26, 134},
	}
	for _, w := range published {
		lead := Lead{Kind: LeadGauge, Gauge: w.gauge, LengthM: 500} // 1 km of conductor, out and back
		if got := lead.Resistance(20); math.Abs(got-w.value) > 0.005*w.value {
			t.Errorf("%d AWG: got %.4g ohm/km, want %.3g", w.gauge, got, w.value)
		}
	}
}

// Diameters of ASTM B258: 36 AWG is 0.005 in, 0 AWG 0.3249 in, and 0000 AWG
// 0.460 in, 39 steps from 36.
func TestGaugeDiameters(t *testing.T) {
	near(t, "36 AWG", GaugeDiameterM(36), 0.127e-3, 1e-12)
	near(t, "0000 AWG", GaugeDiameterM(-3), 0.460*0.0254, 1e-4)
	near(t, "0 AWG", GaugeDiameterM(0), 0.3249*0.0254, 2e-4) // given to four figures
}

// IEC 60228 gives the most a copper conductor may have at 20 °C, Ω/km, for
// class 1 and 2. Solid copper of the nominal area, as we calculate it, must lie
// below it and within 8 % of it. Read second hand.
func TestAreaAgainstTheConductorStandard(t *testing.T) {
	most := []struct{ mm2, ohmPerKm float64 }{
		{0.5, 36.0}, {0.75, 24.5}, {1.0, 18.1}, {1.5, 12.1}, {2.5, 7.41}, {4, 4.61}, {6, 3.08}, {10, 1.83}, {16, 1.15},
	}
	for _, w := range most {
		got := Lead{Kind: LeadArea, AreaM2: w.mm2 * 1e-6, LengthM: 500}.Resistance(20)
		if got > w.ohmPerKm || got < 0.92*w.ohmPerKm {
			t.Errorf("%g mm2: got %.4g ohm/km, want at most %g and not 8 %% below", w.mm2, got, w.ohmPerKm)
		}
	}
}

// Temperature factors R(T)/R(20 °C) at α = 0.00393 /K, and the reciprocal of
// IEC 60228's correction K_t, which is given to three decimals.
func TestLeadTemperature(t *testing.T) {
	lead := Lead{Kind: LeadGauge, Gauge: 18, LengthM: 20}
	for _, w := range []struct{ tempC, factor float64 }{{-10, 0.8821}, {0, 0.9214}, {40, 1.0786}, {60, 1.1572}} {
		near(t, "factor", lead.Resistance(w.tempC)/lead.Resistance(20), w.factor, 1e-4)
	}
	for _, w := range []struct{ tempC, kt float64 }{{5, 1.064}, {10, 1.042}, {20, 1}, {30, 0.962}, {40, 0.926}} {
		near(t, "1/K_t", lead.Resistance(w.tempC)/lead.Resistance(20), 1/w.kt, 2e-3)
	}
}

func TestAMeasuredLeadIsWhatWasMeasured(t *testing.T) {
	lead := Lead{Kind: LeadMeasured, LoopOhm: 0.84}
	if got := lead.Resistance(60); got != 0.84 {
		t.Errorf("got %v, want 0.84", got)
	}
	if got := (Lead{}).Resistance(20); got != 0 {
		t.Errorf("no lead: got %v, want 0", got)
	}
}
