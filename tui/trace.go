package tui

import (
	"fmt"
	"math"
	"time"

	"holdline/arming"
	"holdline/tui/canvas"
	"holdline/tui/chart"
	"holdline/tui/theme"
)

// traceLength is how many snapshots the live trace of the voltages keeps.
const traceLength = 240

// quietTrace is how often a flat trace goes on in SETUP and CLOSED.
const quietTrace = 5 * time.Second

// trace is the newest voltages of battery and bus, as the screen saw them.
type trace struct {
	battery, bus []float64
	seen         arming.Instant
}

// inVolts is a voltage as the trace keeps it.
func inVolts(v arming.Volt) float64 { return float64(v.Millivolt) / 1000 }

// take keeps a snapshot; one that shows nothing new, to 20 mV, only every few
// seconds where nothing is due, so that a quiet screen stays quiet.
func (t *trace) take(b *arming.Box, quiet bool) {
	same := func(list []float64, v arming.Volt) bool {
		return len(list) > 0 && math.Abs(list[len(list)-1]-inVolts(v)) < 0.02
	}
	if !b.Up || b.Seen == t.seen ||
		quiet && same(t.battery, b.Battery) && same(t.bus, b.Bus) && b.Seen.Since(t.seen) < quietTrace {
		return
	}
	t.seen = b.Seen
	keep := func(list []float64, v arming.Volt) []float64 {
		return append(list[max(0, len(list)+1-traceLength):], inVolts(v))
	}
	t.battery, t.bus = keep(t.battery, b.Battery), keep(t.bus, b.Bus)
}

// drawTrace plots battery and bus over the last snapshots, the newest at the
// right, and returns the rows it took.
func (m *Model) drawTrace(c canvas.Canvas) int {
	t := &m.volts
	b := &m.frame.State.Box
	if c.Height() < 1 || len(t.battery) == 0 || !b.Up {
		return 0
	}
	const words = 32
	for y, r := range []struct {
		name string
		now  arming.Volt
		list []float64
	}{{"battery", b.Battery, t.battery}, {"bus", b.Bus, t.bus}} {
		if y >= c.Height() {
			return y
		}
		text := fmt.Sprintf("%-8s%s", r.name, volts(r.now))
		x := c.Put(0, y, theme.Text, text) + 1
		if m.frame.Practice {
			c.Put(x, y, theme.Hands, "PRACTICE")
		}
		w := c.Width() - words
		if w < 4 {
			continue
		}
		top := 1.0
		xs := make([]float64, len(r.list))
		for i, v := range r.list {
			xs[i], top = float64(2*w-len(r.list)+i), max(top, v)
		}
		p := chart.New(w, 1, 0, float64(2*w-1), 0, top*1.1)
		p.Line(xs, r.list, theme.Curve)
		p.Draw(c.Sub(words, y, w, 1))
	}
	return 2
}
