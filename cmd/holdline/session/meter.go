package session

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"holdline/arming"
	"holdline/arming/groundbox"
	"holdline/arming/groundbox/wire"
	"holdline/checklist"
)

// Figures of a multimeter on a serial line.
const (
	meterBaud   = 9600
	meterErrorV = 0.05             // how far two readings of a voltage may lie apart
	meterWithin = 15 * time.Second // for two readings of a slow meter
)

// meterPort takes PORT or PORT@BAUD apart.
func meterPort(text string) (port string, baud int, err error) {
	at := strings.LastIndexByte(text, '@')
	if at < 0 {
		return text, meterBaud, nil
	}
	baud, err = strconv.Atoi(text[at+1:])
	if err != nil || baud < 300 || baud > 1_000_000 || at == 0 {
		return "", 0, fmt.Errorf("session: meter %q: want PORT or PORT@BAUD with 300 to 1000000 baud", text)
	}
	return text[:at], baud, nil
}

// openMeter opens the multimeter and asks who it is.
func (s *session) openMeter(ctx context.Context) error {
	name, baud, err := meterPort(s.o.Meter)
	if err != nil {
		return err
	}
	rw, err := groundbox.SerialDial(name, baud)(ctx)
	if err != nil {
		return fmt.Errorf("session: meter on %s: %w", name, err)
	}
	s.meter, err = groundbox.OpenMeter(ctx, rw, groundbox.MeterConfig{
		Port: name, ErrorOhm: s.sheet.Firing.MeterErrorOhm, ErrorV: meterErrorV,
	})
	if err != nil {
		return err
	}
	s.mode = arming.ModeMeter
	return nil
}

// readMeter reads the meter twice, beside the driver, and puts the values into
// the answer. A reading that cannot be had is a refusal, and no answer.
func (s *session) readMeter(ev arming.Answer, st *checklist.Step) {
	d := s.driver
	switch {
	case s.meter == nil:
		d.refuse("there is no meter in this firing", "")
		return
	case st.Band.Unit != "ohm" && st.Band.Unit != "V":
		d.refuse(st.ID+" is not read by the meter", "type what the instrument shows")
		return
	case s.meterBusy:
		d.refuse("the meter is being read", "wait for it")
		return
	}
	s.meterBusy = true
	read := s.meter.Voltage
	if st.Band.Unit == "ohm" {
		read = s.meter.Resistance
	}
	go func() {
		ctx, cancel := context.WithTimeout(context.Background(), meterWithin)
		defer cancel()
		pair, err := read(ctx)
		s.post(func() {
			s.meterBusy = false
			switch {
			case errors.Is(err, groundbox.ErrDisagree):
				d.refuse(clean(err.Error()), "press the leads on and read again")
			case err != nil:
				d.refuse(clean(err.Error()), "look at the meter and its cable, then read again")
			case pair.Value.Kind == wire.Open:
				d.refuse(st.ID+": the meter reads open", "look at leads and igniter, then read again")
			default:
				ev.Value, ev.Again = pair.First.Value, pair.Second.Value
				d.step(ev)
			}
		})
	}()
}
