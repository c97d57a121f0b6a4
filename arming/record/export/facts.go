package export

import (
	"fmt"
	"slices"
	"strings"
)

// fact is one row of the CSV form.
type fact struct {
	section, item string
	value         *float64
	Band
	text, by, means string
	at              Stamp
	ageS            *float64
}

// facts lists all that the document says, in its order.
func facts(d *Document) []fact {
	var out []fact
	for _, part := range []func(*Document) []fact{waiverFacts, recordFacts, stopFacts, checkFacts, firingFacts, afterFacts, runFacts, signFacts} {
		out = append(out, part(d)...)
	}
	return out
}

func said(section, item, text string) fact { return fact{section: section, item: item, text: text} }

func recordFacts(d *Document) []fact {
	var out []fact
	for _, why := range d.NotValid {
		out = append(out, said("record", "NOT VALID", why))
	}
	for _, w := range d.Warnings {
		out = append(out, said("record", "warning", w))
	}
	for _, asked := range d.PassedOver {
		out = append(out, said("record", "passed over", asked))
	}
	for _, why := range d.InQuestion {
		out = append(out, said("record", "in question", why))
	}
	out = append(out, said("record", "file", d.Record), said("record", "state", d.State), said("record", "title", d.Title),
		said("record", "mode", d.Mode), said("record", "outcome", d.Outcome), said("record", "phase at the end", d.Phase),
		fact{section: "record", item: "opened", at: d.Opened}, fact{section: "record", item: "last line", text: d.LastHash, at: d.Ended},
		said("record", "program", d.Program), said("record", "box", d.Box.Identity), said("record", "box serial", d.Box.Serial),
		said("record", "sheet sha256", d.Sheet), said("record", "basis", d.Basis), said("record", "seed", d.Seed),
		said("record", "previous", d.Previous),
		fact{section: "record", item: "wait", value: &d.WaitS, Band: Band{Unit: "s"}})
	if d.CannotStop {
		out = append(out, said("record", "permit", cannotStop))
	}
	names := make([]string, 0, len(d.Curves))
	for name := range d.Curves {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		out = append(out, said("record", "curve "+name, d.Curves[name]))
	}
	return out
}

// waiverFacts stand before all else.
func waiverFacts(d *Document) []fact {
	var out []fact
	for _, w := range d.Waivers {
		out = append(out, fact{section: "waiver", item: w.Step, value: &w.Value, Band: w.Band, text: w.Why, by: w.By, at: w.At})
	}
	return out
}

func stopFacts(d *Document) []fact {
	var out []fact
	for _, h := range d.Holds {
		out = append(out, fact{section: "hold", item: h.Kind + " from " + h.From, text: h.Why, by: h.Caller, at: h.At})
	}
	for _, p := range d.People {
		out = append(out, fact{section: "people", item: strings.TrimSpace(p.Role + " " + p.Post), text: p.Name, means: "entered as", at: p.At})
	}
	return out
}

func checkFacts(d *Document) []fact {
	var out []fact
	for _, c := range d.Checks {
		text := c.Seen
		if strings.HasPrefix(c.Step, sheetStep) {
			text = strings.TrimSpace(c.Asked + " " + text)
		}
		if c.Standing != Stood && c.Standing != AfterFiring {
			text = strings.TrimPrefix(text+"; "+c.Standing, "; ")
		}
		out = append(out, fact{section: "check", item: c.Step, value: c.Value, Band: c.Band, text: text, by: c.By, means: c.Means, at: c.At, ageS: c.AgeS})
	}
	for _, p := range d.Proofs {
		out = append(out, fact{section: "contact proof", item: p.verdict(), text: p.Why, at: p.From})
	}
	for _, o := range d.Openings {
		out = append(out, fact{section: "line", item: "OPEN in " + o.Phase, text: strings.Join(o.Names, "; "), at: o.At},
			fact{section: "line", item: "end of OPEN", text: o.End, at: o.Ended})
	}
	return out
}

func (p Proof) verdict() string {
	if p.Passed {
		return "passed"
	}
	return "failed"
}

func firingFacts(d *Document) []fact {
	var out []fact
	for k, a := range d.Attempts {
		name := fmt.Sprintf("attempt %d", k+1)
		seconds := Band{Unit: "s"}
		add := func(item string, f fact) {
			f.section, f.item = name, item
			if f.value != nil || !f.at.IsZero() {
				out = append(out, f)
			}
		}
		add("entry", fact{by: a.ArmedBy, at: a.EntryAt})
		add("code entered", fact{at: a.CodeAt})
		add("key in", fact{at: a.KeyAt})
		add("count", fact{value: &a.CountS, Band: seconds, by: a.CountBy, at: a.CountAt})
		add("window", fact{value: &a.WindowS, Band: seconds, at: a.WindowAt})
		add("permit", fact{value: a.PermitS, Band: seconds})
		add("press", fact{value: a.PressS, Band: seconds, at: a.PressAt})
		add("pulse", fact{value: a.PulseS, Band: seconds, means: "box"})
		add("pulse of the sheet", fact{value: a.SheetPulse, Band: seconds})
		add("lowest battery in the pulse", fact{value: a.PulseV, Band: Band{Unit: "V"}, means: "box"})
		add("end", fact{text: a.End, at: a.EndAt})
	}
	for _, w := range d.Waits {
		out = append(out, fact{section: "wait", item: "from", value: &w.LengthS, Band: Band{Unit: "s"}, text: w.Why, at: w.At})
		for _, r := range w.Restarts {
			out = append(out, fact{section: "wait", item: "from full again", text: r.Why, at: r.At})
		}
		out = append(out, fact{section: "wait", item: "over", at: w.OverAt}, fact{section: "wait", item: "end", text: w.End, at: w.EndAt})
	}
	return out
}

