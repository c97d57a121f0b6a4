// Package steady tries a test of real time again that failed while the machine
// stood still. It is for tests alone.
//
// Box, link and cockpit let go when they are not served within fractions of a
// second, as they must. A test that needs them to hold on can so fail for no
// fault of theirs: on a machine that has much else to do, or whose processors
// are lent out. Such a failure says nothing and is tried again. One on a machine
// that ran counts at once, and one that comes each time counts as well.
package steady

import (
	"fmt"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"
)

const (
	tries = 8
	// LateMost is how late a goroutine may be that wants to run every 5 ms, on a
	// machine that runs. What is tested with this package bears a few times as
	// much.
	LateMost = 10 * time.Millisecond
)

// Try runs a test, and again while it fails on a machine that stood still.
func Try(t *testing.T, test func(t testing.TB)) {
	t.Helper()
	n := 0
	try(t, tries, func() func() time.Duration {
		time.Sleep(time.Duration(n) * time.Second) // what keeps the machine may pass
		n++
		return Watch()
	}, test)
}

// try is Try with its own watch: a function that is called when an attempt
// begins, and what it returns when the attempt is over.
func try(t testing.TB, tries int, watch func() (latest func() time.Duration), test func(testing.TB)) {
	t.Helper()
	for n := 1; ; n++ {
		latest := watch()
		a := &attempt{TB: t, helpers: map[string]bool{}}
		a.run(test)
		late := latest()
		for _, line := range a.log {
			_, _ = fmt.Fprintln(t.Output(), line) // with the place that it comes from
		}
		switch {
		case !a.failed:
			return
		case late <= LateMost:
			t.Errorf("failed, and the machine ran: nothing was more than %v late", late.Round(time.Millisecond))
			return
		case n == tries:
			t.Errorf("failed each of %d times; the machine stood still for %v in the last", n, late.Round(time.Millisecond))
			return
		}
		t.Logf("tried again: the machine stood still for %v", late.Round(time.Millisecond))
	}
}

// Watch notes how late a goroutine is that wants to run all the time, until
// latest is called, once.
func Watch() (latest func() time.Duration) { return watchBy(time.Now) }

func watchBy(clock func() time.Time) (latest func() time.Duration) {
	const every = 5 * time.Millisecond
	over, told := make(chan struct{}), make(chan time.Duration)
	go func() {
		most := time.Duration(0)
		for began := clock(); ; {
			select {
			case <-time.After(every):
			case <-over:
				told <- max(most, clock().Sub(began)-every)
				return
			}
			now := clock()
			most, began = max(most, now.Sub(began)-every), now
		}
	}()
	return func() time.Duration {
		close(over)
		return <-told
	}
}

// attempt stands for the test in one try of it: what it says and how it ends
// is kept until it is known whether it counts.
type attempt struct {
	testing.TB

	mu       sync.Mutex
	failed   bool
	log      []string
	cleanups []func()
	helpers  map[string]bool
}

func (a *attempt) run(test func(testing.TB)) {
	done := make(chan struct{})
	go func() { // FailNow ends it
		defer close(done)
		defer a.cleanUp()
		test(a)
	}()
	<-done
}

// cleanUp calls what is to be called at the end, the last first, also when one
// of them ends the goroutine.
func (a *attempt) cleanUp() {
	a.mu.Lock()
	n := len(a.cleanups)
	if n == 0 {
		a.mu.Unlock()
		return
	}
	last := a.cleanups[n-1]
	a.cleanups = a.cleanups[:n-1]
	a.mu.Unlock()
	defer a.cleanUp()
	last()
}

func (a *attempt) Cleanup(f func()) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.cleanups = append(a.cleanups, f)
}

func (a *attempt) Failed() bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.failed
}

func (a *attempt) Fail() {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.failed = true
}

func (a *attempt) FailNow() {
	a.Fail()
	runtime.Goexit()
}

func (a *attempt) Log(args ...any)                 { a.say(fmt.Sprintln(args...)) }
func (a *attempt) Logf(format string, args ...any) { a.say(fmt.Sprintf(format, args...)) }

func (a *attempt) Error(args ...any) {
	a.say(fmt.Sprintln(args...))
	a.Fail()
}

func (a *attempt) Errorf(format string, args ...any) {
	a.say(fmt.Sprintf(format, args...))
	a.Fail()
}

func (a *attempt) Fatal(args ...any) {
	a.say(fmt.Sprintln(args...))
	a.FailNow()
}

func (a *attempt) Fatalf(format string, args ...any) {
	a.say(fmt.Sprintf(format, args...))
	a.FailNow()
}

// Helper has its caller passed over when a place is named.
func (a *attempt) Helper() {
	pc, _, _, _ := runtime.Caller(1)
	a.mu.Lock()
	defer a.mu.Unlock()
	a.helpers[runtime.FuncForPC(pc).Name()] = true
}

// say keeps a text with the place that it comes from.
func (a *attempt) say(text string) {
	a.mu.Lock()
	defer a.mu.Unlock()
	var pcs [16]uintptr
	frames := runtime.CallersFrames(pcs[:runtime.Callers(3, pcs[:])])
	place := ""
	for more := true; more && place == ""; {
		var f runtime.Frame
		f, more = frames.Next()
		if !a.helpers[f.Function] {
			place = fmt.Sprintf("%s:%d: ", filepath.Base(f.File), f.Line)
		}
	}
	a.log = append(a.log, place+strings.TrimSuffix(text, "\n"))
}
