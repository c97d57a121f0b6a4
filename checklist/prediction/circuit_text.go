package prediction

import (
	"fmt"
	"io"
	"math"
	"strings"

	"holdline/checklist/sheet/unit"
	"holdline/sim/circuit"
)

// barWidth is how many cells a small bar has.
const barWidth = 32

// WriteText writes the answer for people, in lines of at most 80 columns: one
// table for each igniter, the weakest link, the remedies, the draws, the
// limits, and advice. Lengths are in the units of sys.
func (c *Circuit) WriteText(w io.Writer, sys unit.System) error {
	t := &text{sys: sys}
	c.writeHead(t)
	for k := range c.Igniters {
		c.writeIgniter(t, k)
	}
	t.line("")
	t.wrap("", c.WeakestLink())
	c.writeRemedies(t)
	c.writeDraws(t)
	c.writeContinuity(t)
	t.line("")
	t.line("Limits")
	for _, l := range c.Limits {
		t.limit(l, plainValue)
	}
	c.writeAdvice(t)
	verdict := "GO: the circuit meets every limit"
	if !c.Go {
		verdict = "NO-GO: the circuit does not meet: " + failed(c.Limits, plainName)
	}
	t.line("")
	t.wrap("", verdict)
	_, err := io.WriteString(w, t.String())
	return err
}

// text is a page for people.
type text struct {
	strings.Builder
	sys unit.System
}

func (t *text) line(format string, args ...any) {
	t.WriteString(strings.TrimRight(fmt.Sprintf(format, args...), " ") + "\n")
}

// wrap writes a paragraph in lines of at most 80 columns behind a lead-in, the
// further lines set in below it.
func (t *text) wrap(lead, paragraph string) {
	room := 80 - len([]rune(lead))
	line := ""
	flush := func() {
		t.line("%s%s", lead, line)
		lead, line = strings.Repeat(" ", len([]rune(lead))), ""
	}
	for _, word := range strings.Fields(paragraph) {
		if line != "" && len([]rune(line))+1+len([]rune(word)) > room {
			flush()
		}
		if line != "" {
			line += " "
		}
		line += word
	}
	flush()
}

// show writes an SI value with its unit, "never" for a time that never comes.
func (t *text) show(si float64, d unit.Dimension) string {
	if math.IsInf(si, 1) {
		return "never"
	}
	u := unit.Preferred(si, d, t.sys)
	return unit.FormatIn(si, u, 3)
}

// duration writes a time, one shorter than a millisecond with its digits.
func (t *text) duration(s float64) string {
	if s > 0 && s < 1e-3 {
		return fmt.Sprintf("%.3g ms", 1e3*s)
	}
	return t.show(s, unit.Time)
}

func (c *Circuit) writeHead(t *text) {
	p := c.Problem
	if c.Title != "" {
		t.line("%s", c.Title)
	}
	t.wrap("battery  ", fmt.Sprintf("%.2f V, internal %s, at most %s", p.Battery.VoltageV,
		t.show(p.Battery.InternalOhm, unit.Resistance), t.show(p.Battery.HighestInternalOhm, unit.Resistance)))
	t.wrap("lead     ", fmt.Sprintf("%s; switch %s, contacts %s", describeLead(t, p.Lead, p.LeadOhm()),
		t.show(p.SwitchOhm, unit.Resistance), t.show(p.ContactOhm, unit.Resistance)))
	t.wrap("circuit  ", fmt.Sprintf("source %s, total %s, battery under load %.2f V", t.show(c.SourceOhm, unit.Resistance),
		t.show(c.TotalA, unit.Current), c.Solution.BatteryV))
}

// describeLead writes what a lead is and what it has.
func describeLead(t *text, l circuit.Lead, ohm float64) string {
	has := t.show(ohm, unit.Resistance)
	switch l.Kind {
	case circuit.LeadGauge:
		return fmt.Sprintf("%d AWG, %s one way, %s out and back", l.Gauge, t.show(l.LengthM, unit.Length), has)
	case circuit.LeadArea:
		return fmt.Sprintf("%.3g mm2, %s one way, %s out and back", 1e6*l.AreaM2, t.show(l.LengthM, unit.Length), has)
	case circuit.LeadMeasured:
		return fmt.Sprintf("%s, measured", has)
	default:
		return "none"
	}
}

