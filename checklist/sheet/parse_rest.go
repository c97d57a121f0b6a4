package sheet

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"holdline/checklist"
	"holdline/checklist/sheet/unit"
	"holdline/sim"
)

// stopKinds are the words for the kinds of stopping device.
var stopKinds = []struct {
	word string
	kind sim.StopKind
}{
	{"wheel-brake", sim.WheelBrake},
	{"chute", sim.Chute},
	{"weighted-line", sim.WeightedLine},
	{"elastic-line", sim.ElasticLine},
	{"arrest-bed", sim.ArrestBed},
}

func (p *parser) stops(t *table) {
	var stopNames = names{what: "stopping device"}
	for _, one := range t.tables("stop") {
		s := p.stop(one)
		stopNames.take(one, "name", s.Name)
		p.s.Stops = append(p.s.Stops, s)
	}
	if t.n.entries["stop"] == nil && !p.doc.broken {
		p.note(0, "stop", "no stopping device: nothing but drag and rolling resistance stops the vehicle")
	}
}

func (p *parser) stop(t *table) sim.Stop {
	var s sim.Stop
	s.Name = t.text("name", "a name for the stopping device")
	i := t.choice("kind", stopWords())
	if i < 0 {
		return s // which keys belong here cannot be told
	}
	s.Kind = stopKinds[i].kind
	switch s.Kind {
	case sim.WheelBrake:
		p.trigger(t, &s)
		s.Friction = t.ratio("friction", between(0, mostFriction))
		s.BrakedShare = t.ratio("braked_share", between(0, 1))
	case sim.Chute:
		p.trigger(t, &s)
		s.DragAreaM2 = t.quantity("area", unit.Area, above(0, 100))
		s.FillS = t.quantity("fill_time", unit.Time, between(0, mostTimeS))
	case sim.WeightedLine:
		s.AtM = t.quantity("at", unit.Length, between(0, mostStripM))
		s.MassKg = t.quantity("mass", unit.Mass, above(0, mostVehicleKg))
		s.Friction = t.ratio("ground_friction", between(0, mostFriction))
		s.StiffnessNpm = t.quantity("stiffness", unit.Stiffness, above(0, 1e8))
		p.hook(t, &s)
	case sim.ElasticLine:
		s.AtM = t.quantity("at", unit.Length, between(0, mostStripM))
		s.SlackM = t.quantity("slack", unit.Length, between(0, mostStripM))
		s.StiffnessNpm = t.quantity("stiffness", unit.Stiffness, above(0, 1e8))
		s.DampingNspm = t.quantity("damping", unit.Damping, between(0, 1e6))
		p.hook(t, &s)
	case sim.ArrestBed:
		s.AtM = t.quantity("at", unit.Length, between(0, mostStripM))
		s.LengthM = t.quantity("length", unit.Length, above(0, mostStripM))
		s.Friction = t.ratio("friction", between(0, mostFriction))
	}
	t.close("a stop of kind " + stopKinds[i].word)
	if at := t.n.entries["at"]; at != nil && s.AtM > p.s.Site.ClearLengthM {
		p.note(at.offset, t.key("at"), "this device lies beyond the end of the cleared strip")
	}
	return s
}

// trigger reads at or after, and delay, of a wheel-brake or a chute.
func (p *parser) trigger(t *table, s *sim.Stop) {
	at, after := t.get("at"), t.get("after")
	switch {
	case at != nil && after != nil:
		t.fault("after", after, "both at and after", "one of them")
		t.quantity("after", unit.Time, between(0, mostTimeS))
		t.quantity("at", unit.Length, between(0, mostStripM))
	case after != nil:
		s.After = true
		s.AfterS = t.quantity("after", unit.Time, between(0, mostTimeS))
	case at != nil:
		s.AtM = t.quantity("at", unit.Length, between(0, mostStripM))
	default:
		t.missing("after", `a time such as "1.6 s"; or at, a position such as "90 m"`)
	}
	s.DelayS = t.quantityOr("delay", unit.Time, between(0, mostTimeS), 0)
}

func (p *parser) hook(t *table, s *sim.Stop) {
	s.HookHeightM = t.quantity("hook_height", unit.Length, between(0, mostHeightM))
	s.RatingN = t.quantity("rating", unit.Force, above(0, mostRatingN))
}

