package report

import (
	"encoding/json"
	"slices"
	"strings"
	"time"
	"unicode"

	"holdline/arming"
	"holdline/arming/drill"
	"holdline/arming/record"
	"holdline/arming/record/export"
	"holdline/arming/record/journal"
	"holdline/checklist"
)

// walk follows a record line by line. It holds the machine's state before and
// after each line against each other; what a state does not tell it takes from
// the event itself.
type walk struct {
	d      *export.Document
	rep    journal.Replayer
	broken error // where the lines stopped following from each other

	at     time.Time     // wall clock of the line
	mono   time.Duration // its monotonic clock
	before arming.State
	after  arming.State

	checks   [checklist.MaxSteps]answer
	signed   map[string]string // newest name by step of the sign-on
	counted  map[string]string // newest answer by step that says what went on the vehicle
	entryAt  time.Time         // firing officer's entry
	entryBy  string
	wrong    int
	attempt  *export.Attempt
	permitAt time.Time // when the permit was commanded on, zero when it is off
	pressAt  time.Time
	proofAt  time.Time
	hold     *export.Hold
	back     int // place of an EVERYONE BACK in d.Holds that is the newest stop, -1 for none
	opening  *export.Opening
	wait     *export.Wait
	motors   [checklist.MaxMotors]export.Motor
	accepted int
	armed    bool // ages at arming have been taken
	drilled  bool // the plan of a drill has been told
}

// answer is what is known of one step.
type answer struct {
	last  arming.Evidence
	at    time.Time // of last
	count int
	gone  string // why it no longer stands, empty while it does
	ageS  *float64
	stood bool // when both had armed
}

func newWalk(d *export.Document) *walk {
	return &walk{d: d, signed: map[string]string{}, counted: map[string]string{}, back: -1}
}

func stamp(t time.Time) export.Stamp { return export.Stamp{Time: t} }

// eventLine is what is read of an event line beside its replay.
type eventLine struct {
	Event   string          `json:"event"`
	Data    json.RawMessage `json:"data"`
	Refused string          `json:"refused"`
	Effects []effect        `json:"effects"`
}

type effect struct {
	Effect string `json:"effect"`
	Text   string `json:"text"`
	Loud   bool   `json:"loud"`
}

// entry takes the next line. After the first one that does not follow nothing
// more is told.
func (w *walk) entry(e record.Entry) {
	if w.broken != nil {
		return
	}
	w.at, w.mono = e.Time, time.Duration(e.MonoUS)*time.Microsecond
	w.before = w.rep.State
	if err := w.rep.Take(e.Kind, w.mono, e.Body); err != nil {
		w.broken = err
		w.rep.State = w.before
		return
	}
	w.after = w.rep.State
	switch e.Kind {
	case journal.KindEvent:
		w.eventLine(e.Body)
	case journal.KindBeats:
		w.passed()
	case journal.KindNote:
		w.note(e.Body)
	case journal.KindDrill:
		w.drill(e.Body)
	case journal.KindPrediction:
		w.prediction(e.Body)
	case record.KindRecovered:
		w.d.Notes = append(w.d.Notes, export.Note{At: stamp(w.at), Text: "the program had stopped; this record was taken up again"})
		w.endAll("the program stopped")
	}
}

func (w *walk) eventLine(body []byte) {
	var l eventLine
	if json.Unmarshal(body, &l) != nil {
		return // the replay has read it, so this cannot be
	}
	if l.Data == nil {
		l.Data = json.RawMessage("{}")
	}
	ev, err := journal.DecodeEvent(l.Event, l.Data)
	if err != nil {
		return // as above
	}
	if l.Refused != "" {
		w.d.Refused++
	}
	if done := w.done(ev, &l); done != nil {
		w.happened(&l, done)
	}
	w.changed(&l)
	w.passed()
}

// done is the event that took effect with this line: the line's own, or the
// one that waited for its line to be on disk; nil when none did.
func (w *walk) done(ev arming.Event, l *eventLine) arming.Event {
	if written, ok := ev.(arming.Written); ok {
		waited := w.before.Pending
		if waited.Event == nil || waited.Ticket != written.Ticket || l.notice("no longer possible: ") != "" || l.Refused != "" {
			return nil
		}
		return waited.Event
	}
	if l.Refused != "" || w.before.Pending.Event == nil && w.after.Pending.Event == ev {
		return nil
	}
	return ev
}

// notice returns what a notice says after the words it begins with, "" when
// there is none.
func (l *eventLine) notice(prefix string) string {
	for _, e := range l.Effects {
		if rest, ok := strings.CutPrefix(e.Text, prefix); ok && e.Effect == "notice" {
			return rest
		}
	}
	return ""
}

