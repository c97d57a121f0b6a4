package drill

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"time"

	"holdline/arming"
)

// Surprise is one surprise of a plan: what comes, and when.
type Surprise struct {
	Kind   Kind
	Phase  arming.Phase
	After  time.Duration // from the moment at which the phase can show it
	Motor  int           // 1-based, 0 for none
	Late   time.Duration // of a late light
	Post   string        // of the spotter who tells it, "" where the crew sees it itself
	Wind   float64       // what the wind meter shows, m/s
	Phrase string        // what is heard, "" where only the box shows it
}

// Plan is the surprises of one drill, in the order of a firing.
type Plan struct {
	Seed      uint64
	Surprises []Surprise
}

// Choice says which surprises a drill has: those named, or so many by the seed.
type Choice struct {
	Kinds []Kind
	Count int
}

// Most is how many surprises a drill has at most: each costs the crew a part
// of the routine.
const Most = 8

// Usual is how many a drill has that does not say.
const Usual = 3

// Make plans a drill for a firing. The same firing, seed and choice give the
// same plan. Surprises picked by the seed are spread: some before the arming,
// some in it, some after the run.
func Make(p *arming.Plan, seed uint64, c Choice) (Plan, error) {
	if !p.Practice || p.Mode != arming.ModeBox {
		return Plan{}, fmt.Errorf("drill: a drill needs the practice box")
	}
	draw := rand.New(rand.NewPCG(seed, 0x6472696c6c)) // reproducible on purpose
	m := &maker{p: p, draw: draw}
	if len(c.Kinds) > 0 {
		if len(c.Kinds) > Most {
			return Plan{}, fmt.Errorf("drill: %d surprises, at most %d", len(c.Kinds), Most)
		}
		for _, k := range c.Kinds {
			if other := m.clash(k); other != "" {
				return Plan{}, fmt.Errorf("drill: %s and %s: after a frozen box no motor is lit any more", other, k)
			}
			h := help(k)
			if h == nil {
				return Plan{}, fmt.Errorf("drill: surprise %q is not known", k)
			}
			m.add(k, h.Phases)
		}
	} else {
		if c.Count < 1 || c.Count > Most {
			return Plan{}, fmt.Errorf("drill: %d surprises, expected 1 to %d", c.Count, Most)
		}
		m.pick(c.Count)
	}
	slices.SortStableFunc(m.out, func(a, b Surprise) int { return cmp.Or(cmp.Compare(a.Phase, b.Phase), rank(a)-rank(b)) })
	return Plan{Seed: seed, Surprises: m.out}, nil
}

// rank puts what ends an attempt for good behind what does not.
func rank(s Surprise) int {
	if s.Kind == FrozenBox {
		return 1
	}
	return 0
}

// maker puts a plan together.
type maker struct {
	p    *arming.Plan
	draw *rand.Rand
	out  []Surprise
}

// parts are the three parts of a firing over which surprises are spread.
var parts = [][]arming.Phase{
	{arming.Setup, arming.Ready},
	{arming.Armed, arming.Count},
	{arming.Run, arming.Wait, arming.MakeSafe},
}

// pick takes n surprises, each of another kind, part by part.
func (m *maker) pick(n int) {
	pool := names()
	m.draw.Shuffle(len(pool), func(i, j int) { pool[i], pool[j] = pool[j], pool[i] })
	order := m.draw.Perm(len(parts))
	for turn := 0; len(m.out) < n && turn < n*len(parts); turn++ {
		part := parts[order[turn%len(parts)]]
		for i, name := range pool {
			k := Kind(name)
			var at []arming.Phase
			for _, ph := range help(k).Phases {
				if slices.Contains(part, ph) {
					at = append(at, ph)
				}
			}
			if len(at) > 0 && m.clash(k) == "" {
				m.add(k, at)
				pool = slices.Delete(pool, i, i+1)
				break
			}
		}
	}
}

// clash names a surprise of the plan beside which k cannot come, "" for none:
// a frozen box ends the attempt before anything is lit.
func (m *maker) clash(k Kind) Kind {
	lights := func(k Kind) bool { return k == Misfire || k == LateLight }
	for _, s := range m.out {
		if s.Kind == FrozenBox && lights(k) || k == FrozenBox && lights(s.Kind) {
			return s.Kind
		}
	}
	return ""
}

// add draws one surprise of a kind in one of the phases.
func (m *maker) add(k Kind, phases []arming.Phase) {
	s := Surprise{Kind: k, Phase: phases[m.draw.IntN(len(phases))]}
	span := func(from, to time.Duration) time.Duration {
		return (from + time.Duration(m.draw.Int64N(int64(to-from)))).Round(100 * time.Millisecond)
	}
	switch s.Phase {
	case arming.Count:
		s.After = span(m.p.Times.Count/5, m.p.Times.Count*11/20)
	case arming.Run:
		s.After = time.Second
	case arming.Wait:
		wait := m.p.Times.Wait / time.Duration(m.p.WaitSpeed)
		s.After = min(span(time.Second, 3*time.Second), wait*2/5)
	default:
		s.After = span(time.Second, 3*time.Second)
	}
	if len(m.p.Posts) > 0 {
		s.Post = m.p.Posts[m.draw.IntN(len(m.p.Posts))]
	}
	switch k {
	case IgniterOpen, Misfire, Smoke:
		s.Motor = m.motor()
	case LateLight:
		s.Motor, s.Late = m.motor(), span(4*time.Second, 7*time.Second)
	case Wind:
		s.Wind = m.wind()
	}
	s.Phrase = s.fill(help(k).heard)
	if s.Phrase == "" || k == Walker || k == Smoke {
		s.Post = ""
	}
	m.out = append(m.out, s)
}

// motor draws a motor that no other surprise has, where there is one.
func (m *maker) motor() int {
	n := 1 + m.draw.IntN(m.p.Motors)
	for range m.p.Motors {
		taken := slices.ContainsFunc(m.out, func(s Surprise) bool { return s.Motor == n })
		if !taken {
			break
		}
		n = n%m.p.Motors + 1
	}
	return n
}

// wind draws a wind inside the band of the sheet, so that the firing can go
// on, and far enough from its middle that the old value is plainly wrong.
func (m *maker) wind() float64 {
	for i := range m.p.Steps {
		if st := &m.p.Steps[i]; st.ID == stepWind {
			half := (st.Band.High - st.Band.Low) / 2
			share := 0.5 + 0.2*m.draw.Float64()
			if m.draw.IntN(2) == 0 {
				share = -share
			}
			return math.Round((st.Band.Low+half+share*half)*10) / 10
		}
	}
	return 0
}

// stepWind is the routine's step that takes the wind.
const stepWind = "wind"

// fill puts what was drawn into a text of the table of kinds.
func (s *Surprise) fill(text string) string {
	return strings.NewReplacer("{who}", cmp.Or(s.Post, "the line"), "{motor}", strconv.Itoa(s.Motor),
		"{wind}", fmt.Sprintf("%.1f", s.Wind), "{late}", fmt.Sprint(s.Late.Seconds())).Replace(text)
}

// fault is the practice box's fault of a surprise, "" for none.
func (s *Surprise) fault() string { return s.fill(help(s.Kind).fault) }
