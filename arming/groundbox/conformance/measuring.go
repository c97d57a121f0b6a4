package conformance

import (
	"fmt"
	"strings"
	"time"

	"holdline/arming/groundbox/wire"
)

func (t *trial) measure(list string, n int) ([]wire.Reading, error) {
	within := time.Duration(n)*answerTime + lineTime
	answer, err := t.askFor("MEAS:RES? "+list, within)
	if err != nil {
		return nil, err
	}
	parts := strings.Split(answer, ",")
	if len(parts) != n {
		return nil, fmt.Errorf("MEAS:RES? %s: %d readings, want %d", list, len(parts), n)
	}
	out := make([]wire.Reading, n)
	for i, p := range parts {
		if out[i], err = wire.ParseReading(p); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// notMeasured wants 9.91E37 in every place.
func notMeasured(list []wire.Reading) error {
	for i, r := range list {
		if r.Kind != wire.NotMeasured {
			return fmt.Errorf("channel %d reads %s without a lease, want 9.91E37", i+1, r.Text())
		}
	}
	return nil
}

func (t *trial) noLease() error {
	list, err := t.measure(fmt.Sprintf("(@1:%d)", t.channels), t.channels)
	if err != nil {
		return err
	}
	s, err := t.snapshot()
	return first(notMeasured(list), err, notMeasured(s.ChannelOhm))
}

func (t *trial) lease() error {
	if err := first(t.fails("SENS:RES:STAT ON,"+t.other, -221), t.fails("SENS:RES:STAT 1,"+t.token, -222)); err != nil {
		return err
	}
	s, err := t.snapshot()
	if err == nil {
		err = notMeasured(s.ChannelOhm)
	}
	if err != nil {
		return err
	}
	if err := t.passes("SENS:RES:STAT ON," + t.token); err != nil {
		return err
	}
	scan := s.Scan
	full := time.Duration(t.channels)*answerTime + 100*time.Millisecond
	for range 2 {
		if s, err = t.until(full, "a scan", func(s wire.Snapshot) bool { return s.Scan != scan }); err != nil {
			return err
		}
		if s.Scan != scan+1 {
			return fmt.Errorf("scan %d after %d", s.Scan, scan)
		}
		for i, r := range s.ChannelOhm {
			if r.Kind == wire.NotMeasured {
				return fmt.Errorf("channel %d is not measured in scan %d", i+1, s.Scan)
			}
		}
		scan = s.Scan
	}
	if err := t.passes("SENS:RES:STAT OFF"); err != nil {
		return err
	}
	s, err = t.snapshot()
	return first(err, notMeasured(s.ChannelOhm))
}

func (t *trial) resistance() error {
	err := first(t.fails("MEAS:RES? (@2:1)", -222), t.fails("MEAS:RES? (@0)", -222), t.fails("MEAS:RES? (@90)", -222),
		t.fails(fmt.Sprintf("MEAS:RES? (@%d)", t.channels+1), -222), t.fails("MEAS:RES? 1", -222), t.passes("SENS:RES:STAT ON,"+t.token))
	if err != nil {
		return err
	}
	one, err := t.measure("(@1)", 1)
	if err != nil {
		return err
	}
	three, err := t.measure(fmt.Sprintf("( @1, %d ,1:1 )", t.channels), 3)
	if err != nil {
		return err
	}
	if one[0].Kind == wire.NotMeasured || three[0].Kind != one[0].Kind || three[2].Kind != one[0].Kind {
		return fmt.Errorf("channel 1 reads %s, then %s and %s", one[0].Text(), three[0].Text(), three[2].Text())
	}
	return nil
}

func (t *trial) voltage() error {
	for c := 90; c <= 93; c++ {
		answer, err := t.ask(fmt.Sprintf("MEAS:VOLT? (@%d)", c))
		if err != nil {
			return err
		}
		if r, err := wire.ParseReading(answer); err != nil || r.Kind == wire.NotMeasured {
			return fmt.Errorf("channel %d reads %q, want volts", c, answer)
		}
	}
	return first(t.fails("MEAS:VOLT? (@1)", -222), t.fails("MEAS:VOLT? (@94)", -222), t.fails("MEAS:VOLT? (@90,91)", -222))
}

func (t *trial) leaseEnds() error {
	if err := t.passes("SENS:RES:STAT ON," + t.token); err != nil {
		return err
	}
	began := time.Now()
	full := time.Duration(t.channels)*answerTime + 100*time.Millisecond
	if _, err := t.until(full, "a scan", func(s wire.Snapshot) bool { return s.ChannelOhm[0].Kind != wire.NotMeasured }); err != nil {
		return err
	}
	t.c.wait(4700*time.Millisecond - time.Since(began))
	if s, err := t.snapshot(); err != nil || s.ChannelOhm[0].Kind == wire.NotMeasured {
		return fmt.Errorf("no reading 4.7 s after the lease began: %w", err)
	}
	t.c.wait(5300*time.Millisecond - time.Since(began))
	s, err := t.snapshot()
	return first(err, notMeasured(s.ChannelOhm))
}
