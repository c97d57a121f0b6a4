package sheet

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"unicode/utf8"

	"holdline/checklist/sheet/unit"
	"holdline/sim"
	"holdline/sim/circuit"
)

// mostSheetBytes is the largest sheet that is read.
const mostSheetBytes = 1 << 20

const byteOrderMark = "\ufeff"

// builtinPrefix names a built-in curve instead of a file.
const builtinPrefix = "builtin:"

// Parse reads a sheet from its text. name is its path, used in faults and to
// name curve files. readCurve gives the bytes of a curve file by the path as
// the sheet writes it, relative to the sheet; built-in curves do not ask it.
//
// The error is a Faults with everything that is wrong; the sheet is then nil.
// Parse keeps neither data nor readCurve.
func Parse(name string, data []byte, readCurve func(path string) ([]byte, error)) (*Sheet, error) {
	p := newParser(name, data, readCurve)
	if p == nil {
		return nil, Faults{{name, 1, 1, "", fmt.Sprintf("a file of %d bytes", len(data)), fmt.Sprintf("a sheet of at most %d bytes", mostSheetBytes), ""}}
	}
	p.sheet()
	if len(p.faults.list) == 0 {
		p.finish()
	}
	if len(p.faults.list) > 0 {
		return nil, p.faults.sorted()
	}
	p.s.SHA256 = sha256.Sum256(data)
	slices.SortStableFunc(p.notes, func(a, b Note) int { return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column)) })
	p.s.Notes = p.notes
	return p.s, nil
}

// parser is what one call of Parse knows.
type parser struct {
	reader
	s         *Sheet
	readCurve func(path string) ([]byte, error) // nil: curves are not looked at
	curves    map[string]*sim.Curve             // by name as written; nil for one with faults

	spottersKnown bool // every post of crew.spotters could be read
}

// newParser reads the text into a tree; nil for a text that is too large.
func newParser(name string, data []byte, readCurve func(path string) ([]byte, error)) *parser {
	if len(data) > mostSheetBytes {
		return nil
	}
	// The mark that some editors put before UTF-8 is not part of the text.
	text := bytes.TrimPrefix(data, []byte(byteOrderMark))
	faults := &faultList{file: name, data: text}
	p := &parser{s: &Sheet{Name: name}, readCurve: readCurve, curves: map[string]*sim.Curve{}}
	p.faults = faults
	if at := invalidUTF8(text); at >= 0 {
		faults.add(at, "", "bytes that are not UTF-8", "a text in UTF-8")
		p.doc = &document{data: text, root: newTable(0), broken: true}
		return p
	}
	p.doc = parseTree(text, faults)
	p.doc.mark = data[:len(data)-len(text)]
	return p
}

// invalidUTF8 is the offset of the first byte that is not UTF-8, or -1.
func invalidUTF8(text []byte) int {
	for i := 0; i < len(text); {
		r, n := utf8.DecodeRune(text[i:])
		if r == utf8.RuneError && n == 1 {
			return i
		}
		i += n
	}
	return -1
}

// Bounds of lengths and masses of a model vehicle and its strip. They are far
// outside what people race and keep every answer finite.
const (
	mostVehicleM  = 20.0
	leastSpacingM = 1e-3 // bearings closer than that are one
	mostHeightM   = 5.0
	mostStripM    = 20e3
	mostVehicleKg = 1000.0
	mostFriction  = 5.0
	mostForceN    = 1e5
	mostRatingN   = 1e7
	mostTimeS     = 600.0
)

// sheet reads every table.
func (p *parser) sheet() {
	t := p.open(p.doc.root, "")
	p.s.Title = t.text("title", "a title for the firing")
	p.site(t.table("site", "a table [site]"))
	p.vehicle(t.table("vehicle", "a table [vehicle]"))
	p.guide(t.tableIf("guide", "a table [guide]"))
	p.igniters(t.table("igniter", "a table [igniter.NAME] for each kind of igniter"))
	p.motors(t)
	p.firing(t.table("firing", "a table [firing]"))
	p.stops(t)
	p.limits(t.tableIf("limits", "a table [limits]"))
	p.spread(t.tableIf("uncertainty", "a table [uncertainty]"))
	if late := t.table("late_light", `a table [late_light] with delay, such as "0.5 s"`); late != nil {
		p.s.LateLightS = late.quantity("delay", unit.Time, between(0, mostTimeS))
		late.close("[late_light]")
	}
	p.crew(t.table("crew", `a table [crew] with spotters, such as ["north gate"]`))
	p.posts(t)
	p.times(t.tableIf("times", "a table [times]"))
	p.pauses(t)
	p.radios(t)
	p.steps(t)
	t.close("a sheet")
}