// writeIgniter writes one igniter's table.
func (c *Circuit) writeIgniter(t *text, k int) {
	p, ig, ans := c.Problem, &c.Problem.Igniters[k], &c.Solution.Igniters[k]
	t.line("")
	t.line("motor %d  %s", k+1, ig.Kind)
	far, near := circuit.ChannelBand(p, k), circuit.BridgeBand(p, k)
	t.line("  channel   %s  %-10s %.3f to %.3f ohm", c.channelBar(k), t.show(ans.BranchOhm, unit.Resistance), near.LowOhm, near.HighOhm)
	t.line("  hold line %.3f to %.3f ohm", far.LowOhm, far.HighOhm)
	t.line("  current   %s  %-10s %s at worst", c.currentBar(k), t.show(ans.CurrentA, unit.Current), t.show(ans.WorstCaseA, unit.Current))
	mark := ""
	if ans.Margin < p.RequiredMargin() {
		mark = "  TOO LITTLE"
	}
	t.line("  margin    %s of the all-fire current %s, %.2f needed%s", floor2(ans.Margin), t.show(ig.AllFireA, unit.Current), p.RequiredMargin(), mark)
	if c.Shorted != nil && c.Shorted[k].Robber >= 0 {
		s := c.Shorted[k]
		t.line("  robbed    %s, margin %s, with motor %d's bridge shorted", t.show(s.CurrentA, unit.Current), floor2(s.Margin), s.Robber+1)
	}
	if math.IsInf(ans.FiresS, 1) {
		t.line("  fires     NEVER within the pulse of %s", t.duration(p.PulseS))
		return
	}
	t.line("  fires     at %s, motor lights at %s", t.duration(ans.FiresS), t.duration(ans.IgnitionDelayS))
}

// cells draws a bar of barWidth cells from 0 to most: cell gives each cell's
// mark from the values at its ends.
func cells(most float64, cell func(from, to float64) rune) string {
	var b strings.Builder
	b.WriteRune('▕')
	for i := range barWidth {
		step := most / barWidth
		b.WriteRune(cell(float64(i)*step, float64(i+1)*step))
	}
	b.WriteRune('▏')
	return b.String()
}

// channelBar shows the band of channel k on a scale that all channels share.
func (c *Circuit) channelBar(k int) string {
	most := 0.0
	for _, b := range c.Continuity.ChannelOhm {
		most = max(most, b.HighOhm)
	}
	band := c.Continuity.ChannelOhm[k]
	return cells(most*1.05, func(from, to float64) rune {
		switch {
		case from <= band.HighOhm && band.LowOhm < to:
			return '█'
		default:
			return '·'
		}
	})
}

// currentBar shows, on a scale of igniter k's own, worst to nominal current as
// a block, no-fire to all-fire shaded, and the current needed as a stroke.
func (c *Circuit) currentBar(k int) string {
	ig, ans := &c.Problem.Igniters[k], &c.Solution.Igniters[k]
	need := c.Problem.RequiredMargin() * ig.AllFireA
	return cells(1.05*max(ans.CurrentA, ans.WorstCaseA, need), func(from, to float64) rune {
		switch {
		case from <= need && need < to:
			return '│'
		case from <= max(ans.CurrentA, ans.WorstCaseA) && min(ans.CurrentA, ans.WorstCaseA) < to:
			return '█'
		case from <= ig.AllFireA && ig.NoFireA < to:
			return '░'
		default:
			return '·'
		}
	})
}

