package session

import (
	"errors"
	"time"

	"holdline/arming"
	"holdline/tui"
)

func (d *driver) log(wall time.Time, text string, loud bool) {
	lines := append(d.frame.Log, tui.LogLine{Wall: wall, Text: text, Loud: loud})
	if len(lines) > logKept {
		lines = lines[len(lines)-logKept:]
	}
	d.frame.Log = append([]tui.LogLine(nil), lines...) // frames that are out keep theirs
}

func (d *driver) refused(at arming.Instant, err error) {
	r := tui.Refusal{At: at, Why: err.Error()}
	var re *arming.RefusedError
	if errors.As(err, &re) {
		r.Why, r.Remedy = re.Why, re.Remedy
	}
	d.frame.Refusal = r
}

// refuse shows a refusal that is the shell's own.
func (d *driver) refuse(why, remedy string) {
	at, _ := d.clock.now()
	d.refused(at, &arming.RefusedError{Phase: d.state.Phase, Why: why, Remedy: remedy})
	d.publish()
}

// publish makes the present state the newest frame.
func (d *driver) publish() {
	f := d.frame
	f.State, f.Beat, f.Wall = d.state, d.beat, time.Now()
	f.Record = d.record.view()
	if d.state.Phase != d.loudIn {
		d.frame.Loud, f.Loud = "", ""
	}
	if d.busy.Swap(false) {
		d.frame.Refusal = tui.Refusal{At: d.state.Now, Why: "too many requests at once: the last one was not taken", Remedy: "wait a moment"}
		f.Refusal = d.frame.Refusal
	}
	if d.state.PermitStuck {
		f.Loud = arming.StuckText // nothing else is on the full width until it reads open
	}
	if d.hooks.frame != nil {
		d.hooks.frame(&f)
	}
	d.latest.Store(&f)
	select {
	case d.fresh <- struct{}{}:
	default:
	}
}

// await waits until there is something new to look at. It may be called from any goroutine.
func (d *driver) await() {
	select {
	case <-d.fresh:
	case <-d.done:
		time.Sleep(tickIdle) // the last frame stands
	}
}

// frameAsked returns the newest frame and notes that the screen is alive. It
// may be called from any goroutine.
func (d *driver) frameAsked() tui.Frame {
	d.asked.Store(int64(d.clock.mono()))
	if f := d.latest.Load(); f != nil {
		return *f
	}
	return tui.Frame{Plan: d.plan, Units: d.frame.Units}
}

// last is the machine's state in the newest frame. It may be called from any
// goroutine.
func (d *driver) last() arming.State {
	if f := d.latest.Load(); f != nil {
		return f.State
	}
	return arming.State{}
}
