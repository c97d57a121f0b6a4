//go:build slow

package arming

import (
	"fmt"
	"strings"
	"testing"
	"time"
)

// graph is what a walk has found.
type graph struct {
	w      *walker
	nodes  []node
	index  map[node]uint32
	parent []uint32
	by     []uint8 // the move that came here first
	ends   []int   // of the edges from each node, in to
	to     []uint32
	count  int
	seeds  int
	loss   *lost
}

type lost struct {
	from uint32
	by   uint8
	to   node
	what string
}

// walk enumerates every node that can be reached from the seeds, breadth
// first. It ends at the first loss.
func walk(w *walker, seeds []node, keepEdges bool, most int) *graph {
	g := &graph{w: w, index: map[node]uint32{}, seeds: len(seeds)}
	for _, n := range seeds {
		g.add(n, uint32(len(g.nodes)), 0)
	}
	for i := 0; i < len(g.nodes) && g.loss == nil && (most == 0 || len(g.nodes) < most); i++ {
		n := g.nodes[i]
		for k := range w.moves {
			w.moves[k].run(w, &n, func(to node, loss string) {
				g.count++
				if loss != "" && g.loss == nil {
					g.loss = &lost{uint32(i), uint8(k), to, loss}
				}
				j := g.add(to, uint32(i), uint8(k))
				if keepEdges {
					g.to = append(g.to, j)
				}
			})
		}
		if keepEdges {
			g.ends = append(g.ends, len(g.to))
		}
	}
	return g
}

func (g *graph) add(n node, from uint32, by uint8) uint32 {
	i, ok := g.index[n]
	if !ok {
		i = uint32(len(g.nodes))
		g.index[n] = i
		g.nodes, g.parent, g.by = append(g.nodes, n), append(g.parent, from), append(g.by, by)
	}
	return i
}

// story tells how the loss is reached.
func (g *graph) story() string {
	lines := []string{fmt.Sprintf("  %-55s %s", g.w.moves[g.loss.by].name, g.w.say(&g.loss.to))}
	i := g.loss.from
	for ; g.parent[i] != i; i = g.parent[i] {
		lines = append(lines, fmt.Sprintf("  %-55s %s", g.w.moves[g.by[i]].name, g.w.say(&g.nodes[i])))
	}
	lines = append(lines, fmt.Sprintf("  %-55s %s", "from", g.w.say(&g.nodes[i])), g.loss.what+", by")
	for a, b := 0, len(lines)-1; a < b; a, b = a+1, b-1 {
		lines[a], lines[b] = lines[b], lines[a]
	}
	return strings.Join(lines, "\n")
}

// say says a node in short.
func (w *walker) say(n *node) string {
	c, y := w.at(n), &n.y
	var b strings.Builder
	if y.alive {
		fmt.Fprintf(&b, "%v line %v", Phase(c.phase), Line(c.line))
	} else {
		b.WriteString("program dead")
	}
	for _, f := range []struct {
		on   bool
		text string
	}{{y.key, "key in"}, {y.battery, "battery"}, {y.hand, "hand"}, {y.relay, "relay"}, {y.forward, "PERSON FORWARD"},
		{y.fault != faultNone, faultNames[y.fault]}, {y.igniter != igniterNone, "igniter"}, {y.live(), "LIVE"},
		{y.unwaited, "unwaited"}, {y.stalled, "stalled"},
		{Phase(c.phase) == Wait, fmt.Sprintf("wait %d", c.wait)}, {c.pending != 0, "line pending"}} {
		if f.on {
			b.WriteString(", " + f.text)
		}
	}
	return b.String()
}

// origin is a start with nothing known: key out, battery off, nobody forward.
func origin(w *walker) node {
	var first node
	dead := node{m: w.intern(compact{})}
	w.start(&dead, func(n node, _ string) { first = n })
	return first
}

