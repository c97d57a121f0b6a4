package session

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"holdline/arming"
	"holdline/checklist/sheet"
	"holdline/checklist/sheet/scenario"
)

// A firing of the whole program in simulated time: session, machine, translator,
// link, record and screen are the real ones, and stand in a plant whose every
// part can fail at any moment. What happens to it is a script of troubles, made
// from a seed; a judge, who knows the plant and the disk alone, says what was
// wrong. See judge_test.go for the sentences.

// script is one firing: what goes wrong, and with which crew.
type script struct {
	seed     uint64
	crew     int // of crews
	troubles []trouble
}

// trouble is one thing that happens, so long after a phase was first come to.
type trouble struct {
	phase arming.Phase
	after time.Duration
	kind  string
	lasts time.Duration
	n     int
}

func (x trouble) String() string {
	return fmt.Sprintf("%v+%v: %s for %v (%d)", x.phase, x.after, x.kind, x.lasts, x.n)
}

func (s script) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "seed %d, the crew that %s", s.seed, crews[s.crew])
	for _, x := range s.troubles {
		fmt.Fprintf(&b, "\n  %v", x)
	}
	return b.String()
}

var crews = []string{"follows the screen", "errs", "does its worst"}

// phaseFor is where troubles strike, and how long each phase is worth looking at.
var phaseFor = []struct {
	phase arming.Phase
	long  time.Duration
}{
	{arming.Setup, 12 * time.Second}, {arming.Proof, 5 * time.Second}, {arming.Ready, 700 * time.Millisecond}, {arming.Armed, 400 * time.Millisecond},
	{arming.Count, 5100 * time.Millisecond}, {arming.Count, 5100 * time.Millisecond}, {arming.Window, 500 * time.Millisecond},
	{arming.Run, 1200 * time.Millisecond}, {arming.Wait, 3 * time.Second}, {arming.MakeSafe, 3 * time.Second},
}

// newScript makes up a firing.
func newScript(seed uint64) script {
	r := rand.New(rand.NewPCG(seed, 1))
	s := script{seed: seed, crew: int(seed % 3)}
	add := func(kinds []string, n int) {
		for range n {
			at := phaseFor[r.IntN(len(phaseFor))]
			x := trouble{phase: at.phase, after: time.Duration(r.Int64N(int64(at.long/time.Millisecond))) * time.Millisecond,
				kind: kinds[r.IntN(len(kinds))], n: r.IntN(1000)}
			x.lasts = time.Duration(20+r.IntN(400)) * time.Millisecond
			if r.IntN(2) == 0 {
				x.lasts *= 10
			}
			s.troubles = append(s.troubles, x)
		}
	}
	switch s.crew {
	case 0:
		add(plantTroubles, r.IntN(3))
	case 1:
		add(slips, 1+r.IntN(3))
		add(plantTroubles, r.IntN(2))
	default:
		add(worst, 2+r.IntN(12))
		add(plantTroubles, r.IntN(2))
	}
	return s
}

// figures are what a run of firings came to.
type figures struct {
	mu       sync.Mutex
	firings  int
	troubles map[string]int
	permits  int
	pulses   int64
	closed   int
	simTime  time.Duration
}

// shortSheet is the scenario with the shortest times.
var shortSheet = sync.OnceValues(func() (*sheet.Sheet, error) {
	dir, err := os.MkdirTemp("", "holdline-firings-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	if err := os.CopyFS(dir, scenario.Files()); err != nil {
		return nil, err
	}
	path := filepath.Join(dir, scenario.SheetName)
	data, err := os.ReadFile(path)
	if err == nil {
		data, err = sheet.Set(data, "times.count", "5 s")
	}
	if err == nil {
		err = os.WriteFile(path, data, 0o600)
	}
	if err != nil {
		return nil, err
	}
	return sheet.Load(path)
})

// testSigner is a key that is made once.
var testSigner = sync.OnceValues(func() (signing, error) {
	dir, err := os.MkdirTemp("", "holdline-firings-")
	if err != nil {
		return signing{}, err
	}
	defer os.RemoveAll(dir)
	return openSigner("", dir)
})

// practiceWaitFor is how long the wait of these firings takes.
const practiceWaitFor = 2 * time.Second

// fire runs one script and returns what the judge found.
func fire(t *testing.T, sc script, fig *figures) (findings []string) {
	t.Helper()
	dir, err := os.MkdirTemp("/dev/shm", "holdline-firing-")
	if err != nil {
		dir = t.TempDir()
	}
	defer os.RemoveAll(dir)
	sh, err := shortSheet()
	if err != nil {
		t.Fatal(err)
	}
	small()
	out, err := os.Create(filepath.Join(dir, "words"))
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	synctest.Test(t, func(t *testing.T) {
		o := Options{Practice: true, RecordDir: filepath.Join(dir, "records"), Settings: filepath.Join(dir, "settings"), Version: "test",
			PracticeWait: practiceWaitFor, In: os.Stdin, Out: out}
		p, err := newPlant(sh, o)
		if err != nil {
			t.Error(err)
			return
		}
		m := &team{p: p, rnd: rand.New(rand.NewPCG(sc.seed, 2)), far: map[arming.Phase]bool{}, sent: map[arming.Event]time.Duration{}}
		play(p, m, sc)
		words, err := p.end(out)
		findings = judge(p, sc, m, words, err)
		time.Sleep(30 * time.Second) // until the last thing that hangs has come back
		fig.add(p, sc)
	})
	return findings
}

