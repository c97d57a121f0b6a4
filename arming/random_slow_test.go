//go:build slow

package arming

import (
	"flag"
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"
	"testing"

	"pgregory.net/rapid"
)

// TestMillionsOfRandomEvents drives five million events and more, two firings
// at a time, and prints how often each phase, event, effect and fault was seen.
// One that was hardly seen is a fault of the generator. A failure is shrunk,
// and comes with the seed that leads to it.
func TestMillionsOfRandomEvents(t *testing.T) {
	const (
		least   = 5_000_000 // events
		workers = 2
		firings = 10_000 // of each worker
		often   = 500    // times, at least, for everything
	)
	checks := flag.Lookup("rapid.checks")
	if before := checks.Value.String(); before == checks.DefValue {
		if err := checks.Value.Set(fmt.Sprint(firings)); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = checks.Value.Set(before) })
	}
	all := newVisits()
	var lock sync.Mutex
	t.Run("firings", func(t *testing.T) {
		for range workers {
			t.Run("", func(t *testing.T) {
				t.Parallel()
				seen := newVisits()
				rapid.Check(t, func(t *rapid.T) { randomFiring(t, seen, 100) })
				lock.Lock()
				defer lock.Unlock()
				all.add(seen)
			})
		}
	})
	if t.Failed() {
		return
	}
	if all.events < least {
		t.Errorf("%d events, want %d at least", all.events, least)
	}
	t.Logf("%d events, of which %d were refused; %d pulses in igniters; %d times a person went forward; %d starts after an end of the program",
		all.events, all.refused, all.pulses, all.forward, all.restarts)
	enough := func(what string, n int) {
		if n < often {
			t.Errorf("%s: %d times only", what, n)
		}
	}
	enough("pulses", all.pulses)
	enough("a person forward", all.forward)
	enough("restarts", all.restarts)
	t.Logf("%d events in a pause of the count", all.paused)
	enough("pauses", all.paused)
	for p := Setup; p < phaseEnd; p++ {
		t.Logf("%-9v entered %7d times, %8d events in it", p, all.entered[p], all.phases[p])
		enough(p.String(), all.entered[p])
	}
	for f := weldedPermit; f < siteFaults; f++ {
		enough(fmt.Sprintf("fault %d", f), all.faults[f])
	}
	for _, name := range eventNames(t) {
		if !strings.HasPrefix(name, "Fact") {
			enough("event "+name, all.kinds[name])
		}
	}
	for _, name := range []string{"PermitOff", "PermitOn", "Write", "Lease", "ClearBits", "Notice", "Callout", "CloseRecord"} {
		t.Logf("effect %-11s %8d times", name, all.effects[name])
		enough("effect "+name, all.effects[name])
	}
	for _, kind := range slices.Sorted(maps.Keys(all.kinds)) {
		t.Logf("event %-12s %8d times", kind, all.kinds[kind])
	}
}

func (v *visits) add(o *visits) {
	v.events, v.pulses, v.forward, v.restarts, v.refused = v.events+o.events, v.pulses+o.pulses, v.forward+o.forward, v.restarts+o.restarts, v.refused+o.refused
	v.paused += o.paused
	for p := range v.phases {
		v.phases[p] += o.phases[p]
		v.entered[p] += o.entered[p]
	}
	for f := range v.faults {
		v.faults[f] += o.faults[f]
	}
	for k, n := range o.kinds {
		v.kinds[k] += n
	}
	for k, n := range o.effects {
		v.effects[k] += n
	}
}
