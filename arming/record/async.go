package record

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"
)

// ErrQueueFull says that the disk is so far behind that no more entries wait.
var ErrQueueFull = errors.New("record queue is full")

// maxBatch is how many waiting entries share one write and one sync.
const maxBatch = 64

// Ack tells what became of one queued entry. Err nil means that it is on disk.
type Ack struct {
	ID   uint64 // as given to Append
	Seq  int64
	Hash Hash
	Err  error
}

// AsyncWriter writes entries in one goroutine of its own, in the order in
// which they were appended, so that no caller waits for a disk. Who must not
// go forward before a line is on disk waits for its Ack; how long is the
// caller's to judge. OFF and HOLD act first and append after.
type AsyncWriter struct {
	w    *Writer
	acks chan Ack
	done chan struct{}

	mu     sync.Mutex
	queue  chan queued
	closed bool
	quit   chan struct{} // closed when nobody reads acks any more
}

type queued struct {
	id uint64
	p  pending
}

// NewAsync starts the goroutine that writes to w, with room for depth waiting
// entries (1 at least), besides those being written, and as many unread acks.
// w is the AsyncWriter's from now on, until Close or Release.
func NewAsync(w *Writer, depth int) *AsyncWriter {
	depth = max(depth, 1)
	a := &AsyncWriter{
		w:     w,
		acks:  make(chan Ack, depth),
		done:  make(chan struct{}),
		queue: make(chan queued, depth),
		quit:  make(chan struct{}),
	}
	go a.run()
	return a
}

// Append queues an entry and returns at once. An error means that the entry
// will not be written and no Ack will come: it cannot be encoded, the queue is
// full (ErrQueueFull), or the writer is closed (ErrClosed). id is free for the
// caller and comes back in the Ack. body is encoded before Append returns.
func (a *AsyncWriter) Append(id uint64, now time.Time, mono time.Duration, kind string, body any) error {
	p, err := newPending(now, mono, kind, body)
	if err != nil {
		return err
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.closed {
		return fmt.Errorf("record: append %q: %w", kind, ErrClosed)
	}
	select {
	case a.queue <- queued{id: id, p: p}:
		return nil
	default:
		return fmt.Errorf("record: append %q: %w", kind, ErrQueueFull)
	}
}

// Acks delivers one Ack for every entry that Append took, in order. It is
// closed after Close or Release when all entries are dealt with. While
// nobody reads it, entries stop being written once it is full, and Append
// then says ErrQueueFull.
func (a *AsyncWriter) Acks() <-chan Ack { return a.acks }

// Path returns the record's file name with its folder.
func (a *AsyncWriter) Path() string { return a.w.Path() }

func (a *AsyncWriter) run() {
	defer close(a.done)
	defer close(a.acks)
	for first := range a.queue {
		batch := []queued{first}
	more:
		for len(batch) < maxBatch {
			select {
			case q, ok := <-a.queue:
				if !ok {
					break more
				}
				batch = append(batch, q)
			default:
				break more
			}
		}
		a.writeBatch(batch)
	}
}

func (a *AsyncWriter) writeBatch(batch []queued) {
	entries := make([]pending, len(batch))
	for i, q := range batch {
		entries[i] = q.p
	}
	acks := a.w.appendAll(entries)
	for i, ack := range acks {
		ack.ID = batch[i].id
		select {
		case a.acks <- ack:
			continue
		default:
		}
		select {
		case a.acks <- ack:
		case <-a.quit: // nobody reads any more
		}
	}
}

// appendAll writes entries together; each gets its own ack.
func (w *Writer) appendAll(batch []pending) []Ack {
	w.mu.Lock()
	defer w.mu.Unlock()
	acks := make([]Ack, len(batch))
	hashes, err := w.writeAll(batch)
	for i := range acks {
		if err != nil {
			acks[i].Err = err
			continue
		}
		acks[i].Seq, acks[i].Hash = w.seq-int64(len(batch)-1-i), hashes[i]
	}
	return acks
}

// Close writes what is still queued, then the closing line. When ctx ends
// first, as it does with a disk that hangs, Close returns its error and the
// record stays open. Unread acks may be lost.
func (a *AsyncWriter) Close(ctx context.Context, now time.Time, mono time.Duration, outcome Outcome, reason string) error {
	if err := a.finish(ctx); err != nil {
		return err
	}
	return a.w.Close(now, mono, outcome, reason)
}

// Release writes what is still queued and leaves the record open, to be
// recovered later.
func (a *AsyncWriter) Release(ctx context.Context) error {
	if err := a.finish(ctx); err != nil {
		return err
	}
	return a.w.Release()
}

func (a *AsyncWriter) finish(ctx context.Context) error {
	a.mu.Lock()
	if !a.closed {
		a.closed = true
		close(a.queue)
		close(a.quit)
	}
	a.mu.Unlock()
	select {
	case <-a.done:
		return nil
	case <-ctx.Done():
		return fmt.Errorf("record: close %q: entries still waiting for the disk: %w", a.w.Path(), ctx.Err())
	}
}
