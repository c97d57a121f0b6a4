package report

import (
	"strings"
	"time"

	"holdline/arming"
	"holdline/arming/record/export"
)

// happened takes an event that took effect, for what no state holds.
func (w *walk) happened(l *eventLine, ev arming.Event) {
	switch ev := ev.(type) {
	case arming.Answer:
		w.miscounted(l, ev)
	case arming.ArmEntry:
		w.entryAt, w.entryBy, w.wrong = w.at, ev.By, 0
	case arming.Code:
		if !ev.Matched {
			w.wrong++
		}
	case arming.StartCount:
		if w.attempt != nil {
			w.attempt.CountBy = ev.By
		}
	case arming.HoldBy:
		w.called(ev.Name)
	case arming.Waive:
		w.waived(ev)
	case arming.Observe:
		w.observed(ev)
	case arming.Inspect:
		m := &w.motors[ev.Motor-1]
		m.Found, m.FoundBy, m.FoundAt = ev.Found, ev.By, stamp(w.at)
	case arming.GoForward:
		w.d.MakeSafe = export.MakeSafe{Forward: ev.Person, ForwardAt: stamp(w.at), OrderedBy: ev.By, KeyWith: ev.Person}
	case arming.Say:
		w.saidSafe(ev)
	case arming.CloseLine:
		if w.after.Phase == arming.MakeSafe {
			w.d.MakeSafe.BackAt = stamp(w.at)
		}
	case arming.Result:
		w.result(ev)
	case arming.AllClear:
		w.d.MakeSafe.AllClearBy, w.d.MakeSafe.AllClearAt = ev.By, stamp(w.at)
	}
}

// called names who called the newest stop, as asked afterwards.
func (w *walk) called(name string) {
	switch {
	case w.back >= 0:
		w.d.Holds[w.back].Caller = name
	case w.hold != nil:
		w.hold.Caller = name
	}
}

func (w *walk) saidSafe(ev arming.Say) {
	m := &w.d.MakeSafe
	switch ev.Fact {
	case arming.FactShunted:
		m.ShuntedBy, m.ShuntedAt = ev.By, stamp(w.at)
	case arming.FactFireWatched:
		m.FireBy, m.FireAt = ev.By, stamp(w.at)
	}
}

func (w *walk) result(ev arming.Result) {
	r := &export.Result{At: stamp(w.at), Words: ev.Words}
	if ev.HasRest {
		r.RestM = &ev.RestM
	}
	if ev.HasSpeed {
		r.SpeedMps = &ev.SpeedMps
	}
	w.d.Result = r
}

// armedNow begins an attempt and takes the age of every answer: this is the
// moment that the record is read for.
func (w *walk) armedNow() {
	w.attempt = &export.Attempt{ArmedBy: w.entryBy, EntryAt: stamp(w.entryAt), CodeAt: stamp(w.at), WrongCodes: w.wrong}
	w.armed = true
	for i := range w.rep.Plan.Steps {
		a, e := &w.checks[i], &w.after.Evidence[i]
		a.ageS, a.stood = nil, false
		ok, _ := w.after.Stands(w.rep.Plan, i)
		a.stood = ok
		if e.Present {
			age := w.after.Now.Since(e.At).Seconds()
			a.last, a.ageS = *e, &age
		}
	}
}

// counting takes the way from ARMED to RUN.
func (w *walk) counting(to arming.Phase) {
	if w.attempt == nil {
		return
	}
	times := &w.rep.Plan.Times
	switch to {
	case arming.Count:
		w.attempt.CountAt, w.attempt.CountS = stamp(w.at), times.Count.Seconds()
	case arming.Window:
		w.attempt.WindowAt, w.attempt.WindowS = stamp(w.at), times.Window.Seconds()
	case arming.Run:
		w.pressAt = w.at
		w.attempt.PressAt = stamp(w.at)
	}
}

// permit follows the one contact of the laptop, and the key.
func (w *walk) permit(l *eventLine) {
	if w.attempt == nil {
		return
	}
	if w.after.KeyInArmed && !w.before.KeyInArmed {
		w.attempt.KeyAt = stamp(w.at)
	}
	if l.has("permit_on") {
		w.permitAt = w.at
	}
	if l.has("permit_off") && !w.permitAt.IsZero() {
		w.attempt.PermitS = seconds(w.at.Sub(w.permitAt))
		w.permitAt = time.Time{}
	}
}

func seconds(d time.Duration) *float64 {
	s := d.Seconds()
	return &s
}

func (w *walk) endAttempt(l *eventLine) {
	a := w.attempt
	a.EndAt, a.End = stamp(w.at), stopText(l)
	if w.before.Phase == arming.Run {
		a.PressS = seconds(w.at.Sub(w.pressAt))
	}
	w.d.Attempts, w.attempt = append(w.d.Attempts, *a), nil
}

// stopText is the machine's sentence about why something ended.
func stopText(l *eventLine) string {
	for _, prefix := range []string{"HOLD: ", "WAIT from full: ", "MAKESAFE: "} {
		if text := l.notice(prefix); text != "" {
			return text
		}
	}
	return ""
}

