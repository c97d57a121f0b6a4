package steady

import (
	"fmt"
	"io"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"
)

// told is a test that only notes what is said of it.
type told struct {
	testing.TB
	failed bool
	text   []string
}

func (t *told) Helper()           {}
func (t *told) Output() io.Writer { return t }
func (t *told) Write(p []byte) (int, error) {
	t.text = append(t.text, string(p))
	return len(p), nil
}
func (t *told) Logf(format string, a ...any) {
	t.text = append(t.text, fmt.Sprintf(format, a...))
}
func (t *told) Errorf(format string, a ...any) {
	t.failed = true
	t.Logf(format, a...)
}

// after is a machine that stood still for so long in each attempt.
func after(list ...time.Duration) func() func() time.Duration {
	return func() func() time.Duration {
		d := list[0]
		list = list[1:]
		return func() time.Duration { return d }
	}
}

func TestOnlyAFailureOfAMachineThatStoodStillIsTriedAgain(t *testing.T) {
	const still, ran = LateMost + 1, LateMost
	for name, c := range map[string]struct {
		late   []time.Duration
		fails  int // the first so many attempts
		want   int // attempts
		failed bool
	}{
		"passes":                            {[]time.Duration{still}, 0, 1, false},
		"fails on a machine that ran":       {[]time.Duration{ran}, 9, 1, true},
		"fails once on one that stood":      {[]time.Duration{still, ran}, 1, 2, false},
		"fails on one that stood, then ran": {[]time.Duration{still, ran}, 9, 2, true},
		"fails each time":                   {[]time.Duration{still, still, still}, 9, 3, true},
	} {
		n, x := 0, &told{}
		try(x, 3, after(c.late...), func(t testing.TB) {
			if n++; n <= c.fails {
				t.Fatal("it failed")
			}
		})
		if n != c.want || x.failed != c.failed {
			t.Errorf("%s: %d attempts, failed %v: %q", name, n, x.failed, x.text)
		}
	}
}

func TestAnAttemptIsATest(t *testing.T) {
	x, order := &told{}, ""
	try(x, 1, after(0), func(t testing.TB) {
		t.Cleanup(func() { order += "c" })
		t.Cleanup(func() {
			order += "b"
			t.FailNow()
		})
		if t.Error("one"); !t.Failed() {
			order += "?"
		}
		func() {
			t.Helper()
			t.Logf("%s", "two")
		}()
		order += "a"
		t.Fatalf("%d", 3)
	})
	if order != "abc" || !x.failed {
		t.Errorf("order %q, failed %v", order, x.failed)
	}
	text := strings.Join(x.text, "")
	for _, want := range []string{": one\n", ": two\n", ": 3\n"} {
		if !strings.Contains(text, want) || strings.Contains(text, "steady.go") {
			t.Errorf("said %q, want %q and the place in this file", text, want)
		}
	}
}

// The clock goes 40 ms ahead between two looks at it, once: as it does where
// nothing runs for so long.
func TestAMachineThatStandsStillIsSeen(t *testing.T) {
	const still = 40 * time.Millisecond
	for _, jumps := range []time.Duration{0, still} {
		synctest.Test(t, func(t *testing.T) {
			var ahead atomic.Int64
			latest := watchBy(func() time.Time { return time.Now().Add(time.Duration(ahead.Load())) })
			time.Sleep(22 * time.Millisecond)
			ahead.Store(int64(jumps))
			time.Sleep(22 * time.Millisecond)
			if late := latest(); late != jumps {
				t.Errorf("%v late, want %v", late, jumps)
			}
		})
	}
}
