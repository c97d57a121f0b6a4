package sheet

import (
	"math"
	"testing"
)

// Source: IME SLP-20, table of distances for 1-ohm electric detonators, as
// adopted in W. Va. CSR 36-1-19 (feet; every row and column of it).
func TestRadioDistanceAgainstTheTable(t *testing.T) {
	bandsHz := [5][]float64{{1.7e6, 3.4e6}, {28e6, 29.7e6}, {35e6, 54e6}, {144e6, 162e6}, {450e6, 470e6, 850e6, 2.4e9}}
	table := map[float64][5]float64{
		1:   {15, 47, 37, 12, 8},
		3:   {25, 81, 64, 21, 14},
		5:   {33, 105, 82, 27, 18},
		10:  {46, 148, 116, 38, 25},
		50:  {102, 331, 259, 85, 55},
		100: {144, 468, 366, 120, 78},
	}
	for powerW, row := range table {
		for band, feet := range row {
			for _, hz := range bandsHz[band] {
				got := RadioDistanceM(powerW, hz)
				if math.Abs(got-feet*0.3048) > 1.001*0.3048 {
					t.Errorf("%g W at %g Hz: %.2f m, table %.2f m", powerW, hz, got, feet*0.3048)
				}
			}
		}
	}
}

// Between the bands the stricter neighbour holds, and the printed bands keep
// their own factor up to both edges.
func TestRadioDistanceBetweenTheBands(t *testing.T) {
	for hz, feet := range map[float64]float64{
		500e3: 46.8, 1.69e6: 46.8, 5e6: 46.8, 27e6: 46.8, 32e6: 46.8, 34.9e6: 46.8,
		72e6: 36.6, 100e6: 36.6, 143.9e6: 36.6, 300e6: 12.0, 433e6: 12.0, 600e6: 7.8, 10e9: 7.8,
	} {
		if got := RadioDistanceM(1, hz) / 0.3048; math.Abs(got-feet) > 1e-9 {
			t.Errorf("1 W at %g Hz: %g ft, want %g ft", hz, got, feet)
		}
	}
}

func TestRadioDistanceOutsideItsDomain(t *testing.T) {
	for _, c := range [][2]float64{{0, 1e9}, {-1, 1e9}, {1, 0}, {1, -1}, {math.NaN(), 1e9}, {1, math.NaN()}, {math.Inf(1), 1e9}, {1, math.Inf(1)}} {
		if got := RadioDistanceM(c[0], c[1]); !math.IsNaN(got) {
			t.Errorf("RadioDistanceM(%g, %g) = %g", c[0], c[1], got)
		}
	}
}
