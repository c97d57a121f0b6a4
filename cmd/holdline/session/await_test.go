package session

import (
	"testing"
	"testing/synctest"
	"time"

	"holdline/arming"
	"holdline/arming/groundbox"
)

// looked takes the driver's word that there is something new to look at.
func (b *bench) looked() bool {
	select {
	case <-b.fresh:
		return true
	default:
		return false
	}
}

func aReading() groundbox.Told {
	return groundbox.Told{Event: arming.BoxReading{Box: arming.Box{Up: true, Key: arming.ContactOpen}}, Good: true}
}

// The screen looks at every answer of the box, and at a tick only where the
// box is silent or the tick did something: both come together ten times a
// second, and one look shows both.
func TestTheScreenIsToldOnceForTickAndAnswer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t)
		b.step(arming.Start{})
		if !b.looked() {
			t.Error("a step of the machine is not shown")
		}
		for range 3 {
			b.tick()
			b.looked()
			b.report(aReading())
			if !b.looked() {
				t.Error("an answer of the box is not shown")
			}
			b.tick()
			if b.looked() {
				t.Error("a quiet tick beside an answer is shown by itself")
			}
		}
		b.tick()
		if !b.looked() {
			t.Error("with a silent box a tick is not shown")
		}
		b.refuse("no", "never")
		if !b.looked() {
			t.Error("a refusal is not shown")
		}
		b.note("a sentence", nil)
		if !b.looked() {
			t.Error("a line of the log is not shown")
		}
	})
}

// What a tick does is shown at once, whatever came beside it.
func TestATickThatDidSomethingIsShown(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t)
		b.wanting()
		b.looked()
		b.heard = true
		b.state.WindowEnds = b.state.Now.Mono // over
		b.tick()
		if b.state.Phase != arming.Wait {
			t.Fatalf("%v after the window's end", b.state.Phase)
		}
		if !b.looked() {
			t.Error("the end of the window is not shown")
		}
	})
}

func TestWhoAwaitsAFrameIsLetGoAtTheEnd(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t)
		back := make(chan struct{})
		go func() {
			b.await()
			close(back)
		}()
		select {
		case <-back:
			t.Fatal("there was nothing to look at")
		case <-time.After(20 * time.Millisecond):
		}
		close(b.done)
		select {
		case <-back:
		case <-time.After(10 * time.Second):
			t.Fatal("still waiting after the driver's end")
		}
	})
}
