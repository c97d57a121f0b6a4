package editor

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"sync"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"holdline/checklist/prediction"
	"holdline/checklist/sheet"
	"holdline/checklist/sheet/unit"
	"holdline/tui/edit"
)

// The draws of every prediction of the form: those of `holdline predict`, so
// that both say the same.
const seed = 1

// tellEvery is how often progress is told.
const tellEvery = 100 * time.Millisecond

// worker does one piece of work at a time, beside the screen. A newer piece
// ends the one before.
type worker struct {
	path  string
	units unit.System
	ready chan struct{} // closed once send is known
	send  func(tea.Msg)

	mu     sync.Mutex
	cancel context.CancelFunc // of the newest piece
	done   chan struct{}      // closed when the newest piece has ended
}

func newWorker(path string, units unit.System) *worker {
	w := &worker{path: path, units: units, ready: make(chan struct{}), cancel: func() {}, done: make(chan struct{})}
	close(w.done)
	return w
}

// start hands work over and returns at once.
func (w *worker) start(work edit.Work) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.cancel()
	ctx, cancel := context.WithCancel(context.Background())
	before, done := w.done, make(chan struct{})
	w.cancel, w.done = cancel, done
	go func() {
		defer close(done)
		defer cancel()
		<-before
		<-w.ready
		if ctx.Err() == nil {
			w.do(ctx, work)
		}
	}()
}

// run lets the work begin, its messages sent by send.
func (w *worker) run(send func(tea.Msg)) {
	w.send = send
	close(w.ready)
}

// stop ends the work. The program that messages go to has ended by then, so
// that sending returns.
func (w *worker) stop() {
	w.mu.Lock()
	cancel, done := w.cancel, w.done
	w.mu.Unlock()
	cancel()
	<-done
}

// do is one piece of work. What has been cancelled sends nothing more: the
// newer piece answers.
func (w *worker) do(ctx context.Context, work edit.Work) {
	tell := func(msg tea.Msg) {
		if ctx.Err() == nil {
			w.send(msg)
		}
	}
	defer tell(edit.Worked{Number: work.Number})
	parse := w.parser()
	s, err := parse(work.Text)
	var faults sheet.Faults
	errors.As(err, &faults)
	if err != nil && faults == nil {
		faults = sheet.Faults{{File: w.path, Line: 1, Column: 1, Found: err.Error(), Expected: "a run sheet"}}
	}
	tell(edit.Checked{Number: work.Number, Faults: faults})
	if s == nil {
		return
	}
	progress := func(what string) func(float64) {
		var last time.Time
		var mu sync.Mutex // the draws tell from several goroutines
		return func(share float64) {
			mu.Lock()
			defer mu.Unlock()
			if now := time.Now(); now.Sub(last) >= tellEvery {
				last = now
				tell(edit.Progress{Number: work.Number, What: what, Share: share})
			}
		}
	}
	if work.Predict {
		tell(w.predict(ctx, work.Number, s, progress("prediction")))
	}
	for _, key := range work.Keys {
		o := w.remedyOptions(progress("what makes it a go"))
		r, err := prediction.FindRange(ctx, work.Text, key, parse, o)
		tell(edit.Ranged{Number: work.Number, Key: key, Range: r, Err: err})
	}
	if work.Motors {
		counts, err := prediction.MotorCounts(ctx, s, w.remedyOptions(progress("what makes it a go")))
		tell(edit.Counted{Number: work.Number, Counts: counts, Err: err})
	}
}

func (w *worker) remedyOptions(progress func(float64)) prediction.RemedyOptions {
	return prediction.RemedyOptions{Seed: seed, Workers: workers(), Units: w.units, Progress: progress}
}

// workers leaves one processor to the screen.
func workers() int { return max(1, runtime.NumCPU()-1) }

func (w *worker) predict(ctx context.Context, number int, s *sheet.Sheet, progress func(float64)) edit.Predicted {
	const runs = prediction.DefaultRuns
	told := func(from, part float64) func(int) {
		return func(done int) { progress(from + part*float64(done)/runs) }
	}
	c, err := prediction.BuildCircuit(ctx, s.Title, fmt.Sprintf("%x", s.SHA256), s.Circuit(),
		prediction.CircuitOptions{Seed: seed, Workers: workers(), Progress: told(0, 0.2)})
	if err != nil {
		return edit.Predicted{Number: number, Err: err}
	}
	run, err := prediction.BuildRun(ctx, s, prediction.RunOptions{Seed: seed, Workers: workers(), Progress: told(0.2, 0.8)})
	return edit.Predicted{Number: number, Run: run, Circuit: c, Err: err}
}

// parser reads texts of the sheet, each curve file from the disk once.
func (w *worker) parser() func([]byte) (*sheet.Sheet, error) {
	type read struct {
		data []byte
		err  error
	}
	from, curves := sheet.CurvesBeside(w.path), map[string]read{}
	return func(text []byte) (*sheet.Sheet, error) {
		return sheet.Parse(w.path, text, func(name string) ([]byte, error) {
			got, known := curves[name]
			if !known {
				got.data, got.err = from(name)
				curves[name] = got
			}
			return got.data, got.err
		})
	}
}
