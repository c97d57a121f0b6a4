package prediction

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"holdline/checklist/sheet/unit"
	"holdline/sim"
)

// WriteText writes the answer for people, in lines of at most 80 columns: a
// summary to read aloud, the speed over the distance, the cases, the limits
// with what is left, and what moves the stopping position most. Values are in the
// units of sys.
func (r *Run) WriteText(w io.Writer, sys unit.System) error {
	t := &text{sys: sys}
	if r.Title != "" {
		t.line("%s", r.Title)
		t.line("")
	}
	t.wrap("", r.Summary(sys))
	for _, note := range r.Notes {
		t.wrap("Note: ", note+".")
	}
	if need := r.moreRuns(); need > 0 {
		t.wrap("Note: ", fmt.Sprintf("%d runs cannot show less than %s, though none of them overruns: draw %d or more, with --runs.",
			r.Dispersion.Runs, percent(r.Dispersion.OverrunUpper95), need))
	}
	r.writeChart(t)
	r.writeCases(t)
	r.writeLimits(t)
	r.writeShares(t)
	t.line("")
	t.wrap("", r.Verdict())
	_, err := io.WriteString(w, t.String())
	return err
}

// moreRuns is how many draws it takes to show what the sheet asks for, where
// those made were too few even without an overrun among them; else 0. The
// bound of n draws without one is 1 - 0.05^(1/n) (Clopper and Pearson).
func (r *Run) moreRuns() int {
	for _, l := range r.Limits {
		if l.Name == limitOverrun && !l.Pass && r.Draws.Overruns == 0 && l.Limit > 0 {
			return int(math.Ceil(math.Log(0.05) / math.Log1p(-l.Limit)))
		}
	}
	return 0
}

// Verdict says go or no-go, and in the second case why.
func (r *Run) Verdict() string {
	if r.Go {
		return "GO: the run meets every limit"
	}
	return "NO-GO: the run does not meet: " + failed(r.Limits, Limit.title)
}

// Summary says the prediction in sentences that can be read aloud.
func (r *Run) Summary(sys unit.System) string {
	t := &text{sys: sys}
	n := r.Nominal()
	s := []string{r.motorsText(t)}
	if n.PeakSpeedMps == 0 {
		return s[0] + " The vehicle does not move."
	}
	s = append(s,
		fmt.Sprintf("Top speed %s, %s down the strip, %s after the button.", t.show(n.PeakSpeedMps, unit.Speed),
			t.show(n.PeakSpeedPositionM, unit.Length), t.duration(n.PeakSpeedTimeS)),
		fmt.Sprintf("It comes to rest at %s after %s, %s.", t.show(n.StopPositionM, unit.Length), t.duration(n.StopTimeS),
			before(t, r.ClearLengthM-n.StopPositionM)),
		fmt.Sprintf("It speeds up with at most %s and slows down with at most %s.",
			t.show(n.PeakAccelerationMps2, unit.Acceleration), t.show(n.PeakDecelerationMps2, unit.Acceleration)))
	far, where := r.worst(func(c *sim.CaseResult) sim.Maybe { return sim.Some(c.Outcome.StopPositionM) })
	if where != r.Cases[0].Name {
		s = append(s, fmt.Sprintf("The longest single fault is %q: rest at %s, %s.", where, t.show(far, unit.Length), before(t, r.ClearLengthM-far)))
	}
	for _, c := range r.Cases {
		if c.Kind == sim.CaseAllStopsAbsent && len(r.Problem.Stops) > 0 {
			s = append(s, fmt.Sprintf("Without any stopping device it would roll to %s, %s.", t.show(c.StopPositionM, unit.Length),
				before(t, r.ClearLengthM-c.StopPositionM)))
		}
	}
	d := &r.Dispersion
	s = append(s, fmt.Sprintf("Of %d runs drawn (seed %d) half stop before %s and 95 %% before %s; %s of them overrun, with 95 %% confidence at most %s do.",
		d.Runs, d.Seed, t.show(d.StopPositionM.P50, unit.Length), t.show(d.StopPositionM.P95, unit.Length),
		noneOr(r.Draws.Overruns), percent(d.OverrunUpper95)))
	return strings.Join(s, " ")
}

