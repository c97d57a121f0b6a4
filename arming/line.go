package arming

import (
	"fmt"
	"slices"
	"strings"

	"holdline/checklist"
)

// mayOpen refuses unless the line may open now: key out, battery off, permit
// open, bus dead, test current off, each fresh (R-06, I-07).
func (m *machine) mayOpen(what string) error {
	if err := m.needs(what, checklist.NeedPermitOpen); err != nil {
		return err
	}
	return m.mayGo(what)
}

// mayGo refuses unless one person may go forward to make safe. The permit is
// not asked for here: a relay that has welded stays closed for good, and key
// and battery, both read off, each open the loop without it.
func (m *machine) mayGo(what string) error {
	if err := m.needs(what, checklist.NeedKeyOut|checklist.NeedBatteryOff|checklist.NeedBusDead); err != nil {
		return err
	}
	if m.s.PermitWanted {
		return m.refuse(what+": the permit is wanted closed", "")
	}
	if m.p.Mode != ModeBox {
		return nil
	}
	if m.s.Box.Pole1 == ContactClosed || m.s.Box.Pole2 == ContactClosed {
		return m.refuse(what+": the button reads closed", "let go of the button")
	}
	if m.s.LeaseWanted {
		return m.refuse(what+": the test current is on", "put the shunt on first, that ends it")
	}
	// A snapshot from before the lease shows nothing, and an OFF can stay in the
	// cable: off is what was read after it.
	if m.s.TestCurrent || m.s.Box.measuring(m.p) {
		return m.refuse(what+": the test current is not yet off", "try again in a few seconds")
	}
	return nil
}

// onOpenLine lets named people go forward, by the range officer's order.
func (m *machine) onOpenLine(ev OpenLine) error {
	const what = "line OPEN"
	switch {
	case m.s.Phase != Setup:
		return m.refuse("the line opens in SETUP, this is "+m.s.Phase.String(), "after a run it opens with the order to go forward")
	case m.s.Line != LineClosed:
		return m.refuse("the line is "+m.s.Line.String(), "close it by count first: who is forward now must be known")
	case m.s.Crew.Range == "" || !sameName(ev.By, m.s.Crew.Range):
		return m.refuse("only the range officer opens the line", "")
	case !m.s.Shunted:
		return m.refuse(what+": the firing line is not shunted", "put the shunt on at the box end")
	}
	if err := m.judgeForward(ev); err != nil {
		return err
	}
	for _, id := range []string{StepProof, StepDead} {
		if ok, why := m.s.Stands(m.p, m.p.index(id)); !ok {
			return m.refuse(fmt.Sprintf("%s: %s does not stand, %s", what, id, why), "igniters are connected on a proved, dead circuit only")
		}
	}
	if err := m.mayOpen(what); err != nil {
		return err
	}
	return m.ask(ev, func() {
		m.s.Line, m.s.Hooked, m.s.Warned = LineOpen, true, Warned{}
		m.s.Crew.Forward, m.s.Crew.KeyWith = ev.Names, ev.Key
		for k := range m.s.Fate {
			m.s.Fate[k] = FateUnknown
		}
		m.drop(checklist.DropLineOpened, "the line opened")
		m.notice("line OPEN: " + strings.Join(m.s.ForwardNames(), ", ") + " forward, the key with " + ev.Key)
	})
}

// onSignOn takes a name for the hook-up, which no step of the routine asks for.
func (m *machine) onSignOn(ev SignOn) error {
	name := strings.TrimSpace(ev.Name)
	free := slices.Index(m.s.Crew.HookUp[:], "")
	switch {
	case m.s.Phase >= Armed && m.s.Phase <= Run || m.s.Phase == Closed:
		return m.refuse("nobody signs on in "+m.s.Phase.String(), "")
	case name == "" || len([]rune(name)) > 40:
		return m.refuse("a name of 1 to 40 characters is due", "")
	case ev.Role != checklist.HookUpPerson:
		return m.refuse("the "+ev.Role.String()+" signs on at the briefing", "here the hook-up person does")
	case m.s.Crew.Range == "":
		return m.refuse("the range officer has not signed on", "sign on first")
	case m.s.Crew.role(name) != "":
		return m.refuse(name+" has signed on as "+m.s.Crew.role(name), "")
	case free < 0:
		return m.refuse("nobody more can sign on", "")
	}
	return m.ask(ev, func() {
		m.s.Crew.HookUp[free] = name
		m.notice(name + " signed on: " + ev.Role.String())
	})
}

