package checklist

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"
)

// Inputs are what the built-in routine needs to know of one firing.
type Inputs struct {
	Boxed    bool // a ground box reads voltages and channels
	Motors   int
	Channels []Band // one per motor, ohm, as seen from where it is measured
	Budget   Band   // battery volts that reach the current budget and do not contradict the sheet
	Wind     Band   // headwind in m/s for which the prediction was made
	Mass     Band   // kg
	Mark     string // written on the vehicle, "" when the sheet has none
	Posts    []Post
	Radios   []Radio
	Extra    []Step // further steps of the sheet; Phase, Role, Challenge, Expires, Optional are used
	Times    Times
	MeterOhm float64 // meter error, a bound
}

// Post is a spotter's post.
type Post struct {
	Name      string
	DistanceM float64 // 0 when the sheet does not say
}

// Radio is a transmitter near the vehicle.
type Radio struct {
	Name      string
	DistanceM float64
	LeastM    float64 // by the distance table
}

// WindMostMps is the most wind in which anything is fired: 20 mph, item 9 of
// the national model rocket safety code, borrowed, since no code is written
// for ground vehicles.
const WindMostMps = 8.94

// strayMostA is the stray current above which nothing is connected: 0.05 A
// through 1 ohm at the place of the device, 30 CFR 57.6600.
const strayMostA = 0.05

// noSource stands where a rule has no source that could be named.
const noSource = "common practice, no source"

// Routine returns the steps of a firing, in order: the built-in practice with
// the sheet's further steps merged where they belong. Core gates are always
// in it.
func Routine(in Inputs) []Step {
	out := slices.Concat(briefing(in), site(in), vehicle(in), prediction(), proof(in), dead(in), hookUp(), lineClosed(),
		clearRange(in), measure(in), battery(in), poll(in), after(in))
	for i := range out {
		out[i].Source = cmp.Or(out[i].Source, noSource)
	}
	return mergeExtra(out, in.Extra)
}

func briefing(in Inputs) []Step {
	steps := []Step{
		{ID: "crew/firing officer", Challenge: "Who is the firing officer?", Hint: "a name", Role: FiringOfficer, Kind: KindName},
		{ID: "crew/range officer", Challenge: "Who is the range officer?", Hint: "another person's name", Role: RangeOfficer, Kind: KindName},
	}
	for _, p := range in.Posts {
		steps = append(steps, Step{ID: "crew/" + p.Name, Challenge: fmt.Sprintf("Who stands at %s?", postText(p)), Hint: "a name",
			Role: Spotter, Post: p.Name, Kind: KindName})
	}
	steps = append(steps,
		Step{ID: "briefing", Role: RangeOfficer, Kind: KindWords, Drops: DropRangeOfficer,
			Challenge: "Read aloud: HOLD means stop, anyone calls it. If the screen stands still: let go, key out, battery off, all stay. Who heard it?",
			Hint:      "who answered, and the hand signs agreed", Source: "14 CFR 450.157: defined phraseology, named authority"},
		Step{ID: "code", Role: RangeOfficer, Kind: KindSecret, Band: Band{4, 64, ""}, Drops: DropRangeOfficer,
			Challenge: "Range officer: choose a code for this firing. Nobody looks.", Hint: "4 characters or more, typed twice, new today",
			Source: "WAC 212-17-317(4): two positive actions"})
	for i := range steps {
		steps[i].Phase, steps[i].Gate = Briefing, GateCrew
	}
	return steps
}

func postText(p Post) string {
	if p.DistanceM > 0 {
		return fmt.Sprintf("%s, %.0f m or more from path and rest", p.Name, p.DistanceM)
	}
	return p.Name
}

func site(in Inputs) []Step {
	wind := in.Wind
	wind.High = min(wind.High, WindMostMps)
	wind.Low = max(wind.Low, -WindMostMps)
	steps := []Step{
		{ID: "ground", Role: RangeOfficer, Kind: KindWords, Drops: DropRangeOfficer,
			Challenge: "Strip, run-off and sides: grass, stones, water and extinguisher. What do you see?", Hint: "what lies there and what stands ready",
			Source: "national model rocket safety code, item 9: no dry grass, no fire risk"},
		{ID: "wind", Role: RangeOfficer, Kind: KindQuantity, Band: wind, Agree: 1, Expires: in.Times.Weather,
			Challenge: "Headwind measured now, in m/s; a tailwind is negative", Hint: "m/s, twice, with half a minute between",
			Drops: DropRangeOfficer, Source: "national model rocket safety code, item 9: 20 mph at most; the sheet's wind range"},
		daylight(),
	}
	for i := range steps {
		steps[i].Phase, steps[i].Gate = Site, GateSite
	}
	return steps
}

