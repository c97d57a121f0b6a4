package export

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"holdline/checklist/sheet/unit"
)

// cannotStop is said on every page of a firing without a permit contact.
const cannotStop = "no permit contact: the laptop could not stop this firing"

// page puts a document in words, in the units of sys.
type page struct {
	*Document
	sys unit.System
}

// block is one part of a page: lines, then a table.
type block struct {
	id    string // for the layout
	title string
	lines []string
	head  []string
	rows  [][]string
}

// banner is what stands before all else, on every page.
func (p *page) banner() []string {
	var out []string
	for _, why := range p.NotValid {
		out = append(out, "NOT VALID: "+why)
	}
	out = append(out, p.Warnings...)
	if len(p.Waivers) > 0 {
		out = append(out, "WAIVED by the range officer: "+p.waived())
	}
	for _, asked := range p.PassedOver {
		out = append(out, "Passed over: "+asked)
	}
	for _, why := range p.InQuestion {
		out = append(out, "IN QUESTION: "+why)
	}
	if p.CannotStop {
		out = append(out, strings.ToUpper(cannotStop[:1])+cannotStop[1:])
	}
	return out
}

// lead says what the record is of.
func (p *page) lead() []string {
	box := p.Box.Identity
	if box == "" {
		box = "none"
	}
	wait := fmt.Sprintf("wait %s s", short(p.WaitS, 4))
	if p.WaitSpeed != 1 {
		wait += fmt.Sprintf(", run %d times as fast: practice only", p.WaitSpeed)
	}
	return []string{
		p.Outcome,
		fmt.Sprintf("%s, %s to %s UTC. Mode: %s. Box: %s. %s. At the end: %s.", p.Kind(), p.when(p.Opened), p.Ended.clock(), p.Mode, box, capital(wait), p.Phase),
	}
}

func (p *page) when(s Stamp) string {
	if s.IsZero() {
		return "–"
	}
	return s.UTC().Format("2006-01-02 15:04:05")
}

// blocks are the parts of the page in order.
func (p *page) blocks() []block {
	out := []block{p.waivers(), p.holds(), p.people(), p.checks(), p.line(), p.firing(), p.after(), p.run()}
	if len(p.Igniters) > 0 {
		out = append(out, p.circuit())
	}
	return slices.DeleteFunc(append(out, p.remarks(), p.record()), func(b block) bool { return len(b.lines)+len(b.rows) == 0 })
}

// waived names the steps whose band was let pass, each once.
func (p *page) waived() string {
	var names []string
	for _, w := range p.Waivers {
		if !slices.Contains(names, w.Step) {
			names = append(names, w.Step)
		}
	}
	return strings.Join(names, ", ")
}

func (p *page) waivers() block {
	b := block{id: "waivers", title: "Waivers"}
	for _, w := range p.Waivers {
		b.lines = append(b.lines, w.text(p))
	}
	return orNone(b)
}

func (w Waiver) text(p *page) string {
	return fmt.Sprintf("%s %s at %s, band %s: %s. Waived by %s.", w.At.clock(), w.Step, p.value(w.Value, w.Unit), p.band(w.Band), w.Why, w.By)
}

// Text is the waiver as its page says it, with the day.
func (w Waiver) Text(sys unit.System) string {
	return w.At.UTC().Format("2006-01-02 ") + w.text(&page{sys: sys})
}

func (p *page) holds() block {
	b := block{id: "holds", title: "Holds"}
	for _, h := range p.Holds {
		text := fmt.Sprintf("%s %s from %s: %s.", h.At.clock(), h.Kind, h.From, h.Why)
		switch {
		case h.Caller != "":
			text += " Called by " + h.Caller + "."
		case h.Called:
			text += " Nobody said who called it."
		}
		if h.End != "" {
			text += fmt.Sprintf(" %s %s.", h.Ended.clock(), h.End)
		}
		b.lines = append(b.lines, text)
	}
	return orNone(b)
}

func orNone(b block) block {
	if len(b.lines) == 0 {
		b.lines = []string{"none"}
	}
	return b
}

