package tui

import (
	"fmt"
	"strings"
	"time"

	"holdline/arming"
	"holdline/arming/groundbox/wire"
	"holdline/checklist"
)

// crew are the people of the tests.
var crewOf = map[string]string{arming.StepFiringOfficer: "Ada Finch", arming.StepRangeOfficer: "Ben Wick"}

// toSetup signs everybody on and goes on to the step of that name, or to
// READY.
func (w *world) until(id string) {
	w.t.Helper()
	for n := 0; n < 200; n++ {
		if w.s.Phase == arming.Ready {
			return
		}
		t := w.m.atHand()
		if t.id == id {
			return
		}
		w.answer(t)
		w.pass(100 * time.Millisecond)
		if w.refusal.Why != "" {
			w.t.Fatalf("at %q: refused: %s: %s\n%s", t.id, w.refusal.Why, w.refusal.Remedy, w.m.View())
		}
	}
	w.t.Fatalf("never came to %q\n%s", id, w.m.View())
}

// answer does what the task at hand asks, by keys.
func (w *world) answer(t task) {
	w.t.Helper()
	switch {
	case t.id == "line/close" && w.s.Line == arming.LineOpen:
		w.fill("Ben Wick", "1")
	case t.id == "line/close":
		w.fill("Ben Wick", fmt.Sprint(2+len(w.p.Posts)))
	case t.id == "line/open":
		w.pass(3 * time.Second)
		w.fill("Ben Wick", "Ada Finch", "Ada Finch")
		w.key("f7")
	case strings.HasPrefix(t.id, "say/"):
		w.fill(strings.TrimPrefix(t.id, "say/"))
	case t.step < 0:
		w.t.Fatalf("no answer known to %q\n%s", t.id, w.m.View())
	default:
		w.answerStep(&w.p.Steps[t.step], t.step)
	}
}

func (w *world) answerStep(st *checklist.Step, i int) {
	w.t.Helper()
	mid := fmt.Sprintf("%.3f", (st.Band.Low+st.Band.High)/2)
	switch st.Kind {
	case checklist.KindName:
		name := crewOf[st.ID]
		if name == "" {
			name = "Spotter " + st.Post
		}
		if st.ID == arming.StepKeyHeld {
			name = "Ben Wick"
		}
		w.fill(name)
	case checklist.KindWords:
		switch {
		case st.CallWord:
			w.fill(w.s.CallWord(i), "road empty, gate shut")
		case st.Match != "":
			w.fill(st.Match)
		default:
			w.fill("seen: grass short, nobody there")
		}
	case checklist.KindQuantity:
		w.fill(mid, mid)
	case checklist.KindMeasured:
		if st.ID == arming.StepBattery && !w.hands.Battery {
			w.key("f6")
			w.pass(300 * time.Millisecond)
		}
		if st.Motor > 0 {
			w.pass(time.Second)
			w.fill(fmt.Sprint(st.Motor))
			return
		}
		w.fill("read")
	case checklist.KindSecret:
		w.fill("plover", "plover")
	case checklist.KindAccept:
		w.fill(strings.ReplaceAll(map[bool]string{true: "Ada Finch", false: "Ben Wick"}[st.Role == checklist.FiringOfficer], " ", ""))
	case checklist.KindProof:
		w.proof()
	default:
		w.t.Fatalf("no answer known to step %q", st.ID)
	}
}

// proof goes through the contact proof with the hands.
func (w *world) proof() {
	w.t.Helper()
	w.key("f6")
	w.fill("prove")
	w.pass(time.Second)
	w.key("f5")
	for n := 0; n < 40 && w.s.Proof != arming.ProofWatchdog && w.s.Phase == arming.Proof; n++ {
		w.pass(50 * time.Millisecond)
	}
	w.permit = false // the watchdog
	w.step(arming.BoxEvents{Bits: wire.EventWatchdog})
	w.pass(400 * time.Millisecond)
	w.pass(time.Second)
	w.key("f5")
	w.pass(500 * time.Millisecond)
	if w.s.Phase != arming.Setup || w.loud != "" {
		w.t.Fatalf("the proof ended in %v stage %v: %s\n%s", w.s.Phase, w.s.Proof, w.loud, w.m.View())
	}
	w.key("f6")
	w.pass(300 * time.Millisecond)
}

