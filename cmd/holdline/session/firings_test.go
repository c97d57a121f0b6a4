package session

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"holdline/arming"
	"holdline/arming/groundbox/practice"
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

// plantTroubles are the faults of things, slips those of people, worst what
// nobody does by mistake.
var (
	plantTroubles = []string{"cable", "out", "in", "slow", "mute", "freeze", "noise", "unplug", "owner", "welded", "key-bridged", "pole-stuck",
		"open", "short", "drift", "weak", "disk-hang", "disk-fail", "signer-slow", "signer-gone", "terminal", "clock", "battery-off"}
	slips = []string{"tap", "press", "key", "battery", "igniters", "shunt", "blur", "hold", "wrong", "again", "double-tap"}
	worst = append([]string{"burst", "code", "leave", "any"}, slips...)
)

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
			time.AfterFunc(x.after, func() { p.strike(x) })
			return true
		})
		p.watch()
		time.Sleep(p.pace())
	}
}

// pace is how often anybody looks: close where the permit is near.
func (p *plant) pace() time.Duration {
	if p.key || p.forward || p.s.driver.wanted.Load() {
		return 20 * time.Millisecond
	}
	return 50 * time.Millisecond
}

func space() tea.Msg { return tea.KeyMsg{Type: tea.KeySpace, Runes: []rune{' '}} }

// strike lets one trouble happen.
func (p *plant) strike(x trouble) {
	p.mu.Lock()
	defer p.mu.Unlock()
	after := func(f func()) {
		time.AfterFunc(x.lasts, func() {
			p.mu.Lock()
			defer p.mu.Unlock()
			f()
		})
	}
	switch x.kind {
	case "cable", "out", "in", "slow":
		p.strikeCable(x)
	case "mute", "freeze", "noise", "unplug", "welded", "key-bridged", "pole-stuck", "open", "short", "drift", "weak":
		p.strikeBox(x, after)
	case "owner":
		p.box.Input([]byte("\nSYST:OWN 0BADF00D\n"))
		p.doubt("owner")
	case "disk-hang":
		p.disk.order(x.lasts, false)
		p.diskHung = append(p.diskHung, span{p.now(), p.now() + x.lasts})
	case "disk-fail":
		p.disk.order(0, true)
	case "signer-slow":
		p.signer.wait = 2 * x.lasts
	case "signer-gone":
		p.signer.gone = true
	case "terminal":
		p.screen.freeze(x.lasts)
		p.frozen = append(p.frozen, span{p.now(), p.now() + x.lasts})
	case "clock":
		p.jumpClock([]time.Duration{-3600 * time.Second, -2 * time.Second, 2 * time.Second, 60 * time.Second}[x.n%4])
	case "battery-off":
		p.joinBattery(false)
	default:
		p.strikePeople(x, after)
	}
}

func (p *plant) strikeCable(x trouble) {
	p.bad(x.lasts + 3*time.Second)
	switch x.kind {
	case "cable":
		p.cable.pull(x.lasts)
	case "slow":
		p.cable.slowDown(time.Duration(20+x.n%200)*time.Millisecond, x.lasts)
	default:
		p.cable.lose(x.kind == "out", x.lasts)
	}
}

// bad says that the link cannot be relied on for so long.
func (p *plant) bad(d time.Duration) {
	p.linkBad = append(p.linkBad, span{p.now() - time.Second, p.now() + d})
}

func (p *plant) strikeBox(x trouble, after func(func())) {
	name := map[string]string{"welded": "permit-welded", "key-bridged": "key", "pole-stuck": "button-stuck", "weak": "weak-battery", "noise": "noise:60"}[x.kind]
	switch x.kind {
	case "open", "short", "drift":
		name = fmt.Sprintf("%s:%d", x.kind, 1+x.n%4)
	}
	if name == "" {
		name = x.kind
	}
	f, err := practice.ParseFault(name)
	if err == nil {
		err = p.box.SetFault(f)
	}
	if err != nil {
		panic(err)
	}
	switch x.kind {
	case "mute", "freeze", "noise", "unplug":
		p.bad(x.lasts + 4*time.Second)
		if x.kind == "mute" {
			p.silent = append(p.silent, span{p.now(), p.now() + x.lasts})
		}
		if x.kind == "freeze" || x.kind == "unplug" {
			p.frozenUntil = max(p.frozenUntil, p.now()+x.lasts)
		}
	}
	after(func() { p.box.ClearFault(f) })
}

func (p *plant) strikePeople(x trouble, after func(func())) {
	cfg := p.screen.cfg
	switch x.kind {
	case "tap":
		p.tap(time.Duration(3+x.n%60) * time.Millisecond)
	case "double-tap":
		p.tap(time.Duration(3+x.n%30) * time.Millisecond)
		time.AfterFunc(time.Duration(60+x.n%240)*time.Millisecond, func() { p.mu.Lock(); p.tap(5 * time.Millisecond); p.mu.Unlock() })
	case "press":
		p.pressButton(true)
		after(func() { p.pressButton(false) })
	case "key":
		p.turnKey(!p.key)
	case "battery":
		p.joinBattery(!p.battery)
	case "igniters":
		p.connectIgniters(!p.igniters)
	case "shunt":
		p.putShunt(!p.shunt)
	case "blur":
		p.screen.key(tea.BlurMsg{})
		p.doubtKey("blur")
	case "hold":
		p.screen.key(space())
		p.doubtKey("HOLD")
	case "burst":
		for range 60 {
			cfg.Submit(arming.Withdraw{Step: "wind", Why: "a burst"})
		}
		p.screen.key(space())
		p.doubtKey("HOLD")
	case "code":
		cfg.TryCode("wrong")
	case "again":
		cfg.Submit(arming.StartCount{By: firing})
		cfg.Submit(arming.ArmEntry{By: firing})
	default:
		p.anything(x)
	}
}

// doubtKey is a key that stops, once the terminal has let it through.
func (p *plant) doubtKey(what string) {
	if !p.screen.isFrozen() {
		p.doubt(what)
	}
}

// anything asks for what nobody expects just then.
func (p *plant) anything(x trouble) {
	forward := arming.OpenLine{By: ranger, Key: firing}
	forward.Names[0] = firing
	list := []arming.Event{forward, arming.CloseLine{By: ranger, Count: x.n % 7}, arming.GoForward{By: ranger, Person: firing},
		arming.Resume{By: ranger}, arming.Scrub{By: firing, Why: "enough"}, arming.Answer{Step: "wind", Value: 1, Again: 1, Means: arming.MeansTyped},
		arming.StartProof{}, arming.Say{Fact: arming.FactAtRest, By: firing}, arming.Say{Fact: arming.FactMovement, By: ranger},
		arming.AllClear{By: ranger}, arming.Withdraw{Step: "wind", Why: "again"}, arming.Inspect{Motor: 1 + x.n%4, Found: "burned out", By: firing}}
	if x.kind == "leave" {
		p.left = true
		return
	}
	p.screen.cfg.Submit(list[x.n%len(list)])
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

// fireMany runs firings until the time is over or there are enough of them.
func fireMany(t *testing.T, from uint64, most int, until time.Time) *figures {
	fig := newFigures()
	began := time.Now()
	var next, findings int
	var mu sync.Mutex
	t.Run("firings", func(t *testing.T) {
		for w := range 2 {
			t.Run(strconv.Itoa(w), func(t *testing.T) {
				t.Parallel()
				for {
					mu.Lock()
					n, enough := next, next >= most || time.Now().After(until) || findings > 3
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
					short, why := shrink(t, sc, found)
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
