package prediction

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"holdline/checklist/sheet"
	"holdline/checklist/sheet/unit"
)

// Range is the values of one entry of a sheet at which everything is a go, all
// else as it is. Low and High are values as one would write them, tried and
// found to be a go; the next value of the search outside is not.
type Range struct {
	Found      bool
	Low, High  string
	FromLowest bool // nothing below Low was searched, or can be written
	ToHighest  bool
	Now        bool // the present value is a go
	// Failing is, when no value searched is a go, what all of them fail: the
	// limits for which this entry alone is no remedy.
	Failing                   []string
	SearchedLow, SearchedHigh string
}

// ErrNoRange says that an entry has no value that could be searched along.
var ErrNoRange = errors.New("prediction: range: not a number that can be searched along")

// FindRange looks for the values of the entry key of a sheet's text at which
// every limit is kept. parse reads a text. It searches from a fourth of the
// present value to four times it, a value near zero or of either sign as far to
// both sides as suits its dimension, in steps of about a half per cent that one
// would write down. What lies between two values tried in vain, some five per
// cent apart, is not seen.
func FindRange(ctx context.Context, text []byte, key string, parse func([]byte) (*sheet.Sheet, error), o RemedyOptions) (Range, error) {
	entries, err := sheet.Entries(text)
	if err != nil {
		return Range{}, err
	}
	at := slices.IndexFunc(entries, func(e sheet.Entry) bool { return e.Key == key })
	if at < 0 {
		return Range{}, ErrNoRange
	}
	g, ok := gridOf(unit.In(entries[at].Value, o.Units))
	if !ok {
		return Range{}, ErrNoRange
	}
	present, err := parse(text)
	if err != nil {
		return Range{}, err
	}
	names, err := failing(ctx, present, o, true)
	if err != nil {
		return Range{}, err
	}
	s := &search{ctx: ctx, g: g, o: o, text: text, key: key, parse: parse, tried: map[trial]bool{}, outside: map[int]bool{}}
	r := s.find()
	r.Now = len(names) == 0
	return r, s.err
}

// grid is the values that are searched: whole multiples of a step.
type grid struct {
	step      float64 // 1, 2 or 5 times a power of ten, in the entry's own unit
	decimals  int
	low, high int    // in steps
	now       int    // the nearest to the present value
	unit      string // as written, with its blank; empty for a bare number
	linear    bool   // scanned evenly, not by ratio
}

