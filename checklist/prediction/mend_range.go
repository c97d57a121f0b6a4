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

// Range is at which values of one entry of a sheet everything is a go, all
// else as it is. Low and High are values as one would write them, tried and
// found to be a go; the next value of the search outside is not.
type Range struct {
	Key        string
	Found      bool
	Low, High  string
	FromLowest bool // nothing below Low was searched, or can be written
	ToHighest  bool
	Now        bool // the present value is a go
	// Failing is, when no value searched is a go, what all of them fail: the
	// limits that this entry alone cannot mend.
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
func FindRange(ctx context.Context, text []byte, key string, parse func([]byte) (*sheet.Sheet, error), o MendOptions) (Range, error) {
	r := Range{Key: key}
	entries, err := sheet.Entries(text)
	if err != nil {
		return r, err
	}
	at := slices.IndexFunc(entries, func(e sheet.Entry) bool { return e.Key == key })
	if at < 0 {
		return r, ErrNoRange
	}
	g, ok := gridOf(unit.In(entries[at].Value, o.Units))
	if !ok {
		return r, ErrNoRange
	}
	s := &search{ctx: ctx, g: g, o: o, text: text, key: key, parse: parse, tried: map[trial]outcome{}}
	r.SearchedLow, r.SearchedHigh = g.write(g.low), g.write(g.high)
	present, err := parse(text)
	if err != nil {
		return r, err
	}
	names, err := failing(ctx, present, o, true)
	if err != nil {
		return r, err
	}
	r.Now = len(names) == 0
	err = s.find(&r)
	return r, err
}

// grid is the values that are searched: whole multiples of a step.
type grid struct {
	digit     float64 // 1, 2 or 5
	power     int     // of ten
	low, high int     // in steps
	now       int     // the nearest to the present value
	unit      string  // as written, with its blank; empty for a bare number
	linear    bool    // scanned evenly, not by ratio
}

// step is the size of the steps in the entry's own unit.
func (g *grid) step() float64 { return g.digit * math.Pow10(g.power) }

// write is a value as one would write it.
func (g *grid) write(i int) string {
	v := float64(i) * g.digit
	text := ""
	if g.power >= 0 {
		text = strconv.FormatFloat(v*math.Pow10(g.power), 'f', -1, 64)
	} else {
		text = strconv.FormatFloat(v/math.Pow10(-g.power), 'f', -g.power, 64)
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
	wide := 0.0
	if err != nil {
		q, err := unit.Parse(present)
		if err != nil {
			return g, false
		}
		v, g.unit = q.Unit.Of(q.SI), " "+q.Unit.Name
		if far := reach[q.Unit.Dimension]; far > 0 {
			wide = q.Unit.Of(far) - q.Unit.Of(0)
		}
		g.linear = v <= 0 || q.Unit.Dimension == unit.Speed || q.Unit.Dimension == unit.Temperature
	}
	g.linear = g.linear || v <= 0
	if g.linear && wide == 0 || math.IsInf(v, 0) || math.IsNaN(v) {
		return g, false
	}
	if wide = max(wide, 3*math.Abs(v)); !g.linear {
		wide = v
	}
	g.round(wide / 200)
	low, high := v/4, 4*v
	if g.linear {
		low, high = v-wide, v+wide
	}
	g.low, g.high = int(math.Ceil(low/g.step()-1e-9)), int(math.Floor(high/g.step()+1e-9))
	g.now = int(math.Round(v / g.step()))
	return g, g.low < g.high
}

// round chooses the step of 1, 2 or 5 times a power of ten at or below size.
func (g *grid) round(size float64) {
	g.power = int(math.Floor(math.Log10(size) + 1e-9))
	g.digit = 1
	for _, d := range []float64{5, 2} {
		if d*math.Pow10(g.power) <= size*(1+1e-9) {
			g.digit = d
			break
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

// trial is one value, with draws or without.
type trial struct {
	i     int
	drawn bool
}

// outcome is what came of it. A value that cannot be written there is no go
// and fails no limit.
type outcome struct {
	kept    bool
	outside bool
	failing []string
}

type search struct {
	ctx   context.Context
	g     grid
	o     MendOptions
	text  []byte
	key   string
	parse func([]byte) (*sheet.Sheet, error)
	tried map[trial]outcome
	err   error // the first; everything after it fails
}

// try looks at one value.
func (s *search) try(i int, drawn bool) outcome {
	if got, ok := s.tried[trial{i, drawn}]; ok || s.err != nil {
		return got
	}
	if drawn {
		if cheap := s.try(i, false); !cheap.kept {
			return cheap
		}
	}
	var got outcome
	text, err := sheet.Set(s.text, s.key, s.g.write(i))
	var sh *sheet.Sheet
	if err == nil {
		sh, err = s.parse(text)
	}
	if err != nil {
		got.outside = true
	} else {
		names, err := failing(s.ctx, sh, s.o, drawn)
		if s.err = err; err == nil {
			got.failing, got.kept = names, len(names) == 0
		}
	}
	if s.err == nil {
		s.tried[trial{i, drawn}] = got
		// Some 60 cheap trials, then 20 dear ones at most.
		share := 0.2 * float64(len(s.tried)) / 80
		for t := range s.tried {
			if t.drawn {
				share += 0.04
			}
		}
		s.o.tell(min(share, 0.99))
	}
	return got
}

// span is neighbouring values of the search that are kept.
type span struct{ low, high int }

// find fills in the range nearest to the present value.
func (s *search) find(r *Range) error {
	spans := s.spans()
	away := func(p span) float64 { return max(0, s.distance(p.low, true), s.distance(p.high, false)) }
	slices.SortStableFunc(spans, func(a, b span) int { return cmp.Compare(away(a), away(b)) })
	for _, p := range spans {
		inside, ok := s.inside(p)
		if !ok {
			continue
		}
		p.low, p.high = s.edge(inside, p.low), s.edge(inside, p.high)
		if s.err != nil {
			return s.err
		}
		r.Found, r.Low, r.High = true, s.g.write(p.low), s.g.write(p.high)
		r.FromLowest = p.low == s.g.low || s.try(p.low-1, false).outside
		r.ToHighest = p.high == s.g.high || s.try(p.high+1, false).outside
		return s.err
	}
	r.Failing = s.always()
	return s.err
}

// distance is how far a value lies from the present one, on the side asked for.
func (s *search) distance(i int, above bool) float64 {
	d := float64(i - s.g.now)
	if !s.g.linear {
		d = math.Log(float64(i) / float64(max(s.g.now, 1)))
	}
	if above {
		return d
	}
	return -d
}

// spans finds where the limits that need no draws are kept.
func (s *search) spans() []span {
	scan := s.g.scan()
	var out []span
	for k, i := range scan {
		if !s.try(i, false).kept {
			continue
		}
		if n := len(out); n > 0 && k > 0 && s.try(scan[k-1], false).kept {
			out[n-1].high = i
			continue
		}
		out = append(out, span{i, i})
	}
	for n := range out {
		if k, _ := slices.BinarySearch(scan, out[n].low); k > 0 {
			out[n].low = s.bisect(scan[k-1], out[n].low, false)
		}
		if k, _ := slices.BinarySearch(scan, out[n].high); k+1 < len(scan) {
			out[n].high = s.bisect(scan[k+1], out[n].high, false)
		}
	}
	return out
}

// bisect finds the last kept value on the way from a kept to a failed one.
func (s *search) bisect(failed, kept int, drawn bool) int {
	for s.err == nil && (failed-kept > 1 || kept-failed > 1) {
		middle := (failed + kept) / 2
		if s.try(middle, drawn).kept {
			kept = middle
		} else {
			failed = middle
		}
	}
	return kept
}

// inside finds a value of a span that keeps the limits with draws too, the
// nearest to the present one first.
func (s *search) inside(p span) (int, bool) {
	const between = 6
	candidates := []int{max(p.low, min(p.high, s.g.now)), p.low, p.high}
	for k := 1; k < between; k++ {
		candidates = append(candidates, p.low+(p.high-p.low)*k/between)
	}
	slices.SortStableFunc(candidates, func(a, b int) int {
		return cmp.Compare(math.Abs(s.distance(a, true)), math.Abs(s.distance(b, true)))
	})
	for _, i := range candidates {
		if s.try(i, true).kept {
			return i, true
		}
	}
	return 0, false
}

// edge finds how far towards the end of a span the limits are kept with draws.
func (s *search) edge(inside, end int) int {
	if s.try(end, true).kept {
		return end
	}
	return s.bisect(end, inside, true)
}

// always is the limits that every value tried fails.
func (s *search) always() []string {
	var out []string
	first := true
	worst := map[int][]string{} // by value, with draws where there are any
	for t, got := range s.tried {
		if got.outside || got.kept {
			continue
		}
		if t.drawn || worst[t.i] == nil {
			worst[t.i] = got.failing
		}
	}
	for _, names := range worst {
		if first {
			out, first = slices.Clone(names), false
			continue
		}
		out = slices.DeleteFunc(out, func(n string) bool { return !slices.Contains(names, n) })
	}
	slices.Sort(out)
	return out
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
