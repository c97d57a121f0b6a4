package drill

import (
	"encoding/json"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"holdline/arming"
	"holdline/checklist"
)

// firing is a practice firing of four motors with two posts.
func firing(t testing.TB) *arming.Plan {
	t.Helper()
	times := checklist.Bounds().Default
	p := &arming.Plan{Mode: arming.ModeBox, Practice: true, Motors: 4, Posts: []string{"north gate", "south gate"}, Times: times, WaitSpeed: 6}
	in := checklist.Inputs{Boxed: true, Motors: 4, Budget: checklist.Band{Low: 11, High: 14, Unit: "V"}, Wind: checklist.Band{Low: -1.5, High: 4.5, Unit: "m/s"},
		Mass: checklist.Band{Low: 1.3, High: 1.6, Unit: "kg"}, Mark: "SB-3", Times: times}
	for _, post := range p.Posts {
		in.Posts = append(in.Posts, checklist.Post{Name: post})
	}
	for range p.Motors {
		in.Channels = append(in.Channels, checklist.Band{Low: 1, High: 2, Unit: "ohm"})
	}
	p.Steps = checklist.Routine(in)
	if err := p.Validate(); err != nil {
		t.Fatal(err)
	}
	return p
}

func made(t testing.TB, seed uint64, c Choice) Plan {
	t.Helper()
	plan, err := Make(firing(t), seed, c)
	if err != nil {
		t.Fatal(err)
	}
	return plan
}

func TestTheSameSeedGivesTheSameDrill(t *testing.T) {
	different := 0
	for seed := uint64(1); seed <= 50; seed++ {
		a, b := made(t, seed, Choice{Count: 3}), made(t, seed, Choice{Count: 3})
		if !reflect.DeepEqual(a, b) {
			t.Fatalf("seed %d: %+v and %+v", seed, a, b)
		}
		if !reflect.DeepEqual(a.Surprises, made(t, seed+1, Choice{Count: 3}).Surprises) {
			different++
		}
	}
	if different < 45 {
		t.Errorf("%d of 50 seeds differ from the next one", different)
	}
}

// A seed reaches every part of a firing, and over the seeds every surprise
// comes, in every phase in which it may.
func TestSurprisesAreSpreadOverTheFiring(t *testing.T) {
	seen := map[string]bool{}
	for seed := uint64(1); seed <= 400; seed++ {
		for n := 1; n <= Most; n++ {
			plan := made(t, seed, Choice{Count: n})
			if len(plan.Surprises) != n {
				t.Fatalf("seed %d: %d surprises, want %d", seed, len(plan.Surprises), n)
			}
			reached := map[int]bool{}
			kinds := map[Kind]bool{}
			for i, s := range plan.Surprises {
				if i > 0 && plan.Surprises[i-1].Phase > s.Phase {
					t.Errorf("seed %d: out of order", seed)
				}
				if kinds[s.Kind] {
					t.Errorf("seed %d: %s twice", seed, s.Kind)
				}
				kinds[s.Kind] = true
				for k, part := range parts {
					reached[k] = reached[k] || slices.Contains(part, s.Phase)
				}
				seen[string(s.Kind)+" "+s.Phase.String()] = true
				judged(t, &s)
			}
			if len(reached) < min(n, len(parts)) {
				t.Errorf("seed %d, %d surprises: %d parts of the firing reached: %+v", seed, n, len(reached), plan.Surprises)
			}
			if kinds[FrozenBox] && (kinds[Misfire] || kinds[LateLight]) {
				t.Errorf("seed %d: a motor is to light after a frozen box", seed)
			}
		}
	}
	for _, h := range Kinds() {
		for _, ph := range h.Phases {
			if !seen[string(h.Kind)+" "+ph.String()] {
				t.Errorf("%s never comes in %v", h.Kind, ph)
			}
		}
	}
}

// judged compares one surprise with what it may be.
func judged(t *testing.T, s *Surprise) {
	t.Helper()
	if !slices.Contains(help(s.Kind).Phases, s.Phase) {
		t.Errorf("%s in %v", s.Kind, s.Phase)
	}
	if s.Phase == arming.Count && s.After > 6*time.Second {
		t.Errorf("%s %v into a count of 10 s", s.Kind, s.After)
	}
	if needs := s.Kind == IgniterOpen || s.Kind == Misfire || s.Kind == LateLight || s.Kind == Smoke; needs != (s.Motor >= 1 && s.Motor <= 4) {
		t.Errorf("%s of motor %d", s.Kind, s.Motor)
	}
	if s.Kind == Wind && (s.Wind < -1.5 || s.Wind > 4.5 || s.Wind > 0.5 && s.Wind < 2.5) {
		t.Errorf("a wind of %v m/s, the band is -1.5 to 4.5 and its middle 1.5", s.Wind)
	}
	if n := len([]rune(s.Phrase)); n > 62 {
		t.Errorf("%q has %d characters, too many for one row of 80", s.Phrase, n)
	}
}