// motorsText names motors and their classes, and the sum of their impulse.
func (r *Run) motorsText(t *text) string {
	var classes []string
	for _, m := range r.Motors {
		classes = append(classes, m.Class)
	}
	together := fmt.Sprintf("%s in class %s", t.show(r.ImpulseNs, unit.Impulse), sim.ClassOf(r.ImpulseNs))
	if len(classes) == 1 {
		return fmt.Sprintf("One motor of %s, thrust to weight %.3g.", together, r.ThrustToWeight)
	}
	list := strings.Join(classes, ", ")
	if kinds := slices.Compact(slices.Clone(classes)); len(kinds) == 1 {
		list = "all " + kinds[0]
	}
	return fmt.Sprintf("%d motors (%s), together %s, thrust to weight %.3g.", len(classes), list, together, r.ThrustToWeight)
}

func noneOr(n int) string {
	if n == 0 {
		return "none"
	}
	return fmt.Sprint(n)
}

// before says where a place is, left metres short of the end of the strip.
func before(t *text, left float64) string {
	if left < 0 {
		return t.show(-left, unit.Length) + " PAST the end of the cleared strip"
	}
	return t.show(left, unit.Length) + " before the end of the cleared strip"
}

const (
	chartColumns = 66
	chartRows    = 12
)

// writeChart draws the speed over the distance: the nominal run as a line, the
// 5th and 95th percentile as dots, the end of the strip as a stroke.
func (r *Run) writeChart(t *text) {
	n := r.Nominal()
	if n.PeakSpeedMps == 0 {
		return
	}
	far := 1.02 * max(n.StopPositionM, r.Dispersion.StopPositionM.P95)
	top := 1.05 * max(n.PeakSpeedMps, r.Dispersion.PeakSpeedMps.P95)
	d := newDots(chartColumns, chartRows)
	x := func(m float64) float64 { return m / far * (2*chartColumns - 1) }
	y := func(mps float64) float64 { return mps / top * (4*chartRows - 1) }
	for _, b := range r.Draws.Band {
		if b.DistanceM <= far {
			d.set(int(x(b.DistanceM)), int(math.Round(y(b.P05))))
			d.set(int(x(b.DistanceM)), int(math.Round(y(b.P95))))
		}
	}
	for i := 1; i < len(r.Path); i++ {
		p, q := r.Path[i-1], r.Path[i]
		d.line(x(p.PositionM), y(p.SpeedMps), x(q.PositionM), y(q.SpeedMps))
	}
	strip := ""
	if r.ClearLengthM <= far {
		strip = ", stroke: end of the cleared strip"
		for row := range 4 * chartRows {
			d.set(int(x(r.ClearLengthM)), row)
		}
	}
	speed, length := unit.Preferred(top, unit.Speed, t.sys), unit.Preferred(far, unit.Length, t.sys)
	t.line("")
	t.wrap("", fmt.Sprintf("Speed in %s over distance in %s (line: nominal, dots: 5 and 95 %% of runs%s)", speed.Name, length.Name, strip))
	labels := make([]string, chartRows)
	for _, tick := range ticks(speed.Of(top)) {
		labels[(4*chartRows-1-int(math.Round(y(speed.SI(tick)))))/4] = fmt.Sprintf("%g", tick)
	}
	for row := range chartRows {
		t.line("%8s ▏%s", labels[row], d.row(row))
	}
	axis := []rune(strings.Repeat(" ", chartColumns+4))
	for _, tick := range ticks(length.Of(far)) {
		text := []rune(fmt.Sprintf("%g", tick))
		copy(axis[max(0, int(x(length.SI(tick))/2)-len(text)/2):], text)
	}
	t.line("%10s%s", "", strings.TrimRight(string(axis), " "))
}