func vehicle(in Inputs) []Step {
	steps := []Step{
		{ID: "mark", Kind: KindWords, Match: in.Mark, Challenge: "The mark on the vehicle at the start line: what does it say?", Hint: "read it off the vehicle"},
		{ID: "mass", Kind: KindQuantity, Band: in.Mass, Agree: 0.005 * (in.Mass.Low + in.Mass.High) / 2,
			Challenge: "Mass weighed today, ready to run, in kg", Hint: "kg, weighed twice"},
		{ID: "motors", Kind: KindWords, Challenge: "Motors: designation and count, read off every case; certified, unaltered, retained",
			Hint: "what is written, and how many", Source: "national model rocket safety code, item 2: certified motors, unaltered"},
		brought("motors", in.Motors, "Motors brought to the site, all of them, those in the vehicle too: how many?"),
		{ID: "igniters", Kind: KindWords, Challenge: "Igniters: kind and lot, read off the lot card; all of one kind", Hint: "what the lot card says",
			Source: "29 CFR 1926.906(c), read second-hand: same style and manufacture in one shot"},
		brought("igniters", in.Motors, "Igniters brought to the site, all of them: how many?"),
		igniterLots(),
		batteryRest(),
		{ID: "running-gear", Kind: KindWords, Challenge: "Wheels, guide and retention, tried by hand", Hint: "what turned, what slid, what stayed in place"},
		{ID: "stops", Kind: KindWords, Challenge: "Every stopping device: armed and tried. What did each do?", Hint: "each device by name"},
	}
	for i := range steps {
		steps[i].Phase, steps[i].Gate, steps[i].Role = VehicleCheck, GateSite, FiringOfficer
		steps[i].Drops |= DropRangeOfficer
	}
	return steps
}

func prediction() []Step {
	rests := []string{"wind", "mark", "mass"}
	return []Step{
		{ID: "prediction/firing officer", Phase: VehicleCheck, Gate: GatePrediction, Role: FiringOfficer, Kind: KindAccept, Band: Band{1, 1, ""},
			Challenge: "Predicted run, read aloud: do you accept it?", Hint: "look at it first: P", RestsOn: rests, Drops: DropBasis | DropRangeOfficer},
		{ID: "prediction", Phase: VehicleCheck, Gate: GatePrediction, Role: RangeOfficer, Kind: KindAccept, Band: Band{1, 1, ""},
			Challenge: "Range officer: do you accept the predicted run?", Hint: "where does it rest, and the worst single fault?",
			RestsOn: append([]string{"prediction/firing officer"}, rests...), Drops: DropBasis | DropRangeOfficer},
	}
}

func proof(in Inputs) []Step {
	s := Step{ID: "contact-proof", Phase: ContactProof, Gate: GateProof, Role: FiringOfficer, Kind: KindProof, Expires: in.Times.Proof,
		Challenge: "Contact proof: no igniter connected, line CLOSED, battery joined. Key, permit and button are each seen open.",
		Hint:      "start it, then move battery and key as it asks", Needs: NeedLineClosed, Drops: DropBoxFault | DropRangeOfficer,
		Source: "14 CFR 417 App. D (d): test points that prove each branch"}
	if !in.Boxed {
		s.Kind, s.Band, s.Agree = KindQuantity, Band{0, 0.1, "V"}, 0.02
		s.Challenge = "Contact proof: no igniter connected, battery joined. Highest voltage at the line's end with key out, then key in and button open"
		s.Hint = "volts, measured twice"
	}
	return []Step{s}
}

func dead(in Inputs) []Step {
	check := Step{ID: "dead-check", Kind: KindMeasured, Band: Band{-0.05, 0.05, "V"}, Challenge: "Dead circuit: battery off, key out. The bus reads",
		Hint: "enter takes the reading", Needs: NeedLineClosed | NeedBatteryOff | NeedKeyOut}
	if !in.Boxed {
		check.Kind, check.Agree = KindQuantity, 0.02
		check.Challenge, check.Hint = "Dead circuit: battery off, key out. Voltage at the line's end", "volts, twice; try the meter on a known source before and after"
	}
	stray := Step{ID: "stray-current", Kind: KindQuantity, Band: Band{0, strayMostA, "A"}, Agree: 0.005, Needs: NeedLineClosed | NeedBatteryOff | NeedKeyOut,
		Challenge: "Stray current through 1 ohm at the vehicle's end, in A", Hint: "A, twice", Source: "30 CFR 57.6600: suspend above 0.05 A through 1 ohm"}
	steps := []Step{check, stray}
	for i := range steps {
		steps[i].Phase, steps[i].Gate, steps[i].Role = DeadCircuit, GateDead, FiringOfficer
		steps[i].Expires, steps[i].UntilBattery = in.Times.Dead, true
		steps[i].Drops |= DropBoxFault | DropRangeOfficer
	}
	return steps
}

