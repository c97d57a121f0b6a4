//go:build slow && linux

package groundbox

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"holdline/arming/groundbox/practice"
	"holdline/arming/groundbox/wire"
)

const (
	soakSnapshots = 100_000
	soakNoise     = 250 // one answer in so many is spoiled
	soakMost      = 12 * time.Minute
)

// TestSoakWithNoise polls without a pause, some hundred times as fast as in a
// firing, through a real pseudo-terminal and the serial library, and spoils
// answers at random. The port is lost and opened again some dozens of times in
// it, since five bad answers within 2 s end a connection.
func TestSoakWithNoise(t *testing.T) {
	tty, master := rawTerminal(t)
	line := &noisyLine{box: newBox(t, 4), master: master, noise: rand.New(rand.NewPCG(9, 2026))}
	var done sync.WaitGroup
	done.Go(line.serve)
	link := Open(Config{Dial: SerialDial(tty, 115200), Port: "the port", RequirePractice: true, WantChannels: 4, PollEvery: time.Microsecond})
	s := &soak{t: t, line: line}
	began := time.Now()
	var early footprint
	for r := range link.Reports() {
		s.take(r)
		switch {
		case early == (footprint{}) && s.good >= soakSnapshots/10 && s.up:
			early = measureFootprint(t)
		case s.good >= soakSnapshots && s.up:
			s.end(began, early, lateFootprint(t, early))
		case time.Since(began) > soakMost:
			t.Errorf("%d snapshots in %v", s.good, soakMost)
		default:
			continue
		}
		if s.over || t.Failed() {
			break
		}
	}
	link.Close()
	_ = master.Close()
	done.Wait()
}

// soak is what the link's side has seen.
type soak struct {
	t    testing.TB
	line *noisyLine
	up   bool
	over bool

	good, bad, lost, connected int
}

func (s *soak) take(r Report) {
	switch r := r.(type) {
	case SnapshotRead:
		s.good++
		s.line.seen(&r.S)
	case Bad:
		s.bad++
		s.line.badSeen(r.Reason)
	case Lost:
		s.lost++
		s.up = false
		s.line.connected(false)
		if s.connected > 0 && !strings.Contains(r.Reason, "bad answers") {
			s.t.Errorf("lost: %s", r.Reason)
		}
	case Connected:
		s.connected++
		s.up = true
		s.line.connected(true)
		if r.Changed || r.Identity.Serial != "0001" {
			s.t.Errorf("connected: %+v", r)
		}
	}
}

// end compares both sides and both footprints.
func (s *soak) end(began time.Time, early, late footprint) {
	s.over = true
	l := s.line
	l.mu.Lock()
	defer l.mu.Unlock()
	s.t.Logf("%d snapshots in %v: %d answers spoiled, %d called bad, %d of them late by the machine; %d times lost and found again; %d taken in doubt",
		s.good, time.Since(began).Round(time.Second), l.spoiled, s.bad, l.late, s.lost, l.doubted)
	s.t.Logf("after a tenth: %v; at the end: %v", early, late)
	for _, p := range l.problems {
		s.t.Error(p)
	}
	// Each spoiled answer is called bad. The last may still be on its way.
	if s.bad < l.spoiled-1 || s.bad > l.spoiled+l.late {
		s.t.Errorf("%d answers were called bad", s.bad)
	}
	if s.lost != s.connected-1 || s.lost == 0 {
		s.t.Errorf("connected %d times", s.connected)
	}
	if late.grown(early) {
		s.t.Error("the program has grown")
	}
}

// footprint is what a program must not have more and more of.
type footprint struct{ goroutines, handles, heapKB int }

func (f footprint) String() string {
	return fmt.Sprintf("%d goroutines, %d file handles, %d kB of heap", f.goroutines, f.handles, f.heapKB)
}

// grown reports whether there is more than before.
func (f footprint) grown(from footprint) bool {
	return f.goroutines > from.goroutines || f.handles > from.handles || f.heapKB > from.heapKB+512
}

// lateFootprint is the footprint at the end: a connection that was lost a moment
// ago gets the time to go.
func lateFootprint(t testing.TB, early footprint) footprint {
	late := measureFootprint(t)
	for end := time.Now().Add(3 * time.Second); late.grown(early) && time.Now().Before(end); late = measureFootprint(t) {
		time.Sleep(20 * time.Millisecond)
	}
	return late
}

func measureFootprint(t testing.TB) footprint {
	handles, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		t.Fatal(err)
	}
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return footprint{runtime.NumGoroutine(), len(handles), int(m.HeapAlloc / 1024)}
}

// noisyLine is a box on a pseudo-terminal with a bad cable.
type noisyLine struct {
	box    *practice.Box
	master *os.File
	noise  *rand.Rand

	mu       sync.Mutex
	up       bool
	waiting  *wire.Snapshot // sent clean and not yet seen
	unsure   []string       // texts sent clean, in order: the link may report them and may not
	wantBad  bool           // a spoiled answer was sent and not yet called bad
	spoiled  int
	late     int
	doubted  int // unsure ones that the link reported
	problems []string
}

