package circuit

import (
	"math"
	"regexp"
	"strconv"
)

// AdviceKind is a kind of advice.
type AdviceKind int

// The kinds of advice.
const (
	// ShortSourcePulse: the source of an igniter's currents names a pulse under
	// 5 τ, so that they are not steady values.
	ShortSourcePulse AdviceKind = iota
	// ShortPulse: the firing pulse is under 5 τ of a bridge, which then may not
	// fire at its steady all-fire current.
	ShortPulse
	// MaybeClad: a lead calculated as copper may be copper-clad aluminium.
	MaybeClad
	// GuessedContacts: the contact resistance looks guessed.
	GuessedContacts
)

// Advice is a warning that closes no gate.
type Advice struct {
	Kind   AdviceKind
	Detail string  // the igniter's kind, or the lead
	FoundS float64 // the pulse, for the first two
	LeastS float64 // 5 τ, for the first two
	// Margin is the least margin if the advice's doubt is true, for the other two.
	Margin float64
}

const (
	// steadyTaus: after 5 τ a bridge has 99.3 % of its steady heat, 1 − e⁻⁵.
	steadyTaus = 5
	// cladRatio is the resistance of copper-clad aluminium over copper's, at
	// 10 % copper by volume. From memory of ASTM B566: 0.02743 against
	// 0.017241 Ω mm²/m.
	cladRatio = 1.591
)

// pulseInSource finds a pulse length in the text of a source.
var pulseInSource = regexp.MustCompile(`(?i)(\d+(?:\.\d+)?)\s*(ms|s|sec|msec|millisecond|second)s?\b`)

// PulseNamed returns the shortest pulse in seconds that the source of an
// igniter's currents names, such as "maker's sheet, 50 ms pulse".
func PulseNamed(source string) (pulseS float64, found bool) {
	pulseS = math.Inf(1)
	for _, m := range pulseInSource.FindAllStringSubmatch(source, -1) {
		v, err := strconv.ParseFloat(m[1], 64)
		if err != nil {
			continue
		}
		if m[2][0] == 'm' || m[2][0] == 'M' {
			v /= 1e3
		}
		if v > 0 {
			pulseS, found = min(pulseS, v), true
		}
	}
	return pulseS, found
}

// Advise returns what deserves a second look in p, in a fixed order, each
// igniter kind once.
func Advise(p *Problem) []Advice {
	var out []Advice
	seen := map[string]bool{}
	for k := range p.Igniters {
		ig := &p.Igniters[k]
		if seen[ig.Kind] {
			continue
		}
		seen[ig.Kind] = true
		steady := steadyTaus * ig.TimeConstantS
		if pulse, ok := PulseNamed(ig.Source); ok && pulse < steady {
			out = append(out, Advice{Kind: ShortSourcePulse, Detail: ig.Kind, FoundS: pulse, LeastS: steady})
		}
		if p.PulseS < steady {
			out = append(out, Advice{Kind: ShortPulse, Detail: ig.Kind, FoundS: p.PulseS, LeastS: steady})
		}
	}
	if p.Lead.calculated() {
		clad := p.with(func(c *Problem) {
			c.Lead = Lead{Kind: LeadMeasured, LoopOhm: cladRatio * p.LeadOhm()}
		})
		out = append(out, Advice{Kind: MaybeClad, Detail: "firing lead", Margin: clad.leastMargin()})
	}
	if looksGuessed(p.ContactOhm) {
		worse := p.with(func(c *Problem) { c.ContactOhm = max(2*p.ContactOhm, guessWhenNone) })
		out = append(out, Advice{Kind: GuessedContacts, Detail: "contact_resistance", Margin: worse.leastMargin()})
	}
	return out
}

// guessWhenNone stands for contacts given as 0 ohm. Common practice, no source.
const guessWhenNone = 0.020

// looksGuessed reports whether a contact resistance has one significant digit,
// as a guess has and a measurement seldom does.
func looksGuessed(ohm float64) bool {
	if ohm == 0 {
		return true
	}
	digits := ohm / math.Pow(10, math.Floor(math.Log10(ohm)+hair))
	return math.Abs(digits-math.Round(digits)) < 1e-6
}