// reachSetup counts the nodes from which no way leads to SETUP, and returns
// one of them.
func (g *graph) reachSetup() (stuck int, example *node) {
	starts := make([]uint32, len(g.nodes)+1)
	for _, to := range g.to {
		starts[to+1]++
	}
	for i := range g.nodes {
		starts[i+1] += starts[i]
	}
	from, fill := make([]uint32, len(g.to)), append([]uint32(nil), starts...)
	for i, lo := 0, 0; i < len(g.nodes); i++ {
		for ; lo < g.ends[i]; lo++ {
			from[fill[g.to[lo]]] = uint32(i)
			fill[g.to[lo]]++
		}
	}
	reaches := make([]bool, len(g.nodes))
	var queue []uint32
	for i := range g.nodes {
		if g.nodes[i].y.alive && Phase(g.w.at(&g.nodes[i]).phase) == Setup {
			reaches[i] = true
			queue = append(queue, uint32(i))
		}
	}
	for ; len(queue) > 0; queue = queue[1:] {
		for k := starts[queue[0]]; k < starts[queue[0]+1]; k++ {
			if i := from[k]; !reaches[i] {
				reaches[i] = true
				queue = append(queue, i)
			}
		}
	}
	for i := range g.nodes {
		if !reaches[i] {
			stuck, example = stuck+1, &g.nodes[i]
		}
	}
	return stuck, example
}

// phases counts the nodes of each phase with the program alive.
func (g *graph) phases() (count [phaseEnd]int) {
	for i := range g.nodes {
		if g.nodes[i].y.alive {
			count[g.w.at(&g.nodes[i]).phase]++
		}
	}
	return count
}

// mustHold walks everything, and fails on a loss, a broken invariant, a phase
// or a pause that was never reached, and a node from which SETUP cannot be reached.
func mustHold(t *testing.T, set settings) *graph {
	t.Helper()
	begin := time.Now()
	w := newWalker(set)
	g := walk(w, []node{origin(w)}, true, 0)
	paused, out := g.paused()
	t.Logf("fault %s, %d slips: %d states, %d edges (%d states of the machine, %d calls of Step), in a pause %d and %d, %.1f s",
		faultNames[set.fault], set.slips, len(g.nodes), g.count, len(w.compacts), w.steps, len(paused), out, time.Since(begin).Seconds())
	if g.loss != nil {
		t.Fatal(g.story())
	}
	if len(paused) == 0 {
		t.Error("no pause of the count was ever reached")
	}
	for p, n := range g.phases() {
		if n == 0 {
			t.Errorf("%v was never reached", Phase(p))
		}
	}
	if stuck, n := g.reachSetup(); stuck > 0 {
		t.Errorf("SETUP cannot be reached from %d states, such as %s", stuck, w.say(n))
	}
	return g
}

// TestWalk enumerates every state of machine and world that can be reached,
// once for each hardware fault that may happen. No edge breaks an invariant;
// no current flows with a person forward; nobody goes forward, and the firing
// is not closed, after a pulse without a full wait; no current begins with no
// hand on the button; and SETUP can be reached from everywhere.
//
// People are taken to do what the screen says of two things that no program
// can see: nobody joins the battery while the line is not CLOSED, or
// between the last reading and the order to open the line.
func TestWalk(t *testing.T) {
	for f := faultNone; f <= faultKeyBridged; f++ {
		t.Run(faultNames[f], func(t *testing.T) {
			t.Parallel()
			g := mustHold(t, settings{fault: f, slips: 1})
			if f == faultNone {
				needsRulesOfPause(t, g)
			}
		})
	}
}

// TestWalkNeedsEachRule goes without one requirement at a time, with the fault
// that it stands against, and must find its loss: the walk can fail.
func TestWalkNeedsEachRule(t *testing.T) {
	for r, f := range map[rule]fault{without01: faultNone, without03: faultNone, without06: faultPermitWelded, without08: faultPermitWelded,
		without12: faultPermitWelded, without17: faultPole, without18: faultPole, without21: faultNone} {
		t.Run(ruleNames[r], func(t *testing.T) {
			t.Parallel()
			w := newWalker(settings{rule: r, fault: f, slips: 1})
			g := walk(w, []node{origin(w)}, false, 0)
			if g.loss == nil {
				t.Fatalf("without %s and with fault %s no loss is reached, in %d states", ruleNames[r], faultNames[f], len(g.nodes))
			}
			t.Logf("fault %s: %s, after %d states\n%s", faultNames[f], g.loss.what, len(g.nodes), g.story())
		})
	}
}
