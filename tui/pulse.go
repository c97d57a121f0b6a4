package tui

import (
	"fmt"
	"time"

	"holdline/arming"
)

// turning are the pictures of the heartbeat, in order.
var turning = []string{"◐", "◓", "◑", "◒"}

// pulse is the heartbeat: it turns only when the machine's tick and the box's
// answers have both moved, so that a frozen screen is seen to be frozen
// . In SETUP and CLOSED it turns once a second, to keep a slow line to
// the terminal quiet.
type pulse struct {
	turn          int
	beat, boxBeat uint64
	at            time.Time
	age           string // of the newest answer of the box, in tenths of a second
	clock         string
	link          string
}

// slow reports the phases in which nothing moves but the heartbeat.
func slow(p arming.Phase) bool { return p == arming.Setup || p == arming.Closed }

// update takes a frame in and reports whether what the screen shows of it has
// changed.
func (p *pulse) update(f *Frame) bool {
	if p.clock == "" || f.Wall.Before(p.at) {
		p.show(f)
	}
	moved := f.Beat != p.beat && (f.BoxBeat != p.boxBeat || f.Plan != nil && f.Plan.Mode == arming.ModeTyped)
	if slow(f.State.Phase) && f.Wall.Sub(p.at) < time.Second {
		return false
	}
	if !moved {
		if f.Beat != p.beat { // the machine runs, the box is silent: its age goes on
			p.show(f)
		}
		return f.Beat != p.beat
	}
	p.turn = (p.turn + 1) % len(turning)
	p.beat, p.boxBeat = f.Beat, f.BoxBeat
	p.show(f)
	return true
}

func (p *pulse) show(f *Frame) {
	p.at, p.clock, p.link = f.Wall, f.Wall.Format("15:04:05"), f.LinkText
	p.age = "no box"
	if s := &f.State; s.Box.Up {
		p.age = fmt.Sprintf("box %.1f s", s.Now.Since(s.Box.Seen).Seconds())
	}
}

func (p *pulse) String() string { return turning[p.turn] + " " + p.age + "  " + p.clock }
