package practice

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"holdline/arming/groundbox/wire"
)

// entry is one command of the box.
type entry struct {
	pattern     string
	query       bool
	least, most int // parameters
	do          func(b *Box, p []string) (answer string, err error)
}

// commands is the whole language of the box. Nothing in it fires.
var commands = []entry{
	{"*IDN", true, 0, 0, (*Box).cmdIdentity},
	{"*CLS", false, 0, 0, (*Box).cmdClear},
	{"SYSTem:ERRor", true, 0, 0, (*Box).cmdError},
	{"SYSTem:VERSion", true, 0, 0, (*Box).cmdVersion},
	{"SYSTem:OWNer", false, 1, 1, (*Box).cmdOwner},
	{"SYSTem:OWNer", true, 1, 1, (*Box).cmdIsOwner},
	{"SYSTem:TEST", true, 1, 1, (*Box).cmdTest},
	{"ROUTe:CHANnel:COUNt", true, 0, 0, (*Box).cmdCount},
	{"SENSe:RESistance:CURRent", true, 0, 0, (*Box).cmdCurrent},
	{"SENSe:RESistance:STATe", false, 1, 2, (*Box).cmdLease},
	{"MEASure:RESistance", true, 1, 1, (*Box).cmdResistance},
	{"MEASure:VOLTage", true, 1, 1, (*Box).cmdVoltage},
	{"INPut:KEY", true, 0, 0, (*Box).cmdKey},
	{"INPut:BUTTon", true, 0, 0, (*Box).cmdButton},
	{"OUTPut:PERMit", false, 1, 3, (*Box).cmdPermit},
	{"OUTPut:PERMit", true, 0, 0, (*Box).cmdPermitRead},
	{"OUTPut:PERMit:KEEP", false, 2, 2, (*Box).cmdKeep},
	{"OUTPut:PERMit:TIMer", false, 2, 2, (*Box).cmdTimer},
	{"OUTPut:PERMit:TIMer", true, 0, 0, (*Box).cmdTimerRead},
	{"STATus:SNAPshot", true, 0, 0, (*Box).cmdSnapshot},
	{"STATus:EVENt:CLEar", false, 1, 1, (*Box).cmdEventClear},
	{"STATus:FIRE", true, 0, 0, (*Box).cmdFire},
}

// obey carries out one message.
func (b *Box) obey(m wire.Message) {
	if b.offFirst(m) {
		return
	}
	switch m.Bad {
	case wire.FaultLong:
		b.ctl.fail(wire.ErrLong)
		return
	case wire.FaultBytes:
		b.ctl.fail(wire.ErrHeader)
		return
	}
	c := wire.ParseCommand(m.Text)
	if c.Header == "" && !c.Query && len(c.Params) == 0 {
		return // blanks only
	}
	if c.Query && b.ctl.job != nil {
		if len(b.ctl.waiting) >= mostWaiting || len(c.Params) > 0 {
			b.ctl.fail(wire.ErrLong)
			return
		}
		b.ctl.waiting = append(b.ctl.waiting, c)
		return
	}
	b.carryOut(c)
}

// offFirst opens the permit on OUTPut:PERMit OFF whatever follows it, before
// anything else about the message is looked at. It reports whether the message
// was exactly that.
func (b *Box) offFirst(m wire.Message) bool {
	if m.Bad == wire.FaultLong {
		return false
	}
	head, rest, found := strings.Cut(strings.TrimPrefix(strings.TrimSpace(m.Text), ":"), " ")
	if !found || !wire.Match("OUTPut:PERMit", head) {
		return false
	}
	rest = strings.TrimSpace(rest)
	if len(rest) < 3 || !strings.EqualFold(rest[:3], "OFF") {
		return false
	}
	if len(rest) > 3 && (rest[3]|0x20 >= 'a' && rest[3]|0x20 <= 'z' || rest[3] >= '0' && rest[3] <= '9') {
		return false
	}
	b.hw.openPermit(b.ms)
	b.ctl.breakOff(&b.hw, b.ms)
	return len(rest) == 3
}

// runWaiting answers the queries that waited, up to the next slow one.
func (b *Box) runWaiting() {
	for b.ctl.job == nil && len(b.ctl.waiting) > 0 {
		c := b.ctl.waiting[0]
		b.ctl.waiting = b.ctl.waiting[1:]
		b.carryOut(c)
	}
}

