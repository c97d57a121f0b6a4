package drill

import (
	"slices"
	"strconv"
	"time"

	"holdline/arming"
)

// The drill as a whole.
const (
	Met         = "met"          // every surprise came and was met rightly and in time
	NotMet      = "not met"      // one was not
	NotFinished = "not finished" // what came was met, and not all came
)

// Judgement is how a drill went.
type Judgement struct {
	Verdict   string     `json:"verdict"`
	Seed      string     `json:"seed"`
	Phase     string     `json:"phase"` // in which the record ends
	BrokeOff  bool       `json:"broke_off"`
	Planned   int        `json:"planned"`
	Came      int        `json:"came"`
	Met       int        `json:"met"`
	Right     int        `json:"right"`  // reactions
	Judged    int        `json:"judged"` // reactions that are for or against the crew
	SlowestS  *float64   `json:"slowest_s"`
	MeanS     *float64   `json:"mean_s"` // of the reactions that have a limit
	Surprises []Answered `json:"surprises"`
	Practise  []Advice   `json:"practise"`
}

// Answered is one surprise with what the crew did.
type Answered struct {
	Number    int        `json:"number"`
	Kind      Kind       `json:"kind"`
	Phase     string     `json:"phase"` // in which it came, or was to come
	Meaning   string     `json:"meaning"`
	Heard     string     `json:"heard"`
	Came      bool       `json:"came"`
	AtS       *float64   `json:"at_s"` // since the record's start
	Met       bool       `json:"met"`
	Reactions []Reaction `json:"reactions"`
}

// Reaction is one thing that was right to do, and what was done.
type Reaction struct {
	What    string   `json:"what"`
	Verdict Verdict  `json:"verdict"`
	TookS   *float64 `json:"took_s"`
	LimitS  *float64 `json:"limit_s"`
	Why     string   `json:"why"`
	Source  string   `json:"source"`
}

// Advice is what to practise next.
type Advice struct {
	Kind Kind   `json:"kind"`
	Text string `json:"text"`
}

// Judgement judges what has been followed so far.
func (j *Judge) Judgement() (Judgement, error) {
	if j.plan == nil || j.rep.Plan == nil {
		return Judgement{}, ErrNoDrill
	}
	out := Judgement{Seed: strconv.FormatUint(j.plan.Seed, 10), Phase: j.rep.State.Phase.String(), BrokeOff: j.brokeOff,
		Planned: len(j.plan.Surprises), Surprises: []Answered{}, Practise: []Advice{}}
	for i := range j.plan.Surprises {
		a := j.answered(i + 1)
		out.add(a)
		if a.Came && !a.Met && slices.ContainsFunc(a.Reactions, func(r Reaction) bool { return r.Verdict.Counts() && r.Verdict != Right }) {
			out.Practise = append(out.Practise, Advice{a.Kind, help(a.Kind).Advice})
		}
	}
	out.conclude()
	return out, nil
}

func (j *Judgement) add(a Answered) {
	j.Surprises = append(j.Surprises, a)
	if a.Came {
		j.Came++
	}
	if a.Met {
		j.Met++
	}
	for _, r := range a.Reactions {
		if r.Verdict.Counts() {
			j.Judged++
		}
		if r.Verdict == Right {
			j.Right++
		}
	}
}

// conclude takes the times together and says how the whole went.
func (j *Judgement) conclude() {
	sum, n := 0.0, 0
	for _, a := range j.Surprises {
		for _, r := range a.Reactions {
			if r.TookS == nil || r.LimitS == nil {
				continue
			}
			sum, n = sum+*r.TookS, n+1
			if j.SlowestS == nil || *r.TookS > *j.SlowestS {
				j.SlowestS = r.TookS
			}
		}
	}
	if n > 0 {
		mean := sum / float64(n)
		j.MeanS = &mean
	}
	switch {
	case len(j.Practise) > 0:
		j.Verdict = NotMet
	case j.Met < j.Planned:
		j.Verdict = NotFinished
	default:
		j.Verdict = Met
	}
}

// answered judges surprise number n.
func (j *Judge) answered(n int) Answered {
	s := &j.plan.Surprises[n-1]
	h := help(s.Kind)
	out := Answered{Number: n, Kind: s.Kind, Phase: s.Phase.String(), Meaning: h.Meaning, Heard: s.Phrase, Reactions: []Reaction{}}
	b := j.came[n-1]
	if b == nil {
		return out
	}
	out.Came, out.Phase, out.AtS = true, b.phase.String(), inSeconds(b.at)
	sc := j.scene(b, s)
	for _, r := range h.rules {
		re := r.find(sc)
		if re == none {
			continue
		}
		re.What, re.Source = r.what, r.source
		if r.limit > 0 {
			re.LimitS = inSeconds(r.limit)
		}
		out.Reactions = append(out.Reactions, re)
	}
	out.Met = met(out.Reactions)
	return out
}

// met reports that everything that could be seen was right, and something was.
func met(list []Reaction) bool {
	right := false
	for _, r := range list {
		right = right || r.Verdict == Right
		if r.Verdict.Counts() && r.Verdict != Right {
			return false
		}
	}
	return right
}

// scene cuts what follows a surprise out of the record.
func (j *Judge) scene(b *begun, s *Surprise) *scene {
	sc := &scene{begun: b, s: s, plan: j.rep.Plan, last: j.last, over: j.rep.State.Phase == arming.Closed}
	for i := range j.acts {
		if j.acts[i].at > b.at {
			sc.acts = append(sc.acts, j.acts[i])
		}
	}
	for _, t := range j.turns {
		if t.at >= b.at {
			sc.turns = append(sc.turns, t)
		}
	}
	return sc
}

func inSeconds(d time.Duration) *float64 {
	s := float64(d.Milliseconds()) / 1000
	return &s
}
