package circuit

// meterWiringOhm is what the meter at the hold line sees besides a channel:
// the firing lead and the contacts, nothing once it is nulled.
func (p *Problem) meterWiringOhm() float64 {
	if p.Nulled {
		return 0
	}
	return p.LeadOhm() + p.ContactOhm
}
