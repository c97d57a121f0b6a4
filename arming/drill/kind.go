package drill

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"holdline/arming"
)

// Kind names a surprise.
type Kind string

// The surprises.
const (
	BatteryForward Kind = "battery-forward"
	SpotterHold    Kind = "spotter-stop"
	Intruder       Kind = "intruder"
	Wind           Kind = "wind"
	IgniterOpen    Kind = "igniter-open"
	WeakBattery    Kind = "weak-battery"
	EarlyButton    Kind = "early-button"
	SilentBox      Kind = "silent-box"
	FrozenBox      Kind = "frozen-box"
	Misfire        Kind = "dark-motor"
	LateLight      Kind = "late-light"
	Walker         Kind = "walker"
	Smoke          Kind = "smoke"
)

// How fast is fast enough. Common practice, no source.
const (
	stopWithin    = 5 * time.Second  // to say HOLD, or to call everyone back
	keyWithin     = 10 * time.Second // to have the key out after a stop
	batteryWithin = 20 * time.Second // to have the battery off after it
	forwardWithin = 5 * time.Second  // the same with a person at the vehicle
)

// Help describes a kind of surprise.
type Help struct {
	Kind    Kind
	Meaning string         // what happens
	Phases  []arming.Phase // in which it may come
	Advice  string         // what to practise, when it was not met
	rules   []rule
	heard   string // by the crew, "" where the box alone shows it; with what was drawn in braces, see fill
	fault   string // of the practice box, "" for none
}

// Right lists what is right after the surprise, each with its limit.
func (h *Help) Right() []string {
	var out []string
	for _, r := range h.rules {
		out = append(out, r.String()+" ("+r.source+")")
	}
	return out
}

// String is what is right, with its limit.
func (r *rule) String() string {
	if r.limit == 0 {
		return r.what
	}
	return fmt.Sprintf("%s, within %.0f s", r.what, r.limit.Seconds())
}

// Where the rules come from.
const (
	custom   = "common practice, no source"
	waitRule = "national model rocket safety code, item 4, borrowed"
	lineRule = "30 CFR 56.6403: open until persons are withdrawn"
)

// Kinds lists every surprise, in the order of a firing.
func Kinds() []Help {
	before := []arming.Phase{arming.Ready, arming.Armed, arming.Count}
	return []Help{
		{BatteryForward, "the battery is joined while a person is forward", []arming.Phase{arming.Setup},
			"battery off first, then count everyone back: the one forward is at a live line",
			[]rule{batteryOff(forwardWithin, lineRule), noHookUp, countedBack}, "", ""},
		{SpotterHold, "a spotter calls HOLD by radio", before,
			"HOLD is pressed at the word, not at the reason; ask who called it afterwards",
			[]rule{stopped(""), notPressed, namedCaller},
			"{who} by radio: HOLD, HOLD", ""},
		{Intruder, "somebody walks onto the strip", before,
			"whoever hears it says HOLD, and the range is looked over anew before the next count",
			[]rule{stopped(""), notPressed, rangeAnew},
			"{who} by radio: somebody walks onto the strip", ""},
		{Wind, "the wind changes; the measured value no longer stands", before,
			"stop, measure, type what the meter shows, and read the new prediction before accepting it",
			[]rule{stopped("wind"), notPressed, newWind},
			"{who}: the flag turned, the wind meter shows {wind} m/s", ""},
		{IgniterOpen, "an igniter goes open", before,
			"key out and battery off come before anybody goes to mend it",
			[]rule{keyOut, deadBeforeForward}, "", "open:{motor}"},
		{WeakBattery, "the battery falls below the current budget", before,
			"key out, then the battery off and another one on; never once more with the weak one",
			[]rule{keyOut, batteryOff(batteryWithin, custom)}, "", "weak-battery"},
		{EarlyButton, "a hand presses the button before zero", []arming.Phase{arming.Armed, arming.Count},
			"the key goes out at once, and only then does anybody ask whose hand it was",
			[]rule{keyOut, noEarlyResume}, "", ""},
		{SilentBox, "the box does not answer for a while", before,
			"a box that says nothing is a live one: key out, battery off, everyone stays",
			[]rule{keyOut, batteryOff(batteryWithin, custom), noEarlyResume}, "", "mute"},
		{FrozenBox, "the box freezes and begins anew; what it did meanwhile nobody knows", []arming.Phase{arming.Armed, arming.Count},
			"key out, battery off, and the full wait before one person goes",
			[]rule{keyOut, batteryOff(batteryWithin, custom), fullWait}, "", "freeze"},
		{Misfire, "a motor stays dark", []arming.Phase{arming.Run},
			"say dark for a motor that nobody saw burn, and write down what is found in it",
			[]rule{saidMisfire, inspectedLive},
			"{who}: motor {motor}, no flame and no smoke", "dark:{motor}"},
		{LateLight, "a motor lights late", []arming.Phase{arming.Run},
			"what moves in the wait is called at once, and the wait begins from full",
			[]rule{calledBack, fullWait},
			"{who}: motor {motor} lights NOW, the vehicle moves", "late-light:{motor}={late}"},
		{Walker, "somebody walks to the vehicle during the wait", []arming.Phase{arming.Wait},
			"everyone back, count, and the wait from full: nobody argues with the one who walks",
			[]rule{calledBack, countedBack, fullWait},
			"a helper gets up and walks to the vehicle", ""},
		{Smoke, "smoke from a motor while a person is forward", []arming.Phase{arming.MakeSafe},
			"everyone back at the first smoke; the wait runs again in full",
			[]rule{calledBack, countedBack, fullWait},
			"at the vehicle: smoke from motor {motor}", ""},
	}
}

// help is the description of a kind, nil for none.
func help(k Kind) *Help {
	for _, h := range Kinds() {
		if h.Kind == k {
			return &h
		}
	}
	return nil
}

// ParseKinds reads names of surprises, with commas between them.
func ParseKinds(text string) ([]Kind, error) {
	var out []Kind
	for _, name := range strings.Split(text, ",") {
		k := Kind(strings.TrimSpace(name))
		if help(k) == nil {
			return nil, fmt.Errorf("drill: surprise %q is not known: expected one of %s", name, strings.Join(names(), ", "))
		}
		if slices.Contains(out, k) {
			return nil, fmt.Errorf("drill: surprise %q stands twice", name)
		}
		out = append(out, k)
	}
	return out, nil
}

func names() []string {
	var out []string
	for _, h := range Kinds() {
		out = append(out, string(h.Kind))
	}
	return out
}