// WeakestLink names in one or two sentences what the circuit would fail by first.
func (c *Circuit) WeakestLink() string {
	p, sol := c.Problem, &c.Solution
	k := sol.Weakest()
	ig, ans := &p.Igniters[k], &sol.Igniters[k]
	verb := "is enough"
	if ans.Margin < p.RequiredMargin() {
		verb = "falls short"
	}
	s := fmt.Sprintf("The weakest link is motor %d (%s): %.3g A at worst is %s of its all-fire current of %.3g A, and %s, %.2f being needed.",
		k+1, ig.Kind, ans.WorstCaseA, floor2(ans.Margin), ig.AllFireA, verb, p.RequiredMargin())
	if c.Shorted != nil && c.Shorted[k].Robber >= 0 && c.Shorted[k].Margin < p.RequiredMargin() {
		s += fmt.Sprintf(" Should motor %d's bridge short before it fires, %s is left.", c.Shorted[k].Robber+1, floor2(c.Shorted[k].Margin))
	}
	var never []int
	for i := range sol.Igniters {
		if math.IsInf(sol.Igniters[i].FiresS, 1) {
			never = append(never, i)
		}
	}
	switch len(never) {
	case 0:
	case 1:
		s += fmt.Sprintf(" Motor %s never fires in the nominal circuit.", numbers(never))
	default:
		s += fmt.Sprintf(" Motors %s never fire in the nominal circuit.", numbers(never))
	}
	return s
}

// numbers lists motors as the sheet counts them.
func numbers(motors []int) string {
	list := make([]string, len(motors))
	for i, k := range motors {
		list[i] = fmt.Sprint(k + 1)
	}
	return strings.Join(list, ", ")
}

// RemedyText writes one remedy for people.
func RemedyText(r circuit.Remedy, sys unit.System) string {
	if !r.Possible {
		return map[circuit.RemedyKind]string{
			circuit.ThickerLead:     "no lead is thick enough by itself",
			circuit.ShorterLead:     "no lead is short enough by itself",
			circuit.LowerLead:       "no lead is good enough by itself",
			circuit.StrongerBattery: "no internal resistance is low enough by itself",
			circuit.HigherVoltage:   "no voltage is high enough by itself",
			circuit.FewerMotors:     "no set of fewer motors reaches it",
		}[r.Kind]
	}
	s := ""
	switch r.Kind {
	case circuit.ThickerLead:
		s = fmt.Sprintf("a lead of %.3g mm2 or more", ceil3(1e6*r.Value))
		if r.Gauge {
			s = fmt.Sprintf("a lead of %d AWG or thicker", int(r.Value))
		}
	case circuit.ShorterLead:
		u := unit.Preferred(r.Value, unit.Length, sys)
		s = fmt.Sprintf("a lead of at most %.4g %s one way", floor3(u.Of(r.Value)), u.Name)
	case circuit.LowerLead:
		s = fmt.Sprintf("a lead of at most %.4g ohm out and back", floor3(r.Value))
	case circuit.StrongerBattery:
		s = fmt.Sprintf("a battery of at most %.4g mohm", floor3(1e3*r.Value))
	case circuit.HigherVoltage:
		s = fmt.Sprintf("a battery of at least %.4g V", ceil3(r.Value))
	case circuit.FewerMotors:
		s = fmt.Sprintf("fewer motors, at most %.0f: without %s (then look at the run again)", r.Value, numbers(r.Out))
	}
	return s + fmt.Sprintf(" gives a margin of %s", floor2(r.Margin))
}

// floor2 writes a margin rounded down, so that one just missed is not shown as
// reached.
func floor2(m float64) string { return fmt.Sprintf("%.2f", math.Floor(100*m+1e-6)/100) }

// floor3 and ceil3 round to three significant digits, on the side on which the
// margin is still reached.
func floor3(v float64) float64 { return math.Floor(v/digit3(v)+1e-9) * digit3(v) }
func ceil3(v float64) float64  { return math.Ceil(v/digit3(v)-1e-6) * digit3(v) }

// digit3 is the weight of v's third significant digit; 1 for 0.
func digit3(v float64) float64 {
	if v == 0 {
		return 1
	}
	return math.Pow(10, math.Floor(math.Log10(math.Abs(v)))-2)
}

func (c *Circuit) writeRemedies(t *text) {
	if c.Remedies == nil {
		return
	}
	t.line("")
	t.line("What would mend it, each by itself:")
	for _, r := range c.Remedies {
		t.wrap("  - ", RemedyText(r, t.sys))
	}
}

