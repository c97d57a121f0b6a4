package sim

import (
	"errors"
	"math"
	"strings"
	"testing"
)

func TestCurveRefusesFaultyPoints(t *testing.T) {
	many := make([]Point, MaxCurvePoints+1)
	for i := range many {
		many[i] = Point{float64(i) * 1e-4, 1}
	}
	for _, c := range []struct {
		name   string
		points []Point
		index  int
		reason string
	}{
		{"no points", nil, -1, "no points"},
		{"one point at 0", []Point{{0, 3}}, -1, "one point"},
		{"too many", many, -1, "limit 10000"},
		{"out of order", []Point{{0, 1}, {0.5, 2}, {0.4, 1}}, 2, "expected later than 0.5 s"},
		{"the same time twice", []Point{{0, 1}, {0.5, 2}, {0.5, 1}}, 2, "expected later than 0.5 s"},
		{"before 0", []Point{{-1, 1}, {1, 1}}, 0, "0 s or later"},
		{"negative thrust", []Point{{0, 1}, {1, -0.1}}, 1, "0 N or more"},
		{"not a number", []Point{{0, 1}, {math.NaN(), 1}}, 1, "finite"},
		{"infinite thrust", []Point{{0, math.Inf(1)}, {1, 1}}, 0, "finite"},
		{"no impulse", []Point{{0, 0}, {1, 0}}, -1, "total impulse"},
		{"closer than the clock can tell", []Point{{1, 1}, {1 + 1e-12, 2}}, 1, "1 ns"},
		{"too late", []Point{{0, 1}, {601, 0}}, 1, "limit 600 s"},
		{"too strong", []Point{{0, 2e5}, {1, 0}}, 0, "limit 100000 N"},
	} {
		curve, err := NewCurve(c.points)
		var fault *CurveError
		if curve != nil || !errors.As(err, &fault) || fault.Index != c.index || !strings.Contains(fault.Reason, c.reason) {
			t.Errorf("%s: got %v, want a *CurveError at %d with %q", c.name, err, c.index, c.reason)
		}
	}
	_, err := NewCurve([]Point{{0, -1}, {1, -2}, {2, 5}})
	joined, ok := err.(interface{ Unwrap() []error })
	if !ok || len(joined.Unwrap()) != 2 {
		t.Errorf("two faults: got %v", err)
	}
}

func TestCurveOfLaterFirstPointRisesFromZero(t *testing.T) {
	c, err := NewCurve([]Point{{0.2, 10}, {1, 10}})
	if err != nil {
		t.Fatal(err)
	}
	close(t, "total impulse", c.TotalImpulseNs(), 0.5*0.2*10+0.8*10, 1e-14)
	if got := c.Points(); len(got) != 3 || got[0] != (Point{}) {
		t.Errorf("got points %v, want (0, 0) before them", got)
	}
}

// Bounds of the classes: the launch-site dimensions table of the National
// Association of Rocketry's code to G and two Gs (that is H), each class twice
// the one before.
func TestClasses(t *testing.T) {
	for _, c := range []struct {
		impulseNs float64
		want      string
	}{
		{0.1, "1/4A"}, {0.625, "1/4A"}, {0.626, "1/2A"}, {1.25, "1/2A"}, {1.26, "A"}, {2.5, "A"}, {2.51, "B"}, {5, "B"},
		{5.01, "C"}, {10, "C"}, {10.01, "D"}, {20, "D"}, {40, "E"}, {80, "F"}, {80.01, "G"}, {160, "G"}, {320, "H"}, {320.01, "I"},
		{40960, "O"}, {1e9, "over Z"},
	} {
		if got := ClassOf(c.impulseNs); got != c.want {
			t.Errorf("%g N·s: got %s, want %s", c.impulseNs, got, c.want)
		}
	}
}

func TestBuiltinCurvesAreWhatTheirNamesSay(t *testing.T) {
	names := BuiltinNames()
	if len(names) != 28 {
		t.Errorf("got %d names", len(names))
	}
	for _, name := range names {
		c, err := BuiltinCurve(name)
		if err != nil {
			t.Fatal(err)
		}
		shape, class, _ := strings.Cut(name, "-")
		if got := strings.ToLower(c.Class()); got != class {
			t.Errorf("%s: got class %s", name, got)
		}
		top := 2.5 * math.Pow(2, float64(class[0]-'a'))
		close(t, name+" impulse", c.TotalImpulseNs(), 0.9*top, 1e-12)
		early, late := c.thrustShare(0.2), c.thrustShare(0.8)
		ok := map[string]bool{
			"plateau":     c.PeakThrustN() > 1.5*c.AverageThrustN() && math.Abs(early-late) < 0.1,
			"neutral":     c.PeakThrustN() < 1.2*c.AverageThrustN(),
			"progressive": late > 1.5*early,
			"regressive":  early > 1.5*late,
		}[shape]
		if !ok {
			t.Errorf("%s does not have its shape: peak over mean %.2f, early %.2f, late %.2f", name, c.PeakThrustN()/c.AverageThrustN(), early, late)
		}
	}
	if _, err := BuiltinCurve("plateau-z"); err == nil || !strings.Contains(err.Error(), "plateau-c") {
		t.Errorf("unknown name: got %v, want the names there are", err)
	}
}

// thrustShare returns the thrust at a share of the burn over the mean thrust.
func (c *Curve) thrustShare(share float64) float64 {
	_, after := c.thrustAround(share * c.burnTimeS)
	return after / c.AverageThrustN()
}
