package sim

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// Bounds of a thrust curve. The point limit keeps a mistaken file from filling
// memory; the other two are far outside any model motor and keep every sum finite.
const (
	MaxCurvePoints  = 10_000
	maxCurveTimeS   = 600
	maxCurveThrustN = 1e5
	minCurveGapS    = 1e-9
	maxCurveFaults  = 10
)

// Point is one point of a thrust curve.
type Point struct {
	TimeS   float64
	ThrustN float64
}

// Curve is a motor's thrust over time: linear between its points, zero outside.
// A Curve never changes once made, and may be shared.
type Curve struct {
	points      []Point
	impulseNs   []float64    // impulse delivered up to each point
	slopeNps    []float64    // of the thrust from each point to the next; 0 after the last
	breakpoints []breakpoint // one for each point, and a last one that never comes
	totalNs     float64
	peakN       float64
	burnTimeS   float64
}

// breakpoint is a point of a curve as a change of its thrust.
type breakpoint struct {
	timeS   float64
	bendNps float64 // of the slope
	// anew says that sums over motors are taken anew here: where the thrust may
	// jump, at the last point, and beside a slope so steep that its rounding would
	// stay behind in a sum.
	anew, jump bool
}

// slopeSteep is the slope beside which sums are taken anew, over peak thrust
// per burn time: rounding leaves 1e-12 of the peak at most.
const slopeSteep = 1e4

// CurveError is one fault of a thrust curve.
type CurveError struct {
	Index  int    // of the point in the slice given to NewCurve; -1 for the curve as a whole
	Reason string // what was found and what was expected
}

func (e *CurveError) Error() string {
	if e.Index < 0 {
		return "sim: thrust curve: " + e.Reason
	}
	return fmt.Sprintf("sim: thrust curve: point %d: %s", e.Index+1, e.Reason)
}

// NewCurve returns the curve through points, whose times must strictly
// increase from 0 s or later. When the first is later than 0 s, a point of no
// thrust at 0 s is understood before it; a last point above 0 N means a step
// down to nothing there. points is not kept.
//
// Its error joins a *CurveError for every fault, the first ten at most.
func NewCurve(points []Point) (*Curve, error) {
	if err := checkPoints(points); err != nil {
		return nil, err
	}
	c := &Curve{}
	if points[0].TimeS > 0 {
		c.points = append(c.points, Point{})
	}
	c.points = append(c.points, points...)
	c.impulseNs = make([]float64, len(c.points))
	c.slopeNps = make([]float64, len(c.points))
	for i, p := range c.points {
		c.peakN = max(c.peakN, p.ThrustN)
		if i > 0 {
			q := c.points[i-1]
			c.impulseNs[i] = c.impulseNs[i-1] + (p.TimeS-q.TimeS)*(p.ThrustN+q.ThrustN)/2
			c.slopeNps[i-1] = (p.ThrustN - q.ThrustN) / (p.TimeS - q.TimeS)
		}
	}
	c.totalNs = c.impulseNs[len(c.impulseNs)-1]
	c.burnTimeS = c.points[len(c.points)-1].TimeS
	if c.totalNs < 1e-6 {
		return nil, &CurveError{Index: -1, Reason: fmt.Sprintf("total impulse is %g N·s, expected more than 0.000001 N·s", c.totalNs)}
	}
	c.setBreakpoints()
	return c, nil
}

func (c *Curve) setBreakpoints() {
	steep := slopeSteep * c.peakN / c.burnTimeS
	c.breakpoints = make([]breakpoint, len(c.points)+1)
	before := 0.0
	for i, p := range c.points {
		after := c.slopeNps[i]
		last := i+1 == len(c.points)
		jumps := (i == 0 || last) && p.ThrustN > 0
		smooth := !jumps && max(math.Abs(before), math.Abs(after)) <= steep
		c.breakpoints[i] = breakpoint{timeS: p.TimeS, bendNps: after - before, anew: last || !smooth, jump: !smooth}
		before = after
	}
	c.breakpoints[len(c.points)] = breakpoint{timeS: math.MaxFloat64, anew: true, jump: true}
}

