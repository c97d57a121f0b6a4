//go:build slow

package session

import (
	"strings"
	"testing"
	"time"

	"holdline/arming"
	"holdline/arming/drill"
)

// A crew that does what is right is told so, for every surprise there is, with
// the real practice box and in real time.
func TestEverySurpriseCanBeMet(t *testing.T) {
	for _, h := range drill.Kinds() {
		for _, ph := range h.Phases {
			t.Run(string(h.Kind)+" in "+ph.String(), func(t *testing.T) {
				t.Parallel()
				c := newDrill(t, ph, h.Kind)
				c.meet(h.Kind, ph)
				j := c.judged()
				if j.Verdict != drill.Met || j.Came != 1 {
					t.Errorf("not met:\n%s\n%s", j.Text(), c.say())
				}
				t.Log("\n" + j.Text())
			})
		}
	}
}

// meet goes through a firing in which one surprise comes in a phase, and does
// what is right.
func (c *crew) meet(k drill.Kind, ph arming.Phase) {
	c.t.Helper()
	switch ph {
	case arming.Setup:
		c.meetBatteryForward()
		c.finish()
		return
	case arming.Run, arming.Wait, arming.MakeSafe:
		c.meetAfter(k)
		return
	case arming.Ready:
		c.toReady()
	case arming.Armed:
		c.toReady()
		c.toArmed()
	case arming.Count:
		c.toReady()
		c.toArmed()
		c.send(arming.StartCount{By: firing}, func(s arming.State) bool { return s.Phase == arming.Count })
	}
	c.stopRightly(k)
	if k == drill.FrozenBox {
		return
	}
	c.finish()
}

// stopRightly meets a surprise between READY and zero.
func (c *crew) stopRightly(k drill.Kind) {
	c.t.Helper()
	switch k {
	case drill.SpotterHold, drill.Intruder, drill.Wind:
		c.hear(10 * time.Second)
		c.cfg.Submit(arming.HoldCall{})
		c.phase(arming.Hold, time.Second)
		post := c.s.drill.director.Plan().Surprises[0].Post
		c.cfg.Submit(arming.HoldBy{Name: "Spotter of " + post})
		c.key(false)
		c.resume()
		for _, id := range map[drill.Kind][]string{drill.Intruder: {arming.StepRangeClear}, drill.Wind: {"wind"}}[k] {
			c.send(arming.Withdraw{Step: id, Why: "it is no longer so"}, func(s arming.State) bool { return !s.Evidence[c.s.index(id)].Present })
		}
		return
	case drill.FrozenBox:
		c.until("the box lost", 15*time.Second, func(s arming.State) bool { return !s.Box.Up })
		c.key(false)
		c.battery(false)
		c.phase(arming.Wait, 40*time.Second)
		c.until("the box back", 20*time.Second, func(s arming.State) bool { return s.Box.Up && s.Box.Key == arming.ContactOpen })
		c.toClosed()
		return
	}
	c.until("the stop", 15*time.Second, func(s arming.State) bool { return s.Phase == arming.Hold || s.Phase == arming.Setup })
	stopped := c.state().Now.Mono
	c.key(false)
	c.battery(false)
	if k == drill.SilentBox {
		c.until("the box back", 40*time.Second, func(s arming.State) bool {
			return s.Box.Up && s.Box.Seen.Mono > stopped && s.Box.Key == arming.ContactOpen
		})
	}
	c.until("battery off", 3*time.Second, func(s arming.State) bool { return s.Box.Battery.Level == arming.LevelDead })
	if k == drill.WeakBattery {
		c.until("a fresh battery", 3*time.Second, func(arming.State) bool {
			d := c.frame().Drill
			return d != nil && strings.Contains(d.Heard, "a fresh battery")
		})
	}
	if c.state().Phase == arming.Hold {
		c.resume()
	}
	if k == drill.IgniterOpen {
		c.again()
	}
}

// again opens the line once more, to mend something forward.
func (c *crew) again() {
	c.t.Helper()
	c.shunt(true)
	c.send(arming.Answer{Step: arming.StepShuntOn, Words: "across the line", Means: arming.MeansSaid}, func(s arming.State) bool { return s.Shunted })
	c.openLine()
}

func (c *crew) resume() {
	c.t.Helper()
	c.until("key out, permit open", 3*time.Second, func(s arming.State) bool {
		return s.Box.Up && s.Box.Key == arming.ContactOpen && s.Box.Permit == arming.ContactOpen
	})
	c.send(arming.Resume{By: ranger}, func(s arming.State) bool { return s.Phase == arming.Setup || s.Phase == arming.Ready })
	// The test current was off in HOLD. What was read before stands for a moment
	// yet, and arming is quicker here than anybody types.
	before := c.state().Box.Scan
	c.until("two scans", 5*time.Second, func(s arming.State) bool { return !s.LeaseWanted || s.Box.Scan > before+1 })
}

func (c *crew) meetBatteryForward() {
	c.t.Helper()
	for range 80 {
		s := c.state()
		if c.s.plan.Steps[max(0, s.Cursor(c.s.plan))].ID == arming.StepHookUp {
			c.openLine()
			break
		}
		c.oneStep()
	}
	c.until("the battery joined", 10*time.Second, func(s arming.State) bool { return s.Box.Battery.Millivolt > 1000 })
	c.battery(false)
	c.until("everyone back", 3*time.Second, func(s arming.State) bool { return s.Line == arming.LineUnknown })
	c.until("battery off", 3*time.Second, func(s arming.State) bool { return s.Box.Battery.Level == arming.LevelDead })
	c.closeLine(c.people())
}

// meetAfter meets a surprise of the run or after it.
func (c *crew) meetAfter(k drill.Kind) {
	c.t.Helper()
	c.toReady()
	c.toArmed()
	c.toWindow()
	c.button(true)
	c.phase(arming.Run, 2*time.Second)
	time.Sleep(1200 * time.Millisecond)
	c.button(false)
	c.phase(arming.Wait, 2*time.Second)
	c.key(false)
	sp := c.s.drill.director.Plan().Surprises[0]
	if k == drill.Misfire || k == drill.LateLight {
		c.hear(12 * time.Second)
	}
	if k == drill.Misfire {
		c.dark = sp.Motor
	}
	if k == drill.LateLight {
		c.cfg.Submit(arming.HoldCall{})
		c.until("everyone back", 3*time.Second, func(s arming.State) bool { return s.Line == arming.LineUnknown })
	}
	if k == drill.Walker {
		c.send(arming.Say{Fact: arming.FactAtRest, By: firing}, func(s arming.State) bool { return s.AtRest })
		c.hear(5 * time.Second)
		c.cfg.Submit(arming.HoldCall{})
		c.until("everyone back", 3*time.Second, func(s arming.State) bool { return s.Line == arming.LineUnknown })
	}
	c.smoke = k == drill.Smoke
	c.toClosed()
}

// finish goes on as far as the next count, where what had to be answered anew
// shows.
func (c *crew) finish() {
	c.t.Helper()
	c.toReady()
	c.toArmed()
	c.send(arming.StartCount{By: firing}, func(s arming.State) bool { return s.Phase != arming.Armed })
	c.cfg.Submit(arming.HoldCall{})
	c.key(false)
	c.phase(arming.Hold, 2*time.Second)
}

// hear waits for something that is heard.
func (c *crew) hear(within time.Duration) {
	c.t.Helper()
	c.until("something heard", within, func(arming.State) bool { d := c.frame().Drill; return d != nil && strings.TrimSpace(d.Heard) != "" })
}
