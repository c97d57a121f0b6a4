package tui

import (
	"fmt"
	"testing"

	"holdline/arming"
	"holdline/tui/theme"
)

// How long a frame takes to draw, at the least and at the largest size.
func BenchmarkFrame(b *testing.B) {
	for _, c := range []struct {
		name string
		act  func(*world)
	}{
		{"setup", func(w *world) { w.until(arming.StepRangeClear) }},
		{"count", func(w *world) { w.toPhase(arming.Count) }},
	} {
		for _, size := range [][2]int{{80, 24}, {200, 50}} {
			b.Run(fmt.Sprintf("%s-%dx%d", c.name, size[0], size[1]), func(b *testing.B) {
				w := newWorld(b, arming.ModeBox)
				c.act(w)
				w.m.theme = theme.New("dark")
				resize(w, size)
				b.ReportAllocs()
				for b.Loop() {
					w.m.changed = true
					_ = w.m.View()
				}
			})
		}
	}
}
