package arming

import (
	"fmt"
	"math"
	"strconv"
	"time"

	"holdline/checklist"
)

// liveLead is how old a snapshot may be where a fact is asked for outside the
// count; freshWindow is the same at zero (I-02).
const (
	liveLead    = 2 * time.Second
	freshWindow = 300 * time.Millisecond
)

// Blocker is one reason why the firing cannot go on. Screen, record and
// refusals use the same words.
type Blocker struct {
	Gate checklist.Gate
	Step int // index into Plan.Steps, -1 for a fact that belongs to no step
	Why  string
}

// noEnd is the age left of evidence that does not age.
const noEnd = time.Duration(math.MaxInt64)

// fresh reports whether the box's last snapshot may be believed at s.Now.
func (s *State) fresh(limit time.Duration) bool {
	return s.Box.Up && s.Now.Since(s.Box.Seen) <= limit
}

// Left returns how long the answer to step i still lasts by its own age:
// noEnd where it does not age, 0 or less once it is stale or absent.
func (s *State) Left(p *Plan, i int) time.Duration {
	e, st := &s.Evidence[i], &p.Steps[i]
	switch {
	case !e.Present:
		return 0
	case st.Expires == 0:
		return noEnd
	case st.UntilBattery && s.BatterySeen:
		// The dead check lasts until the battery is joined; from then on the
		// bus is read dead all the time instead.
		return noEnd
	case st.Live && st.Motor > 0 && p.Mode == ModeBox && (s.Phase == Window || s.Phase == Run):
		// The permit ended the measuring lease: what stood at zero stands.
		return noEnd
	}
	return st.Expires - s.Now.Since(e.At)
}

// MaxAge is how long an answer to a step without an end of its own is shown
// to last: for ever.
const MaxAge = noEnd

// Stands reports whether step i stands, and if not, why in one sentence.
func (s *State) Stands(p *Plan, i int) (bool, string) {
	st, e := &p.Steps[i], &s.Evidence[i]
	if st.Kind == checklist.KindLine {
		if s.Line != LineClosed {
			return false, "the line is " + s.Line.String()
		}
	} else if !e.Present {
		return false, "not answered"
	}
	if s.Left(p, i) <= 0 && st.Kind != checklist.KindLine {
		return false, fmt.Sprintf("the answer is older than %s", st.Expires)
	}
	if st.Live && p.Mode == ModeBox && !s.fresh(p.Times.Live) {
		return false, "no fresh reading from the box"
	}
	if ok, why := s.factStands(p, st); !ok {
		return false, why
	}
	for _, base := range st.RestsOn {
		j := p.index(base)
		if j < 0 || j >= i {
			return false, fmt.Sprintf("rests on %q, which does not exist", base)
		}
		if ok, _ := s.Stands(p, j); !ok {
			return false, "rests on " + strconv.Quote(base) + ", which does not stand"
		}
	}
	return true, ""
}

// factStands compares a few core steps with what is read now, beyond the
// answer that was given.
func (s *State) factStands(p *Plan, st *checklist.Step) (bool, string) {
	switch st.ID {
	case StepProof:
		if s.BoxFault {
			return false, "a box fault came after it"
		}
	case StepDead:
		if p.Mode == ModeBox && s.Phase != Run && s.fresh(liveLead) && s.Box.Bus.Level != LevelDead {
			return false, "the firing bus does not read dead"
		}
	case StepBattery:
		if p.Mode == ModeBox && s.fresh(liveLead) && s.Box.Battery.Millivolt < 1000 {
			return false, "no battery is read"
		}
	}
	return true, ""
}

// required reports whether the step is a contact of the chain: all that are
// asked before arming. One that the sheet calls optional is passed over by a
// person's key, never by itself.
func (p *Plan) required(st *checklist.Step) bool {
	return st.Phase <= checklist.Poll && !p.skips(st)
}

