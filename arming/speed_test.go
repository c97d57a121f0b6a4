package arming

import "testing"

// BenchmarkTick is one tick in READY with every gate standing, the machine's
// commonest step; a tick comes every 50 ms at most.
func BenchmarkTick(b *testing.B) {
	w := newWorld(&testing.T{}, ModeBox)
	w.crew()
	w.proof()
	w.hookUp()
	w.gates()
	b.ReportAllocs()
	for b.Loop() {
		if _, _, err := Step(w.p, w.s, w.at, Tick{}); err != nil {
			b.Fatal(err)
		}
	}
}
