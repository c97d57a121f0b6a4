package sim

import (
	"errors"
	"math"
	"strings"
	"testing"
)

// Order of convergence: cut after its first four terms, the series is a method of
// order 4. Halving the steps, by points put into the curve, must divide the
// error by about 16.
func TestOrderOfConvergence(t *testing.T) {
	run := func(pieces int, least float64) float64 {
		p := plain(t, 1, 40, 2)
		points := []Point{}
		for i := range pieces + 1 {
			points = append(points, Point{2 * float64(i) / float64(pieces), 40})
		}
		curve, err := NewCurve(points)
		if err != nil {
			t.Fatal(err)
		}
		p.Motors[0].Curve = curve
		p.Air.DensityKgM3, p.Vehicle.DragCoefficient, p.Vehicle.FrontalAreaM2 = 1.2, 1, 0.2
		p.Vehicle.RollingResistance = 0.1
		p.HeadwindMps = 15 // the air speed never begins near 0
		r, err := NewRunner(p)
		if err != nil {
			t.Fatal(err)
		}
		r.least = least
		o, err := r.Run(Cases(p)[0])
		if err != nil {
			t.Fatal(err)
		}
		return o.BurnoutPositionM.Value
	}
	exact := run(64, 1e-14)
	var errs []float64
	for _, pieces := range []int{32, 64, 128, 256} {
		errs = append(errs, math.Abs(run(pieces, 1e9)-exact))
	}
	for i := 1; i < len(errs); i++ {
		order := math.Log2(errs[i-1] / errs[i])
		t.Logf("order %.2f, errors %.3g m to %.3g m", order, errs[i-1], errs[i])
		if order < 3.6 || order > 5.2 {
			t.Errorf("order %.2f, want about 4", order)
		}
	}
	// and the order that is chosen follows the accuracy that is asked for
	for _, least := range []float64{1e-4, 1e-6, 1e-8, 1e-10} {
		if e := math.Abs(run(4, least)-exact) / exact; e > 50*least {
			t.Errorf("accuracy %g: off by %.2g relative", least, e)
		}
	}
}

// Sanity checks, common practice without a source: under 0.9 kg with about
// 80 N·s reaches near 88 m/s without drag; at twelve times its weight in thrust
// it passes 200 mph only with very low drag.
func TestSanityOfFastVehicles(t *testing.T) {
	p := plain(t, 0.9, 40, 2)
	p.Vehicle.RollingResistance = 0.01
	brake := []Stop{{Name: "brake", Kind: WheelBrake, AtM: 300, Friction: 0.6, BrakedShare: 1}}
	p.Stops = brake
	o, _ := nominal(t, p)
	if o.PeakSpeedMps < 85 || o.PeakSpeedMps > 90 {
		t.Errorf("80 N·s on 0.9 kg without drag: got %.1f m/s, want about 88 m/s", o.PeakSpeedMps)
	}
	const mph200 = 200 * 0.44704
	fast := func(dragArea float64) float64 {
		thrust := 12 * 0.88 * GravityMps2
		p := plain(t, 0.88, thrust, 80/thrust)
		p.Motors[0].PropellantKg = 0.04
		p.Air.DensityKgM3, p.Vehicle.DragCoefficient, p.Vehicle.FrontalAreaM2 = 1.2, 1, dragArea
		p.Vehicle.RollingResistance = 0.02
		p.Stops = brake
		o, _ := nominal(t, p)
		return o.PeakSpeedMps
	}
	if low, usual := fast(0.0005), fast(0.006); low < mph200 || usual > mph200 {
		t.Errorf("got %.1f m/s at low drag and %.1f m/s at usual drag, want %.1f m/s between", low, usual, mph200)
	}
}