func (p *parser) site(t *table) {
	if t == nil {
		return
	}
	s := &p.s.Site
	s.Measured.ElevationM = t.quantityIf("elevation", unit.Length, between(-1000, 9000))
	s.Measured.PressurePa = t.quantityIf("pressure", unit.Pressure, between(300e2, 1200e2))
	if t.n.entries["elevation"] == nil && t.n.entries["pressure"] == nil {
		t.missing("elevation", unit.Expected(unit.Length)+"; or pressure, the station pressure")
	}
	s.Measured.TemperatureK = t.quantityIf("temperature", unit.Temperature, between(223.15, 333.15))
	if t.get("humidity") != nil {
		v := t.ratio("humidity", between(0, 1))
		s.Measured.HumidityRatio = &v
	}
	s.HeadwindMps = t.quantityOr("headwind", unit.Speed, between(-50, 50), 0)
	s.WindRangeMps = t.quantityOr("wind_range", unit.Speed, between(0, 50), 0)
	s.SlopeRatio = t.slope("slope")
	s.ClearLengthM = t.quantity("clear_length", unit.Length, above(0, mostStripM))
	s.ClearHalfWidthM = t.quantity("clear_half_width", unit.Length, above(0, mostStripM))
	s.CrewDistanceM = t.quantity("crew_distance", unit.Length, above(0, mostStripM))
	t.close("[site]")
}

func (p *parser) vehicle(t *table) {
	if t == nil {
		return
	}
	v := &p.s.Vehicle
	p.s.Mark = t.textOr("mark", "what is written on the vehicle")
	v.MassKg = t.quantity("mass", unit.Mass, above(0, mostVehicleKg))
	v.RotatingMassKg = t.quantityOr("rotating_mass", unit.Mass, between(0, mostVehicleKg), 0)
	v.FrontalAreaM2 = t.quantity("frontal_area", unit.Area, between(0, 10))
	v.DragCoefficient = t.ratio("drag_coefficient", between(0, 10))
	v.LiftCoefficient = t.ratioOr("lift_coefficient", between(-10, 10), 0)
	v.RollingResistance = t.ratio("rolling_resistance", between(0, 1))
	v.TyreFriction = t.ratio("tyre_friction", between(0, mostFriction))
	v.WheelbaseM = t.quantity("wheelbase", unit.Length, above(0, mostVehicleM))
	v.CGBehindFrontAxleM = t.quantity("cg_behind_front_axle", unit.Length, between(-mostVehicleM, mostVehicleM))
	v.CGHeightM = t.quantity("cg_height", unit.Length, between(0, mostHeightM))
	v.DragHeightM = t.quantity("drag_height", unit.Length, between(0, mostHeightM))
	v.LiftBehindFrontAxleM = t.quantityOr("lift_behind_front_axle", unit.Length, between(-mostVehicleM, mostVehicleM), v.WheelbaseM/2)
	t.close("[vehicle]")
}

func (p *parser) guide(t *table) {
	if t == nil {
		return
	}
	g := &sim.Guide{}
	g.Kind = []sim.GuideKind{sim.GuideUnknown, sim.GuideWire, sim.GuideRail}[1+t.choice("kind", []string{"wire", "rail"})]
	g.DragN = t.quantity("drag", unit.Force, between(0, mostForceN))
	g.Friction = t.ratio("friction", between(0, mostFriction))
	g.BearingSpacingM = t.quantity("bearing_spacing", unit.Length, between(leastSpacingM, mostVehicleM))
	g.HeightM = t.quantity("height", unit.Length, between(0, mostHeightM))
	g.RatingN = t.quantity("rating", unit.Force, above(0, mostRatingN))
	t.close("[guide]")
	p.s.Guide = g
}

func (p *parser) igniters(t *table) {
	if t == nil {
		return
	}
	p.s.Igniters = map[string]circuit.Igniter{}
	for _, name := range t.n.names {
		one := t.table(name, "a table [igniter."+name+"]")
		if one == nil {
			continue
		}
		if strings.TrimSpace(name) == "" || strings.IndexFunc(name, unprintable) >= 0 || utf8.RuneCountInString(name) > mostText {
			p.faults.add(one.n.offset, one.path, "the name "+quoteText(name), "a name that can be read")
		}
		p.s.Igniters[name] = p.igniter(name, one)
	}
	if len(t.n.names) == 0 {
		t.missing("NAME", "a table [igniter.NAME] for each kind of igniter")
	}
}

