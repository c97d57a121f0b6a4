// Package sim predicts the run of a rocket-boosted model ground vehicle: the
// air, the motors' thrust curves, longitudinal motion with mass loss, slope,
// wind, guide and stopping devices, axle loads, what-if cases and dispersion.
//
// It is pure: no I/O, no clock, no goroutine that outlives a call, and the same
// answer for the same input and seed whatever the number of workers. It imports
// nothing of this module.
//
// Quantities are SI and carry their unit in the name. Constructors and
// Validate return errors that name every fault; a run that cannot be finished
// is an error that says why. No answer has a NaN or an infinity: a value that
// does not exist is a Maybe that is not known.
package sim

// GravityMps2 is standard gravity, exact by definition (ISO 80000-3).
const GravityMps2 = 9.80665
