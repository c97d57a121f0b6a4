package conformance

import (
	"bytes"
	"context"
	"io"
	"net"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"go.uber.org/goleak"

	"holdline/arming/groundbox/practice"
	"holdline/sim/circuit"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func newBox(t testing.TB) *practice.Box {
	t.Helper()
	p := &circuit.Problem{
		Battery:          circuit.Battery{VoltageV: 12.4, InternalOhm: 0.025, HighestInternalOhm: 0.040},
		Lead:             circuit.Lead{Kind: circuit.LeadGauge, Gauge: 18, LengthM: 20},
		LeadTemperatureC: 20, SwitchOhm: 0.010, ContactOhm: 0.020,
		PulseS: 1, Margin: 1.5, TestCurrentA: 0.001, MeterErrorOhm: 0.02,
		StaggerLimitS: 0.060, AllLightProbabilityLeast: 0.99,
	}
	for range 3 {
		p.Igniters = append(p.Igniters, circuit.Igniter{
			Kind: "std", ResistanceOhm: 0.8, Tolerance: 0.12, NoFireA: 0.15, AllFireA: 0.60,
			Source: "invented", TimeConstantS: 0.004, PressureMeanS: 0.035, PressureSpreadS: 0.008,
			BranchLead: circuit.Lead{Kind: circuit.LeadGauge, Gauge: 24, LengthM: 0.4},
		})
	}
	box, err := practice.New(practice.Config{Problem: p})
	if err != nil {
		t.Fatal(err)
	}
	return box
}

func handsOf(box *practice.Box) *Hands {
	h := box.Hands()
	return &Hands{Key: h.Key, Battery: h.Battery, Button: h.Button, Press: h.Press, Exact: true, Within: time.Second}
}

// liar stands between the check and the box and changes lines.
type liar struct {
	io.ReadWriteCloser
	down, up func(string) string // to the box, from the box
	rest     []byte
	waiting  bytes.Buffer
	inCarry  string
}

func (l *liar) Write(p []byte) (int, error) {
	l.rest = append(l.rest, p...)
	for {
		i := bytes.IndexByte(l.rest, '\n')
		if i < 0 {
			return len(p), nil
		}
		line := string(l.rest[:i])
		l.rest = l.rest[i+1:]
		if l.down != nil {
			line = l.down(line)
		}
		if _, err := l.ReadWriteCloser.Write([]byte(line + "\n")); err != nil {
			return 0, err
		}
	}
}

func (l *liar) Read(p []byte) (int, error) {
	for l.waiting.Len() == 0 {
		buf := make([]byte, 1024)
		n, err := l.ReadWriteCloser.Read(buf)
		l.inCarry += string(buf[:n])
		for {
			line, rest, found := strings.Cut(l.inCarry, "\n")
			if !found {
				break
			}
			l.inCarry = rest
			if l.up != nil {
				line = l.up(line)
			}
			l.waiting.WriteString(line + "\n")
		}
		if err != nil {
			return 0, err
		}
	}
	return l.waiting.Read(p)
}

func swap(old, with string) func(string) string {
	return func(line string) string { return strings.ReplaceAll(line, old, with) }
}

func TestAMutePortIsFoundOut(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		box := newBox(t)
		if err := box.SetFault(practice.Fault{Kind: practice.Mute}); err != nil {
			t.Fatal(err)
		}
		rw, err := box.Dial(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		findings := checkClauses(context.Background(), rw, io.Discard, false, clauses[:6])
		for _, f := range findings {
			if f.Verdict != Failed {
				t.Errorf("%s: verdict %d, want failed", f.Clause, f.Verdict)
			}
		}
	})
}

func TestACutCableEndsTheCheck(t *testing.T) {
	mine, theirs := net.Pipe()
	_ = theirs.Close()
	findings := Check(context.Background(), mine, io.Discard, false, nil)
	if len(findings) != len(clauses) || findings[0].Verdict != Failed || findings[1].Verdict != NotTried || Conforms(findings) {
		t.Errorf("findings: %+v", findings)
	}
}

// checkByHand tries a practice box with its hands.
func checkByHand(t testing.TB, box *practice.Box, long bool) ([]Finding, string) {
	t.Helper()
	rw, err := box.Dial(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), 60*time.Second)
	defer cancel()
	var out strings.Builder
	return checkClauses(ctx, rw, &out, long, withHands(handsOf(box))), out.String()
}

func TestThePracticeBoxConforms(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		findings, out := checkByHand(t, newBox(t), true)
		for _, f := range findings {
			if f.Verdict != Passed {
				t.Errorf("verdict %d of %s: %s", f.Verdict, f.Clause, f.Detail)
			}
		}
		if n := strings.Count(out, "\n"); n != len(clauses) {
			t.Errorf("%d lines were written, want %d:\n%s", n, len(clauses), out)
		}
	})
}

// Without hands the clauses that need them are named and not tried, and none
// that has hands to try it is missing.
func TestWhatNeedsAHandIsNotTried(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		rw, err := newBox(t).Dial(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		needed := 0
		for _, f := range Check(context.Background(), rw, io.Discard, false, nil) {
			if f.Detail == "needs a hand at the box" {
				needed++
			}
			if f.Verdict == Failed {
				t.Errorf("%s: %s", f.Clause, f.Detail)
			}
		}
		if needed != len(handClauses) {
			t.Errorf("%d clauses need a hand, and hands can try %d", needed, len(handClauses))
		}
	})
}