func (p *page) people() block {
	b := block{id: "people", title: "People, entered as"}
	for _, q := range p.People {
		b.lines = append(b.lines, fmt.Sprintf("%s: %s (%s)", strings.TrimSpace(q.Role+" "+q.Post), q.Name, q.At.clock()))
	}
	return orNone(b)
}

// sheetStep begins the name of a step that a sheet adds: only its question says
// what it is about.
const sheetStep = "sheet/"

// checks is the routine: one row a step.
func (p *page) checks() block {
	b := block{id: "checks", title: "What was checked", head: []string{"step", "seen", "band", "age at arming", "by", "means"}}
	for _, c := range p.Checks {
		age := "–"
		if c.Standing == AfterFiring {
			age = "after"
		}
		if c.AgeS != nil {
			age = lasts(*c.AgeS)
		}
		seen := c.Seen
		if c.Value != nil {
			seen = strings.TrimSpace(p.value(*c.Value, c.Unit) + " " + c.Seen)
		}
		if strings.HasPrefix(c.Step, sheetStep) {
			seen = strings.TrimSpace(c.Asked + " " + seen)
		}
		if c.Waived {
			seen += " WAIVED"
		}
		if c.Standing != Stood && c.Standing != AfterFiring {
			seen = strings.TrimSpace(seen + " [" + c.Standing + "]")
		}
		b.rows = append(b.rows, []string{c.Step, seen, p.band(c.Band), age, c.By, c.Means})
	}
	return b
}

// line holds the contact proofs and the times when people were forward.
func (p *page) line() block {
	b := block{id: "line", title: "Contact proof and line"}
	for _, q := range p.Proofs {
		text := fmt.Sprintf("Contact proof %s to %s: %s", q.From.clock(), q.To.clock(), q.verdict())
		if q.Why != "" {
			text += ", " + q.Why
		}
		b.lines = append(b.lines, text+".")
	}
	if len(p.Proofs) == 0 {
		b.lines = append(b.lines, "No contact proof by the box.")
	}
	for _, o := range p.Openings {
		text := fmt.Sprintf("Line OPEN %s in %s: %s forward, the key with %s.", o.At.clock(), o.Phase, strings.Join(o.Names, ", "), o.KeyWith)
		if o.End != "" {
			text += fmt.Sprintf(" %s %s.", o.Ended.clock(), o.End)
		}
		b.lines = append(b.lines, text)
	}
	if len(p.Openings) == 0 {
		b.lines = append(b.lines, "The line was never open.")
	}
	return b
}

// firing tells every attempt and the waits after them.
func (p *page) firing() block {
	b := block{id: "firing", title: "Arming, count, press, wait"}
	for _, a := range p.Attempts {
		b.lines = append(b.lines, p.attempt(a))
	}
	if len(p.Attempts) == 0 {
		b.lines = append(b.lines, "Never armed.")
	}
	for _, w := range p.Waits {
		text := fmt.Sprintf("WAIT from %s, %s s", w.At.clock(), short(w.LengthS, 4))
		if w.Speed != 1 {
			text += fmt.Sprintf(" run %d times as fast (practice)", w.Speed)
		}
		text += ": " + w.Why + "."
		for _, r := range w.Restarts {
			text += fmt.Sprintf(" From full again %s: %s.", r.At.clock(), r.Why)
		}
		if w.OverAt.IsZero() {
			text += " It did not run out."
		} else {
			text += " Run out by " + w.OverAt.clock() + "."
		}
		if w.End != "" {
			text += fmt.Sprintf(" %s %s.", w.EndAt.clock(), w.End)
		}
		b.lines = append(b.lines, text)
	}
	return b
}