func (b *Box) carryOut(c wire.Command) {
	e := lookUp(c)
	if e == nil {
		b.ctl.fail(wire.ErrHeader)
		return
	}
	switch {
	case len(c.Params) < e.least:
		b.ctl.fail(wire.ErrMissing)
		return
	case len(c.Params) > e.most:
		b.ctl.fail(wire.ErrRange)
		return
	}
	for _, p := range c.Params {
		if p == "" {
			b.ctl.fail(wire.ErrMissing)
			return
		}
	}
	answer, err := e.do(b, c.Params)
	if err != nil {
		fault, ok := err.(wire.Error)
		if !ok {
			fault = wire.ErrRange
		}
		b.ctl.fail(fault)
		return
	}
	if answer != "" {
		b.answer(answer)
	}
}

func lookUp(c wire.Command) *entry {
	for i := range commands {
		if commands[i].query == c.Query && wire.Match(commands[i].pattern, c.Header) {
			return &commands[i]
		}
	}
	return nil
}

func (b *Box) cmdIdentity([]string) (string, error) { return b.identity.String(), nil }

func (b *Box) cmdClear([]string) (string, error) {
	b.ctl.errors = nil
	return "", nil
}

func (b *Box) cmdError([]string) (string, error) {
	if len(b.ctl.errors) == 0 {
		return wire.NoError.Wire(), nil
	}
	e := b.ctl.errors[0]
	b.ctl.errors = b.ctl.errors[1:]
	return e.Wire(), nil
}

func (b *Box) cmdVersion([]string) (string, error) { return "1999.0", nil }

func (b *Box) cmdOwner(p []string) (string, error) {
	token, err := wire.ParseToken(p[0])
	if err != nil {
		return "", wire.ErrRange
	}
	b.ctl.setOwner(&b.hw, token, b.ms)
	return "", nil
}

func (b *Box) cmdIsOwner(p []string) (string, error) {
	token, err := wire.ParseToken(p[0])
	if err != nil {
		return "", wire.ErrRange
	}
	return flag(token == b.ctl.owner), nil
}

// own checks a token of a command that only the owner may give.
func (b *Box) own(text string) error {
	token, err := wire.ParseToken(text)
	if err != nil {
		return wire.ErrRange
	}
	if token != b.ctl.owner {
		return wire.ErrConflict
	}
	return nil
}

func (b *Box) cmdTest(p []string) (string, error) {
	if err := b.own(p[0]); err != nil {
		return "", err
	}
	if b.ctl.key.raw || b.hw.commanded {
		return "", wire.ErrConflict
	}
	b.ctl.leaseUntil = -1
	b.ctl.voidScan()
	b.ctl.job = &job{startMs: b.ms + 1}
	return "", nil
}

func (b *Box) selfTesting() bool { return b.ctl.job != nil && b.ctl.job.channels == nil }

func (b *Box) cmdCount([]string) (string, error) { return strconv.Itoa(b.hw.channels()), nil }

func (b *Box) cmdCurrent([]string) (string, error) {
	return wire.Of(b.hw.problem.TestCurrentA).Text(), nil
}

func (b *Box) cmdLease(p []string) (string, error) {
	switch strings.ToUpper(p[0]) {
	case "OFF":
		if len(p) > 1 {
			return "", wire.ErrRange
		}
		b.ctl.leaseUntil = -1
		b.ctl.voidScan()
		return "", nil
	case "ON":
	default:
		return "", wire.ErrRange
	}
	if len(p) < 2 {
		return "", wire.ErrMissing
	}
	if err := b.own(p[1]); err != nil {
		return "", err
	}
	if b.permitClosed() || b.hw.busV > wire.LiveAboveV || b.selfTesting() {
		return "", wire.ErrConflict
	}
	b.ctl.leaseUntil = b.ms + leaseMs
	return "", nil
}

// permitClosed is what every refusal means by it: commanded or read closed.
func (b *Box) permitClosed() bool { return b.hw.coil || b.hw.commanded || b.hw.permitContact }

func (b *Box) cmdResistance(p []string) (string, error) {
	list, err := wire.ParseChannels(p[0])
	if err != nil || len(list) > wire.MaxChannels {
		return "", wire.ErrRange
	}
	for _, c := range list {
		if c > b.hw.channels() {
			return "", wire.ErrRange
		}
	}
	b.ctl.job = &job{channels: list, startMs: b.ms}
	return "", nil
}

func (b *Box) cmdVoltage(p []string) (string, error) {
	list, err := wire.ParseChannels(p[0])
	if err != nil || len(list) != 1 {
		return "", wire.ErrRange
	}
	switch list[0] {
	case wire.ChannelBattery:
		return volts(b.hw.batteryV).Text(), nil
	case wire.ChannelBus:
		return volts(b.hw.busV).Text(), nil
	case wire.ChannelBehindKey:
		return volts(b.hw.behindKeyV).Text(), nil
	case wire.ChannelBehindPermit:
		return volts(b.hw.behindPermitV).Text(), nil
	}
	return "", wire.ErrRange
}