func (l *noisyLine) connected(up bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.up, l.waiting, l.wantBad = up, nil, false
	if !up {
		l.unsure = nil
	}
}

func (l *noisyLine) problem(format string, args ...any) {
	if len(l.problems) < 10 {
		l.problems = append(l.problems, fmt.Sprintf(format, args...))
	}
}

// seen takes a snapshot that the link reports: it must be the one that was sent
// last. Some the link may have taken or not: one that was on its way when an
// answer was called late, and those sent before this side had taken the report
// that the link is connected, a moment that the other side can not see.
func (l *noisyLine) seen(s *Snapshot) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if !l.up {
		return
	}
	switch {
	case l.waiting != nil && l.waiting.Text() == s.Text():
		l.waiting = nil
	case slices.Contains(l.unsure, s.Text()):
		l.doubted++
		l.unsure = l.unsure[slices.Index(l.unsure, s.Text())+1:]
	default:
		l.problem("reported %s, sent %+v", s.Text(), l.waiting)
		l.waiting = nil
	}
}

func (l *noisyLine) badSeen(reason string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	switch {
	case reason == "":
		l.problem("a bad answer without a reason")
	case l.wantBad:
		l.wantBad = false
	case strings.Contains(reason, "no answer"), strings.Contains(reason, "nobody had asked"):
		l.late++ // the machine had something else to do for 0.15 s
		if l.waiting != nil {
			l.unsure, l.waiting = append(l.unsure, l.waiting.Text()), nil
		}
	default:
		l.problem("called bad, and nothing was spoiled: %s", reason)
	}
}

// settled waits until the link's side has taken what was sent before, so that
// no report takes the place of another. A link that has taken nothing for so long
// has long called the answer late.
func (l *noisyLine) settled() (up bool) {
	for end := time.Now().Add(2 * time.Second); ; time.Sleep(20 * time.Microsecond) {
		l.mu.Lock()
		open := l.up && (l.waiting != nil || l.wantBad)
		up = l.up
		l.mu.Unlock()
		if !open || time.Now().After(end) {
			return up
		}
	}
}

// serve carries messages until the terminal is closed.
func (l *noisyLine) serve() {
	port, err := l.box.Dial(context.Background())
	if err != nil {
		panic(err) // a box that was just made has no fault
	}
	var answers sync.WaitGroup
	answers.Go(func() {
		for lines := bufio.NewScanner(port); lines.Scan(); {
			for _, piece := range l.cable(lines.Text() + "\n") {
				if _, err := l.master.Write([]byte(piece)); err != nil {
					return
				}
			}
		}
	})
	_, _ = io.Copy(port, l.master) // until the terminal is closed
	_ = port.Close()
	answers.Wait()
}

// cable returns what arrives of an answer, in pieces. Answers other than
// snapshots are left alone: what is asked for beside them is asked again
// without a word.
func (l *noisyLine) cable(text string) []string {
	s, err := wire.ParseSnapshot(strings.TrimSuffix(text, "\n"))
	if err != nil {
		return []string{text}
	}
	if !l.settled() {
		l.mu.Lock()
		l.unsure = append(l.unsure, s.Text())
		l.mu.Unlock()
		return []string{text}
	}
	pieces := []string{text}
	if l.noise.IntN(soakNoise) == 0 {
		pieces = l.spoil(text)
	}
	lines := wire.NewFramer(wire.MaxAnswerBytes).Push([]byte(strings.Join(pieces, "")))
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(lines) >= 1 && lines[0].Bad == wire.FaultNone {
		if first, err := wire.ParseSnapshot(lines[0].Text); err == nil && first.Text() == s.Text() {
			l.waiting = &s // it comes first, and is good whatever follows
		}
	}
	if len(lines) != 1 || l.waiting == nil {
		l.spoiled++
		l.wantBad = true
	}
	return pieces
}

// spoil does to an answer what cables and adapters do.
func (l *noisyLine) spoil(text string) []string {
	at := l.noise.IntN(len(text))
	switch l.noise.IntN(9) {
	case 0: // a bit turned
		b := []byte(text)
		b[at] ^= 1 << l.noise.IntN(8)
		return []string{string(b)}
	case 1: // bytes lost
		return []string{text[:at] + text[min(at+1+l.noise.IntN(5), len(text)):]}
	case 2: // bytes from elsewhere
		extra := make([]byte, 1+l.noise.IntN(8))
		for i := range extra {
			extra[i] = byte(l.noise.IntN(256))
		}
		return []string{text[:at] + string(extra) + text[at:]}
	case 3: // twice
		return []string{text, text}
	case 4: // its end lost
		return []string{text[:at]}
	case 5: // lost whole
		return nil
	case 6: // a line of its own before it
		return []string{"boot\r\n", text}
	case 7: // without end
		return []string{strings.Repeat("#", 3*wire.MaxAnswerBytes), "\n"}
	default: // in pieces, which is no noise
		return strings.SplitAfter(text, "")
	}
}
