package drill

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"holdline/arming"
	"holdline/checklist"
)

// Verdict is how one reaction is judged.
type Verdict string

// The verdicts.
const (
	Right   Verdict = "right"
	Late    Verdict = "late"    // right, and too slow
	Wrong   Verdict = "wrong"   // the opposite was done
	Missing Verdict = "missing" // there was time, and it was not done
	Open    Verdict = "open"    // the drill ended before it could be seen
	Machine Verdict = "machine" // the cockpit had stopped by itself before anybody could
)

// Counts reports a verdict that is for or against the crew.
func (v Verdict) Counts() bool { return v != Open && v != Machine }

// rule is one thing that is right after a surprise.
type rule struct {
	what   string
	limit  time.Duration // 0: when it is done does not matter
	source string
	find   func(*scene) Reaction // with verdict, time and why
}

// none says that a rule does not apply, since the key was out already.
var none = Reaction{}

// found is a reaction that is not timed.
func found(v Verdict, why string) Reaction { return Reaction{Verdict: v, Why: why} }

// timed is one that took a while.
func timed(v Verdict, took time.Duration, why string) Reaction {
	return Reaction{Verdict: v, TookS: inSeconds(took), Why: why}
}

// scene is one surprise with what people did from then on.
type scene struct {
	*begun
	s     *Surprise
	plan  *arming.Plan
	acts  []act
	turns []turn
	last  time.Duration // end of the record
	over  bool          // the firing came to its end
}

// seconds is a time for people.
func seconds(d time.Duration) string { return fmt.Sprintf("%.1f s", d.Seconds()) }

// first returns the first act that satisfies ok.
func (s *scene) first(ok func(*act) bool) *act {
	for i := range s.acts {
		if ok(&s.acts[i]) {
			return &s.acts[i]
		}
	}
	return nil
}

// did is first for events of one type that were not refused.
func did[E arming.Event](s *scene, ok func(E) bool) *act {
	return s.first(func(a *act) bool {
		ev, is := a.event.(E)
		return is && a.refused == "" && (ok == nil || ok(ev))
	})
}

// before returns what was done before an act; all of it where that is nil.
func (s *scene) before(a *act) []act {
	if n := slices.IndexFunc(s.acts, func(b act) bool { return a != nil && b.at >= a.at }); n >= 0 {
		return s.acts[:n]
	}
	return s.acts
}

// wrong is the opposite of what is right, done by an act.
func (s *scene) wrong(a *act, why string) Reaction { return timed(Wrong, a.at-s.at, why) }

func (s *scene) moved(h Hand) *act { return s.first(func(a *act) bool { return a.hand == h }) }

// timed judges how soon an act came; nil is an act that never did.
func (s *scene) timed(a *act, limit time.Duration, missing string) Reaction {
	if a == nil {
		if s.last-s.at < limit {
			return found(Open, "the record ends before")
		}
		return found(Missing, missing)
	}
	took := a.at - s.at
	if took > limit {
		return timed(Late, took, "after "+seconds(took))
	}
	return timed(Right, took, "after "+seconds(took))
}

// isHold reports an act that stops: the word, or the key pulled.
func (s *scene) isHold(a *act) bool {
	switch a.event.(type) {
	case arming.HoldCall:
		return true
	case arming.Scrub:
		return a.refused == ""
	}
	return a.hand == KeyOut && a.keyIn
}

// stopped wants HOLD, or the key pulled. In READY taking the answer back that
// is no longer true does the same.
func stopped(step string) rule {
	return rule{"HOLD, or the key pulled", stopWithin, custom, func(s *scene) Reaction {
		a := s.first(func(a *act) bool {
			answer, _ := a.event.(arming.Answer)
			taken, _ := a.event.(arming.Withdraw)
			return s.isHold(a) || step != "" && a.refused == "" && (answer.Step == step || taken.Step == step)
		})
		for _, t := range s.turns {
			if (t.to == arming.Hold || t.to == arming.Wait) && (a == nil || t.at < a.at) && t.at-s.at <= stopWithin {
				return found(Machine, "the cockpit stopped by itself: "+t.why)
			}
		}
		return s.timed(a, stopWithin, "nobody stopped")
	}}
}