func (p *page) attempt(a Attempt) string {
	t := fmt.Sprintf("Firing officer's entry %s by %s; code entered %s", a.EntryAt.clock(), a.ArmedBy, a.CodeAt.clock())
	if a.WrongCodes > 0 {
		t += fmt.Sprintf(" after %d wrong", a.WrongCodes)
	}
	add := func(at Stamp, format string, args ...any) {
		if !at.IsZero() {
			t += "; " + fmt.Sprintf(format, args...)
		}
	}
	add(a.KeyAt, "key in %s", a.KeyAt.clock())
	add(a.CountAt, "count of %s s by %s from %s", short(a.CountS, 4), a.CountBy, a.CountAt.clock())
	add(a.WindowAt, "zero and WINDOW %s, open for %s s at most", a.WindowAt.clock(), short(a.WindowS, 4))
	if a.PermitS != nil {
		t += fmt.Sprintf("; permit closed for %s s", short(*a.PermitS, 3))
	}
	add(a.PressAt, "button pressed %s", a.PressAt.clock())
	if a.PressS != nil {
		t += fmt.Sprintf(", let go or ended %s s later", short(*a.PressS, 3))
	}
	t += "."
	switch {
	case a.PulseS != nil && a.SheetPulse != nil && *a.PulseS < *a.SheetPulse:
		t += fmt.Sprintf(" Pulse %s s, SHORTER than the sheet's %s s: it can starve a motor that has not lit.", short(*a.PulseS, 3), short(*a.SheetPulse, 3))
	case a.PulseS != nil && a.SheetPulse != nil:
		t += fmt.Sprintf(" Pulse %s s, the sheet's is %s s.", short(*a.PulseS, 3), short(*a.SheetPulse, 3))
	case !a.PressAt.IsZero():
		t += " The pulse's length was not measured."
	}
	if a.End != "" {
		t += fmt.Sprintf(" Ended %s: %s.", a.EndAt.clock(), a.End)
	}
	return t
}

// after tells what was seen and found of every motor, and the make-safe facts.
func (p *page) after() block {
	b := block{id: "after", title: "Motors and make safe", head: []string{"motor", "seen", "found", "at the end"}}
	for _, m := range p.Motors {
		seen, found := "nobody said", "not inspected"
		if m.Seen != "" {
			seen = fmt.Sprintf("%s (%s, %s)", m.Seen, m.SeenBy, m.SeenAt.clock())
		}
		if m.Note != "" {
			seen += "; " + m.Note
		}
		if m.Found != "" {
			found = fmt.Sprintf("%s (%s, %s)", m.Found, m.FoundBy, m.FoundAt.clock())
		}
		b.rows = append(b.rows, []string{strconv.Itoa(m.Motor), seen, found, m.Fate})
	}
	m := p.MakeSafe
	var parts []string
	add := func(at Stamp, format string, args ...any) {
		if !at.IsZero() {
			parts = append(parts, at.clock()+" "+fmt.Sprintf(format, args...))
		}
	}
	add(m.ForwardAt, "%s forward alone by order of %s, the key with %s", m.Forward, m.OrderedBy, m.KeyWith)
	add(m.ShuntedAt, "igniter leads shunted, says %s", m.ShuntedBy)
	add(m.BackAt, "counted back")
	add(m.FireAt, "ground looked over for fire, says %s", m.FireBy)
	add(m.AllClearAt, "all clear by %s", m.AllClearBy)
	if len(parts) > 0 {
		b.lines = append(b.lines, capital(strings.Join(parts, "; "))+".")
	}
	if m.Missing != "" {
		b.lines = append(b.lines, "NOT MADE SAFE in this record: "+m.Missing+".")
	}
	return b
}

// run holds what was measured against what was predicted.
func (p *page) run() block {
	b := block{id: "run", title: "Predicted and measured"}
	f := p.Forecast
	if f == nil {
		b.lines = append(b.lines, "No prediction was accepted.")
	} else {
		b.lines = append(b.lines, p.spread("Rest", "m", f.RestM, p.rest()), p.spread("Peak speed", "m/s", f.SpeedMps, p.speed()))
		b.lines = append(b.lines, p.forecast(f)...)
	}
	switch {
	case p.Result == nil:
		b.lines = append(b.lines, "No result was typed in.")
	case f == nil:
		b.lines = append(b.lines, "Measured: rest "+p.maybe(p.rest(), "m")+", speed "+p.maybe(p.speed(), "m/s")+".")
	}
	if p.Result != nil && p.Result.Words != "" {
		b.lines = append(b.lines, "In words: "+p.Result.Words)
	}
	return b
}