// write is a value as one would write it.
func (g *grid) write(i int) string {
	text := strconv.FormatFloat(float64(i)*g.step, 'f', g.decimals, 64)
	if g.decimals > 0 {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return text + g.unit
}

// reach is how far a value near zero or of either sign is searched to both
// sides, in SI.
var reach = map[unit.Dimension]float64{unit.Speed: 10, unit.Length: 0.1, unit.Angle: 5 * math.Pi / 180, unit.Ratio: 0.05, unit.Temperature: 30}

// gridOf lays out the values to search round a present one.
func gridOf(present string) (grid, bool) {
	g := grid{}
	v, err := strconv.ParseFloat(present, 64)
	wide := 0.0 // to both sides, of a value searched evenly
	if err != nil {
		q, err := unit.Parse(present)
		if err != nil {
			return g, false
		}
		v, g.unit = q.Unit.Of(q.SI), " "+q.Unit.Name
		wide = q.Unit.Of(reach[q.Unit.Dimension]) - q.Unit.Of(0)
		g.linear = q.Unit.Dimension == unit.Speed || q.Unit.Dimension == unit.Temperature
	}
	g.linear = g.linear || v <= 0
	if g.linear && wide == 0 || math.IsInf(v, 0) || math.IsNaN(v) {
		return g, false
	}
	low, high, size := v/4, 4*v, v/200
	if g.linear {
		wide = max(wide, 3*math.Abs(v))
		low, high, size = v-wide, v+wide, wide/200
	}
	g.stepBelow(size)
	g.low, g.high = int(math.Ceil(low/g.step-1e-9)), int(math.Floor(high/g.step+1e-9))
	g.now = int(math.Round(v / g.step))
	return g, g.low < g.high
}

// stepBelow chooses the step of 1, 2 or 5 times a power of ten at or below size.
func (g *grid) stepBelow(size float64) {
	power := int(math.Floor(math.Log10(size) + 1e-9))
	g.decimals = max(0, -power)
	for _, digit := range []float64{1, 2, 5} {
		if step := digit * math.Pow10(power); digit == 1 || step <= size*(1+1e-9) {
			g.step = step
		}
	}
}

// scan is the values that are tried first.
func (g *grid) scan() []int {
	const points = 56
	out := []int{g.now}
	for k := 0; k <= points; k++ {
		f := float64(k) / points
		i := float64(g.low) + f*float64(g.high-g.low)
		if !g.linear {
			i = float64(g.low) * math.Pow(float64(g.high)/float64(g.low), f)
		}
		out = append(out, int(math.Round(i)))
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// above is how far a value lies above the present one; negative below it.
func (g *grid) above(i int) float64 {
	if g.linear {
		return float64(i - g.now)
	}
	return math.Log(float64(i) / float64(max(g.now, 1)))
}

// trial is one value, with draws or without.
type trial struct {
	i     int
	drawn bool
}

type search struct {
	ctx   context.Context
	g     grid
	o     RemedyOptions
	text  []byte
	key   string
	parse func([]byte) (*sheet.Sheet, error)

	tried   map[trial]bool // whether it was a go
	outside map[int]bool   // values that cannot be written there
	draws   int            // how many trials had draws
	failing []string       // the limits that every value tried so far fails; nil before the first
	err     error          // the first; everything after it fails
}

// isGo tries one value.
func (s *search) isGo(i int, drawn bool) bool {
	if got, ok := s.tried[trial{i, drawn}]; ok || s.err != nil {
		return got
	}
	if drawn && !s.isGo(i, false) {
		return false
	}
	text, err := sheet.Set(s.text, s.key, s.g.write(i))
	var changed *sheet.Sheet
	if err == nil {
		changed, err = s.parse(text)
	}
	var names []string
	if err != nil {
		s.outside[i] = true
	} else if names, s.err = failing(s.ctx, changed, s.o, drawn); s.err != nil {
		return false
	}
	if s.failing == nil {
		s.failing = names
	} else if len(names) > 0 {
		s.failing = slices.DeleteFunc(s.failing, func(n string) bool { return !slices.Contains(names, n) })
	}
	if drawn {
		s.draws++
	}
	s.tried[trial{i, drawn}] = err == nil && len(names) == 0
	s.o.tell(min(0.0025*float64(len(s.tried))+0.04*float64(s.draws), 0.99)) // of some 60 trials without draws and 20 with
	return s.tried[trial{i, drawn}]
}

// span is neighbouring values of the search that are a go without draws.
type span struct{ low, high int }

// find looks for the range nearest to the present value.
func (s *search) find() Range {
	r := Range{SearchedLow: s.g.write(s.g.low), SearchedHigh: s.g.write(s.g.high)}
	away := func(p span) float64 { return max(0, s.g.above(p.low), -s.g.above(p.high)) }
	spans := s.spans()
	slices.SortStableFunc(spans, func(a, b span) int { return cmp.Compare(away(a), away(b)) })
	for _, p := range spans {
		inside, ok := s.inside(p)
		if !ok {
			continue
		}
		low, high := s.edge(inside, p.low), s.edge(inside, p.high)
		beyond := func(i int) bool { return !s.isGo(i, false) && s.outside[i] }
		r.Found, r.Low, r.High = true, s.g.write(low), s.g.write(high)
		r.FromLowest = low == s.g.low || beyond(low-1)
		r.ToHighest = high == s.g.high || beyond(high+1)
		return r
	}
	slices.Sort(s.failing)
	r.Failing = s.failing
	return r
}

// spans finds where the limits that need no draws are kept.
func (s *search) spans() []span {
	var out []span
	scan, within := s.g.scan(), false
	for k, i := range scan {
		ok := s.isGo(i, false)
		switch {
		case ok && within:
			out[len(out)-1].high = i
		case ok && k > 0:
			out = append(out, span{s.bisect(scan[k-1], i, false), i})
		case ok:
			out = append(out, span{i, i})
		case within:
			out[len(out)-1].high = s.bisect(i, scan[k-1], false)
		}
		within = ok
	}
	return out
}

// bisect finds the last value that is a go on the way to one that is not.
func (s *search) bisect(no, yes int, drawn bool) int {
	for s.err == nil && (no-yes > 1 || yes-no > 1) {
		if middle := (no + yes) / 2; s.isGo(middle, drawn) {
			yes = middle
		} else {
			no = middle
		}
	}
	return yes
}

// inside finds a value of a span that is a go with draws too, the nearest to
// the present one first.
func (s *search) inside(p span) (int, bool) {
	const parts = 6
	candidates := []int{max(p.low, min(p.high, s.g.now))}
	for k := range parts + 1 {
		candidates = append(candidates, p.low+(p.high-p.low)*k/parts)
	}
	slices.SortStableFunc(candidates, func(a, b int) int {
		return cmp.Compare(math.Abs(s.g.above(a)), math.Abs(s.g.above(b)))
	})
	at := slices.IndexFunc(candidates, func(i int) bool { return s.isGo(i, true) })
	return candidates[max(at, 0)], at >= 0
}

// edge finds how far towards the end of a span everything is a go with draws.
func (s *search) edge(inside, end int) int {
	if s.isGo(end, true) {
		return end
	}
	return s.bisect(end, inside, true)
}

// String says the range in a few words.
func (r Range) String() string {
	switch {
	case !r.Found && len(r.Failing) > 0:
		return fmt.Sprintf("none from %s to %s: each fails %s", r.SearchedLow, r.SearchedHigh, strings.Join(r.Failing, ", "))
	case !r.Found:
		return fmt.Sprintf("none found from %s to %s", r.SearchedLow, r.SearchedHigh)
	case r.FromLowest && r.ToHighest:
		return fmt.Sprintf("all from %s to %s", r.Low, r.High)
	case r.FromLowest:
		return "at most " + r.High
	case r.ToHighest:
		return "at least " + r.Low
	}
	return r.Low + " to " + r.High
}