func TestNamedSurprises(t *testing.T) {
	plan := made(t, 7, Choice{Kinds: []Kind{Misfire, LateLight, SpotterHold}})
	var got []Kind
	for _, s := range plan.Surprises {
		got = append(got, s.Kind)
	}
	if len(got) != 3 || got[0] != SpotterHold {
		t.Errorf("%v", got)
	}
	if plan.Surprises[1].Motor == plan.Surprises[2].Motor {
		t.Error("one motor is dark and late")
	}
	for _, bad := range []Choice{{}, {Count: -1}, {Count: Most + 1}, {Kinds: []Kind{"storm"}}, {Kinds: []Kind{FrozenBox, Misfire}},
		{Kinds: []Kind{LateLight, FrozenBox}}} {
		if p, err := Make(firing(t), 1, bad); err == nil {
			t.Errorf("%+v gives %+v", bad, p)
		}
	}
	for _, change := range []func(*arming.Plan){func(p *arming.Plan) { p.Practice, p.WaitSpeed = false, 1 }, func(p *arming.Plan) { p.Mode = arming.ModeTyped }} {
		p := firing(t)
		change(p)
		if _, err := Make(p, 1, Choice{Count: 1}); err == nil {
			t.Errorf("a drill in mode %v, practice %v", p.Mode, p.Practice)
		}
	}
	kinds, err := ParseKinds("wind, smoke")
	if err != nil || !slices.Equal(kinds, []Kind{Wind, Smoke}) {
		t.Errorf("%v %v", kinds, err)
	}
	for _, bad := range []string{"", "wind,wind", "Wind", "wind,,smoke"} {
		if _, err := ParseKinds(bad); err == nil {
			t.Errorf("%q accepted", bad)
		}
	}
}

// What is written down comes back as it was, and nothing else is read.
func TestLinesComeBack(t *testing.T) {
	for seed := uint64(1); seed < 100; seed++ {
		plan := made(t, seed, Choice{Count: 5})
		body, err := json.Marshal(PlanEntry(plan))
		if err != nil {
			t.Fatal(err)
		}
		l, err := decodeEntry(body)
		if err != nil {
			t.Fatal(err)
		}
		back, err := planOf(l)
		if err != nil || !reflect.DeepEqual(back, plan) {
			t.Fatalf("%v\ngot  %+v\nwant %+v", err, back, plan)
		}
	}
	for _, bad := range []string{``, `{}`, `{"drill":"more"}`, `{"drill":"hand","hand":"wave"}`, `{"drill":"over","number":1,"x":2}`, `{"drill":"over"} 1`, `[1]`} {
		if l, err := decodeEntry([]byte(bad)); err == nil {
			t.Errorf("%s read as %+v", bad, l)
		}
	}
	for _, bad := range []string{`{"drill":"plan","seed":"7"}`, `{"drill":"plan","seed":"-1","surprises":[{"kind":"wind","phase":"COUNT","after_ms":1}]}`,
		`{"drill":"plan","seed":"1","surprises":[{"kind":"wind","phase":"RUN","after_ms":1}]}`,
		`{"drill":"plan","seed":"1","surprises":[{"kind":"rain","phase":"COUNT","after_ms":1}]}`,
		`{"drill":"plan","seed":"1","surprises":[{"kind":"smoke","phase":"MAKESAFE","after_ms":1,"motor":99}]}`} {
		l, err := decodeEntry([]byte(bad))
		if err != nil {
			t.Fatal(err)
		}
		if p, err := planOf(l); err == nil {
			t.Errorf("%s read as %+v", bad, p)
		}
	}
}

func TestNotesForThePage(t *testing.T) {
	plan := made(t, 7, Choice{Kinds: []Kind{SpotterHold}})
	for _, c := range []struct {
		body any
		want string
	}{
		{PlanEntry(plan), "DRILL with 1 surprise, seed 7"},
		{SurpriseEntry(&plan, 1), "HOLD, HOLD"},
		{OverEntry(1), ""},
		{HandEntry(KeyOut), ""},
	} {
		body, err := json.Marshal(c.body)
		if err != nil {
			t.Fatal(err)
		}
		if got := Note(body); (c.want == "") != (got == "") || !strings.Contains(got, c.want) {
			t.Errorf("%s: %q", body, got)
		}
	}
}