// toArmed goes from READY to ARMED with the key in.
func (w *world) toArmed() {
	w.t.Helper()
	w.fill("AdaFinch")
	w.pass(100 * time.Millisecond)
	w.fill("plover")
	w.pass(200 * time.Millisecond)
	if w.s.Phase != arming.Armed {
		w.t.Fatalf("not ARMED: %v %s\n%s", w.s.Phase, w.refusal.Why, w.m.View())
	}
	w.key("f5")
	w.pass(300 * time.Millisecond)
}

// toPhase goes on to COUNT, WINDOW, RUN, WAIT, MAKESAFE or CLOSED.
func (w *world) toPhase(p arming.Phase) {
	w.t.Helper()
	w.until("")
	if p != arming.Ready {
		w.toPhaseFromReady(p)
	}
}

func (w *world) toPhaseFromReady(p arming.Phase) {
	w.t.Helper()
	w.toArmed()
	if p == arming.Armed {
		return
	}
	w.fill("count")
	if p == arming.Count {
		w.pass(2500 * time.Millisecond)
		return
	}
	if p == arming.Hold {
		w.pass(2500 * time.Millisecond)
		w.key("space")
		return
	}
	w.pass(w.p.Times.Count + 200*time.Millisecond)
	if p == arming.Window {
		return
	}
	w.key("f9")
	w.pass(500 * time.Millisecond)
	if p == arming.Run {
		return
	}
	w.pass(time.Second)
	w.key("f9")
	w.pass(300 * time.Millisecond)
	w.key("f5")
	w.pass(300 * time.Millisecond)
	if p == arming.Wait {
		return
	}
	w.fill("1")
	w.fill("all", "lit", "2")
	w.key("f6")
	w.pass(w.p.Times.Wait + time.Second)
	w.fill("BenWick", "1")
	w.pass(300 * time.Millisecond)
	if p == arming.MakeSafe {
		return
	}
	w.makeSafe()
}

// countUp answers a count after the firing, as one that adds up.
func (w *world) countUp(i int) {
	w.t.Helper()
	st, n := &w.p.Steps[i], fmt.Sprint(w.p.Motors)
	value := func(id string) float64 {
		for k := range w.p.Steps {
			if w.p.Steps[k].ID == id {
				return w.s.Evidence[k].Value
			}
		}
		return 0
	}
	switch {
	case st.Counted():
		n = fmt.Sprint(value(st.Balance[0]) - value(st.Balance[1]))
		w.fill(n, n, "-")
		return
	case st.Phase < checklist.After: // brought: not known after a restart
		n = fmt.Sprint(2 * w.p.Motors)
	case w.s.Fate[0] == arming.FateUnknown && !w.s.PermitEver:
		n = "0"
	}
	w.fill(n, n)
}

func (w *world) makeSafe() {
	w.t.Helper()
	for n := 0; n < 40 && w.s.Phase == arming.MakeSafe; n++ {
		w.makeSafeStep()
		w.pass(500 * time.Millisecond)
		if w.refusal.Why != "" {
			w.t.Fatalf("MAKESAFE: refused: %s: %s\n%s", w.refusal.Why, w.refusal.Remedy, w.m.View())
		}
	}
}

// makeSafeStep does what MAKESAFE asks next.

func (w *world) makeSafeStep() {
	w.t.Helper()
	switch t := w.m.atHand(); {
	case strings.HasPrefix(t.id, "inspect/"):
		w.fill("burned out")
	case t.id == "fact/LEADS SHUNTED":
		w.fill("shunted", "1")
	case t.id == "fact/FIRE WATCH":
		w.fill("watched", "1")
	case t.id == "battery":
		w.key("f6")
	case t.id == "line/close":
		w.fill("Ben Wick", "1")
	case t.id == "result":
		w.fill("129.4", "-", "straight, chute open")
	case t.step >= 0:
		w.countUp(t.step)
	case t.id == "all-clear":
		w.fill("Ben Wick")
	default:
		w.t.Fatalf("MAKESAFE asks %q\n%s", t.id, w.m.View())
	}
}