func (p *parser) igniter(name string, t *table) circuit.Igniter {
	g := circuit.Igniter{Kind: name}
	g.ResistanceOhm = t.quantity("resistance", unit.Resistance, above(0, 1e6))
	g.Tolerance = t.ratio("tolerance", below(0, 0.75))
	g.NoFireA = t.quantity("no_fire", unit.Current, above(0, 1e4))
	g.AllFireA = t.quantity("all_fire", unit.Current, above(0, 1e4))
	if g.AllFireA <= g.NoFireA {
		n := t.n.entries["all_fire"]
		t.fault("all_fire", n, quoteText(n.text), "a current above no_fire, "+quoteText(t.n.entries["no_fire"].text))
	}
	g.Source = t.text("source", "where the two currents come from, such as \"maker's data sheet, lot card\"")
	g.TimeConstantS = t.quantity("time_constant", unit.Time, above(0, mostTimeS))
	if delay := t.table("pressurisation", `{ mean = "35 ms", deviation = "8 ms" }`); delay != nil {
		g.PressureMeanS = delay.quantity("mean", unit.Time, above(0, mostTimeS))
		g.PressureSpreadS = delay.quantity("deviation", unit.Time, between(0, mostTimeS))
		delay.close("pressurisation")
	}
	g.ShortProbability = t.ratioOr("short_probability", between(0, 1), 0)
	if t.get("short_resistance") != nil {
		g.ShortOhm = t.quantity("short_resistance", unit.Resistance, above(0, 1e6))
	} else if g.ShortProbability > 0 {
		t.missing("short_resistance", unit.Expected(unit.Resistance)+", with a short_probability")
	}
	t.close("an igniter")
	return g
}

const leadWords = `{ gauge = 18, length = "20 m" }, { area = "0.75 mm2", length = "20 m" } or { resistance = "0.84 ohm" }`

// lead reads one of the three ways in which a lead is known.
func (p *parser) lead(t *table) circuit.Lead {
	var l circuit.Lead
	ways := 0
	for _, name := range []string{"gauge", "area", "resistance"} {
		if t.n.entries[name] != nil {
			ways++
		}
	}
	if ways != 1 {
		found := "none of gauge, area and resistance"
		if ways > 1 {
			found = "more than one of gauge, area and resistance"
		}
		if !p.doc.broken {
			p.faults.add(t.n.offset, t.path, found, leadWords)
		}
		t.known = append(t.known, "gauge", "area", "resistance", "length")
		t.close("a lead")
		return l
	}
	switch {
	case t.get("resistance") != nil:
		l.Kind = circuit.LeadMeasured
		l.LoopOhm = t.quantity("resistance", unit.Resistance, above(0, 1e6))
		t.close("a lead of measured resistance")
		return l
	case t.get("area") != nil:
		l.Kind = circuit.LeadArea
		l.AreaM2 = t.quantity("area", unit.Area, above(0, 0.01))
	default:
		l.Kind = circuit.LeadGauge
		l.Gauge = t.whole("gauge", 0, 40)
	}
	l.LengthM = t.quantity("length", unit.Length, above(0, mostStripM))
	t.close("a lead")
	return l
}

func (p *parser) firing(t *table) {
	if t == nil {
		return
	}
	f := &p.s.Firing
	if b := t.table("battery", `{ voltage = "12.4 V", internal_resistance = "25 mohm", highest_internal_resistance = "40 mohm" }`); b != nil {
		f.Battery = p.battery(b)
	}
	if lead := t.table("lead", leadWords); lead != nil {
		f.Lead = p.lead(lead)
	}
	f.LeadTemperatureC = t.quantityOr("lead_temperature", unit.Temperature, between(celsius(-60), celsius(100)), celsius(20)) - 273.15
	f.SwitchOhm = t.quantity("switch_resistance", unit.Resistance, between(0, 1e6))
	f.ContactOhm = t.quantity("contact_resistance", unit.Resistance, between(0, 1e6))
	f.PulseS = t.quantity("pulse", unit.Time, above(0, mostTimeS))
	f.Margin = t.ratio("margin", between(LeastMargin, 1000))
	f.TestCurrentA = t.quantity("test_current", unit.Current, above(0, 1e4))
	f.MeterErrorOhm = t.quantityOr("meter_error", unit.Resistance, between(0, 1e6), 0)
	f.Nulled = t.flagOr("nulled", false)
	if f.PulseS > 3 {
		p.note(t.n.entries["pulse"].offset, t.key("pulse"), "the run ends 3 s after the button closes: no pulse can be longer")
	}
	t.close("[firing]")
}

func celsius(c float64) float64 { return c + 273.15 }