func (p *parser) limits(t *table) {
	l := DefaultLimits()
	if t != nil {
		l.StopMarginM = t.quantityOr("stop_margin", unit.Length, between(0, mostStripM), l.StopMarginM)
		l.ThrustToWeight = t.ratioOr("thrust_to_weight", above(0, 1000), l.ThrustToWeight)
		l.FrontLoad = t.ratioOr("front_load", between(0, 1), l.FrontLoad)
		l.YawMargin = t.ratioOr("yaw_margin", between(1, 1000), l.YawMargin)
		l.StaggerS = t.quantityOr("stagger", unit.Time, above(0, mostTimeS), l.StaggerS)
		l.DecelerationMps2 = t.quantityOr("deceleration", unit.Acceleration, above(0, 1e5), l.DecelerationMps2)
		l.OverrunProbability = t.ratioOr("overrun_probability", between(0, 1), l.OverrunProbability)
		l.AllLightProbability = t.ratioOr("all_light_probability", between(0, 1), l.AllLightProbability)
		t.close("[limits]")
	}
	p.s.Limits = l
}

func (p *parser) spread(t *table) {
	if t == nil {
		return
	}
	share, probability := below(0, 0.25), between(0, 1)
	p.s.Spread = sim.Spread{
		ThrustLot:   t.ratioOr("thrust_lot", share, 0),
		ThrustMotor: t.ratioOr("thrust_motor", share, 0),
		Drag:        t.ratioOr("drag", share, 0),
		Rolling:     t.ratioOr("rolling", share, 0),
		Mass:        t.ratioOr("mass", share, 0),
		WindMps:     t.quantityOr("wind", unit.Speed, between(0, 15), 0),
		StopDelayS:  t.quantityOr("stop_delay", unit.Time, between(0, mostTimeS), 0),
		MotorSilent: t.ratioOr("motor_silent", probability, 0),
		StopFails:   t.ratioOr("stop_fails", probability, 0),
	}
	t.close("[uncertainty]")
}

func (p *parser) crew(t *table) {
	if t == nil {
		return
	}
	const expected = `a list of posts, such as ["north gate", "south gate"]`
	n := t.need("spotters", expected)
	t.close("[crew]")
	if n == nil {
		return
	}
	if n.kind != kindArray || len(n.items) == 0 {
		found := describe(n)
		if n.kind == kindArray {
			found = "an empty list"
		}
		t.fault("spotters", n, found, expected)
		return
	}
	if len(n.items) > checklist.MaxPosts {
		t.fault("spotters", n, fmt.Sprintf("%d posts", len(n.items)), fmt.Sprintf("at most %d", checklist.MaxPosts))
	}
	postNames := names{what: "post"}
	p.spottersKnown = true
	for i, item := range n.items {
		key := indexKey(t.key("spotters"), i+1)
		name := t.r.plainText(key, item, "the name of a post")
		if name != "" {
			postNames.takeAt(t.r, item, key, name)
			p.s.Crew.Spotters = append(p.s.Crew.Spotters, name)
		} else {
			p.spottersKnown = false
		}
	}
}

func (p *parser) posts(t *table) {
	postNames := names{what: "post"}
	for _, one := range t.tables("post") {
		post := Post{
			Name:      one.text("name", "one of crew.spotters"),
			DistanceM: one.quantity("distance", unit.Length, above(0, mostStripM)),
		}
		one.close("a post")
		postNames.take(one, "name", post.Name)
		p.matchPost(one, post.Name)
		if post.DistanceM < p.s.Site.CrewDistanceM {
			n := one.n.entries["distance"]
			one.fault("distance", n, quoteText(n.text), "at least site.crew_distance, "+unit.Format(p.s.Site.CrewDistanceM, unit.Length, unit.Metric))
		}
		p.s.Posts = append(p.s.Posts, post)
	}
}

// matchPost notes a post that no spotter stands at.
func (p *parser) matchPost(t *table, name string) {
	if name == "" || !p.spottersKnown {
		return
	}
	known := make([]string, len(p.s.Crew.Spotters))
	for i, s := range p.s.Crew.Spotters {
		if s == name {
			return
		}
		known[i] = strconv.Quote(s)
	}
	t.fault("name", t.n.entries["name"], quoteText(name)+", which is no spotter's post", "one of "+strings.Join(known, ", "))
}

// longestWait bounds a wait that has no upper bound of its own.
const longestWait = 24 * time.Hour

