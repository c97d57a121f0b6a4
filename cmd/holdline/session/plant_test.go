package session

import (
	"context"
	"errors"
	"os"
	"strings"
	"sync"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"holdline/arming"
	"holdline/arming/groundbox"
	"holdline/arming/groundbox/practice"
	"holdline/checklist/sheet"
	"holdline/tui"
)

// plant is everything around the program: hands, box, cable, disk, signer,
// terminal, clock and people. It keeps what the judge needs: what happened to it,
// and when, since it began.
type plant struct {
	began  time.Time
	s      *session
	box    *practice.Box
	cable  *cable
	disk   *disk
	signer *faultySigner
	screen *screen

	forward     bool // somebody is at the vehicle
	sentAt      time.Duration
	key, button bool
	battery     bool
	batteryAt   time.Duration // joined since then
	igniters    bool
	shunt       bool
	frozenUntil time.Duration // the controller's program stands still

	mu          sync.Mutex    // of what troubles change beside the crew
	left        bool          // somebody leaves the cockpit
	opened      time.Duration // when the record was
	doubts      []doubt
	permits     []permitEdge
	permitCount int             // of counts, not of the contact proof
	goings      []time.Duration // when somebody went forward
	forwards    []span          // while somebody was
	pulses      []time.Duration // when they were seen
	pulseSeen   int64
	keeps       []time.Duration // between two restarts of the watchdog
	restarts    int64
	keptAt      time.Duration
	events      uint64
	frozen      []span // the terminal stands still
	diskHung    []span
	linkBad     []span        // nothing can be relied on to reach the box, or come from it
	silent      []span        // no good answer comes, and what is sent arrives
	unsafeSince time.Duration // -1 while the plant is safe
	calledAt    time.Duration // when the terminal last called everyone back, or nobody was in danger
	lookedAt    time.Duration
	refusals    map[string]bool   // that the terminal showed
	found       map[string]string // sentences of the judge that were broken
}

// doubt is something that must stop a firing.
type doubt struct {
	at   time.Duration
	what string
}

// permitEdge is one closing of the permit by command.
type permitEdge struct {
	closed, opened time.Duration // opened -1 while it is closed
}

// now is the time since the plant began, which is the box's own.
func (p *plant) now() time.Duration { return time.Since(p.began) }

func (p *plant) doubt(what string) { p.doubts = append(p.doubts, doubt{p.now(), what}) }

func (p *plant) turnKey(in bool) {
	if p.key == in {
		return
	}
	p.key = in
	p.box.Hands().Key(in)
	p.madeSafe()
	p.doubt(map[bool]string{true: "key in", false: "key out"}[in])
}

func (p *plant) pressButton(down bool) {
	if p.button == down {
		return
	}
	p.button = down
	p.box.Hands().Button(down)
	if down {
		p.doubt("press")
	}
}

func (p *plant) tap(d time.Duration) {
	p.box.Hands().Press(d)
	p.doubt("press")
}

func (p *plant) joinBattery(on bool) {
	if p.battery == on {
		return
	}
	p.battery, p.batteryAt = on, p.now()
	p.box.Hands().Battery(on)
	p.madeSafe()
}

// madeSafe notes what is safe for a moment only, and may be read then.
func (p *plant) madeSafe() {
	if !p.key && !p.battery {
		p.unsafeSince = -1
	}
}

func (p *plant) connectIgniters(on bool) { p.igniters = on; p.box.Hands().Igniters(on) }
func (p *plant) putShunt(on bool)        { p.shunt = on; p.box.Hands().Shunt(on) }

// goForward is a person walking to the vehicle, or back.
func (p *plant) goForward(to bool) {
	switch {
	case to && !p.forward:
		p.goings = append(p.goings, p.now())
		p.forwards = append(p.forwards, span{p.now(), 1 << 62})
	case !to && p.forward:
		p.forwards[len(p.forwards)-1].to = p.now()
	}
	p.forward = to
	p.sentAt = p.now()
}

