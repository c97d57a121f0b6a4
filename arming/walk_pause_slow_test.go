//go:build slow

package arming

import (
	"strings"
	"testing"
)

// paused lists the nodes in a pause of the count, and counts the edges from
// them.
func (g *graph) paused() (nodes []uint32, edges int) {
	for i, end := range g.ends {
		if n := &g.nodes[i]; n.y.alive && g.w.at(n).paused {
			nodes = append(nodes, uint32(i))
			edges += end - g.ends[i-1] // the first node is a start
		}
	}
	return nodes, edges
}

// stepWrongly is Step in a pause of the count, without one of its rules.
func (w *walker) stepWrongly(a *State, now Instant, ev Event) (State, []Effect, error) {
	s := *a
	order, asks := ev.(StartCount)
	_, tick := ev.(Tick)
	switch w.rule {
	case pauseByAnyone:
		if p, ok := s.Pending.Event.(StartCount); ok && p.By != firing {
			s.Pending.Event = StartCount{By: firing}
		}
		if asks && order.By != firing {
			b, fx, err := Step(w.p, s, now, StartCount{By: firing})
			if err == nil {
				b.Pending.Event = ev
			}
			return b, fx, err
		}
	case pauseByTime, pauseRuns:
		b, fx, err := Step(w.p, s, now, ev)
		if tick && b.Paused {
			left := b.PauseLeft
			if b.PauseLeft -= now.Mono - a.Now.Mono; w.rule == pauseByTime {
				b.Paused, b.ZeroAt = false, Instant{Mono: now.Mono + left, Wall: now.Wall + left}
			}
		}
		return b, fx, err
	case pauseForEver:
		s.PausedAt = now
		b, fx, err := Step(w.p, s, now, ev)
		if b.Paused {
			b.PausedAt = a.PausedAt
		}
		return b, fx, err
	case pauseOnOldAnswers:
		asked, _ := s.Pending.Event.(StartCount)
		if e := &s.Evidence[walkClear]; e.Present && (asks || asked.By != "") {
			e.At = now
			b, fx, err := Step(w.p, s, now, ev)
			b.Evidence[walkClear] = a.Evidence[walkClear]
			return b, fx, err
		}
	case pauseWithoutHold:
		if _, ok := ev.(HoldCall); ok {
			return s, nil, nil
		}
	case pauseWithoutButton:
		if r, ok := ev.(BoxReading); ok {
			r.Box.Pole1, r.Box.Pole2 = ContactOpen, ContactOpen
			return Step(w.p, s, now, r)
		}
	}
	return Step(w.p, s, now, ev)
}

// needsRulesOfPause goes without one rule of a pause at a time, from every
// pause that the walk has reached, and must find the invariant that this
// breaks.
func needsRulesOfPause(t *testing.T, g *graph) {
	t.Helper()
	want := map[rule]string{pauseByAnyone: "I-02: a pause of the count ended by another's word", pauseByTime: "I-02: a pause of the count ended by itself",
		pauseRuns: "I-02: the clock ran in a pause", pauseForEver: "I-18: a pause of the count too long",
		pauseOnOldAnswers: "I-17: COUNT goes on with answers that will not last", pauseWithoutHold: "I-11: HOLD did not act at once",
		pauseWithoutButton: "I-29: button before zero"}
	w := g.w
	paused, _ := g.paused()
	for r := pauseByAnyone; r < rules; r++ {
		w.rule, w.memo = r, map[memoKey][]outcome{}
		found := 0
		for _, i := range paused {
			n := g.nodes[i]
			for k := range w.moves {
				w.moves[k].run(w, &n, func(_ node, loss string) {
					if strings.Contains(loss, want[r]) {
						found++
					} else if loss != "" {
						t.Errorf("%s: %s, by %s", ruleNames[r], loss, w.moves[k].name)
					}
				})
			}
		}
		if t.Logf("%s: %d edges of %d pauses break %q", ruleNames[r], found, len(paused), want[r]); found == 0 {
			t.Errorf("%s: nothing breaks", ruleNames[r])
		}
	}
}
