package sim

import "math"

// Polynomials on the step's own time σ from 0 to 1: value = Σ c[n] σⁿ, n ≤ degree.
// The searches below bound what lies between the points they look at by the
// sizes of the coefficients, so that they miss no root and no extreme wider
// than their last subdivision.

// maxOrder is the highest order of the Taylor series; a series has room for one.
const maxOrder = 20

// series has room for maxOrder; its length is a power of 2 so that the inner
// loops can show their indices inside it.
type series [32]float64

// at returns the value at σ.
func (c *series) at(degree int, sigma float64) float64 {
	value := c[degree]
	for n := degree - 1; n >= 0; n-- {
		value = value*sigma + c[n]
	}
	return value
}

// slopeAt returns value and first derivative at σ.
func (c *series) slopeAt(degree int, sigma float64) (value, slope float64) {
	value = c[degree]
	for n := degree - 1; n >= 0; n-- {
		slope = slope*sigma + value
		value = value*sigma + c[n]
	}
	return value, slope
}

// curvatureAt returns the second derivative at σ.
func (c *series) curvatureAt(degree int, sigma float64) float64 {
	curvature := 0.0
	for n := degree; n >= 2; n-- {
		curvature = curvature*sigma + float64(n*(n-1))*c[n]
	}
	return curvature
}

// end returns the value at σ = 1.
func (c *series) end(degree int) float64 {
	value := c[degree]
	for n := degree - 1; n >= 0; n-- {
		value += c[n]
	}
	return value
}

// shrink rescales so that what was at σ = r is at σ = 1.
func (c *series) shrink(degree int, r float64) {
	power := 1.0
	for n := 1; n <= degree; n++ {
		power *= r
		c[n] *= power
	}
}

// bend bounds how far the polynomial leaves the chord between its ends:
// |σⁿ − σ| is at most ¼ for n = 2, and below 1 for any n.
func (c *series) bend(degree int) float64 {
	b := 0.0
	for n := 3; n <= degree; n++ {
		b += math.Abs(c[n])
	}
	if degree >= 2 {
		b += 0.25 * math.Abs(c[2])
	}
	return b
}

// derivativeBounds returns bounds of the first three derivatives on [0, 1].
func (c *series) derivativeBounds(degree int) (d1, d2, d3 float64) {
	for n := 1; n <= degree; n++ {
		size, k := math.Abs(c[n]), float64(n)
		d1 += k * size
		d2 += k * (k - 1) * size
		d3 += k * (k - 1) * (k - 2) * size
	}
	return d1, d2, d3
}

// newtonNear is the step of Newton's method, as a share of the interval, after
// which the next place is right to rounding: the method squares the error. A
// halving of the bracket is no such step, and is not taken for one: rounding
// puts the last place of the method just outside the bracket now and then.
const newtonNear = 1e-10

// largestNear is how much of its size a largest value may miss.
const largestNear = 1e-13

const (
	searchDepth = 40 // open intervals of a search at most
	widthLeast  = 1.0 / (1 << 14)
)

// firstBelow returns the first σ in (0, 1] where the polynomial falls below 0.
// It must not be below 0 at σ = 0.
func (c *series) firstBelow(degree int) (sigma float64, found bool) {
	d1, d2, _ := c.derivativeBounds(degree)
	var stack [searchDepth]struct{ a, b float64 }
	stack[0].b = 1
	for top := 0; top >= 0; top-- {
		a, b := stack[top].a, stack[top].b
		mid, half := (a+b)/2, (b-a)/2
		value, slope := c.slopeAt(degree, mid)
		if value > d1*half {
			continue
		}
		monotone := math.Abs(slope) > d2*half
		if monotone || half < widthLeast || top+2 > searchDepth {
			if c.at(degree, b) < 0 {
				return c.crossing(degree, a, b), true
			}
			continue
		}
		stack[top].a, stack[top].b = mid, b
		stack[top+1].a, stack[top+1].b = a, mid
		top += 2
	}
	return 0, false
}

// crossing returns where the polynomial crosses zero between a and b, which lie
// on its two sides. An end on the wrong side by rounding is itself the answer.
func (c *series) crossing(degree int, a, b float64) float64 {
	falling := c.at(degree, a) > c.at(degree, b)
	return newton(a, b, (a+b)/2, newtonNear, falling, func(sigma float64) (value, slope float64) {
		return c.slopeAt(degree, sigma)
	})
}

// newton returns where a value crosses zero between a and b, by Newton's method
// from at, kept inside a shrinking bracket, until a step is near.
func newton(a, b, at, near float64, falling bool, valueAt func(float64) (value, slope float64)) float64 {
	least := 1e-15 * (b - a)
	for range 100 {
		value, slope := valueAt(at)
		if value == 0 {
			return at
		}
		if (value < 0) == falling {
			b = at
		} else {
			a = at
		}
		next := at - value/slope
		if math.Abs(next-at) <= near {
			return min(max(next, a), b)
		}
		if !(next > a && next < b) {
			next = (a + b) / 2
		}
		if b-a <= least {
			return next
		}
		at = next
	}
	return at
}

// largest returns the largest value on [a, b] and where it stands; sign −1
// finds the smallest. A place that is higher by rounding alone is not looked for.
func (c *series) largest(degree int, a, b, sign float64) (sigma, value float64) {
	sigma, value = a, c.at(degree, a)
	consider := func(s, v float64) {
		if sign*v > sign*value {
			sigma, value = s, v
		}
	}
	consider(b, c.at(degree, b))
	_, d2, d3 := c.derivativeBounds(degree)
	var stack [searchDepth]struct{ a, b float64 }
	stack[0].a, stack[0].b = a, b
	for top := 0; top >= 0; top-- {
		a, b := stack[top].a, stack[top].b
		mid, half := (a+b)/2, (b-a)/2
		v, slope := c.slopeAt(degree, mid)
		if math.Abs(slope) > d2*half {
			continue // no turning point inside
		}
		if sign*v+half*(math.Abs(slope)+d2*half/2) <= sign*value+largestNear*math.Abs(value) {
			continue // nothing higher inside: a speed that has settled is flat to its last digits
		}
		consider(mid, v)
		single := math.Abs(c.curvatureAt(degree, mid)) > d3*half
		if single || half < widthLeast || top+2 > searchDepth {
			_, slopeA := c.slopeAt(degree, a)
			_, slopeB := c.slopeAt(degree, b)
			if (slopeA < 0) != (slopeB < 0) {
				at := c.turning(degree, a, b)
				consider(at, c.at(degree, at))
			}
			continue
		}
		stack[top].a, stack[top].b = mid, b
		stack[top+1].a, stack[top+1].b = a, mid
		top += 2
	}
	return sigma, value
}

// turning returns where the slope is zero between a and b, where it has two signs.
func (c *series) turning(degree int, a, b float64) float64 {
	_, slopeA := c.slopeAt(degree, a)
	return newton(a, b, (a+b)/2, newtonNear, !(slopeA < 0), func(sigma float64) (slope, curvature float64) {
		_, slope = c.slopeAt(degree, sigma)
		return slope, c.curvatureAt(degree, sigma)
	})
}