// role is what a name has signed on as, "" for a stranger.
func (c *Crew) role(name string) string {
	is := func(other string) bool { return sameName(name, other) }
	switch {
	case strings.TrimSpace(name) == "":
		return ""
	case is(c.Range):
		return checklist.RangeOfficer.String()
	case is(c.Firing):
		return checklist.FiringOfficer.String()
	case slices.ContainsFunc(c.Spotter[:], is):
		return checklist.Spotter.String()
	case slices.ContainsFunc(c.HookUp[:], is):
		return checklist.HookUpPerson.String()
	}
	return ""
}

// SignedOn reports whether a name is one of the crew.
func (c *Crew) SignedOn(name string) bool { return c.role(name) != "" }

// MayGo says why a person may not be sent forward, and what helps; why is ""
// when they may: they have signed on, and are not needed where they stand.
func (c *Crew) MayGo(p *Plan, name string) (why, remedy string) {
	switch role := c.role(name); {
	case role == checklist.RangeOfficer.String():
		return "the range officer stays at the line", "name somebody else"
	case p.FirstRules:
	case role == "":
		return name + " has not signed on", "sign on first, with a role"
	case role == checklist.Spotter.String():
		return name + " is a spotter and stays at the post", "name somebody else"
	}
	return "", ""
}

// judgeForward compares the names of those who go with each other.
func (m *machine) judgeForward(ev OpenLine) error {
	key := false
	for k, name := range ev.Names {
		if strings.TrimSpace(name) == "" {
			continue
		}
		if why, remedy := m.s.Crew.MayGo(m.p, name); why != "" {
			return m.refuse(why, remedy)
		}
		key = key || sameName(name, ev.Key)
		for _, other := range ev.Names[:k] {
			if sameName(name, other) {
				return m.refuse(fmt.Sprintf("%s is named twice", name), "")
			}
		}
	}
	if !key {
		return m.refuse("the key goes in the pocket of one of those who go", "name who carries it")
	}
	return nil
}

// ForwardNames lists who is forward.
func (s *State) ForwardNames() []string {
	var out []string
	for _, n := range s.Crew.Forward {
		if n != "" {
			out = append(out, n)
		}
	}
	return out
}

// onCloseLine closes the line by count: of the names that went, or, when
// nobody knows who went, of everybody signed on. It waits for no disk (I-27).
func (m *machine) onCloseLine(ev CloseLine) error {
	switch {
	case m.s.Phase != Setup && m.s.Phase != Wait && m.s.Phase != MakeSafe && m.s.Phase != Hold:
		return m.refuse("the line is closed in SETUP, HOLD, WAIT and MAKESAFE", "")
	case m.s.Line == LineClosed:
		return m.refuse("the line is CLOSED already", "")
	case m.s.Crew.Range == "" || !sameName(ev.By, m.s.Crew.Range):
		return m.refuse("only the range officer closes the line", "")
	}
	want, of := len(m.s.ForwardNames()), "went forward"
	if m.s.Line == LineUnknown {
		want, of = m.s.Crew.people(), "signed on or went forward and must stand behind the line"
	}
	if ev.Count != want {
		return m.refuse(fmt.Sprintf("%d counted, %d %s", ev.Count, want, of), "count again, by name")
	}
	m.s.Line, m.s.Crew.Forward = LineClosed, [checklist.MaxPosts]string{}
	m.s.Warned = Warned{}
	m.notice(fmt.Sprintf("line CLOSED: %d counted", ev.Count))
	return nil
}

// everyoneBack makes the line unknown: nobody can say any more who is where.
func (m *machine) everyoneBack(why string) {
	m.lineUnknown()
	m.loud("EVERYONE BACK: " + why)
}

func (m *machine) lineUnknown() {
	if m.s.Line != LineUnknown {
		m.s.Line = LineUnknown
		m.drop(checklist.DropLineOpened, "everyone back")
	}
}