func (l *eventLine) has(name string) bool {
	for _, e := range l.Effects {
		if e.Effect == name {
			return true
		}
	}
	return false
}

// changed holds the states before and after a line against each other.
func (w *walk) changed(l *eventLine) {
	w.permit(l)
	if w.before.Phase != w.after.Phase {
		w.phase(l)
	}
	w.waits(l)
	w.lines(l)
	w.answers(l)
	w.motorsNow(l)
}

// phase takes a change of the phase.
func (w *walk) phase(l *eventLine) {
	from, to := w.before.Phase, w.after.Phase
	switch {
	case to == arming.Proof:
		w.proofAt = w.at
	case from == arming.Proof:
		w.proof(l)
	}
	switch to {
	case arming.Armed:
		w.armedNow()
	case arming.Count, arming.Window, arming.Run:
		w.counting(to)
	}
	if w.attempt != nil && !going(to) {
		w.endAttempt(l)
	}
	w.stops(l)
	if to == arming.Closed && w.wait != nil {
		w.endWait("closed")
	}
}

// going reports a phase of an attempt under way.
func going(p arming.Phase) bool {
	return p == arming.Armed || p == arming.Count || p == arming.Window || p == arming.Run
}

// endAll ends what was under way when the program stopped.
func (w *walk) endAll(why string) {
	w.armed = false
	if w.attempt != nil {
		w.attempt.EndAt, w.attempt.End = stamp(w.at), why
		w.d.Attempts, w.attempt = append(w.d.Attempts, *w.attempt), nil
	}
	w.endHold(why)
	w.endWait(why)
	w.endOpening(why)
}

// finish puts together what is known at the end of the lines.
func (w *walk) finish() {
	d, s := w.d, &w.rep.State
	d.Phase = s.Phase.String()
	// What is still under way has no end of its own in the record.
	if w.attempt != nil {
		d.Attempts = append(d.Attempts, *w.attempt)
	}
	if w.hold != nil {
		d.Holds = append(d.Holds, *w.hold)
	}
	slices.SortStableFunc(d.Holds, func(a, b export.Hold) int { return a.At.Compare(b.At.Time) })
	if w.wait != nil {
		d.Waits = append(d.Waits, *w.wait)
	}
	if w.opening != nil {
		d.Openings = append(d.Openings, *w.opening)
	}
	if p := w.rep.Plan; p != nil {
		d.WaitS, d.WaitSpeed = p.Times.Wait.Seconds(), p.WaitSpeed
		w.checkList(p)
		w.motorList(p, s)
		w.circuitReadings(p)
		w.consumables(p)
		w.inQuestion(p, s)
		if s.Phase != arming.Closed && (s.Hooked || s.PermitEver) {
			d.MakeSafe.Missing = strings.Join(s.AllClearMissing(p), "; ")
		}
	}
	d.Outcome = outcome(d, s)
}

func (w *walk) note(body []byte) {
	var n struct {
		Text  string `json:"text"`
		Facts struct {
			PulseS   *float64 `json:"pulse_s"`
			SheetS   *float64 `json:"sheet_pulse_s"`
			BatteryV *float64 `json:"battery_v"`
		} `json:"facts"`
	}
	if json.Unmarshal(body, &n) != nil {
		return
	}
	if n.Text != "" {
		w.d.Notes = append(w.d.Notes, export.Note{At: stamp(w.at), Text: n.Text})
	}
	if n.Facts.PulseS == nil {
		return
	}
	// The box is asked after the pulse: it is the last attempt's.
	a := w.attempt
	if a == nil && len(w.d.Attempts) > 0 {
		a = &w.d.Attempts[len(w.d.Attempts)-1]
	}
	if a != nil && !a.PressAt.IsZero() {
		a.PulseS, a.SheetPulse, a.PulseV = n.Facts.PulseS, n.Facts.SheetS, n.Facts.BatteryV
	}
}

// drill takes a line of a drill: what it is stands above all else, its
// surprises among the notes.
func (w *walk) drill(body []byte) {
	text := drill.Note(body)
	switch {
	case text == "":
	case w.drilled:
		w.d.Notes = append(w.d.Notes, export.Note{At: stamp(w.at), Text: text})
	default:
		w.drilled = true
		w.d.Warnings = append(w.d.Warnings, text+": every HOLD in it was provoked")
	}
}

// wall is the wall clock of an instant of the state, by the line's own two
// clocks.
func (w *walk) wall(at arming.Instant) time.Time { return w.at.Add(at.Mono - w.mono) }

func capital(text string) string {
	r := []rune(text)
	if len(r) == 0 {
		return ""
	}
	return string(unicode.ToUpper(r[0])) + string(r[1:])
}
