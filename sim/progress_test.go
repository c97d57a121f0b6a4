package sim

import (
	"math/rand/v2"
	"testing"
)

// TestAMomentThatChangesSignAtABreakpointDoesNotStopTheRun draws ignition delays of four
// motors on a guide. In one run out of some hundred the moment on the guide
// passes 0 so soon after a breakpoint of a curve that the time until then rounds to
// nothing; the run once stood still there.
func TestAMomentThatChangesSignAtABreakpointDoesNotStopTheRun(t *testing.T) {
	curve, err := NewCurve([]Point{{0, 0}, {0.045, 6.2}, {0.11, 17.6}, {0.165, 17.2}, {0.24, 11.2}, {0.35, 8.95}, {1, 9.05}, {1.56, 8.95},
		{1.64, 8.6}, {1.7, 7.1}, {1.75, 4.6}, {1.79, 2.3}, {1.86, 0}})
	if err != nil {
		t.Fatal(err)
	}
	p := &Problem{
		Air:     Air{DensityKgM3: 1.17, TemperatureK: 291, PressurePa: 97600},
		Vehicle: Vehicle{MassKg: 1.85, RotatingMassKg: 0.018, FrontalAreaM2: 0.013, DragCoefficient: 0.48, RollingResistance: 0.032, TyreFriction: 0.7, WheelbaseM: 0.62, CGBehindFrontAxleM: 0.34, CGHeightM: 0.045, DragHeightM: 0.05, LiftBehindFrontAxleM: 0.31},
		Guide:   &Guide{Kind: GuideWire, DragN: 1.2, Friction: 0.15, BearingSpacingM: 0.32, HeightM: 0.04, RatingN: 120},
		Stops:   []Stop{{Name: "bed", Kind: ArrestBed, AtM: 105, LengthM: 60, Friction: 0.55}}, ClearLengthM: 400,
	}
	for _, lateral := range []float64{-0.048, -0.016, 0.016, 0.048} {
		p.Motors = append(p.Motors, Motor{Curve: curve, PropellantKg: 0.015, LateralM: lateral, HeightM: 0.052, NozzleBehindFrontAxleM: 0.62, Circuit: "a"})
	}
	r, err := NewRunner(p)
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(1, 1))
	lights := make([]float64, 4)
	for run := range 2000 {
		for i := range lights {
			lights[i] = 0.035 + 0.008*rng.NormFloat64()
			lights[i] = max(lights[i], 0)
		}
		if _, err := r.Run(Case{Name: "drawn", IgnitionDelayS: lights}); err != nil {
			t.Fatalf("run %d, lights %v: %v", run, lights, err)
		}
	}
}
