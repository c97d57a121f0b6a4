package session

import (
	"fmt"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"holdline/arming"
	"holdline/arming/groundbox/practice"
)

// plantTroubles are the faults of things, slips those of people, worst what
// nobody does by mistake.
var (
	plantTroubles = []string{"cable", "out", "in", "slow", "mute", "freeze", "noise", "unplug", "owner", "welded", "key-bridged", "pole-stuck",
		"open", "short", "drift", "weak", "disk-hang", "disk-fail", "signer-slow", "signer-gone", "terminal", "clock", "battery-off"}
	slips = []string{"flick", "double-flick", "tap", "press", "key", "battery", "igniters", "shunt", "blur", "hold", "wrong", "again", "double-tap"}
	worst = append([]string{"burst", "code", "leave", "any"}, slips...)
)

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
		p.signer.order(2*x.lasts, false)
	case "signer-gone":
		p.signer.order(0, true)
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
	case "flick":
		p.flick(x.n)
	case "double-flick":
		p.flick(x.n)
		time.AfterFunc(time.Duration(30+x.n%120)*time.Millisecond, func() { p.mu.Lock(); p.flick(x.n); p.mu.Unlock() })
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

// flick takes a key that is in out for a moment.
func (p *plant) flick(n int) {
	if !p.key {
		return
	}
	p.turnKey(false)
	time.AfterFunc(time.Duration(3+n%30)*time.Millisecond, func() { p.mu.Lock(); p.turnKey(true); p.mu.Unlock() })
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