func (w *walk) proof(l *eventLine) {
	p := export.Proof{From: stamp(w.proofAt), To: stamp(w.at), Why: l.notice("contact proof failed: ")}
	p.Passed = p.Why == ""
	w.d.Proofs = append(w.d.Proofs, p)
}

// Ends of a window that are as they should be.
var ordinary = []string{"button let go", "the window is over, nobody pressed", "3 s after the press: the permit is open again"}

// stops takes a HOLD and its end, and a WAIT that came of a stop after the
// permit.
func (w *walk) stops(l *eventLine) {
	from, to := w.before.Phase, w.after.Phase
	switch {
	case to == arming.Hold:
		w.endHold("no pulse began")
		w.beginHold("HOLD", from, w.after.HoldWhy)
	case from == arming.Hold:
		w.endHold(holdEnd(l, to))
	case to == arming.Wait && (from == arming.Window || from == arming.Run):
		why := l.notice("WAIT from full: ")
		for _, usual := range ordinary {
			if why == usual {
				return
			}
		}
		w.beginHold("WAIT", from, why)
	case from == arming.Wait:
		w.endHold("the wait ended")
	}
}

func (w *walk) beginHold(kind string, from arming.Phase, why string) {
	w.back = -1
	w.hold = &export.Hold{At: stamp(w.at), Kind: kind, From: from.String(), Why: why, Called: calledBy(why)}
}

// calledBy reports a stop that a person called or ordered.
func calledBy(why string) bool {
	return why == "called" || strings.HasPrefix(why, "HOLD called") || strings.HasPrefix(why, "scrubbed")
}

func holdEnd(l *eventLine, to arming.Phase) string {
	for _, prefix := range []string{"resumed by ", "MAKESAFE: "} {
		if text := l.notice(prefix); text != "" {
			return strings.TrimPrefix(prefix, "MAKESAFE: ") + text
		}
	}
	return "went to " + to.String()
}

func (w *walk) endHold(how string) {
	if w.hold == nil {
		return
	}
	w.hold.Ended, w.hold.End, w.back = stamp(w.at), how, -1
	w.d.Holds, w.hold = append(w.d.Holds, *w.hold), nil
}

// waits follows WAIT: its begin, what set it to full again, its end.
func (w *walk) waits(l *eventLine) {
	from, to := w.before.Phase, w.after.Phase
	why := l.notice("WAIT from full: ")
	switch {
	case to == arming.Wait && from != arming.Wait:
		p := w.rep.Plan
		w.wait = &export.Wait{At: stamp(w.at), Why: why, LengthS: p.Times.Wait.Seconds(), Speed: p.WaitSpeed, Restarts: []export.Restart{}}
	case to == arming.Wait && why != "" && w.wait != nil:
		w.wait.Restarts = append(w.wait.Restarts, export.Restart{At: stamp(w.at), Why: why})
		w.wait.OverAt = export.Stamp{}
	case from == arming.Wait && to != arming.Wait:
		w.endWait(waitEnd(to))
	}
}

func waitEnd(to arming.Phase) string {
	switch to {
	case arming.MakeSafe:
		return "MAKESAFE by order"
	case arming.Hold:
		return "HOLD: the box shows that no pulse began"
	}
	return "went to " + to.String()
}

func (w *walk) endWait(how string) {
	if w.wait == nil {
		return
	}
	w.wait.EndAt, w.wait.End = stamp(w.at), how
	w.d.Waits, w.wait = append(w.d.Waits, *w.wait), nil
}

// passed looks at what time alone has done.
func (w *walk) passed() {
	if w.wait != nil && w.wait.OverAt.IsZero() && w.after.Phase == arming.Wait && w.after.WaitLeft == 0 {
		w.wait.OverAt = stamp(w.at)
	}
}

// lines follows the hold line.
func (w *walk) lines(l *eventLine) {
	if back := l.notice("EVERYONE BACK: "); back != "" {
		w.back = len(w.d.Holds)
		w.d.Holds = append(w.d.Holds, export.Hold{At: stamp(w.at), Kind: "EVERYONE BACK", From: w.before.Phase.String(), Why: back,
			Called: calledBy(back), Ended: stamp(w.at), End: "the line is UNKNOWN until everyone is counted"})
	}
	switch {
	case w.before.Line == w.after.Line:
	case w.after.Line == arming.LineOpen:
		o := &export.Opening{At: stamp(w.at), KeyWith: w.after.Crew.KeyWith, Phase: w.after.Phase.String(), Names: []string{}}
		for _, name := range w.after.Crew.Forward {
			if name != "" {
				o.Names = append(o.Names, name)
			}
		}
		w.opening = o
	case w.before.Line == arming.LineOpen && w.after.Line == arming.LineClosed:
		w.endOpening("CLOSED: " + l.notice("line CLOSED: "))
	case w.before.Line == arming.LineOpen:
		w.endOpening("UNKNOWN: who is forward is not known any more")
	}
}

func (w *walk) endOpening(how string) {
	if w.opening == nil {
		return
	}
	w.opening.Ended, w.opening.End = stamp(w.at), how
	w.d.Openings, w.opening = append(w.d.Openings, *w.opening), nil
}