// ticks are the round numbers from 0 to a value, three to six of them: whole
// multiples of 1, 2 or 5 times a power of ten.
func ticks(to float64) []float64 {
	if !(to > 0) || math.IsInf(to, 1) {
		return nil
	}
	power := math.Floor(math.Log10(to / 5))
	for _, digit := range []float64{1, 2, 5, 10} {
		if n := to / (digit * math.Pow(10, power)); n < 6 {
			var out []float64
			for i := 0.0; i <= n; i++ {
				if power < 0 { // whole numbers over a power of ten are exact as they are written
					out = append(out, i*digit/math.Pow(10, -power))
					continue
				}
				out = append(out, i*digit*math.Pow(10, power))
			}
			return out
		}
	}
	return nil
}

// writeCases writes the what-if cases as a table.
func (r *Run) writeCases(t *text) {
	n := r.Nominal()
	speed, length := unit.Preferred(n.PeakSpeedMps, unit.Speed, t.sys), unit.Preferred(max(n.StopPositionM, 12), unit.Length, t.sys)
	t.line("")
	t.line("%-27s %8s %8s %8s %7s %7s %7s", "Case", "top", "rest at", "after", "slows", "front", "yaw")
	t.line("%-27s %8s %8s %8s %7s %7s %7s", "", speed.Name, length.Name, "s", "g0", "%", "margin")
	for _, c := range r.Cases {
		name := []rune(c.Name)
		if len(name) > 27 {
			name = append(name[:26], '…')
		}
		mark := ""
		switch {
		case c.Airborne:
			mark = "  AIRBORNE"
		case c.Kind != sim.CaseAllStopsAbsent && c.StopPositionM > r.ClearLengthM-r.StopMarginM:
			mark = "  TOO FAR"
		}
		row := fmt.Sprintf("%-27s %8.2f %8.1f %8.2f %7.2f %7s %7s", string(name), speed.Of(c.PeakSpeedMps), length.Of(c.StopPositionM),
			c.StopTimeS, c.PeakDecelerationMps2/sim.GravityMps2, column(c.MinFrontLoadFraction, 100), column(c.MinYawMargin, 1))
		if mark != "" && len([]rune(row+mark)) > 80 {
			t.line("%s", row)
			row, mark = "", strings.TrimSpace(mark)
			row = "  "
		}
		t.line("%s%s", row, mark)
	}
}

func column(m sim.Maybe, scale float64) string {
	if !m.Known {
		return "-"
	}
	return fmt.Sprintf("%.1f", scale*m.Value)
}

// writeLimits writes the limits: first those that fail, then the tightest. Of
// the cases that stop in time only the tightest has a line; the table of cases
// shows the others.
func (r *Run) writeLimits(t *text) {
	limits := slices.Clone(r.Limits)
	slices.SortStableFunc(limits, func(a, b Limit) int {
		if a.Pass == b.Pass {
			return cmp.Compare(a.share(), b.share())
		}
		if a.Pass {
			return 1
		}
		return -1
	})
	t.line("")
	t.line("Limits, the tightest first")
	others := 0
	for _, l := range limits {
		if l.Name == limitStop && l.Pass {
			if others++; others > 1 {
				continue
			}
		}
		t.limit(l, t.limitValue)
	}
	if others > 1 {
		t.wrap("  ok ", fmt.Sprintf("%s: %d further cases leave more", limitStop, others-1))
	}
}

// writeShares lists what moves the stopping position most, so that one knows
// what to measure better.
func (r *Run) writeShares(t *text) {
	shares := slices.DeleteFunc(slices.Clone(r.Draws.Shares), func(s sim.VarianceShare) bool { return s.Share < 0.005 })
	if len(shares) == 0 {
		return
	}
	most := 0.0
	for _, s := range r.Draws.Shares {
		most = max(most, s.StdDevM)
	}
	in := unit.Preferred(most, unit.Length, t.sys) // one unit for all, so that they can be compared
	t.line("")
	t.wrap("", "What moves the rest position, each alone (share of the variance, one standard deviation)")
	for _, s := range shares {
		t.line("  %4.0f %%  %-32s %s", 100*s.Share, s.Source, unit.FormatIn(s.StdDevM, in, 3))
	}
}