func hookUp() []Step {
	return []Step{
		{ID: "shunt-on", Phase: HookUp, Gate: GateHookUp, Role: FiringOfficer, Kind: KindWords, Needs: NeedBatteryOff | NeedKeyOut,
			Challenge: "Shunt across the firing line at the box end: what do you see?", Hint: "where the shunt sits", Drops: DropRangeOfficer,
			Source: "30 CFR 57.6401: the line is shunted until immediately before firing"},
		{ID: "hook-up", Phase: HookUp, Gate: GateHookUp, Role: HookUpPerson, Kind: KindWords, Needs: NeedLineOpen,
			Challenge: "Forward, alone if possible, eyes protected, not in line with nozzle or line: igniters in, leads on. What is connected where?",
			Hint:      "which lead on which motor, all insulated", Drops: DropLineOpened | DropRangeOfficer,
			Source: "DOE electrical safety handbook 5.1.6.6: insulated leads, firing leads shorted in set-up"},
	}
}

func lineClosed() []Step {
	return []Step{
		{ID: "line-closed", Phase: LineClosed, Gate: GateLine, Role: RangeOfficer, Kind: KindLine, Challenge: "Line CLOSED: everyone who went is counted back, by name",
			Source: "30 CFR 56.6403: open until persons are withdrawn"},
		{ID: "key-held", Phase: LineClosed, Gate: GateLine, Role: RangeOfficer, Kind: KindName, Needs: NeedLineClosed | NeedKeyOut,
			Challenge: "The key is handed to the range officer: in whose hand is it?", Hint: "a name", Drops: DropLineOpened | DropRangeOfficer,
			Source: "30 CFR 57.6405: only the blaster has the key"},
		{ID: "shunt-off", Phase: LineClosed, Gate: GateLine, Role: FiringOfficer, Kind: KindWords, Needs: NeedLineClosed | NeedBatteryOff | NeedKeyOut,
			Challenge: "Shunt off the firing line: what do you see?", Hint: "where the shunt is now", Drops: DropLineOpened | DropRangeOfficer},
	}
}

func clearRange(in Inputs) []Step {
	return []Step{{ID: "range-clear", Phase: Clear, Gate: GateClear, Role: RangeOfficer, Kind: KindWords, Expires: in.Times.RangeClear, Needs: NeedLineClosed,
		Challenge: "Strip, run-off and both sides: what do you see?", Hint: "nobody past the hold line, gate shut", Drops: DropLineOpened | DropRangeOfficer,
		Source: "WAC 212-17-317(7): nobody near during a circuit test"}}
}

func measure(in Inputs) []Step {
	var steps []Step
	for k := range in.Motors {
		s := Step{ID: fmt.Sprintf("continuity/%d", k+1), Kind: KindMeasured, Live: true, Expires: in.Times.Live, Challenge: fmt.Sprintf("Continuity of motor %d, from the hold line", k+1),
			Hint: "enter takes the reading"}
		if !in.Boxed {
			s.Kind, s.Live, s.Expires, s.Agree = KindQuantity, false, in.Times.Typed, max(2*in.MeterOhm, 0.01)
			s.Hint = "ohm, twice, leads lifted between"
		}
		s.Motor, s.Band = k+1, in.Channels[k]
		steps = append(steps, s)
	}
	if !in.Boxed {
		steps = append(steps, Step{ID: "meter-off", Kind: KindWords, Challenge: "Meter off the firing line, before the battery is joined: where is it?", Hint: "where the leads are now"})
	}
	for i := range steps {
		steps[i].Phase, steps[i].Gate, steps[i].Role = Measure, GateContinuity, FiringOfficer
		steps[i].Needs |= NeedLineClosed | NeedKeyOut
		steps[i].RestsOn = []string{"range-clear", "shunt-off"}
		steps[i].Drops |= DropLineOpened | DropBoxFault | DropRangeOfficer
		if steps[i].Source == "" {
			steps[i].Source = "30 CFR 56.6407: measured against the calculated resistance before the source is connected"
		}
	}
	return steps
}