func (p *page) forecast(f *Forecast) []string {
	verdict := "GO: every limit was met"
	var missed []string
	for _, l := range f.Limits {
		if !l.Pass {
			missed = append(missed, l.Name)
		}
	}
	if !f.Go || len(missed) > 0 {
		verdict = strings.TrimSuffix("NO-GO: "+strings.Join(missed, ", "), ": ")
	}
	text := fmt.Sprintf("Accepted %s, %d drawn runs: %s.", f.At.clock(), f.Runs, verdict)
	if f.WorstM != nil {
		text += fmt.Sprintf(" Worst single fault: %s, rest %s.", f.WorstCase, p.value(*f.WorstM, "m"))
	}
	if f.AllLow != nil {
		text += fmt.Sprintf(" All motors light: %s at least.", share(*f.AllLow))
	}
	if f.Accepted > 1 {
		text += fmt.Sprintf(" A prediction was accepted %d times; this is the last.", f.Accepted)
	}
	return []string{text}
}

func (p *page) rest() *float64 {
	if p.Result == nil {
		return nil
	}
	return p.Result.RestM
}

func (p *page) speed() *float64 {
	if p.Result == nil {
		return nil
	}
	return p.Result.SpeedMps
}

// spread says where a measured value lies in what was predicted.
func (p *page) spread(name, in string, s Spread, measured *float64) string {
	text := fmt.Sprintf("%s: predicted %s, P5 to P95 %s to %s; ", name, p.value(s.Nominal, in), p.value(s.P05, in), p.value(s.P95, in))
	switch {
	case measured == nil:
		return text + "not measured."
	case *measured < s.P05:
		return text + "measured " + p.value(*measured, in) + ", BELOW that range."
	case *measured > s.P95:
		return text + "measured " + p.value(*measured, in) + ", ABOVE that range."
	}
	return text + "measured " + p.value(*measured, in) + ", inside that range."
}

func (p *page) circuit() block {
	b := block{id: "circuit", title: "Circuit", head: []string{"motor", "reading", "band", "worst current", "margin"}}
	for _, g := range p.Igniters {
		b.rows = append(b.rows, []string{strconv.Itoa(g.Motor), p.maybe(g.ReadingOhm, "ohm"), p.band(g.Band), p.maybe(g.WorstA, "A"), p.maybe(g.Margin, "")})
	}
	return b
}

// remarks are the consumables and the notes.
func (p *page) remarks() block {
	b := block{id: "remarks", title: "Consumables and notes"}
	for _, u := range p.Used {
		b.lines = append(b.lines, capital(u.What)+": "+strings.Join(nonEmpty(u.counts(), u.Said), "; "))
	}
	for _, n := range p.Notes {
		b.lines = append(b.lines, n.At.clock()+" "+n.Text)
	}
	if p.Refused > 0 {
		b.lines = append(b.lines, fmt.Sprintf("%d entries were refused by the program; the record has each with its reason.", p.Refused))
	}
	return orNone(b)
}

// record says what the page was made from and how to check that.
func (p *page) record() block {
	b := block{id: "record", title: "The record"}
	b.lines = append(b.lines, fmt.Sprintf("%s, %d lines, %s, written by holdline %s.", p.Record, p.Lines, p.State, p.Program),
		"Last line "+p.LastHash, "Sheet "+p.Sheet, "Basis "+p.Basis)
	if len(p.Signatures) == 0 {
		b.lines = append(b.lines, "NOT SIGNED.")
	}
	for k, s := range p.Signatures {
		what := "Signed"
		if k > 0 {
			what = "Counter-signed"
		}
		b.lines = append(b.lines, fmt.Sprintf("%s (%s): %s", what, strings.TrimPrefix(s.File, p.Record), strings.Join(nonEmpty(s.State, s.Principals, s.KeyType, s.Fingerprint, s.Text), ", ")))
	}
	if len(p.Verify) > 0 {
		b.lines = append(b.lines, "To check: "+strings.Join(p.Verify, "; or the signature alone: "))
	}
	return b
}
