package sim

import (
	"math"
	"testing"
)

// Other one-step methods over the spans of a real run, to choose by
// measurement: each crosses the same spans between breakpoints and events, to the
// same accuracy. They give the two ends of a span and nothing between: the
// series' time includes its dense output and the bounds of its extremes.

// span is one step of a run: where it begins, how long it lasts, and the
// equation of motion over it, M dv/dt = A + Q u² − K x − C v, in seconds.
type span struct {
	h, v, x, wind    float64
	inertia, k, c    float64
	m                [3]float64
	force            [3]float64
	square           [2]float64
	starting         bool
	vEnd, xEnd       float64 // by the series
	rk8Parts, rkPart int     // how many equal steps reach the accuracy
}

// spansOf returns the spans of a run.
func spansOf(t testing.TB, p *Problem, c Case) (*Runner, []span) {
	t.Helper()
	r, err := NewRunner(p)
	if err != nil {
		t.Fatal(err)
	}
	var spans []span
	r.visit = func(r *Runner, h float64) error {
		if !r.moving {
			return nil
		}
		s := &r.step
		spans = append(spans, span{
			h: h, v: r.v, x: r.x, wind: r.wind, inertia: s.inertia, k: r.engaged.k, c: r.engaged.c,
			m: [3]float64{s.m[0], s.m[1] / h, s.m[2] / h / h}, force: [3]float64{s.force[0], s.force[1] / h, s.force[2] / h / h},
			square: [2]float64{s.square[0], s.square[1] / h}, starting: r.starting, vEnd: s.vEnd, xEnd: s.xEnd,
		})
		return nil
	}
	if _, err := r.Run(c); err != nil {
		t.Fatal(err)
	}
	r.visit = nil
	return r, spans
}

// accel is dv/dt at t seconds into the span.
func (s *span) accel(t, x, v float64) float64 {
	u := v + s.wind
	a := s.force[0] + t*(s.force[1]+t*s.force[2]) + (s.square[0]+t*s.square[1])*u*u - s.k*x - s.c*v
	return a / (s.inertia + t*(s.m[1]+t*s.m[2]))
}

// rk4 crosses the span in equal steps of the classical method of order 4.
func (s *span) rk4(parts int) (x, v float64) {
	x, v = s.x, s.v
	h := s.h / float64(parts)
	for i := range parts {
		t := float64(i) * h
		v1, a1 := v, s.accel(t, x, v)
		v2 := v + h/2*a1
		a2 := s.accel(t+h/2, x+h/2*v1, v2)
		v3 := v + h/2*a2
		a3 := s.accel(t+h/2, x+h/2*v2, v3)
		v4 := v + h*a3
		a4 := s.accel(t+h, x+h*v3, v4)
		x += h / 6 * (v1 + 2*v2 + 2*v3 + v4)
		v += h / 6 * (a1 + 2*a2 + 2*a3 + a4)
	}
	return x, v
}

// The 11 stages of order 8 of Cooper and Verner, Some explicit Runge–Kutta
// methods of high order, SIAM J. Numer. Anal. 9 (1972) 389–405. The numbers are
// from memory; TestOrderEight would not pass with a wrong one.
var (
	root21  = math.Sqrt(21)
	rk8Node = [11]float64{0, 0.5, 0.5, (7 + root21) / 14, (7 + root21) / 14, 0.5, (7 - root21) / 14, (7 - root21) / 14, 0.5, (7 + root21) / 14, 1}
	rk8     = [11][10]float64{
		1:  {1. / 2},
		2:  {1. / 4, 1. / 4},
		3:  {1. / 7, (-7 - 3*root21) / 98, (21 + 5*root21) / 49},
		4:  {(11 + root21) / 84, 0, (18 + 4*root21) / 63, (21 - root21) / 252},
		5:  {(5 + root21) / 48, 0, (9 + root21) / 36, (-231 + 14*root21) / 360, (63 - 7*root21) / 80},
		6:  {(10 - root21) / 42, 0, (-432 + 92*root21) / 315, (633 - 145*root21) / 90, (-504 + 115*root21) / 70, (63 - 13*root21) / 35},
		7:  {1. / 14, 0, 0, 0, (14 - 3*root21) / 126, (13 - 3*root21) / 63, 1. / 9},
		8:  {1. / 32, 0, 0, 0, (91 - 21*root21) / 576, 11. / 72, (-385 - 75*root21) / 1152, (63 + 13*root21) / 128},
		9:  {1. / 14, 0, 0, 0, 1. / 9, (-733 - 147*root21) / 2205, (515 + 111*root21) / 504, (-51 - 11*root21) / 56, (132 + 28*root21) / 245},
		10: {0, 0, 0, 0, (-42 + 7*root21) / 18, (-18 + 28*root21) / 45, (-273 - 53*root21) / 72, (301 + 53*root21) / 72, (28 - 28*root21) / 45, (49 - 7*root21) / 18},
	}
	rk8Weight = [11]float64{0: 1. / 20, 7: 49. / 180, 8: 16. / 45, 9: 49. / 180, 10: 1. / 20}
)

