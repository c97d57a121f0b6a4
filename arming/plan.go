package arming

import (
	"errors"
	"fmt"
	"time"

	"holdline/checklist"
)

// Mode is how the firing is measured, and with it whether the laptop has a
// contact in the firing loop at all.
type Mode int

// The modes. The zero value can do nothing.
const (
	ModeUnknown Mode = iota
	ModeBox          // ground box: readings and a permit contact
	ModeMeter        // multimeter over serial: readings, no permit contact
	ModeTyped        // numbers typed off a meter, no permit contact
)

var modeNames = []string{"unknown", "ground box", "meter", "typed"}

// String returns the mode as screen and record say it.
func (m Mode) String() string { return nameOf(modeNames, m, "mode") }

// Plan is what a firing is set up with. It is constant from the first event
// to the last; a record has enough to build it again.
type Plan struct {
	Mode      Mode
	Practice  bool // decided by the device
	Motors    int  // 1 to checklist.MaxMotors
	Posts     []string
	Steps     []checklist.Step
	Times     checklist.Times
	WaitSpeed int // 1; more only in practice, where waits may run faster
	// What the record's first entry says too, so that neither can be changed alone.
	SheetSHA256 string
	Box         string // identity
	// FirstRules replays a record of the first edition: nobody was asked a step
	// that the sheet had added without a gate, anybody went forward, and an
	// acceptance was of the whole range of wind and mass.
	FirstRules bool
}

// Edition is which rules a firing goes by that is begun now. A record without
// one is of the first.
const Edition = 2

// Validate returns every fault of the plan, joined.
func (p *Plan) Validate() error {
	var errs []error
	add := func(format string, args ...any) { errs = append(errs, fmt.Errorf("arming: plan: "+format, args...)) }
	if p.Mode <= ModeUnknown || p.Mode > ModeTyped {
		add("mode %v", p.Mode)
	}
	if p.Motors < 1 || p.Motors > checklist.MaxMotors {
		add("%d motors, 1 to %d can be fired", p.Motors, checklist.MaxMotors)
	}
	if len(p.Posts) > checklist.MaxPosts {
		add("%d posts, at most %d", len(p.Posts), checklist.MaxPosts)
	}
	if len(p.Steps) > checklist.MaxSteps {
		add("%d steps, at most %d", len(p.Steps), checklist.MaxSteps)
	}
	if p.WaitSpeed < 1 || (p.WaitSpeed > 1 && !p.Practice) {
		add("wait speed %d, only practice may run faster than 1", p.WaitSpeed)
	}
	errs = append(errs, p.validateTimes()...)
	seen := map[string]bool{}
	for _, st := range p.Steps {
		for _, base := range st.RestsOn {
			if !seen[base] {
				add("step %q rests on %q, which does not come before it", st.ID, base)
			}
		}
		if seen[st.ID] {
			add("step %q stands twice", st.ID)
		}
		if st.Advisory && (!st.Waivable() || p.restedOn(st.ID)) {
			add("step %q is marked advisory, and a core gate is it or rests on it", st.ID)
		}
		for _, base := range st.Balance {
			if base != "" && !seen[base] {
				add("step %q balances with %q, which does not come before it", st.ID, base)
			}
		}
		seen[st.ID] = true
	}
	for _, id := range coreSteps(p) {
		if !seen[id] {
			add("core step %q is missing", id)
		}
	}
	return errors.Join(errs...)
}

// validateTimes compares the plan's times with the bounds of the design.
func (p *Plan) validateTimes() []error {
	var errs []error
	b := checklist.Bounds()
	check := func(name string, v, least, most time.Duration) {
		if v <= 0 || v < least || (most > 0 && v > most) {
			errs = append(errs, fmt.Errorf("arming: plan: %s %v, must be %v to %v", name, v, least, most))
		}
	}
	check("range clear", p.Times.RangeClear, b.Least.RangeClear, b.Most.RangeClear)
	check("spotter", p.Times.Spotter, b.Least.Spotter, b.Most.Spotter)
	check("live reading", p.Times.Live, b.Least.Live, b.Most.Live)
	check("typed reading", p.Times.Typed, b.Least.Typed, b.Most.Typed)
	check("weather", p.Times.Weather, b.Least.Weather, b.Most.Weather)
	check("dead check", p.Times.Dead, b.Least.Dead, b.Most.Dead)
	check("contact proof", p.Times.Proof, b.Least.Proof, b.Most.Proof)
	check("armed", p.Times.Armed, b.Least.Armed, b.Most.Armed)
	check("count", p.Times.Count, b.Least.Count, b.Most.Count)
	check("window", p.Times.Window, b.Least.Window, b.Most.Window)
	check("permit", p.Times.Permit, b.Least.Permit, b.Most.Permit)
	check("wait", p.Times.Wait, b.Least.Wait, b.Most.Wait)
	if fault := p.Times.PausesFault(); fault != "" {
		errs = append(errs, fmt.Errorf("arming: plan: %s", fault))
	}
	return errs
}

// index returns the position of the step, or -1.
func (p *Plan) index(id string) int {
	for i := range p.Steps {
		if p.Steps[i].ID == id {
			return i
		}
	}
	return -1
}

// restedOn reports whether another step rests on the one named.
func (p *Plan) restedOn(id string) bool {
	for i := range p.Steps {
		for _, base := range p.Steps[i].RestsOn {
			if base == id {
				return true
			}
		}
	}
	return false
}

// Step identifiers that the machine itself looks at.
const (
	StepFiringOfficer = "crew/firing officer"
	StepRangeOfficer  = "crew/range officer"
	StepCode          = "code"
	StepPrediction    = "prediction"
	StepProof         = "contact-proof"
	StepDead          = "dead-check"
	StepShuntOn       = "shunt-on"
	StepHookUp        = "hook-up"
	StepLine          = "line-closed"
	StepKeyHeld       = "key-held"
	StepShuntOff      = "shunt-off"
	StepRangeClear    = "range-clear"
	StepBattery       = "battery-joined"
	StepBudget        = "battery-budget"
	StepRadios        = "radios"
	StepStorm         = "storm"
)

// StepContinuity, StepCrewSpotter and StepSpotter name the steps that exist
// once for each motor or post.
func StepContinuity(motor int) string { return fmt.Sprintf("continuity/%d", motor) }

// StepCrewSpotter is the sign-on of the spotter at a post.
func StepCrewSpotter(post string) string { return "crew/" + post }

// StepSpotter is the report of the spotter at a post.
func StepSpotter(post string) string { return "spotter/" + post }

// coreSteps lists the steps that no plan can lack.
func coreSteps(p *Plan) []string {
	ids := []string{StepFiringOfficer, StepRangeOfficer, StepCode, StepPrediction, StepProof, StepDead, StepShuntOn,
		StepHookUp, StepLine, StepKeyHeld, StepShuntOff, StepRangeClear, StepBattery, StepBudget, StepRadios, StepStorm}
	for m := 1; m <= p.Motors; m++ {
		ids = append(ids, StepContinuity(m))
	}
	for _, post := range p.Posts {
		ids = append(ids, StepCrewSpotter(post), StepSpotter(post))
	}
	return ids
}