func (p *parser) times(t *table) {
	b := checklist.Bounds()
	p.s.Times = b.Default
	if t == nil {
		return
	}
	for _, entry := range []struct {
		key                    string
		into                   *time.Duration
		preset, least, highest time.Duration
	}{
		{"range_clear", &p.s.Times.RangeClear, b.Default.RangeClear, b.Least.RangeClear, b.Most.RangeClear},
		{"spotter", &p.s.Times.Spotter, b.Default.Spotter, b.Least.Spotter, b.Most.Spotter},
		{"typed", &p.s.Times.Typed, b.Default.Typed, b.Least.Typed, b.Most.Typed},
		{"weather", &p.s.Times.Weather, b.Default.Weather, b.Least.Weather, b.Most.Weather},
		{"armed", &p.s.Times.Armed, b.Default.Armed, b.Least.Armed, b.Most.Armed},
		{"count", &p.s.Times.Count, b.Default.Count, b.Least.Count, b.Most.Count},
		{"window", &p.s.Times.Window, b.Default.Window, b.Least.Window, b.Most.Window},
		{"wait", &p.s.Times.Wait, b.Default.Wait, b.Least.Wait, longestWait},
	} {
		*entry.into = duration(t.quantityOr(entry.key, unit.Time, between(entry.least.Seconds(), entry.highest.Seconds()), entry.preset.Seconds()))
	}
	t.close("[times]")
	last := p.s.Times.Count + p.s.Times.Window
	for _, evidence := range []struct {
		key  string
		good time.Duration
	}{{"range_clear", p.s.Times.RangeClear}, {"spotter", p.s.Times.Spotter}} {
		if n := t.n.entries[evidence.key]; n != nil && evidence.good < last {
			p.note(n.offset, t.key(evidence.key), "count and window last %v, longer than this answer: the count cannot start", last)
		}
	}
}

// pauses reads the built-in holds of the count.
func (p *parser) pauses(t *table) {
	before := p.s.Times.Count
	for i, one := range t.tables("pause") {
		at := duration(one.quantity("at", unit.Time, between(checklist.PauseLeast.Seconds(), p.s.Times.Count.Seconds())))
		if i == checklist.MaxPauses {
			one.fault("at", one.n, "one more pause", fmt.Sprintf("%d pauses at most", checklist.MaxPauses))
			one.close("a pause")
			return
		}
		if n := one.n.entries["at"]; n != nil && at >= before && at > 0 {
			what := "less than the count of " + before.String()
			if i > 0 {
				what = "less than the pause before it, at " + before.String() + ": the longest first"
			}
			one.fault("at", n, at.String(), what)
		}
		if at > 0 {
			before = at
		}
		p.s.Times.Pauses[i] = at
		one.close("a pause")
	}
}

// duration is seconds as a time.Duration, 0 for NaN.
func duration(s float64) time.Duration {
	if math.IsNaN(s) {
		return 0
	}
	return time.Duration(math.Round(s * float64(time.Second)))
}

func (p *parser) radios(t *table) {
	radioNames := names{what: "transmitter"}
	for _, one := range t.tables("radio") {
		r := Radio{
			Name:        one.text("name", "a name for the transmitter"),
			PowerW:      one.quantity("power", unit.Power, above(0, 1e6)),
			FrequencyHz: one.quantity("frequency", unit.Frequency, above(0, 1e12)),
			DistanceM:   one.quantity("distance", unit.Length, between(0, 1e6)),
		}
		one.close("a radio")
		radioNames.take(one, "name", r.Name)
		p.s.Radios = append(p.s.Radios, r)
	}
}

// mostSteps bounds a sheet's own steps, so that the core ones have room.
const mostSteps = 32

// stepPhases are the phases that a sheet may add steps to, Site also as
// "setup". The arming and the count are the machine's own.
var stepPhases = []checklist.Phase{
	checklist.Site, checklist.Briefing, checklist.Site, checklist.VehicleCheck, checklist.ContactProof, checklist.DeadCircuit, checklist.HookUp,
	checklist.LineClosed, checklist.Clear, checklist.Measure, checklist.BatteryJoin, checklist.Poll, checklist.After,
}

var stepRoles = []checklist.Role{checklist.FiringOfficer, checklist.RangeOfficer, checklist.HookUpPerson}

func stepWords() []string {
	words := named(stepPhases)
	words[0] = "setup"
	return words
}

// named are the names of values.
func named[T fmt.Stringer](values []T) []string {
	var out []string
	for _, v := range values {
		out = append(out, v.String())
	}
	return out
}

func (p *parser) steps(t *table) {
	for i, one := range t.tables("step") {
		var s Step
		if i == mostSteps {
			p.faults.add(one.n.offset, one.path, "one step more", fmt.Sprintf("at most %d steps", mostSteps))
		}
		if k := one.choice("phase", stepWords()); k >= 0 {
			s.Phase = stepPhases[k]
		}
		s.Text = one.text("text", "the step as it is read out")
		if k := one.choice("role", named(stepRoles)); k >= 0 {
			s.Role = stepRoles[k]
		}
		s.Expires = duration(one.quantityOr("expires", unit.Time, between(1, longestWait.Seconds()), 0))
		s.Optional = one.flagOr("optional", false)
		gate := one.flagOr("gate", false) // sheets of before say it; every step is a gate now
		switch {
		case gate && s.Phase == checklist.After:
			one.fault("gate", one.n.entries["gate"], "a gate after the firing", "gates before arming only")
		case gate && s.Optional:
			one.fault("optional", one.n.entries["optional"], "an optional gate", "a step that stands in the way or one that may be passed over")
		}
		one.close("a step")
		p.s.Steps = append(p.s.Steps, s)
	}
}
