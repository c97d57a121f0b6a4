package groundbox

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"sync"
	"time"

	"holdline/arming/groundbox/wire"
)

// MeterConfig describes a multimeter on a serial line.
type MeterConfig struct {
	Port string // in sentences
	// ErrorOhm and ErrorV bound the meter's error; two readings must agree
	// within it. 0 refuses every pair that is not equal.
	ErrorOhm, ErrorV float64
	// Slowest is the longest time for one answer, 6 s when 0.
	Slowest time.Duration
}

// Meter is a multimeter that is moved from lead to lead by hand. It reads
// nothing else: with it there is no key, no button and no permit, and the
// laptop cannot stop the firing. The current that its ranges put through an
// igniter is for the sheet to declare: nothing here limits it.
type Meter struct {
	cfg MeterConfig
	id  Identity

	mu     sync.Mutex // one question at a time
	c      *conn
	framer *wire.Framer
	lines  []wire.Message
	doubt  bool
	volts  string // the form of the voltage query that this meter knows
	gone   error
}

// Pair is a reading taken twice.
type Pair struct {
	First, Second Reading
	Value         Reading // their mean, or Open
}

// ErrDisagree means that two readings of the same thing differ by more than the
// meter's error.
var ErrDisagree = errors.New("the two readings do not agree")

// OpenMeter asks the instrument on rw who it is. It closes rw when that fails.
func OpenMeter(ctx context.Context, rw io.ReadWriteCloser, cfg MeterConfig) (*Meter, error) {
	cfg.Slowest = cmp.Or(cfg.Slowest, 6*time.Second)
	m := &Meter{cfg: cfg, c: newConn(rw), framer: wire.NewFramer(wire.MaxAnswerBytes), volts: "MEAS:VOLT:DC?"}
	if err := m.identify(ctx); err != nil {
		m.Close()
		return nil, err
	}
	return m, nil
}

// identify tries three times: an adapter may lose the first bytes.
func (m *Meter) identify(ctx context.Context) error {
	var err error
	for range 3 {
		var line string
		if line, err = m.ask(ctx, "*IDN?", m.cfg.Slowest/3); err == nil {
			if m.id, err = meterIdentity(line); err == nil {
				m.doubt = true // more answers to the same question may come
				if m.id.Practice() {
					err = fmt.Errorf("groundbox: meter on %s: a practice box answers", m.cfg.Port)
				}
				return err
			}
		}
		if m.gone != nil || ctx.Err() != nil {
			return err
		}
	}
	return fmt.Errorf("groundbox: meter on %s: %w", m.cfg.Port, err)
}

// meterIdentity is less strict than that of a box: empty fields are common.
func meterIdentity(line string) (Identity, error) {
	f := strings.Split(line, ",")
	if len(f) != 4 {
		return Identity{}, fmt.Errorf("identity %q has %d fields, want 4", clip(line), len(f))
	}
	for i := range f {
		f[i] = strings.TrimSpace(f[i])
	}
	if f[1] == "" {
		return Identity{}, fmt.Errorf("identity %q names no model", clip(line))
	}
	return Identity{Maker: f[0], Model: f[1], Serial: f[2], Version: f[3]}, nil
}

// Identity returns what the meter said of itself.
func (m *Meter) Identity() Identity { return m.id }

// Resistance reads ohms twice. The error is ErrDisagree, with both readings in
// the Pair, when they differ by more than the meter's error, or one is open.
func (m *Meter) Resistance(ctx context.Context) (Pair, error) {
	return m.twice(m.cfg.ErrorOhm, func() (Reading, error) { return m.read(ctx, "MEAS:RES?") })
}

// Voltage reads volts, direct current, twice; see Resistance.
func (m *Meter) Voltage(ctx context.Context) (Pair, error) {
	return m.twice(m.cfg.ErrorV, func() (Reading, error) { return m.readVolts(ctx) })
}

// readVolts falls back to the short query once, for a meter that has no other.
func (m *Meter) readVolts(ctx context.Context) (Reading, error) {
	r, err := m.read(ctx, m.volts)
	const short = "MEAS:VOLT?"
	if err == nil || m.volts == short || !isBad(err) {
		return r, err
	}
	again, errAgain := m.read(ctx, short)
	if errAgain != nil {
		return r, err
	}
	m.volts = short
	return again, nil
}