var notPressed = rule{"nobody presses the button", 0, custom, func(s *scene) Reaction {
	for _, a := range s.before(did[arming.StartCount](s, nil)) {
		if a.hand == ButtonDown {
			return s.wrong(&a, "the button was pressed after "+seconds(a.at-s.at))
		}
	}
	return found(Right, "not touched")
}}

var namedCaller = rule{"who called HOLD is named before it is resumed", 0, custom, func(s *scene) Reaction {
	want := ""
	for k, post := range s.plan.Posts {
		if post == s.s.Post {
			want = s.crew.Spotter[k]
		}
	}
	by, resumed := did[arming.HoldBy](s, nil), did[arming.Resume](s, nil)
	switch {
	case did[arming.HoldCall](s, nil) == nil:
		return none
	case resumed != nil && (by == nil || by.at > resumed.at):
		return found(Missing, "resumed, and nobody was named")
	case by == nil:
		return found(Open, "not resumed")
	}
	if name := by.event.(arming.HoldBy).Name; want != "" && !same(name, want) {
		return found(Wrong, fmt.Sprintf("%s was named, it was %s", name, want))
	}
	return found(Right, "named")
}}

func same(a, b string) bool {
	return strings.EqualFold(strings.Join(strings.Fields(a), " "), strings.Join(strings.Fields(b), " "))
}

var rangeAnew = rule{"range clear answered anew before the count", 0, custom, func(s *scene) Reaction {
	_, f := s.answeredBeforeCount(arming.StepRangeClear)
	return f
}}

// answeredBeforeCount finds the last answer to a step before the next count.
func (s *scene) answeredBeforeCount(step string) (*arming.Answer, Reaction) {
	count := did[arming.StartCount](s, nil)
	var newest *arming.Answer
	for _, a := range s.before(count) {
		if ev, is := a.event.(arming.Answer); is && ev.Step == step && a.refused == "" {
			newest = &ev
		}
	}
	switch {
	case newest != nil:
		return newest, found(Right, "answered anew")
	case count != nil:
		return nil, s.wrong(count, "counted on the answer from before")
	case s.pressed():
		return nil, found(Wrong, "fired on the answer from before")
	}
	return nil, found(Open, "no count followed")
}

// pressed reports that the button was pressed after the surprise.
func (s *scene) pressed() bool { return s.moved(ButtonDown) != nil }

// windNear is how far the typed wind may lie from the one that the meter
// shows: what a hand-held meter and a gust make of it.
const windNear = 0.5

var newWind = rule{"the wind that the meter shows now is typed before the count", 0, custom, func(s *scene) Reaction {
	ev, f := s.answeredBeforeCount(stepWind)
	if ev == nil {
		return f
	}
	if math.Abs(ev.Value-s.s.Wind) > windNear {
		return found(Wrong, fmt.Sprintf("%.1f m/s was typed, the meter shows %.1f m/s", ev.Value, s.s.Wind))
	}
	return found(Right, fmt.Sprintf("%.1f m/s", ev.Value))
}}

var keyOut = rule{"key out", keyWithin, custom, func(s *scene) Reaction {
	if !s.keyIn {
		return none
	}
	return s.timed(s.moved(KeyOut), keyWithin, "the key stayed in")
}}

func batteryOff(limit time.Duration, source string) rule {
	return rule{"battery off", limit, source, func(s *scene) Reaction {
		if !s.battery {
			return none
		}
		return s.timed(s.moved(BatteryOff), limit, "the battery stayed on")
	}}
}

var deadBeforeForward = rule{"battery off before anybody is sent forward", 0, lineRule, func(s *scene) Reaction {
	order := s.first(func(a *act) bool {
		switch a.event.(type) {
		case arming.OpenLine, arming.GoForward:
			return a.refused == "" || a.battery
		}
		return false
	})
	switch {
	case order == nil && did[arming.Scrub](s, nil) != nil:
		return found(Right, "given up")
	case order == nil:
		return found(Open, "nobody was sent")
	case order.battery:
		return s.wrong(order, "the order to go was given with the battery joined")
	}
	return found(Right, "off before the line was opened")
}}

