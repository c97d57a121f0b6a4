package session

import (
	"bufio"
	"context"
	"fmt"
	"net"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"holdline/arming"
	"holdline/arming/groundbox"
	"holdline/checklist"
	"holdline/checklist/sheet/scenario"
)

// meterOn answers as a multimeter on a serial line, with volts to order.
func meterOn(t testing.TB, volts *atomic.Value) *groundbox.Meter {
	t.Helper()
	mine, theirs := net.Pipe()
	go func() {
		lines := bufio.NewScanner(theirs)
		for lines.Scan() {
			answer := ""
			switch strings.TrimSpace(lines.Text()) {
			case "*IDN?":
				answer = "invented,bench meter,17,1.0"
			case "MEAS:VOLT:DC?":
				list := volts.Load().([]string)
				answer = list[0]
				if len(list) > 1 {
					volts.Store(list[1:])
				}
			default:
				continue
			}
			if _, err := fmt.Fprintf(theirs, "%s\r\n", answer); err != nil {
				return
			}
		}
	}()
	m, err := groundbox.OpenMeter(context.Background(), mine, groundbox.MeterConfig{Port: "pipe", ErrorOhm: 0.02, ErrorV: meterErrorV, Slowest: 500 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// TestTheMeterAnswersVolts runs a firing without a box: the driver has no
// permit, and the contact proof is read off the meter, twice.
func TestTheMeterAnswersVolts(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var volts atomic.Value
		volts.Store([]string{"+1.0E-2", "+3.0E0", "+1.2E-2", "+1.4E-2"})
		sh, err := scenario.Open()
		if err != nil {
			t.Fatal(err)
		}
		o := Options{SheetPath: "unused", Meter: "pipe", RecordDir: quietDir(t), Settings: t.TempDir(), Version: "test", Out: devNull(t)}
		if err := o.complete(); err != nil {
			t.Fatal(err)
		}
		signer, err := openSigner("", o.Settings)
		if err != nil {
			t.Fatal(err)
		}
		s := &session{o: o, sheet: sh, compute: quick, mode: arming.ModeMeter, meter: meterOn(t, &volts)}
		first, err := s.openRecord(signer)
		if err != nil {
			t.Fatal(err)
		}
		c := &crew{t: t, s: s}
		s.start(first)
		c.cfg = s.config()
		t.Cleanup(func() {
			ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
			defer cancel()
			if err := s.stop(ctx, "the test is over"); err != nil {
				t.Error(err)
			}
			s.closeDevices()
		})
		c.until("the start", 2*time.Second, func(st arming.State) bool { return st.Started })
		proof := s.index(arming.StepProof)
		for i := range proof {
			if s.plan.Steps[i].Kind == checklist.KindLine {
				continue
			}
			c.answer(i)
		}
		c.closeLine(c.people())
		ask := arming.Answer{Step: arming.StepProof, Means: arming.MeansMeter}
		c.cfg.Submit(ask)
		c.until("the refusal", 5*time.Second, func(arming.State) bool { return strings.Contains(c.frame().Refusal.Why, "agree") })
		if c.state().Evidence[proof].Present {
			t.Fatal("two readings that differ were taken for an answer")
		}
		c.cfg.Submit(ask)
		c.until("the reading", 5*time.Second, func(st arming.State) bool { return st.Evidence[proof].Present })
		if e := c.state().Evidence[proof]; e.Means != arming.MeansMeter || e.Value != 0.012 {
			t.Errorf("%+v, want 0.012 V by the meter", e)
		}
		if h := s.header(); h.Mode != "meter" || h.Box.Serial != "17" {
			t.Errorf("the record says %q, serial %q", h.Mode, h.Box.Serial)
		}
	})
}