// skips reports a step that nobody had to answer under the first edition's rules.
func (p *Plan) skips(st *checklist.Step) bool { return st.Optional && p.FirstRules }

// CallWord is the two-digit word that the spotter at step i repeats, so that
// silence or an old call is never taken for ready. It changes with
// every entry written, and follows from the state, so that a replay knows it.
func (s *State) CallWord(i int) string {
	return fmt.Sprintf("%02d", 10+(int(s.OnDisk)*37+i*29+11)%90)
}

// Blockers lists, in the plan's order, every step that does not stand, then
// the facts that stand in the way of arming. An empty list is what READY
// means.
func (s *State) Blockers(p *Plan) []Blocker {
	var out []Blocker
	for i := range p.Steps {
		if !p.required(&p.Steps[i]) {
			continue
		}
		if ok, why := s.Stands(p, i); !ok {
			out = append(out, Blocker{p.Steps[i].Gate, i, p.Steps[i].ID + ": " + why})
		}
	}
	fact := func(g checklist.Gate, why string) { out = append(out, Blocker{g, -1, why}) }
	if !s.Hooked {
		fact(checklist.GateHookUp, "nothing is hooked up")
	}
	if s.NoRecord {
		fact(checklist.GateNone, "no record: the last line could not be written")
	}
	if p.Mode != ModeBox {
		return out
	}
	switch {
	case !s.fresh(liveLead):
		fact(checklist.GateNone, "no fresh answer from the box")
	default:
		if s.Box.Pole1 != ContactOpen || s.Box.Pole2 != ContactOpen {
			fact(checklist.GateNone, "the button does not read open on both poles")
		}
		if !s.PermitWanted && s.Box.Permit != ContactOpen {
			fact(checklist.GateNone, "the permit does not read open")
		}
		if s.Box.Pulses < 0 {
			fact(checklist.GateNone, "the box does not know its pulse count: have it serviced")
		}
	}
	return out
}

// Cursor returns the index of the step at hand: the first that was never
// answered or was withdrawn, else the first that has lapsed, else -1.
func (s *State) Cursor(p *Plan) int {
	lapsed := -1
	for i := range p.Steps {
		st := &p.Steps[i]
		if !p.required(st) {
			continue
		}
		if ok, _ := s.Stands(p, i); ok {
			continue
		}
		if st.Kind == checklist.KindLine || !s.Evidence[i].Present {
			return i
		}
		if lapsed < 0 && s.ownFault(p, i) {
			lapsed = i
		}
	}
	return lapsed
}

// ownFault reports whether step i has lapsed for a reason of its own and not
// because of what it rests on.
func (s *State) ownFault(p *Plan, i int) bool {
	for _, base := range p.Steps[i].RestsOn {
		if ok, _ := s.Stands(p, p.index(base)); !ok {
			return false
		}
	}
	return true
}

// Link is one contact of the chain: a gate with how it stands.
type Link struct {
	Gate   checklist.Gate
	Stands bool
	Why    string        // of the first step that does not stand
	Step   int           // that step, -1 when it stands
	Left   time.Duration // the shortest age left of its steps, MaxAge for none
	Of     time.Duration // the whole age that Left runs down from
	Steps  int
	Done   int
}

// Chain returns the gates in order as contacts of one series line.
func (s *State) Chain(p *Plan) []Link {
	out := make([]Link, 0, len(checklist.Gates()))
	for _, g := range checklist.Gates() {
		l := Link{Gate: g, Stands: true, Step: -1, Left: MaxAge}
		for i := range p.Steps {
			if p.Steps[i].Gate != g || !p.required(&p.Steps[i]) {
				continue
			}
			l.Steps++
			ok, why := s.Stands(p, i)
			if ok {
				l.Done++
			} else if l.Stands {
				l.Stands, l.Why, l.Step = false, why, i
			}
			if left := s.Left(p, i); s.Evidence[i].Present && left < l.Left {
				l.Left, l.Of = left, p.Steps[i].Expires
			}
		}
		if l.Steps > 0 {
			out = append(out, l)
		}
	}
	return out
}