// newPlant opens a session around a box of its own. The sheet has short times.
func newPlant(sh *sheet.Sheet, o Options) (*plant, error) {
	p := &plant{began: time.Now(), found: map[string]string{}, refusals: map[string]bool{}, unsafeSince: -1}
	box, err := practice.New(practice.Config{Problem: sh.Circuit()})
	if err != nil {
		return nil, err
	}
	p.box = box
	p.cable = &cable{p: p}
	s := &session{o: o, sheet: sh, compute: quick, mode: arming.ModeBox, trainer: box}
	p.s = s
	if err := s.openBox(context.Background(), groundbox.Config{Dial: p.cable.dial, Port: "the practice box", RequirePractice: true}); err != nil {
		return nil, err
	}
	key, err := testSigner()
	if err != nil {
		return nil, err
	}
	p.signer = &faultySigner{Signer: key.signer}
	key.signer = p.signer
	p.opened = p.now()
	first, err := s.openRecord(key)
	if err != nil {
		s.closeDevices()
		return nil, err
	}
	p.disk = diskUnder(p, s.record)
	s.start(first)
	cfg := s.config()
	p.screen = newScreen(cfg)
	return p, nil
}

// end leaves the program as its cockpit does, and returns its last words.
func (p *plant) end(out *os.File) (words string, err error) {
	ctx, cancel := context.WithTimeout(context.Background(), endWithin)
	defer cancel()
	err = p.s.stop(ctx, "the crew left")
	p.screen.stop()
	p.s.tell()
	p.s.closeDevices()
	text, readErr := os.ReadFile(out.Name())
	return string(text), errors.Join(err, readErr)
}

// jumpClock lets the wall clock jump, and leaves the other.
func (p *plant) jumpClock(by time.Duration) {
	p.s.post(func() { p.s.driver.clock.jumped += by })
	p.doubt("clock jump")
}

// screen is the cockpit with a terminal that may stand still.
type screen struct {
	mu     sync.Mutex
	model  tea.Model
	msgs   chan tea.Msg
	over   chan struct{}
	done   sync.WaitGroup
	frozen time.Time // until then nothing is taken
	view   string
	cfg    tui.Config
}

func newScreen(cfg tui.Config) *screen {
	cfg.Theme, cfg.ASCII = "plain", true
	sc := &screen{model: tui.NewModel(cfg), msgs: make(chan tea.Msg, 256), over: make(chan struct{}), cfg: cfg}
	sc.run(sc.model.Init())
	sc.done.Go(func() {
		for {
			select {
			case <-sc.over:
				return
			case msg := <-sc.msgs:
				sc.mu.Lock()
				wait := time.Until(sc.frozen)
				sc.mu.Unlock()
				if wait > 0 {
					time.Sleep(wait)
				}
				sc.take(msg)
			}
		}
	})
	return sc
}

func (sc *screen) take(msg tea.Msg) {
	if batch, is := msg.(tea.BatchMsg); is {
		for _, cmd := range batch {
			sc.run(cmd)
		}
		return
	}
	sc.mu.Lock()
	var cmd tea.Cmd
	sc.model, cmd = sc.model.Update(msg)
	sc.mu.Unlock()
	sc.run(cmd)
}

func (sc *screen) run(cmd tea.Cmd) {
	if cmd == nil {
		return
	}
	sc.done.Go(func() {
		msg := cmd()
		select {
		case sc.msgs <- msg:
		case <-sc.over:
		}
	})
}

func (sc *screen) key(msg tea.Msg) {
	select {
	case sc.msgs <- msg:
	default: // a person's keys that nobody takes
	}
}

func (sc *screen) freeze(d time.Duration) {
	sc.mu.Lock()
	defer sc.mu.Unlock()
	sc.frozen = time.Now().Add(d)
}

func (sc *screen) isFrozen() bool {
	sc.mu.Lock()
	defer sc.mu.Unlock()
	return time.Now().Before(sc.frozen)
}

// shows is what stands on the terminal, without what colours it.
func (sc *screen) shows() string {
	sc.mu.Lock()
	defer sc.mu.Unlock()
	if !time.Now().Before(sc.frozen) {
		sc.view = plainText(sc.model.View())
	}
	return sc.view
}

func (sc *screen) stop() {
	close(sc.over)
	sc.done.Wait()
}

// plainText takes the terminal's orders out of a text.
func plainText(text string) string {
	if !strings.Contains(text, "\x1b") {
		return text
	}
	var b strings.Builder
	for i := 0; i < len(text); i++ {
		if text[i] != '\x1b' {
			b.WriteByte(text[i])
			continue
		}
		for i++; i+1 < len(text) && (text[i] < '@' || text[i] == '['); i++ {
		}
	}
	return b.String()
}