func afterFacts(d *Document) []fact {
	var out []fact
	for _, m := range d.Motors {
		name := fmt.Sprintf("motor %d", m.Motor)
		out = append(out, fact{section: name, item: "seen", text: m.Seen, by: m.SeenBy, at: m.SeenAt},
			fact{section: name, item: "found", text: m.Found, by: m.FoundBy, at: m.FoundAt}, said(name, "at the end", m.Fate))
	}
	m := d.MakeSafe
	for _, f := range []fact{
		{item: "forward", text: m.Forward, by: m.OrderedBy, at: m.ForwardAt}, {item: "igniter leads shunted", by: m.ShuntedBy, at: m.ShuntedAt},
		{item: "counted back", at: m.BackAt}, {item: "looked over for fire", by: m.FireBy, at: m.FireAt},
		{item: "all clear", by: m.AllClearBy, at: m.AllClearAt},
	} {
		if !f.at.IsZero() {
			f.section = "make safe"
			out = append(out, f)
		}
	}
	if r := d.Result; r != nil {
		out = append(out, fact{section: "result", item: "rest", value: r.RestM, Band: Band{Unit: "m"}, text: r.Words, means: "typed", at: r.At},
			fact{section: "result", item: "speed", value: r.SpeedMps, Band: Band{Unit: "m/s"}, means: "typed", at: r.At})
	}
	for _, u := range d.Used {
		out = append(out, usedFacts(&u)...)
	}
	for _, n := range d.Notes {
		out = append(out, fact{section: "note", text: n.Text, at: n.At})
	}
	return out
}

func usedFacts(u *Used) []fact {
	var out []fact
	for _, c := range []struct {
		word  string
		value *float64
		text  string
	}{{"brought", u.Brought, ""}, {"used", u.Used, ""}, {"left", u.Left, u.Explained}} {
		if c.value != nil {
			out = append(out, fact{section: "consumables", item: u.What + " " + c.word, value: c.value, text: c.text, means: "typed"})
		}
	}
	if n, known := u.Missing(); known {
		out = append(out, fact{section: "consumables", item: u.What + " not accounted for", value: &n, means: "computed"})
	}
	if u.Said != "" {
		out = append(out, said("consumables", u.What, u.Said))
	}
	return out
}

func runFacts(d *Document) []fact {
	var out []fact
	if f := d.Forecast; f != nil {
		for _, s := range []struct {
			name, unit string
			Spread
		}{{"stop position", "m", f.RestM}, {"peak speed", "m/s", f.SpeedMps}} {
			out = append(out, fact{section: "prediction", item: s.name, value: &s.Nominal, Band: Band{&s.P05, &s.P95, s.unit}, text: "nominal; low and high are P5 and P95", means: "computed", at: f.At})
		}
		for _, l := range f.Limits {
			text := fmt.Sprintf("limit %s, left %s", number(l.Limit), number(l.Left))
			if !l.Pass {
				text = "NOT MET, " + text
			}
			out = append(out, fact{section: "limit", item: strings.TrimSuffix(l.Name+" ("+l.Case+")", " ()"), value: l.Value, Band: Band{Unit: l.Unit}, text: text, means: "computed"})
		}
	}
	for _, g := range d.Igniters {
		name := fmt.Sprintf("igniter %d", g.Motor)
		out = append(out, fact{section: "circuit", item: name + " reading", value: g.ReadingOhm, Band: g.Band},
			fact{section: "circuit", item: name + " worst case current", value: g.WorstA, Band: Band{Unit: "A"}, means: "computed"},
			fact{section: "circuit", item: name + " margin", value: g.Margin, means: "computed"})
	}
	return out
}

func signFacts(d *Document) []fact {
	var out []fact
	for _, s := range d.Signatures {
		out = append(out, said("signature", s.File, strings.Join(nonEmpty(s.State, s.Principals, s.KeyType, s.Fingerprint, s.Text), ", ")))
	}
	for _, v := range d.Verify {
		out = append(out, said("verify", "command", v))
	}
	return out
}

func nonEmpty(list ...string) []string {
	return slices.DeleteFunc(list, func(s string) bool { return s == "" })
}
