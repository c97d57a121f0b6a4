//go:build slow && linux

package session

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"holdline/arming/groundbox"
)

// What OFF may take while another program keeps every core busy.
const (
	latencyFaults = 2000
	latencyP99    = 10 * time.Millisecond
	latencyMost   = 100 * time.Millisecond
)

// burnEnv makes the test binary a program that keeps every core busy until its
// standard input ends.
const burnEnv = "HOLDLINE_TEST_BURN"

func init() {
	if os.Getenv(burnEnv) == "" {
		return
	}
	for range runtime.NumCPU() {
		go func() {
			for n := uint64(1); n != 0; n++ { // longer than any test
			}
		}()
	}
	_, _ = io.Copy(io.Discard, os.Stdin) // ends with who started it
	os.Exit(0)
}

// burnCores keeps every core busy, with another program, to the end of the test.
func burnCores(t testing.TB) {
	t.Helper()
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(exe)
	cmd.Env = append(os.Environ(), burnEnv+"=1")
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = in.Close()
		_ = cmd.Wait() // it ends with its input
	})
}

// TestFromABadSnapshotToOffWithEveryCoreBusy takes the time from just before
// the last byte of a bad snapshot is written to the port by a box of its own
// process to the return of the write that puts the last byte of OFF on it. So
// the box's own way from its read to its answer is in no figure; the way of the
// bytes through the system's terminal is in all.
func TestFromABadSnapshotToOffWithEveryCoreBusy(t *testing.T) {
	burnCores(t)
	whole, read := measureOff(t, latencyFaults)
	t.Logf("from a bad snapshot to OFF: %s; aims p99 %v, most %v", whole, latencyP99, latencyMost)
	t.Logf("of that until the program has the bytes: %s", read)
	if p99, most := whole.at(0.99), whole.at(1); p99 > latencyP99 || most > latencyMost {
		t.Errorf("p99 is %v, want %v at most; the longest %v, want %v at most", p99, latencyP99, most, latencyMost)
	}
}

// spread are durations in order.
type spread []time.Duration

func (s spread) at(share float64) time.Duration { return s[min(int(share*float64(len(s))), len(s)-1)] }

func (s spread) String() string {
	us := func(d time.Duration) time.Duration { return d.Round(time.Microsecond) }
	return fmt.Sprintf("%d faults, p50 %v, p90 %v, p99 %v, p99.9 %v, most %v",
		len(s), us(s.at(0.5)), us(s.at(0.9)), us(s.at(0.99)), us(s.at(0.999)), us(s[len(s)-1]))
}

// measureOff lets a link answer so many bad snapshots.
func measureOff(t testing.TB, faults int) (whole, read spread) {
	t.Helper()
	port, printed := startPeer(t, faults)
	stamp := &stamped{}
	dial := groundbox.SerialDial(port, baud)
	link := groundbox.Open(groundbox.Config{
		Dial: func(ctx context.Context) (io.ReadWriteCloser, error) {
			rw, err := dial(ctx)
			stamp.ReadWriteCloser = rw
			return stamp, err
		},
		// More often than in a firing, or it would take half an hour.
		Port: port, WantChannels: 4, RequirePractice: true, PollEvery: 2 * time.Millisecond,
	})
	lines := grantAnew(link, printed)
	link.Close()
	return stamp.after(t, lines, faults)
}

// grantAnew closes the permit again each time it was dropped, until the peer has
// ended.
func grantAnew(link *groundbox.Link, printed func() []string) []string {
	over := make(chan []string, 1)
	go func() { over <- printed() }()
	number := uint64(0)
	for {
		select {
		case r := <-link.Reports():
			switch r.(type) {
			case groundbox.PermitDropped, groundbox.Connected:
				number++
			}
		case <-time.After(50 * time.Millisecond): // a slow box gets its grant too
		case lines := <-over:
			return lines
		}
		link.Permit(groundbox.Grant{Number: number, Until: time.Now().Add(200 * time.Millisecond)})
	}
}

// stamped notes when each read that gave bytes, and the write of each OFF, came
// back from the system.
type stamped struct {
	io.ReadWriteCloser
	mu          sync.Mutex
	reads, offs []int64
}

func (s *stamped) Read(p []byte) (int, error) {
	n, err := s.ReadWriteCloser.Read(p)
	now := monotonicNs()
	if n > 0 {
		s.mu.Lock()
		s.reads = append(s.reads, now)
		s.mu.Unlock()
	}
	return n, err
}

func (s *stamped) Write(p []byte) (int, error) {
	n, err := s.ReadWriteCloser.Write(p)
	now := monotonicNs()
	if err == nil && strings.HasSuffix(string(p), "OUTP:PERM OFF\n") {
		s.mu.Lock()
		s.offs = append(s.offs, now)
		s.mu.Unlock()
	}
	return n, err
}

// after matches each bad snapshot with the first read and the first OFF after it.
func (s *stamped) after(t testing.TB, lines []string, faults int) (whole, read spread) {
	t.Helper()
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, line := range lines {
		wrote, err := strconv.ParseInt(line, 10, 64)
		if err != nil {
			t.Fatal(err)
		}
		later := func(at int64) bool { return at > wrote }
		i, j := slices.IndexFunc(s.reads, later), slices.IndexFunc(s.offs, later)
		if i < 0 || j < 0 {
			t.Fatal("no OFF follows a bad snapshot")
		}
		s.reads, s.offs = s.reads[i:], s.offs[j:]
		whole = append(whole, time.Duration(s.offs[0]-wrote))
		read = append(read, time.Duration(s.reads[0]-wrote))
	}
	if len(whole) != faults {
		t.Fatalf("%d faults, want %d", len(whole), faults)
	}
	slices.Sort(whole)
	slices.Sort(read)
	return whole, read
}
