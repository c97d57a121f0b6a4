package groundbox

import (
	"bufio"
	"context"
	"errors"
	"io"
	"net"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"holdline/arming/groundbox/wire"
)

// instrument answers queries by a script of our own; say may write anything.
type instrument struct {
	rw   io.ReadWriteCloser
	say  func(query string) []string
	gap  time.Duration
	ends string
}

func (i *instrument) serve() {
	lines := bufio.NewScanner(i.rw)
	for lines.Scan() {
		query := strings.TrimRight(lines.Text(), "\r")
		for _, answer := range i.say(query) {
			time.Sleep(i.gap)
			if _, err := io.WriteString(i.rw, answer+i.ends); err != nil {
				return
			}
		}
	}
}

const meterName = "bench works,DM5,,2.1"

// meterOn starts an instrument and opens it.
func meterOn(t testing.TB, cfg MeterConfig, i *instrument) (*Meter, error) {
	t.Helper()
	mine, theirs := net.Pipe()
	i.rw = theirs
	if i.ends == "" {
		i.ends = "\r\n"
	}
	done := make(chan struct{})
	go func() { defer close(done); i.serve() }()
	t.Cleanup(func() { _ = theirs.Close(); <-done })
	if cfg.Slowest == 0 {
		cfg.Slowest = 600 * time.Millisecond
	}
	m, err := OpenMeter(context.Background(), mine, cfg)
	if err == nil {
		t.Cleanup(m.Close)
	}
	return m, err
}

// replies answers the identity, and each other query with the next of a list;
// the last is repeated.
func replies(list map[string][]string) func(string) []string {
	n := map[string]int{}
	return func(query string) []string {
		if query == "*IDN?" {
			return []string{meterName}
		}
		answers := list[query]
		if len(answers) == 0 {
			return nil
		}
		i := min(n[query], len(answers)-1)
		n[query]++
		return []string{answers[i]}
	}
}

func TestMeterReadsTwice(t *testing.T) {
	ctx := context.Background()
	for name, c := range map[string]struct {
		first, second string
		bound         float64
		want          Reading
		disagree      bool
	}{
		"equal":                         {"1.234", "1.234", 0, wire.Of(1.234), false},
		"within the error":              {"+1.20E+00", "+1.24E+00", 0.05, wire.Of(1.22), false},
		"beyond the error":              {"1.20", "1.26", 0.05, Reading{}, true},
		"open, in two spellings":        {"9.9E37", "OL", 0.05, Reading{Kind: wire.Open}, false},
		"open with a sign":              {"-9.90000000E+37", "+9.9E+37 OHM", 0.05, Reading{Kind: wire.Open}, false},
		"a contact that comes and goes": {"1.2", "9.9E37", 0.05, Reading{}, true},
		"a decimal comma":               {"1,5", "1,5 Ohm", 0.05, wire.Of(1.5), false},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				m, err := meterOn(t, MeterConfig{ErrorOhm: c.bound}, &instrument{say: replies(map[string][]string{"MEAS:RES?": {c.first, c.second}})})
				if err != nil {
					t.Fatal(err)
				}
				p, err := m.Resistance(ctx)
				if errors.Is(err, ErrDisagree) != c.disagree || !c.disagree && err != nil {
					t.Fatalf("got %+v, %v, want disagreement %v", p, err, c.disagree)
				}
				if d := p.Value.Value - c.want.Value; p.Value.Kind != c.want.Kind || d > 1e-9 || d < -1e-9 {
					t.Errorf("got %+v, want %+v", p.Value, c.want)
				}
			})
		})
	}
}

func TestMeterThatMeasuresNothingGivesNoReading(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m, err := meterOn(t, MeterConfig{ErrorOhm: 1}, &instrument{say: replies(map[string][]string{"MEAS:RES?": {"9.91E37"}})})
		if err != nil {
			t.Fatal(err)
		}
		if p, err := m.Resistance(context.Background()); err == nil || p.Value != (Reading{}) {
			t.Errorf("got %+v, %v, want an error and no value", p, err)
		}
	})
}

