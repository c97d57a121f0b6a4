package sim

import (
	"errors"
	"math"
)

// Standard atmosphere, troposphere. Source: U.S. Standard Atmosphere, 1976,
// tables 1 to 4 (R* there is 8.31432e3 N·m/(kmol·K), not the later CODATA value).
const (
	seaLevelPressurePa     = 101325
	seaLevelTemperatureK   = 288.15
	lapseKPerM             = 0.0065
	standardGasConstant    = 8.31432   // J/(mol·K)
	standardAirKgPerMol    = 0.0289644 // kg/mol
	standardPressureExpont = GravityMps2 * standardAirKgPerMol / (standardGasConstant * lapseKPerM)
)

// Bounds of what the air may be. They are wider than any place people race, and
// the elevation's stay inside the troposphere.
const (
	lowestElevationM, highestElevationM       = -1000, 9000
	lowestPressurePa, highestPressurePa       = 30_000, 120_000
	lowestTemperatureK, highestTemperatureK   = 223.15, 333.15
	freezingK                                 = 273.15
	lowestHumidityRatio, highestHumidityRatio = 0, 1
)

// Air returns the air's temperature, pressure and density.
//
// The density is the CIPM-2007 moist-air one (see MoistAirDensity) at 400 ppm
// of carbon dioxide. Pressure is the station pressure when given, else the 1976
// standard atmosphere's at ElevationM; a missing temperature is that
// atmosphere's at ElevationM, or with no elevation that of the altitude where
// the standard pressure is PressurePa. A missing humidity is dry air.
//
// Its error joins every fault.
func (in AirInput) Air() (Air, error) {
	if err := in.check(); err != nil {
		return Air{}, err
	}
	var air Air
	switch {
	case in.PressurePa != nil:
		air.PressurePa = *in.PressurePa
	default:
		air.PressurePa = standardPressurePa(*in.ElevationM)
	}
	switch {
	case in.TemperatureK != nil:
		air.TemperatureK = *in.TemperatureK
	case in.ElevationM != nil:
		air.TemperatureK = standardTemperatureK(*in.ElevationM)
	default:
		air.TemperatureK = seaLevelTemperatureK * math.Pow(air.PressurePa/seaLevelPressurePa, 1/standardPressureExpont)
	}
	humidity := 0.0
	if in.HumidityRatio != nil {
		humidity = *in.HumidityRatio
	}
	air.DensityKgM3 = MoistAirDensity(air.PressurePa, air.TemperatureK, humidity)
	return air, nil
}

func (in AirInput) check() error {
	var c checker
	within := func(what, unit string, value *float64, low, high float64) {
		if value != nil {
			c.within("air: "+what, unit, *value, low, high)
		}
	}
	if in.ElevationM == nil && in.PressurePa == nil {
		c.fault("air: neither elevation nor pressure is given, expected one of them")
	}
	within("elevation", " m", in.ElevationM, lowestElevationM, highestElevationM)
	within("pressure", " Pa", in.PressurePa, lowestPressurePa, highestPressurePa)
	within("temperature", " K", in.TemperatureK, lowestTemperatureK, highestTemperatureK)
	within("relative humidity", "", in.HumidityRatio, lowestHumidityRatio, highestHumidityRatio)
	return errors.Join(c.faults...)
}

// standardTemperatureK returns the 1976 standard temperature in kelvin at a
// geopotential altitude in metres, troposphere only.
func standardTemperatureK(altitudeM float64) float64 {
	return seaLevelTemperatureK - lapseKPerM*altitudeM
}

// standardPressurePa returns the 1976 standard pressure in pascals at a
// geopotential altitude in metres, troposphere only (equation 33a there).
func standardPressurePa(altitudeM float64) float64 {
	return seaLevelPressurePa * math.Pow(standardTemperatureK(altitudeM)/seaLevelTemperatureK, standardPressureExpont)
}

// MoistAirDensity returns the density of moist air in kg/m³ at a pressure in
// pascals, a temperature in kelvin and a relative humidity from 0 to 1, with
// 400 ppm of carbon dioxide:
//
//	ρ = p M_a/(Z R T) (1 − x_v (1 − M_v/M_a)),  x_v = h f p_sv/p
//
// Stated for 600 to 1100 hPa and 15 to 27 °C and used outside that range too;
// saturation is always over water.
//
// Source: Picard, Davis, Gläser, Fujii, Revised formula for the density of moist
// air (CIPM-2007), Metrologia 45 (2008) 149–155, equations 1 and A1.1 to A1.4.
func MoistAirDensity(pressurePa, temperatureK, humidityRatio float64) float64 {
	const (
		gasConstant   = 8.314472    // J/(mol·K), CODATA 2006 as the formula has it
		airKgPerMol   = 28.96546e-3 // dry air with 400 ppm of CO2
		waterKgPerMol = 18.01528e-3 // water
		psvA, psvB    = 1.2378847e-5, -1.9121316e-2
		psvC, psvD    = 33.93711047, -6.3431645e3
		fAlpha, fBeta = 1.00062, 3.14e-8
		fGamma        = 5.6e-7
		zA0, zA1, zA2 = 1.58123e-6, -2.9331e-8, 1.1043e-10
		zB0, zB1      = 5.707e-6, -2.051e-8
		zC0, zC1      = 1.9898e-4, -2.376e-6
		zD, zE        = 1.83e-11, -0.765e-8
	)
	t := temperatureK - freezingK
	saturationPa := math.Exp(psvA*temperatureK*temperatureK + psvB*temperatureK + psvC + psvD/temperatureK)
	enhancement := fAlpha + fBeta*pressurePa + fGamma*t*t
	xv := humidityRatio * enhancement * saturationPa / pressurePa
	pt := pressurePa / temperatureK
	z := 1 - pt*(zA0+zA1*t+zA2*t*t+(zB0+zB1*t)*xv+(zC0+zC1*t)*xv*xv) + pt*pt*(zD+zE*xv*xv)
	return pressurePa * airKgPerMol / (z * gasConstant * temperatureK) * (1 - xv*(1-waterKgPerMol/airKgPerMol))
}
