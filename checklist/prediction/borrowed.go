package prediction

import "math"

// The distances here are borrowed: no code of the rocket trade is written for
// ground vehicles. They are the least that its codes ask for the same
// impulse, and they are named as borrowed wherever they show.

const footM = 0.3048

// Bounds of the model rocket code; for a vehicle outside any of them
// the high-power table counts.
//
// Source: National Association of Rocketry, Model Rocket Safety Code (August
// 2012), items 5 and 7.
const (
	modelMassKg       = 1.5
	modelPropellantKg = 0.125
	modelImpulseNs    = 320
	smallImpulseNs    = 20 // class D or smaller
	smallDistanceM    = 15 * footM
	modelDistanceM    = 30 * footM
)

// highPower are the distances of the high-power table by installed impulse.
//
// Source: minimum distances of NFPA 1127 as a club's table gives them (read at
// second hand): cleared-area diameter, personnel, personnel for a complex or
// clustered rocket, in feet.
var highPower = []struct{ impulseNs, clearedFt, singleFt, clusterFt float64 }{
	{320, 50, 100, 200},
	{640, 50, 100, 200},
	{1280, 50, 100, 200},
	{2560, 75, 200, 300},
	{5120, 100, 300, 500},
	{10240, 125, 500, 1000},
	{20480, 125, 1000, 1500},
	{40960, 125, 1500, 2000},
}

const (
	sourceModelCode = "borrowed from the NAR model rocket code, doubled for an unconventional vehicle (UK safety briefing 1); none is written for ground vehicles"
	sourceCluster   = "borrowed from the NAR model rocket code: a cluster takes the next class, doubled for an unconventional vehicle (UK safety briefing 1); none is written for ground vehicles"
	sourceHighPower = "borrowed from the high-power table (NFPA 1127, read at second hand); none is written for ground vehicles"
)

// borrowedCrewDistanceM returns the least distance of people from the vehicle
// and its path, borrowed, with its source: of the model code, a cluster's for
// the next higher class (California Title 19 section 1036(f)), doubled because
// the vehicle is unconventional; beyond that code's bounds, of the high-power table.
func borrowedCrewDistanceM(impulseNs, massKg, propellantKg float64, motors int) (float64, string) {
	if impulseNs > modelImpulseNs || massKg > modelMassKg || propellantKg > modelPropellantKg {
		row := highPowerRow(impulseNs)
		if motors > 1 {
			return highPower[row].clusterFt * footM, sourceHighPower
		}
		return highPower[row].singleFt * footM, sourceHighPower
	}
	source := sourceModelCode
	if motors > 1 {
		impulseNs, source = 2*impulseNs, sourceCluster // the next class up
	}
	if impulseNs <= smallImpulseNs {
		return 2 * smallDistanceM, source
	}
	return 2 * modelDistanceM, source
}

// borrowedHalfWidthM returns half the cleared area's diameter of the high-power
// table, the only one that names a cleared area around the vehicle.
func borrowedHalfWidthM(impulseNs float64) (float64, string) {
	return highPower[highPowerRow(impulseNs)].clearedFt / 2 * footM, sourceHighPower
}

func highPowerRow(impulseNs float64) int {
	for i, row := range highPower {
		if impulseNs <= row.impulseNs*(1+1e-9) {
			return i
		}
	}
	return len(highPower) - 1
}

// beyondTables reports an impulse that no table here covers.
func beyondTables(impulseNs float64) bool {
	return math.IsNaN(impulseNs) || impulseNs > highPower[len(highPower)-1].impulseNs
}