func (f *figures) add(p *plant, sc script) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.firings++
	f.simTime += p.now()
	for _, x := range sc.troubles {
		f.troubles[x.kind]++
	}
	f.permits += p.permitCount
	f.pulses += p.box.State().Pulses
	if p.s.record.signed != "" && p.s.driver.last().Phase == arming.Closed {
		f.closed++
	}
}

// play lets the crew and the troubles have their way until there is nothing left
// to do.
func play(p *plant, m *team, sc script) {
	left := slices.Clone(sc.troubles)
	var coming []*time.Timer
	defer func() { // what has not come by the end of the firing does not come
		for _, timer := range coming {
			timer.Stop()
		}
	}()
	for p.now() < 4*time.Minute {
		p.mu.Lock()
		over := !m.look() || p.left
		p.mu.Unlock()
		if over {
			return
		}
		left = slices.DeleteFunc(left, func(x trouble) bool {
			if !m.far[x.phase] {
				return false
			}
			coming = append(coming, time.AfterFunc(x.after, func() { p.strike(x) }))
			return true
		})
		p.watch()
		time.Sleep(p.pace())
	}
}

// pace is how often anybody looks: close where the permit is near.
func (p *plant) pace() time.Duration {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.key || p.forward || p.s.driver.wanted.Load() {
		return 20 * time.Millisecond
	}
	return 50 * time.Millisecond
}

// shrink takes away what a finding does not need.
func shrink(t *testing.T, sc script, found []string) (script, []string) {
	for i := 0; i < len(sc.troubles); {
		less := sc
		less.troubles = slices.Delete(slices.Clone(sc.troubles), i, i+1)
		if got := fire(t, less, newFigures()); len(got) > 0 {
			sc, found = less, got
		} else {
			i++
		}
	}
	return sc, found
}

func newFigures() *figures { return &figures{troubles: map[string]int{}} }

// enoughFound is after how many findings no more are looked for.
var enoughFound = 4

// fireMany runs firings until the time is over or there are enough of them.
func fireMany(t *testing.T, from uint64, most int, until time.Time) *figures {
	fig := newFigures()
	defer debug.SetGCPercent(debug.SetGCPercent(400)) // two firings leave little to be kept
	began := time.Now()
	var next, findings int
	var mu sync.Mutex
	t.Run("firings", func(t *testing.T) {
		for w := range 2 {
			t.Run(strconv.Itoa(w), func(t *testing.T) {
				t.Parallel()
				for {
					mu.Lock()
					n, enough := next, next >= most || time.Now().After(until) || findings >= enoughFound
					next++
					mu.Unlock()
					if enough {
						return
					}
					sc := newScript(from + uint64(n))
					found := fire(t, sc, fig)
					if len(found) == 0 {
						continue
					}
					mu.Lock()
					findings++
					mu.Unlock()
					short, why := sc, found
					if enoughFound > 1 {
						short, why = shrink(t, sc, found)
					}
					t.Errorf("%v\n  found: %s", short, strings.Join(why, "\n  found: "))
				}
			})
		}
	})
	took := time.Since(began)
	t.Logf("%d firings from seed %d in %.1f s (%.0f a minute), %v of simulated time: %d permits closed, %d pulses, %d closed and signed",
		fig.firings, from, took.Seconds(), float64(fig.firings)/took.Minutes(), fig.simTime.Round(time.Minute), fig.permits, fig.pulses, fig.closed)
	kinds := []string{}
	for kind, n := range fig.troubles {
		kinds = append(kinds, fmt.Sprintf("%s %d", kind, n))
	}
	slices.Sort(kinds)
	t.Logf("troubles: %s", strings.Join(kinds, ", "))
	return fig
}

// TestFirings runs a few firings, or as many as FIRINGS_SECONDS allows from a
// new seed, or the one that FIRINGS_SEED names.
func TestFirings(t *testing.T) {
	from, most, until := uint64(1), 60, time.Now().Add(4*time.Second)
	if text := os.Getenv("FIRINGS_SECONDS"); text != "" {
		s, err := strconv.ParseFloat(text, 64)
		if err != nil {
			t.Fatal(err)
		}
		from, most, until = uint64(time.Now().UnixNano()>>10), 1<<30, time.Now().Add(time.Duration(s*float64(time.Second)))
	}
	if text := os.Getenv("FIRINGS_SEED"); text != "" {
		seed, err := strconv.ParseUint(text, 10, 64)
		if err != nil {
			t.Fatal(err)
		}
		from = seed
	}
	if os.Getenv("FIRINGS_FIRST") != "" {
		enoughFound = 1
	}
	if text := os.Getenv("FIRINGS"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil {
			t.Fatal(err)
		}
		most, until = n, time.Now().Add(time.Hour)
	}
	fireMany(t, from, most, until)
}

// TestAFiringWithoutTrouble goes from sign-on to a signed record.
func TestAFiringWithoutTrouble(t *testing.T) {
	fig := newFigures()
	for _, found := range fire(t, script{seed: 3}, fig) {
		t.Error(found)
	}
	if fig.closed != 1 || fig.permits != 1 || fig.pulses != 1 {
		t.Errorf("%d closed, %d permits, %d pulses, want one each", fig.closed, fig.permits, fig.pulses)
	}
}
