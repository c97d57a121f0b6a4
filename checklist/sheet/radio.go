package sheet

import "math"

// RadioSource names where RadioDistanceM's table comes from.
const RadioSource = "IME SLP-20, table for 1-ohm electric detonators, as adopted in W. Va. CSR 36-1-19; borrowed from blasting practice"

// footM is one foot in metres.
const footM = 0.3048

// radioBands give, for transmitters of a frequency below a bound, the
// distance in feet for one watt. The printed bands are 1.7 to 3.4, 28 to 29.7,
// 35 to 54, 144 to 162, 450 to 470 and above 800 MHz; between two bands the
// larger of their factors counts, and below the first the largest of all.
var radioBands = []struct {
	beforeHz float64
	feet     float64
}{
	{1.7e6, 46.8},
	{math.Nextafter(3.4e6, math.Inf(1)), 14.5},
	{35e6, 46.8},
	{144e6, 36.6},
	{450e6, 12.0},
	{math.Inf(1), 7.8},
}

// RadioDistanceM returns the least distance in metres from a transmitter to
// an igniter and its leads:
//
//	d = k √P
//
// with P the power in watts and k by the band of the frequency in hertz. Both
// must be above 0 and finite, otherwise RadioDistanceM returns NaN.
//
// The factors k = 14.5, 46.8, 36.6, 12.0 and 7.8 ft fit the table to one foot.
//
// Source: RadioSource.
func RadioDistanceM(powerW, frequencyHz float64) float64 {
	if !(powerW > 0) || !(frequencyHz > 0) || math.IsInf(powerW, 0) || math.IsInf(frequencyHz, 0) {
		return math.NaN()
	}
	feet := 0.0
	for _, b := range radioBands {
		if frequencyHz < b.beforeHz {
			feet = b.feet
			break
		}
	}
	return feet * footM * math.Sqrt(powerW)
}