func checkPoints(points []Point) error {
	switch {
	case len(points) == 0:
		return &CurveError{Index: -1, Reason: "it has no points, expected at least two"}
	case len(points) > MaxCurvePoints:
		return &CurveError{Index: -1, Reason: fmt.Sprintf("it has %d points, limit %d", len(points), MaxCurvePoints)}
	case len(points) == 1 && points[0].TimeS == 0:
		return &CurveError{Index: -1, Reason: "it has one point at 0 s, expected at least two points"}
	}
	var faults []error
	for i, p := range points {
		reason := ""
		switch {
		case math.IsNaN(p.TimeS) || math.IsInf(p.TimeS, 0):
			reason = fmt.Sprintf("time is %v, expected a finite number of seconds", p.TimeS)
		case math.IsNaN(p.ThrustN) || math.IsInf(p.ThrustN, 0):
			reason = fmt.Sprintf("thrust is %v, expected a finite number of newtons", p.ThrustN)
		case p.TimeS < 0:
			reason = fmt.Sprintf("time is %g s, expected 0 s or later", p.TimeS)
		case p.TimeS > maxCurveTimeS:
			reason = fmt.Sprintf("time is %g s, limit %d s", p.TimeS, maxCurveTimeS)
		case p.ThrustN < 0:
			reason = fmt.Sprintf("thrust is %g N, expected 0 N or more", p.ThrustN)
		case p.ThrustN > maxCurveThrustN:
			reason = fmt.Sprintf("thrust is %g N, limit %g N", p.ThrustN, float64(maxCurveThrustN))
		case i > 0 && p.TimeS <= points[i-1].TimeS:
			reason = fmt.Sprintf("time is %g s, expected later than %g s of the point before", p.TimeS, points[i-1].TimeS)
		case p.TimeS > 0 && p.TimeS < minCurveGapS, i > 0 && p.TimeS < points[i-1].TimeS+minCurveGapS:
			reason = fmt.Sprintf("time is %g s, expected at least 1 ns after the point before", p.TimeS)
		default:
			continue
		}
		faults = append(faults, &CurveError{Index: i, Reason: reason})
		if len(faults) == maxCurveFaults {
			break
		}
	}
	if len(faults) == 1 {
		return faults[0]
	}
	return errors.Join(faults...)
}

// Points returns the curve's points, the understood first one included.
func (c *Curve) Points() []Point { return slices.Clone(c.points) }

// TotalImpulseNs returns the total impulse in newton seconds: the area under
// the curve, exact for a piecewise linear one.
func (c *Curve) TotalImpulseNs() float64 { return c.totalNs }

// BurnTimeS returns the time of the last point in seconds.
func (c *Curve) BurnTimeS() float64 { return c.burnTimeS }

// AverageThrustN returns total impulse over burn time in newtons.
func (c *Curve) AverageThrustN() float64 { return c.totalNs / c.burnTimeS }

// PeakThrustN returns the largest thrust of the curve in newtons.
func (c *Curve) PeakThrustN() float64 { return c.peakN }

// Class returns the total-impulse class, the smallest letter n (A = 0) with
// total impulse ≤ 2.5·2ⁿ N·s, with 1/2A up to 1.25 and 1/4A up to 0.625 N·s.
//
// Source of the bounds: launch-site dimensions table of the National Association
// of Rocketry's Model Rocket Safety Code (2012) for 1/4A to two Gs; each further
// letter doubles.
func (c *Curve) Class() string { return ClassOf(c.totalNs) }

// ClassOf returns the total-impulse class of impulseNs, which must be finite
// and above 0; a cluster's is that of its summed impulse. Beyond class Z it
// returns "over Z".
func ClassOf(impulseNs float64) string {
	switch {
	case impulseNs <= 0.625:
		return "1/4A"
	case impulseNs <= 1.25:
		return "1/2A"
	}
	bound := 2.5
	for letter := 'A'; letter <= 'Z'; letter++ {
		if impulseNs <= bound {
			return string(letter)
		}
		bound *= 2
	}
	return "over Z"
}