func (c *Circuit) writeDraws(t *text) {
	d := &c.Draws
	t.line("")
	t.wrap("", fmt.Sprintf("All motors light in %s of %d draws (seed %d); with 95 %% confidence in at least %s.",
		percent(d.Probability), d.Runs, d.Seed, percent(d.Lower95)))
	if q := d.StaggerS; q != nil {
		t.wrap("", fmt.Sprintf("Stagger: half below %s, 95 %% below %s, 99 %% below %s.", t.duration(q.P50), t.duration(q.P95), t.duration(q.P99)))
	} else {
		t.line("Stagger: no draw lights every motor.")
	}
	for _, s := range c.Blame() {
		t.wrap("", s)
	}
}

// Blame says which motor misfires most often, which most often lights last, and
// why.
func (c *Circuit) Blame() []string {
	var out []string
	d := &c.Draws
	if k := d.MisfiresMost(); k >= 0 {
		m := d.Motors[k]
		cause, n := circuit.MainCause(m.MisfiresBy)
		out = append(out, fmt.Sprintf("Motor %d is most often dark: %s of draws; in %s of those the cause is: %s.",
			k+1, percent(share(m.Misfires, d.Runs)), percent(share(n, m.Misfires)), cause))
	}
	if k := d.LastMost(); k >= 0 {
		m := d.Motors[k]
		cause, n := circuit.MainCause(m.LastBy)
		out = append(out, fmt.Sprintf("Motor %d is most often the last to light: %s of the draws that light all; in %s of those the cause is: %s.",
			k+1, percent(share(m.Last, d.AllLight)), percent(share(n, m.Last)), cause))
	}
	return out
}

func share(n, of int) float64 { return float64(n) / float64(max(of, 1)) }

// percent writes a share so that only what is exactly all or none reads so.
func percent(share float64) string {
	switch {
	case share > 0 && share < 0.0001:
		return "less than 0.01 %"
	case share < 1 && share > 0.9999:
		return "more than 99.99 %"
	case share >= 0.99 && share < 1 || share > 0 && share < 0.01:
		return fmt.Sprintf("%.2f %%", 100*share)
	default:
		return fmt.Sprintf("%.1f %%", 100*share)
	}
}

func (c *Circuit) writeContinuity(t *text) {
	t.line("")
	t.line("Cluster from the hold line:")
	for _, n := range c.Continuity.ClusterOhm {
		t.line("  %2d intact  %.4f ohm, deviation %.4f", n.Intact, n.ExpectedOhm, n.DeviationOhm)
	}
	if !c.Conclusive {
		t.wrap("  ", "A reading of the whole cluster cannot tell them apart with this meter: measure each igniter.")
	}
	if r := c.Reading; r != nil {
		t.wrap("  ", fmt.Sprintf("Reading %.4g ohm: %s.", r.Ohm, r.Answer))
		for _, l := range r.Likelihoods {
			if l.Posterior >= 5e-4 {
				t.line("    %2d intact  %s", l.Intact, percent(l.Posterior))
			}
		}
	}
}

func (c *Circuit) writeAdvice(t *text) {
	if len(c.Advice) == 0 {
		return
	}
	t.line("")
	t.line("Advice")
	for _, a := range c.Advice {
		t.wrap("  - ", AdviceText(a))
	}
}

// AdviceText writes one piece of advice for people.
func AdviceText(a circuit.Advice) string {
	switch a.Kind {
	case circuit.ShortSourcePulse:
		return fmt.Sprintf("igniter %s: the source of its currents names a pulse of %.3g ms, under five time constants (%.3g ms); its no-fire and all-fire currents may not be steady values, and the steady no-fire current may be lower",
			a.Detail, 1e3*a.FoundS, 1e3*a.LeastS)
	case circuit.ShortPulse:
		return fmt.Sprintf("igniter %s: the firing pulse of %.3g ms is under five time constants (%.3g ms): a bridge may not fire at its all-fire current",
			a.Detail, 1e3*a.FoundS, 1e3*a.LeastS)
	case circuit.MaybeClad:
		return fmt.Sprintf("%s: calculated as copper; should it be copper-clad aluminium, of about 1.6 times the resistance, the least margin is %.2f: measure the loop and give its resistance", a.Detail, a.Margin)
	default:
		return fmt.Sprintf("%s: looks guessed; at twice the value (20 mohm for none) the least margin is %.2f: measure it", a.Detail, a.Margin)
	}
}
