package sim

import (
	"fmt"
	"strings"
)

// The built-in curves are invented and generic: none is any maker's motor.
// They serve for practice and first estimates; a real firing takes its curve
// from the motor's certification sheet.
//
// Each is made from a total impulse I, a burn time t and a shape, the shape being
// a list of points (τ, g) with τ from 0 to 1:
//
//	time_j = τ_j t,  thrust_j = g_j (I/t) / A,  A = Σ ½ (g_j + g_{j+1}) (τ_{j+1} − τ_j)
//
// so that the area under the curve is I exactly. I is nine tenths of the top of
// the class.

type curveShape struct {
	name      string
	burnShare float64 // of the class's end-burner time
	points    []Point // τ and g
}

var curveShapes = []curveShape{
	{ // end-burner: a spike as the cone of the grain is lit, then a plateau
		name: "plateau", burnShare: 1,
		points: []Point{
			{0, 0}, {0.02, 0.25}, {0.04, 1.05}, {0.06, 1.95}, {0.075, 1.8}, {0.095, 1.3}, {0.12, 1.03},
			{0.16, 0.96}, {0.3, 0.98}, {0.5, 1}, {0.7, 1.01}, {0.88, 1}, {0.93, 0.72}, {0.97, 0.2}, {1, 0},
		},
	},
	{
		name: "neutral", burnShare: 0.6,
		points: []Point{{0, 0}, {0.03, 0.7}, {0.06, 1}, {0.3, 1.02}, {0.6, 1.02}, {0.88, 1}, {0.95, 0.4}, {1, 0}},
	},
	{
		name: "progressive", burnShare: 0.6,
		points: []Point{{0, 0}, {0.04, 0.5}, {0.1, 0.6}, {0.4, 0.85}, {0.7, 1.15}, {0.9, 1.4}, {0.96, 0.6}, {1, 0}},
	},
	{
		name: "regressive", burnShare: 0.6,
		points: []Point{{0, 0}, {0.03, 1.1}, {0.08, 1.45}, {0.3, 1.2}, {0.6, 0.9}, {0.88, 0.6}, {0.95, 0.25}, {1, 0}},
	},
}

type curveClass struct {
	name      string
	impulseNs float64
	burnTimeS float64 // of the end-burner
}

var curveClasses = []curveClass{
	{"a", 2.25, 0.7}, {"b", 4.5, 1.1}, {"c", 9, 1.75}, {"d", 18, 1.9}, {"e", 36, 2.5}, {"f", 72, 3}, {"g", 144, 3.6},
}

// BuiltinNames returns the names that BuiltinCurve knows, by shape and class:
// plateau-a to plateau-g, then neutral, progressive and regressive.
func BuiltinNames() []string {
	names := make([]string, 0, len(curveShapes)*len(curveClasses))
	for _, shape := range curveShapes {
		for _, class := range curveClasses {
			names = append(names, shape.name+"-"+class.name)
		}
	}
	return names
}

// BuiltinCurve returns the invented, generic curve of that name, for example
// "plateau-c". It is not any maker's motor.
func BuiltinCurve(name string) (*Curve, error) {
	for _, shape := range curveShapes {
		for _, class := range curveClasses {
			if name == shape.name+"-"+class.name {
				return shapedCurve(shape, class)
			}
		}
	}
	return nil, fmt.Errorf("sim: no built-in curve %q, expected one of %s", name, strings.Join(BuiltinNames(), " "))
}

func shapedCurve(shape curveShape, class curveClass) (*Curve, error) {
	area := 0.0
	for i := 1; i < len(shape.points); i++ {
		a, b := shape.points[i-1], shape.points[i]
		area += (a.ThrustN + b.ThrustN) / 2 * (b.TimeS - a.TimeS)
	}
	burnTimeS := class.burnTimeS * shape.burnShare
	meanN := class.impulseNs / burnTimeS
	points := make([]Point, len(shape.points))
	for i, p := range shape.points {
		points[i] = Point{TimeS: p.TimeS * burnTimeS, ThrustN: p.ThrustN * meanN / area}
	}
	return NewCurve(points)
}