// NotSafe lists why the circuit is not proved safe. An empty list is the only
// thing that allows the word SAFE: key out, battery off, permit open,
// bus dead, no live or unknown motor, all read fresh.
func (s *State) NotSafe(p *Plan) []string {
	var why []string
	if p.Mode != ModeBox {
		return append(why, "no box reads the circuit")
	}
	if !s.fresh(liveLead) {
		return append(why, "no fresh answer from the box")
	}
	add := func(bad bool, text string) {
		if bad {
			why = append(why, text)
		}
	}
	add(s.Box.Key != ContactOpen, "key in")
	add(s.Box.Battery.Level != LevelDead, fmt.Sprintf("battery joined, %.2f V", float64(s.Box.Battery.Millivolt)/1000))
	add(s.Box.Permit != ContactOpen, "permit not open")
	add(s.Box.Bus.Level != LevelDead, "bus not dead")
	if n := s.Live(p); n > 0 {
		why = append(why, fmt.Sprintf("%d %s live", n, plural(n, "motor")))
	}
	return why
}

func plural(n int, word string) string {
	if n == 1 {
		return word
	}
	return word + "s"
}

// lasting reports whether every answer lasts until the given time from now,
// and if not, names the shortest.
func (s *State) lasting(p *Plan, need time.Duration) (bool, string) {
	shortest, at := noEnd, -1
	for i := range p.Steps {
		st := &p.Steps[i]
		if !p.required(st) || st.Kind == checklist.KindLine || (st.Live && p.Mode == ModeBox) {
			continue
		}
		if left := s.Left(p, i); left < shortest {
			shortest, at = left, i
		}
	}
	if shortest >= need {
		return true, ""
	}
	return false, fmt.Sprintf("%s lasts %d s more, the count and the window need %d s", p.Steps[at].ID,
		int(shortest.Seconds()), int(need.Seconds()))
}

// SaidLately reports whether a person has said that the key is out, the battery
// off or the bus dead, and no longer ago than a typed reading counts.
func (s *State) SaidLately(p *Plan, fact Fact) bool {
	at, said := s.Said.KeyOut, s.Said.KeyOutSaid
	switch fact {
	case FactBatteryOff:
		at, said = s.Said.BatteryOff, s.Said.BatteryOffSaid
	case FactBusDead:
		at, said = s.Said.BusDead, s.Said.BusDeadSaid
	}
	return said && s.Now.Since(at) <= p.Times.Typed
}

// keyOut, busDead, batteryOff and permitOpen are facts as the box reads them,
// or, where there is no box, as a person has said them.
func (s *State) keyOut(p *Plan) bool {
	if p.Mode == ModeBox {
		return s.fresh(liveLead) && s.Box.Key == ContactOpen
	}
	return s.SaidLately(p, FactKeyOut)
}

func (s *State) busDead(p *Plan) bool {
	if p.Mode == ModeBox {
		return s.fresh(liveLead) && s.Box.Bus.Level == LevelDead
	}
	return s.SaidLately(p, FactBusDead)
}

func (s *State) batteryOff(p *Plan) bool {
	if p.Mode == ModeBox {
		return s.fresh(liveLead) && s.Box.Battery.Level == LevelDead
	}
	return s.SaidLately(p, FactBatteryOff)
}

func (s *State) permitOpen(p *Plan) bool {
	if p.Mode == ModeBox {
		return s.fresh(liveLead) && s.Box.Permit == ContactOpen && !s.PermitWanted
	}
	return true // there is no permit contact
}

func (s *State) batteryJoined(p *Plan) bool {
	if p.Mode == ModeBox {
		return s.fresh(liveLead) && s.Box.Battery.Millivolt > 1000
	}
	return true // the typed voltage itself shows it
}
