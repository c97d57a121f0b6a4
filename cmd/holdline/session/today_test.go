package session

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"holdline/arming"
	"holdline/checklist/sheet"
	"holdline/checklist/sheet/scenario"
)

// next does what comes first in the driver's queue.
func (b *bench) next() bool {
	select {
	case f := <-b.requests:
		f()
		return true
	default:
		return false
	}
}

// answered puts a value into the answers as if a person had given it.
func (b *bench) answered(id string, value float64) {
	i := b.s.index(id)
	b.state.Evidence[i].Present, b.state.Evidence[i].Value = true, value
}

// A prediction of other values than today's is on the screen while the one of
// today's is computed: nobody accepts it, and nobody arms by it.
func TestAPredictionOfOtherValuesIsNotActedOn(t *testing.T) {
	b := newBench(t)
	s := b.s
	b.step(arming.Start{})
	s.latest = small()
	acts := map[string]func(){
		"acceptance": func() { s.answer(arming.Answer{Step: arming.StepPrediction}) },
		"arm entry":  func() { s.armEntry(arming.ArmEntry{By: firing}) },
		"code":       func() { s.config().TryCode("plover"); b.next() },
	}
	for _, now := range []bool{true, false} {
		if !now {
			b.answered("wind", 1.5)
		}
		for name, act := range acts {
			b.frame.Refusal.Why = ""
			act()
			if refused := strings.Contains(b.frame.Refusal.Why, "the prediction for today's values is not computed yet"); refused == now {
				t.Errorf("%s, prediction of today's values %v: refused with %q", name, now, b.frame.Refusal.Why)
			}
		}
	}
}

// No prediction runs while the permit may be wanted. One that was stopped is made
// again when it may not, and one that comes all the same is not taken.
func TestNoPredictionRunsWhileThePermitMayBeWanted(t *testing.T) {
	b := newBench(t)
	s := b.s
	begun, ended := make(chan float64, 1), make(chan error, 1)
	s.predict = predictor{
		compute: func(ctx context.Context, day *sheet.Sheet, _ func(float64)) predicted {
			begun <- day.Site.HeadwindMps
			<-ctx.Done()
			ended <- ctx.Err()
			return small()
		},
		deliver: func(predicted) { t.Error("a stopped prediction was delivered") },
	}
	b.answered("wind", 1.5)
	for _, near := range []arming.Phase{arming.Proof, arming.Armed, arming.Count, arming.Window, arming.Run} {
		b.state.Phase = arming.Setup
		s.keepPredicted()
		s.keepPredicted() // it is under way
		if wind := <-begun; wind != 1.5 {
			t.Errorf("predicted with a wind of %v", wind)
		}
		b.state.Phase = near
		s.keepPredicted()
		<-ended
		s.deliver(small())
		if s.latest.run != nil {
			t.Errorf("%v: a prediction was taken that nobody waits for", near)
		}
		s.keepPredicted()
		if s.asked != nil || len(begun) != 0 {
			t.Errorf("a prediction runs in %v", near)
		}
	}
	s.predict.done.Wait()
}

// The sheet is read again for each entry to arm, also after a moment in which the
// driver's queue was full when the reading ended.
func TestAFullQueueKeepsNobodyFromArming(t *testing.T) {
	dir := t.TempDir()
	if err := os.CopyFS(dir, scenario.Files()); err != nil {
		t.Fatal(err)
	}
	b := newBench(t)
	s := b.s
	s.o.SheetPath = filepath.Join(dir, scenario.SheetName)
	s.latest = small()
	for b.ask(func() {}) {
	}
	s.armEntry(arming.ArmEntry{By: firing})
	time.Sleep(200 * time.Millisecond) // the sheet is read by now
	for end := time.Now().Add(10 * time.Second); s.sheetBusy; {
		if !b.next() && time.Now().After(end) {
			t.Fatal("the sheet is being read for ever")
		}
	}
}
