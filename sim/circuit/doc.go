// Package circuit is the firing circuit: one battery, one pair of firing
// leads, and igniters in parallel. It answers whether one battery lights every
// motor, when each lights, what a continuity reading means, and what would
// mend a circuit that falls short.
//
// # Model
//
// The source is E in series with R_s = R_battery + R_lead + R_switch +
// R_contacts. Branch k has R_k = branch lead + bridge. The bus voltage is
// V = E / (1 + R_s Σ 1/R_k), the branch current I_k = V / R_k (Ohm's law).
//
// A bridge heats as one lumped thermal mass, the electrothermal equation of
// hot-wire initiators (Rosenthal):
//
//	dϑ/dt = (I²/I_t² − ϑ)/τ, ϑ(0) = 0, fires at ϑ = 1
//
// Between events every current is constant, so heat and the next firing are
// closed forms: with u = I²/I_t², t = τ ln((u − ϑ)/(u − 1)) when u > 1, never
// when u ≤ 1. There is no time stepping.
//
// Left out: a bridge's resistance rising as it warms, a battery sagging during
// the pulse, contact bounce, inductance, heat from one bridge to another.
//
// # Failure policy
//
// [Validate] names every fault of a problem. The other functions expect a
// problem that Validate accepts; for such a problem no result is NaN. A time
// that never comes is +Inf.
//
// The package does no I/O and reads no clock, and the same seed gives the same
// answer.
package circuit
