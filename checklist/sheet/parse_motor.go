package sheet

import (
	"fmt"
	"math"
	"strings"

	"holdline/checklist"
	"holdline/checklist/sheet/unit"
)

func (p *parser) motors(t *table) {
	motors := t.tables("motor")
	n := t.n.entries["motor"]
	switch {
	case n == nil:
		t.missing("motor", "a table [[motor]] for each motor")
	case len(n.items) > checklist.MaxMotors:
		p.faults.add(n.items[checklist.MaxMotors].offset, indexKey("motor", checklist.MaxMotors+1),
			fmt.Sprintf("%d motors", len(n.items)), fmt.Sprintf("at most %d", checklist.MaxMotors))
	}
	used := map[string]bool{}
	propellant := 0.0
	taken := map[int]int{} // motors by channel
	for i, one := range motors {
		m := p.motor(one, i+1, taken)
		used[m.Igniter] = true
		propellant += m.PropellantKg
		p.s.Motors = append(p.s.Motors, m)
	}
	if mass := p.s.Vehicle.MassKg; propellant >= mass && mass > 0 {
		vehicle := t.n.entries["vehicle"].entries["mass"]
		p.faults.add(vehicle.offset, "vehicle.mass", quoteText(vehicle.text),
			"more than the propellant of all motors, "+unit.Format(propellant, unit.Mass, unit.Metric))
	}
	igniters := t.n.entries["igniter"]
	if igniters == nil || igniters.kind != kindTable {
		return
	}
	for _, name := range igniters.names {
		if !used[name] {
			p.note(igniters.entries[name].offset, joinKey("igniter", name), "no motor uses this igniter")
		}
	}
}

func (p *parser) motor(t *table, place int, taken map[int]int) Motor {
	m := Motor{Channel: p.channel(t, place, taken)}
	m.CurveName = t.text("curve", `a curve file relative to the sheet, such as "curves/c.csv", or "builtin:NAME"`)
	if m.CurveName != "" {
		m.Curve = p.curve(t, m.CurveName)
	}
	m.PropellantKg = t.quantity("propellant", unit.Mass, between(0, mostVehicleKg))
	m.LateralM = t.quantity("lateral", unit.Length, between(-mostHeightM, mostHeightM))
	m.HeightM = t.quantity("height", unit.Length, between(-mostHeightM, mostHeightM))
	m.AngleRad = t.quantityOr("angle", unit.Angle, between(-math.Pi/3, math.Pi/3), 0)
	m.NozzleBehindFrontAxleM = t.quantityOr("nozzle_behind_front_axle", unit.Length, between(-mostVehicleM, mostVehicleM), p.s.Vehicle.WheelbaseM)
	m.Igniter = t.text("igniter", "the NAME of a table [igniter.NAME]")
	if _, ok := p.s.Igniters[m.Igniter]; !ok && m.Igniter != "" && p.s.Igniters != nil && !p.doc.broken {
		var known []string
		for _, name := range p.doc.root.entries["igniter"].names {
			known = append(known, fmt.Sprintf("%q", name))
		}
		t.fault("igniter", t.n.entries["igniter"], quoteText(m.Igniter)+", which no table [igniter.NAME] defines", "one of "+strings.Join(known, ", "))
	}
	if lead := t.tableIf("branch_lead", leadWords); lead != nil {
		m.BranchLead = p.lead(lead)
	}
	t.close("a motor")
	return m
}

// channel is where a motor hangs on the box: its own key, or its place.
func (p *parser) channel(t *table, place int, taken map[int]int) int {
	channel, at := place, t.get("channel")
	if at != nil {
		if channel = t.whole("channel", 1, checklist.MaxMotors); channel < 0 {
			return place // it has its fault
		}
	}
	if other := taken[channel]; other > 0 {
		if at == nil {
			at = t.n
		}
		p.faults.add(at.offset, t.key("channel"), fmt.Sprintf("%d, which is motor %d's", channel, other),
			"another channel for each motor; without the key it is the motor's place")
	}
	taken[channel] = place
	return channel
}
