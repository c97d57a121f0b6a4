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

// Whatever happens is something new to look at.
func TestTheScreenIsToldOfWhateverHappens(t *testing.T) {
	b := newBench(t)
	for _, c := range []struct {
		what string
		do   func()
	}{
		{"a step of the machine", func() { b.step(arming.Start{}) }},
		{"a tick", b.tick},
		{"an answer of the box", func() { b.report(aReading()) }},
		{"a refusal", func() { b.refuse("no", "never") }},
		{"an entry of the log", func() { b.note("a sentence", nil) }},
	} {
		b.looked()
		if c.do(); !b.looked() {
			t.Errorf("%s is not shown", c.what)
		}
	}
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
