package wire

import (
	"errors"
	"fmt"
	"math"
	"math/bits"
	"strconv"
	"strings"
)

// MaxChannels is the highest number of igniter channels of a box.
const MaxChannels = 16

// Event is the box's event register, a sum of bits.
type Event uint16

// The events of a ground box.
const (
	EventWatchdog     Event = 1   // the watchdog opened the permit
	EventButtonEarly  Event = 2   // button closed while the permit was open
	EventKeyPulled    Event = 4   // key pulled while the permit was closed
	EventRestarted    Event = 8   // the controller restarted
	EventWelded       Event = 16  // voltage behind an open contact
	EventOwnerChanged Event = 32  // another program took the box
	EventErrors       Event = 64  // the error queue is not empty
	EventPermitLimit  Event = 128 // the permit opened by its own limit of 20 s
	EventKeyOut       Event = 256 // the key was out, however short, since the last clearing
	EventsKnown       Event = 511
)

var eventNames = [9]string{
	"watchdog tripped",
	"button closed while the permit was open",
	"key pulled while the permit was closed",
	"controller restarted",
	"voltage behind an open contact",
	"owner changed",
	"error queue not empty",
	"permit opened by its own limit",
	"key out since the last clearing",
}

// Names lists the events that are set, lowest bit first.
func (e Event) Names() []string {
	var names []string
	for rest := e; rest != 0; rest &= rest - 1 {
		n := bits.TrailingZeros16(uint16(rest))
		if n < len(eventNames) {
			names = append(names, eventNames[n])
		} else {
			names = append(names, "Event("+strconv.Itoa(1<<n)+")")
		}
	}
	return names
}

// String joins the names; no event is "none".
func (e Event) String() string {
	if e == 0 {
		return "none"
	}
	return strings.Join(e.Names(), ", ")
}

// Snapshot is one answer to STATus:SNAPshot?. The zero value claims nothing:
// no reading is measured. A count of 0 in it is still only as good as the
// snapshot that it was read from.
type Snapshot struct {
	Practice bool
	Sequence uint16

	KeyIn        bool
	Pole1Closed  bool // in the loop; reads closed where it cannot be told
	Pole2Closed  bool // sensed
	PermitClosed bool // from the relay's linked contact

	BatteryV      Reading
	BehindKeyV    Reading
	BehindPermitV Reading
	BusV          Reading

	Pulses  int64 // the bus going live; Unknown until the box is serviced
	Presses int64 // the first pole closing; Unknown likewise

	Events     Event
	Scan       uint16    // number of the last whole resistance scan
	ChannelOhm []Reading // by channel, the firing lead included

	// ReferenceV is taken in the same pass as the inputs: ground with an even
	// Sequence, the box's own reference with an odd one. See ReferenceFault.
	ReferenceV Reading
}

// Unknown is a count that the box has lost.
const Unknown int64 = -1

// Fields of a snapshot besides the resistances, the CRC not counted.
const (
	leadingFields = 13 // before the resistances
	fixedFields   = leadingFields + 1
)

// Levels of the reference reading.
const (
	LeastReferenceV = 1.0
	referenceShare  = 0.05 // of the nominal value, either side of a level
)

// ReferenceFault says what is wrong with the reference reading of a box whose
// reference has a nominal value of nominalV, or nothing. Inputs that stand still
// while the snapshots count on cannot have both levels in turn.
func (s *Snapshot) ReferenceFault(nominalV float64) string {
	level := 0.0
	if s.Sequence%2 == 1 {
		level = nominalV
	}
	if s.ReferenceV.Kind == Measured && math.Abs(s.ReferenceV.Value-level) <= referenceShare*nominalV {
		return ""
	}
	return fmt.Sprintf("the reference reads %s V and should read %.3g V: the box's inputs stand still or read wrong", s.ReferenceV, level)
}

// Text returns the snapshot as it goes over the wire, without line ending.
func (s Snapshot) Text() string {
	var b strings.Builder
	if s.Practice {
		b.WriteByte('P')
	}
	fmt.Fprintf(&b, "%d,%d,%d,%d,%d", s.Sequence, bit(s.KeyIn), bit(s.Pole1Closed), bit(s.Pole2Closed), bit(s.PermitClosed))
	for _, r := range []Reading{s.BatteryV, s.BehindKeyV, s.BehindPermitV, s.BusV} {
		b.WriteByte(',')
		b.WriteString(r.Text())
	}
	fmt.Fprintf(&b, ",%d,%d,%d,%d", s.Pulses, s.Presses, uint16(s.Events), s.Scan)
	for _, r := range s.ChannelOhm {
		b.WriteByte(',')
		b.WriteString(r.Text())
	}
	b.WriteByte(',')
	b.WriteString(s.ReferenceV.Text())
	body := b.String()
	return fmt.Sprintf("%s,%04X", body, CRC16([]byte(body)))
}

