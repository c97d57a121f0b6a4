package record

import (
	"context"
	"errors"
	"testing"
	"time"

	"go.uber.org/goleak"
)

// slowFile syncs only when it is let.
type slowFile struct {
	recordFile
	let chan struct{}
}

func (f *slowFile) Sync() error {
	<-f.let
	return f.recordFile.Sync()
}

func newSlow(t *testing.T, depth int) (*AsyncWriter, chan struct{}) {
	t.Helper()
	w, err := Create(t.TempDir(), exampleHeader(), testTime)
	must(t, err)
	slow := &slowFile{recordFile: w.file, let: make(chan struct{})}
	w.file = slow
	return NewAsync(w, depth), slow.let
}

func TestAppendNeverWaitsForTheDisk(t *testing.T) {
	defer goleak.VerifyNone(t)
	a, let := newSlow(t, 4)
	var taken []uint64 // IDs; one may be refused and the next one taken
	refused := 0
	const tried = 100
	for i := range tried {
		start := time.Now()
		err := a.Append(uint64(i), testTime, 0, "answer", nil)
		if waited := time.Since(start); waited > time.Second {
			t.Errorf("append %d waited %v", i, waited)
		}
		switch {
		case err == nil:
			taken = append(taken, uint64(i))
		case errors.Is(err, ErrQueueFull):
			refused++
		default:
			t.Fatal(err)
		}
	}
	// One batch is with the disk, and grew while it was put together; four more wait.
	if len(taken) < 4 || len(taken) > maxBatch+4 || refused != tried-len(taken) {
		t.Errorf("%d taken, %d refused", len(taken), refused)
	}
	select {
	case ack := <-a.Acks():
		t.Errorf("%+v while the disk hangs", ack)
	case <-time.After(20 * time.Millisecond):
	}
	close(let)
	for i, id := range taken {
		if ack := <-a.Acks(); ack.Err != nil || ack.ID != id || ack.Seq != int64(i+2) {
			t.Errorf("ack %d: %+v", i, ack)
		}
	}
	must(t, a.Close(context.Background(), testTime, 0, Normal, ""))
	if log, err := Parse(readFile(t, a.Path())); err != nil || len(log.Entries) != len(taken)+2 {
		t.Errorf("%d lines of %d, %v", len(log.Entries), len(taken)+2, err)
	}
	if err := a.Append(1, testTime, 0, "answer", nil); !errors.Is(err, ErrClosed) {
		t.Errorf("append after close: got %v, want %v", err, ErrClosed)
	}
	if _, ok := <-a.Acks(); ok {
		t.Error("acks are not closed")
	}
}

func TestCloseGivesUpOnADiskThatHangs(t *testing.T) {
	defer goleak.VerifyNone(t)
	a, let := newSlow(t, 4)
	must(t, a.Append(1, testTime, 0, "answer", nil))
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Millisecond)
	defer cancel()
	if err := a.Close(ctx, testTime, 0, Normal, ""); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("got %v, want %v", err, context.DeadlineExceeded)
	}
	close(let)
	must(t, a.Release(context.Background()))
	if log, err := Parse(readFile(t, a.Path())); err != nil || log.Closed() {
		t.Errorf("closed %v, %v, want an open record", log.Closed(), err)
	}
}

func TestEveryAckAfterAFaultSaysSo(t *testing.T) {
	defer goleak.VerifyNone(t)
	w, err := Create(t.TempDir(), exampleHeader(), testTime)
	must(t, err)
	w.file = &faultyFile{recordFile: w.file, bytesLeft: 10, syncsLeft: -1}
	a := NewAsync(w, 16)
	for i := range 10 {
		must(t, a.Append(uint64(i), testTime, 0, "answer", nil))
	}
	for i := range 10 {
		if ack := <-a.Acks(); !errors.Is(ack.Err, ErrBroken) || !errors.Is(ack.Err, errFault) || ack.ID != uint64(i) || ack.Seq != 0 {
			t.Errorf("ack %d: %+v", i, ack)
		}
	}
	if err := a.Close(context.Background(), testTime, 0, Normal, ""); !errors.Is(err, ErrBroken) {
		t.Errorf("close: got %v, want %v", err, ErrBroken)
	}
}

func TestCloseWithAcksThatNobodyReads(t *testing.T) {
	defer goleak.VerifyNone(t)
	w, err := Create(t.TempDir(), exampleHeader(), testTime)
	must(t, err)
	a := NewAsync(w, 2)
	taken := 0
	for range 100 {
		if a.Append(7, testTime, 0, "answer", nil) == nil {
			taken++
		}
		time.Sleep(100 * time.Microsecond)
	}
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	must(t, a.Close(ctx, testTime, 0, Normal, ""))
	if log, err := Parse(readFile(t, a.Path())); err != nil || len(log.Entries) != taken+2 || !log.Closed() {
		t.Errorf("%d lines of %d, %v", len(log.Entries), taken+2, err)
	}
}

func TestBodyMayBeUsedAgainAfterAppend(t *testing.T) {
	a, let := newSlow(t, 4)
	raw := []byte(`{"a":1}`)
	must(t, a.Append(1, testTime, 0, "answer", raw))
	copy(raw, `{"b":2}`)
	close(let)
	<-a.Acks()
	must(t, a.Close(context.Background(), testTime, 0, Normal, ""))
	log, err := Parse(readFile(t, a.Path()))
	if err != nil || string(log.Entries[1].Body) != `{"a":1}` {
		t.Errorf("got %s, %v", log.Entries[1].Body, err)
	}
}