// noEarlyResume wants no word to go on while the key is in or the box is dumb.
var noEarlyResume = rule{"nothing is resumed before it may be", 0, custom, func(s *scene) Reaction {
	a := s.first(func(a *act) bool { _, is := a.event.(arming.Resume); return is })
	switch {
	case a == nil:
		return found(Open, "not resumed")
	case a.refused != "":
		return s.wrong(a, "tried after "+seconds(a.at-s.at)+": "+a.refused)
	}
	return found(Right, "resumed when it might be")
}}

var noHookUp = rule{"nothing is connected while it is joined", 0, lineRule, func(s *scene) Reaction {
	a := s.first(func(a *act) bool {
		ev, is := a.event.(arming.Answer)
		return is && ev.Step == arming.StepHookUp && a.battery
	})
	if a != nil {
		return s.wrong(a, "hook-up was reported with the battery joined")
	}
	return found(Right, "nothing reported")
}}

var countedBack = rule{"everyone counted back before anybody goes again", 0, custom, func(s *scene) Reaction {
	count := did[arming.CloseLine](s, nil)
	again := s.goes()
	switch {
	case again != nil && (count == nil || count.at > again.at):
		return s.wrong(again, "somebody was sent before the count")
	case count == nil:
		return found(Open, "no count, and nobody was sent")
	}
	return found(Right, "counted after "+seconds(count.at-s.at))
}}

// goes is the next order that sends somebody forward, or the next thing that
// somebody forward reports without having come back.
func (s *scene) goes() *act {
	return s.first(func(a *act) bool {
		switch a.event.(type) {
		case arming.GoForward, arming.OpenLine, arming.Inspect:
			return a.refused == ""
		}
		return false
	})
}

var calledBack = rule{"everyone back, or movement called", stopWithin, custom, func(s *scene) Reaction {
	a := s.first(func(a *act) bool {
		say, is := a.event.(arming.Say)
		return s.isHold(a) || is && say.Fact == arming.FactMovement && a.refused == ""
	})
	return s.timed(a, stopWithin, "nobody called")
}}

// fullWait wants the whole wait between the surprise and the next one who
// goes. A practice wait runs faster, and so does this.
var fullWait = rule{"the wait in full before anybody goes", 0, waitRule, func(s *scene) Reaction {
	full := s.plan.Times.Wait / time.Duration(s.plan.WaitSpeed)
	again := s.goes()
	switch {
	case again == nil && s.over:
		return found(Right, "nobody went")
	case again == nil:
		return found(Open, "nobody was sent")
	case again.at-s.at < full:
		return s.wrong(again, fmt.Sprintf("somebody was forward after %s, the wait here is %s", seconds(again.at-s.at), seconds(full)))
	}
	return found(Right, "sent after "+seconds(again.at-s.at))
}}

// saidMisfire wants the last word on the motor, before one goes forward, to be
// that it stayed dark.
var saidMisfire = rule{"the motor is said to be dark, never lit", 0, custom, func(s *scene) Reaction {
	last, forward := arming.FateUnknown, did[arming.GoForward](s, nil)
	for _, a := range s.before(forward) {
		if ev, is := a.event.(arming.Observe); is && a.refused == "" && (ev.Motor == 0 || ev.Motor == s.s.Motor) {
			last = ev.Fate
		}
	}
	switch {
	case last == arming.FateSaidLit:
		return found(Wrong, fmt.Sprintf("motor %d was said to have lit", s.s.Motor))
	case last == arming.FateMisfire:
		return found(Right, "said to be dark")
	case forward == nil:
		return found(Open, "nobody has said anything yet")
	}
	return found(Missing, "somebody went forward, and nobody had said it")
}}

var inspectedLive = rule{"it is inspected as a live one, not as burned", 0, custom, func(s *scene) Reaction {
	a := did(s, func(ev arming.Inspect) bool { return ev.Motor == s.s.Motor })
	if a == nil {
		return found(Open, "not inspected")
	}
	words := a.event.(arming.Inspect).Found
	if checklist.SaysBurned(words) {
		return found(Wrong, fmt.Sprintf("found %q, and it never lit", words))
	}
	return found(Right, fmt.Sprintf("found %q", words))
}}