// rk8 crosses the span in equal steps of order 8.
func (s *span) rk8(parts int) (x, v float64) {
	x, v = s.x, s.v
	h := s.h / float64(parts)
	for i := range parts {
		t := float64(i) * h
		var vs, as [11]float64
		for n := range vs {
			dx, dv := 0.0, 0.0
			for j := range n {
				dx += rk8[n][j] * vs[j]
				dv += rk8[n][j] * as[j]
			}
			vs[n] = v + h*dv
			as[n] = s.accel(t+rk8Node[n]*h, x+h*dx, vs[n])
		}
		dx, dv := 0.0, 0.0
		for n, w := range rk8Weight {
			dx += w * vs[n]
			dv += w * as[n]
		}
		x, v = x+h*dx, v+h*dv
	}
	return x, v
}

// series crosses the span as a run does.
func (s *span) series(r *Runner) {
	r.v, r.x, r.wind, r.starting = s.v, s.x, s.wind, s.starting
	r.engaged.k, r.engaged.c = s.k, s.c
	r.step.inertia, r.step.m, r.step.force, r.step.square = s.inertia, s.m, s.force, s.square
	r.expand(s.h)
}

// TestOrderEight shows the order of the comparison's method on a coast with drag
// and a taut line, where no closed form is needed: halving the step divides
// what is left by 2⁸.
func TestOrderEight(t *testing.T) {
	s := span{h: 0.7, v: 20, wind: 1, inertia: 2, k: 3, c: 0.4, m: [3]float64{2, -0.1, 0.01}, force: [3]float64{-4, 3, 1}, square: [2]float64{-0.02, 0.003}}
	_, exact := s.rk8(64)
	_, four := s.rk8(2)
	_, eight := s.rk8(4)
	order := math.Log2(math.Abs(four-exact) / math.Abs(eight-exact))
	if !(order > 7.5 && order < 9) {
		t.Errorf("order %.2f, expected about 8 (%g, %g)", order, four-exact, eight-exact)
	}
	if _, plain := s.rk4(4096); !(math.Abs(plain-exact) < 1e-11*math.Abs(exact)) {
		t.Errorf("speed %.14g, by order 4 %.14g", exact, plain)
	}
}

// divide finds into how many equal steps each method must divide each span.
func divide(t testing.TB, spans []span, accuracy float64) (rk8Steps, rk4Steps int) {
	t.Helper()
	parts := func(s *span, method func(int) (x, v float64)) int {
		for n := 1; n <= 1<<14; n *= 2 {
			x, v := method(n)
			if math.Abs(v-s.vEnd) <= accuracy*(math.Abs(s.v)+0.1) && math.Abs(x-s.xEnd) <= accuracy*(math.Abs(s.x)+0.1) {
				return n
			}
		}
		t.Fatalf("span of %g s from %g m/s: not reached to %g", s.h, s.v, accuracy)
		return 0
	}
	for i := range spans {
		s := &spans[i]
		s.rk8Parts, s.rkPart = parts(s, s.rk8), parts(s, s.rk4)
		rk8Steps, rk4Steps = rk8Steps+s.rk8Parts, rk4Steps+s.rkPart
	}
	return rk8Steps, rk4Steps
}

// BenchmarkMethods crosses all spans of one run of four motors of 25 points with
// a chute and a brake by each method, at the series' own accuracy.
func BenchmarkMethods(b *testing.B) {
	for _, apart := range []bool{false, true} {
		p, c := benchProblem(b, apart)
		r, spans := spansOf(b, p, c)
		rk8Steps, rk4Steps := divide(b, spans, 10*termLeast)
		name := map[bool]string{false: "together", true: "apart"}[apart]
		run := func(method string, steps int, cross func(*span)) {
			b.Run(name+"/"+method, func(b *testing.B) {
				for b.Loop() {
					for i := range spans {
						cross(&spans[i])
					}
				}
				b.ReportMetric(float64(steps), "steps/run")
			})
		}
		run("series", len(spans), func(s *span) { s.series(r) })
		run("order-8", rk8Steps, func(s *span) { s.rk8(s.rk8Parts) })
		run("order-4", rk4Steps, func(s *span) { s.rk4(s.rkPart) })
	}
}

// TestMethodsAgree compares the spans' ends by the other two methods with the
// series.
func TestMethodsAgree(t *testing.T) {
	p, c := benchProblem(t, true)
	r, spans := spansOf(t, p, c)
	rk8Steps, rk4Steps := divide(t, spans, 10*termLeast)
	if len(spans) < 100 || rk8Steps < len(spans) || rk4Steps < rk8Steps {
		t.Errorf("%d spans, %d steps of order 8, %d of order 4", len(spans), rk8Steps, rk4Steps)
	}
	for i := range spans {
		s := &spans[i]
		s.series(r)
		if math.Abs(r.step.vEnd-s.vEnd) > 1e-11*(s.v+0.1) || math.Abs(r.step.xEnd-s.xEnd) > 1e-11*(s.x+0.1) {
			t.Errorf("span %d: the series made again gives %g m/s at %g m, in the run %g at %g", i, r.step.vEnd, r.step.xEnd, s.vEnd, s.xEnd)
		}
	}
}