func (m *Meter) twice(bound float64, read func() (Reading, error)) (Pair, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	var p Pair
	var err error
	if p.First, err = read(); err != nil {
		return p, err
	}
	if p.Second, err = read(); err != nil {
		return p, err
	}
	switch a, b := p.First, p.Second; {
	case a.Kind == wire.NotMeasured || b.Kind == wire.NotMeasured:
		return p, fmt.Errorf("groundbox: meter on %s: nothing was measured", m.cfg.Port)
	case a.Kind == wire.Open && b.Kind == wire.Open:
		p.Value = Reading{Kind: wire.Open}
		return p, nil
	case a.Kind != b.Kind || math.Abs(a.Value-b.Value) > bound:
		return p, fmt.Errorf("groundbox: meter on %s: %w: %s, then %s, allowed %g apart", m.cfg.Port, ErrDisagree, a, b, bound)
	default:
		p.Value = wire.Of((a.Value + b.Value) / 2)
		return p, nil
	}
}

// read asks one query and reads one number.
func (m *Meter) read(ctx context.Context, query string) (Reading, error) {
	if m.doubt {
		if err := m.fence(ctx); err != nil {
			return Reading{}, fmt.Errorf("groundbox: meter on %s: %w", m.cfg.Port, err)
		}
	}
	line, err := m.ask(ctx, query, m.cfg.Slowest)
	if err != nil {
		return Reading{}, fmt.Errorf("groundbox: meter on %s: %s: %w", m.cfg.Port, query, err)
	}
	r, err := wire.ParseMeterReading(line)
	if err != nil {
		m.doubt = true
		return Reading{}, fmt.Errorf("groundbox: meter on %s: %s: %w: %q", m.cfg.Port, query, errUnreadable, clip(line))
	}
	return r, nil
}

// fence throws away what may still come of earlier questions: it asks who is
// there until the line before has gone by and nothing else comes.
func (m *Meter) fence(ctx context.Context) error {
	if err := m.send("*IDN?"); err != nil {
		return err
	}
	deadline := time.Now().Add(m.cfg.Slowest)
	for {
		line, err := m.next(ctx, deadline)
		if errors.Is(err, errUnreadable) {
			continue
		}
		if err != nil {
			return err
		}
		if id, err := meterIdentity(line); err == nil {
			if id != m.id {
				return fmt.Errorf("another instrument answers: %q", clip(line))
			}
			m.doubt = false
			return m.settle(ctx)
		}
	}
}

// settle takes further identities that come close behind the first.
func (m *Meter) settle(ctx context.Context) error {
	for {
		_, err := m.next(ctx, time.Now().Add(meterSettle))
		switch {
		case errors.Is(err, errNoAnswer):
			m.doubt = false
			return nil
		case err != nil && !isBad(err):
			return err
		}
	}
}

const meterSettle = 60 * time.Millisecond

func (m *Meter) send(text string) error {
	if m.gone != nil {
		return m.gone
	}
	if err := m.c.w.send(outMessage{text: text + "\r"}); err != nil {
		m.gone = fmt.Errorf("%s is gone: %w", m.cfg.Port, err)
		return m.gone
	}
	return nil
}

// ask sends a query and returns the first line that is not its echo.
func (m *Meter) ask(ctx context.Context, query string, within time.Duration) (string, error) {
	m.lines = m.lines[:0]
	if err := m.send(query); err != nil {
		return "", err
	}
	deadline := time.Now().Add(within)
	for {
		line, err := m.next(ctx, deadline)
		if err != nil {
			return "", err
		}
		if !strings.EqualFold(strings.TrimSpace(line), query) {
			return line, nil
		}
	}
}

// next returns the next line, at latest at the deadline.
func (m *Meter) next(ctx context.Context, deadline time.Time) (string, error) {
	timer := time.NewTimer(max(time.Until(deadline), 0))
	defer timer.Stop()
	for {
		if len(m.lines) > 0 {
			line := m.lines[0]
			m.lines = m.lines[1:]
			if line.Bad != wire.FaultNone {
				m.doubt = true
				return "", fmt.Errorf("%w: the line is %s", errUnreadable, line.Bad)
			}
			return line.Text, nil
		}
		if m.gone != nil {
			return "", m.gone
		}
		select {
		case ch := <-m.c.chunks:
			m.take(ch)
		case <-timer.C:
			m.doubt = true
			return "", errNoAnswer
		case <-ctx.Done():
			m.doubt = true
			return "", ctx.Err()
		case <-m.c.stop:
			m.gone = fmt.Errorf("%s has been closed", m.cfg.Port)
		}
	}
}

// take frames a chunk. Some meters end their lines in CR alone.
func (m *Meter) take(ch chunk) {
	m.lines = append(m.lines, m.framer.Push(bytes.ReplaceAll(ch.data, []byte{'\r'}, []byte{'\n'}))...)
	if ch.err != nil {
		m.gone = fmt.Errorf("%s is gone: unplugged, or closed by the system", m.cfg.Port)
	}
}

// Close closes the port. A question that is out ends with an error.
func (m *Meter) Close() { m.c.close() }