func bit(b bool) int {
	if b {
		return 1
	}
	return 0
}

// ParseSnapshot reads an answer to STATus:SNAPshot?. It checks the CRC, the
// number of fields and every field, and returns the zero Snapshot with an
// error when anything is wrong.
func ParseSnapshot(line string) (Snapshot, error) {
	cut := strings.LastIndexByte(line, ',')
	if cut < 0 {
		return Snapshot{}, fmt.Errorf("wire: %q is not a snapshot", clip(line))
	}
	body, sum := line[:cut], strings.TrimSpace(line[cut+1:])
	want, err := strconv.ParseUint(sum, 16, 16)
	if len(sum) != 4 || err != nil {
		return Snapshot{}, fmt.Errorf("wire: snapshot: check sum %q is not four hex digits", clip(sum))
	}
	if got := CRC16([]byte(body)); got != uint16(want) {
		return Snapshot{}, fmt.Errorf("wire: snapshot: check sum %04X, counted %04X", want, got)
	}
	f := strings.Split(body, ",")
	if len(f) == fixedFields {
		return Snapshot{}, errors.New("wire: snapshot: one field too few: the reference reading before the check sum is missing")
	}
	if n := len(f) - fixedFields; n < 1 || n > MaxChannels {
		return Snapshot{}, fmt.Errorf("wire: snapshot: %d fields, want %d to %d", len(f)+1, fixedFields+2, fixedFields+MaxChannels+1)
	}
	var s Snapshot
	if err := s.parseFields(f); err != nil {
		return Snapshot{}, err
	}
	return s, nil
}

func (s *Snapshot) parseFields(f []string) error {
	var err error
	f[0] = strings.TrimSpace(f[0])
	f[0], s.Practice = strings.CutPrefix(f[0], "P")
	if s.Sequence, err = parseCount16(f[0], "sequence"); err != nil {
		return err
	}
	for i, to := range []*bool{&s.KeyIn, &s.Pole1Closed, &s.Pole2Closed, &s.PermitClosed} {
		switch strings.TrimSpace(f[1+i]) {
		case "0":
		case "1":
			*to = true
		default:
			return fmt.Errorf("wire: snapshot: field %d is %q, want 0 or 1", 2+i, clip(f[1+i]))
		}
	}
	for i, to := range []*Reading{&s.BatteryV, &s.BehindKeyV, &s.BehindPermitV, &s.BusV} {
		if *to, err = ParseReading(f[5+i]); err != nil {
			return fmt.Errorf("wire: snapshot: field %d: %w", 6+i, err)
		}
	}
	if s.Pulses, err = parseCount(f[9], "pulses"); err != nil {
		return err
	}
	if s.Presses, err = parseCount(f[10], "presses"); err != nil {
		return err
	}
	events, err := parseCount16(f[11], "events")
	if err != nil || Event(events)&^EventsKnown != 0 {
		return fmt.Errorf("wire: snapshot: events %q are unknown", clip(f[11]))
	}
	s.Events = Event(events)
	if s.Scan, err = parseCount16(f[12], "scan"); err != nil {
		return err
	}
	s.ChannelOhm = make([]Reading, len(f)-fixedFields)
	for i := range s.ChannelOhm {
		if s.ChannelOhm[i], err = ParseReading(f[leadingFields+i]); err != nil {
			return fmt.Errorf("wire: snapshot: channel %d: %w", i+1, err)
		}
	}
	if s.ReferenceV, err = ParseReading(f[len(f)-1]); err != nil {
		return fmt.Errorf("wire: snapshot: reference: %w", err)
	}
	return nil
}

func parseCount16(text, what string) (uint16, error) {
	text = strings.TrimSpace(text)
	v, err := strconv.ParseUint(text, 10, 16)
	if err != nil {
		return 0, fmt.Errorf("wire: snapshot: %s %q is not 0 to 65535", what, clip(text))
	}
	return uint16(v), nil
}

func parseCount(text, what string) (int64, error) {
	text = strings.TrimSpace(text)
	v, err := strconv.ParseInt(text, 10, 64)
	if err != nil || v < Unknown || strings.HasPrefix(text, "+") {
		return 0, fmt.Errorf("wire: snapshot: %s %q is no count", what, clip(text))
	}
	return v, nil
}