func battery(in Inputs) []Step {
	joined := Step{ID: "battery-joined", Kind: KindMeasured, Live: true, Expires: in.Times.Live, Band: Band{1, 60, "V"}, Needs: NeedBatteryJoined,
		Challenge: "Battery joined: its voltage reads", Hint: "join it, then enter takes the reading", Source: "Canada Explosives Regulations s.436(7): joined last"}
	budget := Step{ID: "battery-budget", Kind: KindMeasured, Live: true, Expires: in.Times.Live, Band: in.Budget, RestsOn: []string{"battery-joined", "prediction"},
		Challenge: "Battery against the current budget", Hint: "enter takes the reading", Source: "14 CFR 417 App. D, batteries (b)(2): 150 % of all-fire at the lowest voltage"}
	steps := []Step{joined, budget}
	for i := range steps {
		steps[i].Phase, steps[i].Gate, steps[i].Role = BatteryJoin, GateBattery, FiringOfficer
		steps[i].Needs |= NeedLineClosed | NeedKeyOut
		steps[i].Drops |= DropLineOpened | DropBatteryChange | DropBoxFault | DropRangeOfficer
		if !in.Boxed {
			steps[i].Kind, steps[i].Live, steps[i].Expires, steps[i].Agree = KindQuantity, false, in.Times.Typed, 0.1
			steps[i].Hint = "volts, twice"
		}
	}
	return steps
}

func poll(in Inputs) []Step {
	steps := []Step{
		{ID: "radios", Gate: GateRadios, Role: RangeOfficer, Kind: KindWords, Expires: in.Times.Weather, Challenge: radiosText(in.Radios),
			Hint: "each transmitter and its distance", Source: "IME SLP-20 table as adopted in W. Va. CSR 36-1-19"},
		{ID: "storm", Gate: GateRadios, Role: RangeOfficer, Kind: KindWords, Expires: in.Times.Weather, Challenge: "Sky all round: cloud, thunder, the last flash?",
			Hint: "what the sky shows", Source: "30 CFR 56.6604: withdraw on the approach of a storm"},
		{ID: "laptop", Gate: GateRadios, Role: FiringOfficer, Kind: KindWords, Expires: in.Times.Proof,
			Challenge: "Laptop: charger unplugged, notices and lock off, this window keeps the keyboard. What do you see?", Hint: "battery share, and what is switched off",
			Source: "WAC 212-17-317(2): no mains leakage into the line"},
	}
	for _, p := range in.Posts {
		steps = append(steps, Step{ID: "spotter/" + p.Name, Gate: GateSpotters, Role: Spotter, Post: p.Name, Kind: KindWords, Expires: in.Times.Spotter, CallWord: true,
			Challenge: fmt.Sprintf("%s: what do you see?", p.Name), Hint: "the word of this call, then what is seen", Drops: DropLineOpened,
			Source: "49 CFR 220.45: a message not fully understood counts as not sent"})
	}
	for i := range steps {
		steps[i].Phase = Poll
		steps[i].Drops |= DropRangeOfficer
	}
	return steps
}

func radiosText(radios []Radio) string {
	if len(radios) == 0 {
		return "Transmitters and phones near the vehicle: which, and how far?"
	}
	var parts []string
	for _, r := range radios {
		parts = append(parts, fmt.Sprintf("%s at %.0f m (%.1f m at least)", r.Name, r.DistanceM, r.LeastM))
	}
	return "Transmitters: " + strings.Join(parts, ", ") + ". And phones: which, how far?"
}

// mergeExtra puts the sheet's further steps behind the built-in ones of their
// phase. They drop with the range officer like all others.
func mergeExtra(steps, extra []Step) []Step {
	for n, e := range extra {
		e.ID = fmt.Sprintf("sheet/%d", n+1)
		e.Gate, e.Kind = cmp.Or(phaseGates[e.Phase], GateSheet), KindWords
		e.Drops |= DropRangeOfficer
		if e.Role == RoleNone || e.Role == Spotter || e.Role == HookUpPerson {
			e.Role = RangeOfficer
		}
		at := len(steps)
		for at > 0 && (steps[at-1].Phase > e.Phase || steps[at-1].Phase == e.Phase && steps[at-1].Gate > e.Gate) {
			at--
		}
		steps = slices.Insert(steps, at, e)
	}
	return steps
}

// phaseGates are the gates that further steps belong to, by phase, so that the
// chain breaks where the step at hand is; GateSheet for any other phase.
var phaseGates = map[Phase]Gate{
	Briefing: GateCrew, Site: GateSite, VehicleCheck: GateSite, ContactProof: GateProof, DeadCircuit: GateDead, HookUp: GateHookUp,
	LineClosed: GateLine, Clear: GateClear, Measure: GateContinuity, BatteryJoin: GateBattery, Poll: GateRadios,
}

// Lasts returns a duration as people say it.
func Lasts(d time.Duration) string {
	switch {
	case d >= 2*time.Hour:
		return fmt.Sprintf("%.0f h", d.Hours())
	case d >= 2*time.Minute:
		return fmt.Sprintf("%.0f min", d.Minutes())
	}
	return fmt.Sprintf("%.0f s", d.Seconds())
}