func TestMeterVoltageFallsBackToTheShortQuery(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m, err := meterOn(t, MeterConfig{ErrorV: 0.01}, &instrument{say: replies(map[string][]string{"MEAS:VOLT?": {"12.42", "12.425"}})})
		if err != nil {
			t.Fatal(err)
		}
		p, err := m.Voltage(context.Background())
		if err != nil || p.First != wire.Of(12.42) || p.Second != wire.Of(12.425) {
			t.Errorf("got %+v, %v", p, err)
		}
	})
}

func TestMeterWithEchoAndCarriageReturnsOnly(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		say := replies(map[string][]string{"MEAS:RES?": {"2.5"}})
		m, err := meterOn(t, MeterConfig{}, &instrument{ends: "\r", say: func(q string) []string { return append([]string{q}, say(q)...) }})
		if err != nil {
			t.Fatal(err)
		}
		if p, err := m.Resistance(context.Background()); err != nil || p.Value != wire.Of(2.5) {
			t.Errorf("got %+v, %v", p, err)
		}
	})
}

// A reading that comes after its question was given up must not be taken for
// the answer to the next.
func TestMeterDoesNotTakeALateReadingForAnother(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		slow := true
		m, err := meterOn(t, MeterConfig{Slowest: 150 * time.Millisecond}, &instrument{say: func(q string) []string {
			switch {
			case q == "*IDN?":
				return []string{meterName}
			case slow:
				slow = false
				time.Sleep(200 * time.Millisecond)
				return []string{"1.111"}
			}
			return []string{"2.222"}
		}})
		if err != nil {
			t.Fatal(err)
		}
		if p, err := m.Resistance(context.Background()); err == nil {
			t.Fatalf("a slow meter: got %+v, want no answer", p)
		}
		p, err := m.Resistance(context.Background())
		if err != nil || p.First != wire.Of(2.222) || p.Second != wire.Of(2.222) {
			t.Errorf("got %+v, %v, want 2.222 twice", p, err)
		}
	})
}

func TestMeterWaitsForASlowReading(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m, err := meterOn(t, MeterConfig{Slowest: time.Second}, &instrument{gap: 300 * time.Millisecond, say: replies(map[string][]string{"MEAS:RES?": {"3.3"}})})
		if err != nil {
			t.Fatal(err)
		}
		if p, err := m.Resistance(context.Background()); err != nil || p.Value != wire.Of(3.3) {
			t.Errorf("got %+v, %v", p, err)
		}
	})
}

func TestMeterRefusals(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		if _, err := meterOn(t, MeterConfig{Slowest: 60 * time.Millisecond}, &instrument{say: func(string) []string { return nil }}); err == nil {
			t.Error("a dumb instrument was taken")
		}
		practice := func(string) []string { return []string{"holdline,PRACTICE,0001,1.0"} }
		if _, err := meterOn(t, MeterConfig{}, &instrument{say: practice}); err == nil || !strings.Contains(err.Error(), "practice") {
			t.Errorf("a practice box as a meter: %v", err)
		}
		m, err := meterOn(t, MeterConfig{}, &instrument{say: replies(map[string][]string{"MEAS:RES?": {"5 kOhm"}})})
		if err != nil {
			t.Fatal(err)
		}
		if p, err := m.Resistance(context.Background()); err == nil {
			t.Errorf("a unit with a prefix was taken: %+v", p)
		}
	})
}

func TestMeterUnpluggedWhileItMeasures(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		i := &instrument{}
		i.say = func(q string) []string {
			if q == "*IDN?" {
				return []string{meterName}
			}
			_ = i.rw.Close()
			return nil
		}
		m, err := meterOn(t, MeterConfig{Slowest: 5 * time.Second}, i)
		if err != nil {
			t.Fatal(err)
		}
		began := time.Now()
		if p, err := m.Resistance(context.Background()); err == nil || time.Since(began) > time.Second {
			t.Errorf("got %+v, %v after %v, want an error at once", p, err, time.Since(began))
		}
	})
}