// volts rounds to the converter's millivolt.
func volts(v float64) wire.Reading { return wire.Of(math.Round(v*1000) / 1000) }

func (b *Box) cmdKey([]string) (string, error) { return flag(b.ctl.key.read), nil }

func (b *Box) cmdButton([]string) (string, error) {
	return flag(b.ctl.pole1.read) + "," + flag(b.ctl.pole2.read), nil
}

func flag(on bool) string {
	if on {
		return "1"
	}
	return "0"
}

// cmdPermit closes the permit. OFF has been carried out before it comes here;
// with anything behind it, it is an error all the same.
func (b *Box) cmdPermit(p []string) (string, error) {
	if !strings.EqualFold(p[0], "ON") {
		return "", wire.ErrRange
	}
	if len(p) < 3 {
		return "", wire.ErrMissing
	}
	seq, err := b.renewal(p[1], p[2])
	if err != nil {
		return "", err
	}
	if b.ctl.pole1.read || b.ctl.pole2.read || !b.ctl.insertion || b.selfTesting() {
		return "", wire.ErrConflict
	}
	b.ctl.useSequence(seq)
	b.ctl.insertion = false
	b.ctl.leaseUntil = -1
	b.ctl.voidScan()
	b.hw.closePermit(b.ms)
	return "", nil
}

// renewal checks what ON and KEEP have in common.
func (b *Box) renewal(token, number string) (uint16, error) {
	seq, err := strconv.ParseUint(number, 10, 16)
	if err != nil {
		return 0, wire.ErrRange
	}
	if err := b.own(token); err != nil {
		return 0, err
	}
	if !b.ctl.key.read || b.ctl.events&wire.EventWelded != 0 || !b.ctl.freshSequence(uint16(seq), b.ms) {
		return 0, wire.ErrConflict
	}
	return uint16(seq), nil
}

func (b *Box) cmdPermitRead([]string) (string, error) { return flag(b.hw.permitContact), nil }

func (b *Box) cmdKeep(p []string) (string, error) {
	seq, err := b.renewal(p[0], p[1])
	if err != nil {
		return "", err
	}
	if !b.hw.commanded {
		return "", wire.ErrConflict
	}
	b.ctl.useSequence(seq)
	b.hw.restartWatchdog(b.ms)
	return "", nil
}

func (b *Box) cmdTimer(p []string) (string, error) {
	r, err := wire.ParseReading(p[0])
	if err != nil || r.Kind != wire.Measured {
		return "", wire.ErrRange
	}
	if err := b.own(p[1]); err != nil {
		return "", err
	}
	ms := math.Round(r.Value * 1000)
	if ms < 250 || ms > 500 {
		return "", wire.ErrRange
	}
	if b.permitClosed() {
		return "", wire.ErrConflict
	}
	b.hw.watchdogMs = int64(ms)
	return "", nil
}

func (b *Box) cmdTimerRead([]string) (string, error) {
	return wire.Of(float64(b.hw.watchdogMs) / 1000).Text(), nil
}

func (b *Box) cmdSnapshot([]string) (string, error) {
	s := b.ctl.snapshot(&b.hw, b.ms)
	if b.faults.has(FrozenInputs) {
		if b.frozen == nil {
			b.frozen = &s
		}
		number := s.Sequence
		s = *b.frozen
		s.Sequence = number
	}
	return s.Text(), nil
}

func (b *Box) cmdEventClear(p []string) (string, error) {
	bits, err := strconv.ParseUint(p[0], 10, 16)
	if err != nil || wire.Event(bits)&^wire.EventsKnown != 0 {
		return "", wire.ErrRange
	}
	b.ctl.events &^= wire.Event(bits)
	if b.ctl.welded(&b.hw, b.ms) { // what still lasts comes again at once
		b.ctl.events |= wire.EventWelded
	}
	if !b.hw.keyHand {
		b.ctl.events |= wire.EventKeyOut
	}
	return "", nil
}

func (b *Box) cmdFire([]string) (string, error) {
	f := b.hw.fire
	age, length, lowest := wire.Reading{}, wire.Reading{}, wire.Reading{}
	if f.known {
		end := b.ms
		if !f.running {
			end = f.endedMs
		}
		age = wire.Of(float64(b.ms-f.beganMs) / 1000)
		length = wire.Of(float64(end-f.beganMs) / 1000)
		lowest = volts(f.lowestV)
	}
	return fmt.Sprintf("%d,%s,%s,%s", b.hw.pulses, age.Text(), length.Text(), lowest.Text()), nil
}
