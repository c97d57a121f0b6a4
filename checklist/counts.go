package checklist

import (
	"slices"
	"strings"
	"time"
)

// Consumables that are counted before and after a firing, so that a live one
// is never left lying: what was used and what is left over has to be what was
// brought. Common practice, no source.
var consumables = []string{"motors", "igniters"}

// Consumables names what is counted.
func Consumables() []string { return slices.Clone(consumables) }

// BroughtStep is the count of a consumable before the firing.
func BroughtStep(what string) string { return what + "-brought" }

// UsedStep is the count of those used up, after the firing.
func UsedStep(what string) string { return what + "-used" }

// LeftStep is the count of those left over, after the firing.
func LeftStep(what string) string { return what + "-left" }

// spareMost is how many more than the vehicle takes may be brought. The middle
// of the band is whole.
const spareMost = 200

// brought is the count before the firing.
func brought(what string, motors int, asked string) Step {
	return Step{ID: BroughtStep(what), Kind: KindQuantity, Whole: true, Band: Band{float64(motors), float64(motors + spareMost), ""},
		Challenge: asked, Hint: "a count, made twice"}
}

// after are the counts that end a firing, in MAKESAFE. Each is of all that
// were brought, so that nothing has to be remembered but one number.
func after(in Inputs) []Step {
	most := float64(in.Motors + spareMost)
	count := func(id string, high float64, asked, hint string) Step {
		return Step{ID: id, Kind: KindQuantity, Whole: true, Band: Band{0, high, ""}, Challenge: asked, Hint: hint}
	}
	steps := []Step{
		count(UsedStep("motors"), float64(in.Motors), "Motors used in this firing: burned out, by their casings. How many?", "a count, made twice"),
		count(LeftStep("motors"), most, "Motors left over: unburned, back in their cases. How many?", "a count, made twice"),
		count(UsedStep("igniters"), most, "Igniters used in this firing: fired, broken or cut. How many?", "a count, made twice"),
		count(LeftStep("igniters"), most, "Igniters left over: whole, shunted, back in their box. How many?", "a count, made twice"),
	}
	for i := range steps {
		steps[i].Phase, steps[i].Gate, steps[i].Role = After, GateSheet, FiringOfficer
	}
	for k, what := range consumables {
		left := &steps[2*k+1]
		left.Balance = [2]string{BroughtStep(what), UsedStep(what)}
		left.RestsOn = []string{BroughtStep(what), UsedStep(what)}
	}
	return steps
}

// Advisory limits. They are the ones whose own source says that they may give
// way ("where possible", "preferable") or that have no source at all; no core
// gate rests on them. The range officer waives one with a reason, and it stands
// at the top of every page of the record.
const (
	daylightLeastMin = 60
	restLeastH       = 1
)

func daylight() Step {
	return Step{ID: "daylight", Role: RangeOfficer, Kind: KindQuantity, Band: Band{daylightLeastMin, 24 * 60, "min"}, Agree: 5, Advisory: true,
		// It lasts as long as the least that it accepts, so it is never past sundown.
		Expires:   daylightLeastMin * time.Minute,
		Challenge: "Daylight left until sundown, in minutes", Hint: "min, off a clock and a table, twice", Drops: DropRangeOfficer,
		Source: "29 CFR 1926.900(j): between sun-up and sundown where possible; the hour is common practice, no source"}
}

func igniterLots() Step {
	return Step{ID: "igniter-lots", Kind: KindQuantity, Whole: true, Band: Band{1, 1, ""}, Advisory: true,
		Challenge: "Lots among the igniters of this firing, by the lot cards: how many?", Hint: "a count, made twice",
		Source: "29 CFR 1926.906(c), read second-hand, asks for one style and manufacture; one lot is common practice, no source"}
}

func batteryRest() Step {
	return Step{ID: "battery-rest", Kind: KindQuantity, Band: Band{restLeastH, 24 * 365, "h"}, Agree: 1, Advisory: true,
		Challenge: "Hours that the firing battery has rested since it was charged or loaded", Hint: "h, twice",
		Source: "battery handbooks, read second-hand: a voltage means nothing just after charge or load; the hour is common practice, no source"}
}

// Words that say of a motor that it did not burn; those that contain a word
// of the other list stand first.
var (
	unlitWords = []string{"unburned", "unburnt", "unfired", "unspent", "unlit", "unused", "misfire", "not burned", "not burnt", "not fired", "not lit", "not light",
		"never burned", "never burnt", "never fired", "never lit", "didn't light", "dark", "whole", "intact"}
	burnedWords = []string{"burn", "spent", "fired", "empty"}
)

// SaysBurned reports words that call a motor burned out.
func SaysBurned(words string) bool {
	text := strings.ToLower(words)
	for _, no := range unlitWords {
		text = strings.ReplaceAll(text, no, "")
	}
	return hasAny(text, burnedWords)
}

// SaysUnlit reports words that call a motor unlit. Words may say both, or
// neither: then nobody knows.
func SaysUnlit(words string) bool { return hasAny(strings.ToLower(words), unlitWords) }

func hasAny(text string, list []string) bool {
	return slices.ContainsFunc(list, func(w string) bool { return strings.Contains(text, w) })
}