func (p *parser) battery(t *table) circuit.Battery {
	var b circuit.Battery
	b.VoltageV = t.quantity("voltage", unit.Voltage, above(0, 1e4))
	b.InternalOhm = t.quantity("internal_resistance", unit.Resistance, above(0, 1e6))
	b.HighestInternalOhm = t.quantity("highest_internal_resistance", unit.Resistance, above(0, 1e6))
	if b.HighestInternalOhm < b.InternalOhm {
		n := t.n.entries["highest_internal_resistance"]
		t.fault("highest_internal_resistance", n, quoteText(n.text),
			"at least internal_resistance, "+quoteText(t.n.entries["internal_resistance"].text))
	}
	b.HighestCurrentA = t.quantityOr("highest_current", unit.Current, above(0, 1e6), 0)
	t.close("battery")
	return b
}

// curve is the curve of a name, read once however many motors use it.
func (p *parser) curve(t *table, name string) *sim.Curve {
	if c, ok := p.curves[name]; ok {
		return c
	}
	p.curves[name] = nil
	n := t.n.entries["curve"]
	if builtin, ok := strings.CutPrefix(name, builtinPrefix); ok {
		c, err := sim.BuiltinCurve(builtin)
		if err != nil {
			expected := "builtin: and one of " + strings.Join(sim.BuiltinNames(), " ")
			if near := nearest(builtin, sim.BuiltinNames()); near != "" {
				expected = fmt.Sprintf("%q", builtinPrefix+near)
			}
			t.fault("curve", n, quoteText(name)+", no built-in curve", expected)
			return nil
		}
		p.keepCurve(CurveFile{Name: name, SHA256: hashCurve(c), Curve: c})
		p.note(n.offset, t.key("curve"), "an invented, generic curve and no maker's motor: a real firing takes its curve from the motor's certification sheet")
		return c
	}
	if p.readCurve == nil {
		return nil
	}
	if filepath.IsAbs(name) || strings.HasPrefix(name, "/") {
		t.fault("curve", n, quoteText(name)+", an absolute path", "a path relative to the sheet")
		return nil
	}
	data, err := p.readCurve(name)
	if err != nil {
		expected := "a thrust curve file, relative to the sheet"
		if errors.Is(err, errTooLarge) {
			expected = fmt.Sprintf("a thrust curve of at most %d points", sim.MaxCurvePoints)
		}
		t.fault("curve", n, quoteText(name)+", which cannot be read: "+readReason(err), expected)
		return nil
	}
	file := filepath.Join(filepath.Dir(p.s.Name), filepath.FromSlash(name))
	c, err := ParseCurve(file, data)
	var faults Faults
	if errors.As(err, &faults) {
		for _, f := range faults {
			p.faults.addAt(f)
		}
		return nil
	}
	p.keepCurve(CurveFile{Name: name, File: file, SHA256: sha256.Sum256(data), Curve: c})
	return c
}

func (p *parser) keepCurve(c CurveFile) {
	p.curves[c.Name] = c.Curve
	p.s.Curves = append(p.s.Curves, c)
}

// readReason says why a file cannot be read without naming it again.
func readReason(err error) string {
	var perr *fs.PathError
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "there is no such file"
	case errors.Is(err, fs.ErrPermission):
		return "permission denied"
	case errors.As(err, &perr):
		return perr.Err.Error()
	}
	return err.Error()
}

// finish makes what follows from the whole sheet, and asks the two models for
// what they would refuse.
func (p *parser) finish() {
	air, err := p.s.Site.Measured.Air()
	if err != nil {
		p.modelFault("site", err)
		return
	}
	p.s.Site.Air = air
	run := p.s.Run(nil)
	if err := sim.Validate(run); err != nil {
		p.modelFault("vehicle", err)
		return
	}
	for _, text := range sim.Notes(run) {
		cg := p.doc.root.entries["vehicle"].entries["cg_behind_front_axle"]
		p.note(cg.offset, "vehicle.cg_behind_front_axle", "%s", text)
	}
	if err := circuit.Validate(p.s.Circuit()); err != nil {
		p.modelFault("firing", err)
	}
}

// modelFault notes what a model refuses of a sheet in which every key by
// itself is right, at the table that it concerns.
func (p *parser) modelFault(table string, err error) {
	n := p.doc.root.entries[table]
	for _, one := range unjoin(err) {
		at, key, found, expected := n.offset, table, one.Error(), "values that the model can take"
		var field *circuit.FieldError
		if errors.As(one, &field) {
			switch {
			case field.Motor > 0 && field.Motor <= len(p.s.Motors):
				at, key = p.doc.root.entries["motor"].items[field.Motor-1].offset, indexKey("motor", field.Motor)
			case field.Kind != "":
				at, key = p.doc.root.entries["igniter"].entries[field.Kind].offset, joinKey("igniter", field.Kind)
			}
			key, found, expected = key+"."+field.Field, field.Found, field.Reason
		}
		p.faults.add(at, key, found, expected)
	}
}