func TestUnfinishedRunsSayWhy(t *testing.T) {
	p := plain(t, 1, 50, 2)
	_, err := runOrError(t, p)
	var unfinished *UnfinishedError
	if !errors.As(err, &unfinished) || !strings.Contains(err.Error(), "20 km") || !strings.Contains(err.Error(), "nominal") {
		t.Errorf("nothing to slow it down: got %v", err)
	}
	p = plain(t, 1, 1, 2)
	_, err = runOrError(t, p)
	if !errors.As(err, &unfinished) || !strings.Contains(err.Error(), "600 s") {
		t.Errorf("slow, and nothing to stop it: got %v", err)
	}
	light := plain(t, 0.01, 1e4, 60)
	light.Vehicle.DragCoefficient, light.Vehicle.FrontalAreaM2, light.Air.DensityKgM3 = 1, 10, 1.2
	_, err = runOrError(t, light)
	if !errors.As(err, &unfinished) || unfinished.Steps < maxSteps || unfinished.StepS < 1e-9 || !strings.Contains(err.Error(), "more mass") {
		t.Errorf("ten grams against ten square metres: got %v", err)
	}
	if _, err := predict(p); err == nil || !strings.Contains(err.Error(), "tailwind") {
		t.Errorf("all cases: got %v, want every case named", err)
	}
}

// A second motor that lights in the middle of the run of the first, and one
// that lights after it has come to rest.
func TestRestart(t *testing.T) {
	p := plain(t, 1, 20, 1)
	p.Vehicle.RollingResistance = 0.5
	p.Motors = append(p.Motors, p.Motors[0])
	p.Motors[1].IgnitionDelayS = 50
	o, _ := nominal(t, p)
	a, b := 20-0.5*GravityMps2, 0.5*GravityMps2
	one := a/2 + a*a/(2*b)
	close(t, "rest after two runs", o.StopPositionM, 2*one, 1e-11)
	close(t, "rest for good", o.StopTimeS, 50+1+a/b, 1e-11)
	close(t, "peak speed's time", o.PeakSpeedTimeS, 1, 1e-9)
	close(t, "last burnout", o.BurnoutTimeS.Value, 51, 1e-12)
}

// A tailwind that overcomes the rest of the resistance pushes only while a
// motor burns, and D changes sign where the air comes from behind.
func TestTailwindPushesFromBehind(t *testing.T) {
	p := plain(t, 1, 10, 1)
	p.Air.DensityKgM3, p.Vehicle.DragCoefficient, p.Vehicle.FrontalAreaM2 = 1.2, 1, 0.1
	p.Vehicle.RollingResistance = 0.05
	p.HeadwindMps = -2.5
	o, _ := nominal(t, p)
	c := 0.5 * 1.2 * 0.1
	close(t, "first push", o.PeakAccelerationMps2, 10+c*2.5*2.5-0.05*GravityMps2, 1e-11)
	// The last moment of motion: rolling less the push.
	if last := 0.05*GravityMps2 - c*2.5*2.5; last <= 0 || o.StopPositionM <= 0 {
		t.Errorf("got %+v", o)
	}
	// At 5 m/s the wind pushes more than it rolls against, 1.5 N against 0.49 N:
	// it would roll for ever, and that is an error.
	p.HeadwindMps = -5
	if _, err := runOrError(t, p); err == nil {
		t.Error("a wind that carries the vehicle along: got no error")
	}
}

// An end that rounding has put on the wrong side of zero is itself the crossing:
// here the polynomial is below 0 at σ = 1 by rounding alone.
func TestCrossingAtARoundedEnd(t *testing.T) {
	for _, c := range []series{{-1, 1 - 1e-16, 1e-17}, {-3, 2, 1 - 2e-16}, {1, -1 + 1e-16, 0}, {-1e-17, 1, 1}} {
		degree, want := 2, 1.0
		if c[0] > -1e-9 && c[0] < 0 {
			want = 0
		}
		if got := c.crossing(degree, 0, 1); math.Abs(got-want) > 1e-9 {
			t.Errorf("%v: got %g, want %g", c[:3], got, want)
		}
	}
}
