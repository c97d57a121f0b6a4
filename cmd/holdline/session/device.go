package session

import (
	"context"
	"fmt"
	"math"
	"sync/atomic"
	"time"

	"holdline/arming"
	"holdline/arming/groundbox"
	"holdline/arming/groundbox/wire"
)

// connectWithin is how long a box may take to answer: it may be dumb for 3 s
// after its port was opened, and its self-test takes 2 s.
const connectWithin = 12 * time.Second

// boxLink joins a link of package groundbox to the driver.
type boxLink struct {
	link   *groundbox.Link
	out    chan report
	quit   chan struct{}
	done   chan struct{}
	first  groundbox.Connected
	number uint64        // of the last decision to close the permit; the driver's alone
	pulseS float64       // the sheet's
	beat   time.Time     // of the polls
	testA  atomic.Uint64 // bits of the highest test current that a box here has owned to, in amperes
}

// testCurrentA is the highest current that the box says it can put through a
// bridge, one failed part included.
func (b *boxLink) testCurrentA() float64 { return math.Float64frombits(b.testA.Load()) }

// openBox opens the box and waits until it has proved what it is.
func openBox(ctx context.Context, cfg groundbox.Config, pulseS float64, say func(string)) (*boxLink, error) {
	cfg.Beat = time.Now()
	b := &boxLink{
		beat: cfg.Beat,
		link: groundbox.Open(cfg),
		out:  make(chan report),
		quit: make(chan struct{}),
		done: make(chan struct{}),

		pulseS: pulseS,
	}
	timeout := time.NewTimer(connectWithin)
	defer timeout.Stop()
	why := "nothing answered"
	for {
		select {
		case r, ok := <-b.link.Reports():
			if !ok {
				return nil, fmt.Errorf("session: box on %s: %s", cfg.Port, why)
			}
			switch r := r.(type) {
			case groundbox.Connected:
				b.first = r
				b.testA.Store(math.Float64bits(r.TestCurrentA))
				go b.pump()
				return b, nil
			case groundbox.Lost:
				if why != r.Reason && say != nil {
					say(r.Reason)
				}
				why = r.Reason
			}
		case <-timeout.C:
			b.link.Close()
			return nil, fmt.Errorf("session: box on %s: %s", cfg.Port, why)
		case <-ctx.Done():
			b.link.Close()
			return nil, fmt.Errorf("session: box on %s: %w", cfg.Port, ctx.Err())
		}
	}
}

// port is what the driver sees of the link.
func (b *boxLink) port() port {
	return port{
		off: b.link.PermitOff,
		on: func(until time.Time) error {
			b.number++
			b.link.Permit(groundbox.Grant{Number: b.number, Until: until})
			return nil
		},
		grant: func(until time.Time) {
			b.link.Permit(groundbox.Grant{Number: b.number, Until: until})
		},
		lapse:   b.link.Lapse,
		fire:    b.link.AskFire,
		lease:   b.link.Lease,
		clear:   func(bits int) { b.link.ClearEvents(wire.Event(bits)) },
		rate:    func(every time.Duration) { b.link.Fast(every < groundbox.PollSlow) },
		reports: b.out,
		beat:    b.beat,
	}
}

// pump turns the link's reports into events until the link is closed.
func (b *boxLink) pump() {
	defer close(b.done)
	tr := translator{pulseS: b.pulseS}
	send := func(list []report) bool {
		for _, r := range list {
			select {
			case b.out <- r:
			case <-b.quit:
				return false
			}
		}
		return true
	}
	if !send(tr.report(b.first)) {
		return
	}
	for r := range b.link.Reports() {
		if c, is := r.(groundbox.Connected); is && c.TestCurrentA > b.testCurrentA() {
			b.testA.Store(math.Float64bits(c.TestCurrentA))
		}
		if !send(tr.report(r)) {
			break
		}
	}
	for range b.link.Reports() { // until it is closed
	}
}

// close opens the permit and gives the port back.
func (b *boxLink) close() {
	close(b.quit)
	b.link.Close()
	<-b.done
}

// translator turns what a link reports into events of the machine.
type translator struct {
	events   wire.Event // told already and not yet gone from the snapshots
	practice bool
	was      bool
	pulseS   float64 // the sheet's
	testA    float64 // highest test current so far
}

func (t *translator) report(r groundbox.Report) []report {
	switch r := r.(type) {
	case groundbox.Connected:
		newBox := r.Changed || r.Events&wire.EventRestarted != 0
		if !t.was { // the first box of the session is new to nobody
			newBox = false
		}
		out := []report{{
			event: arming.BoxUp{Identity: clean(r.Identity.String()), Practice: r.Identity.Practice(), Channels: r.Channels, NewBox: newBox},
			text:  "box found",
		}}
		if r.TestCurrentA > t.testA {
			if t.was {
				out = append(out, report{event: arming.BasisLeft{What: fmt.Sprintf("the box's test current is now %.3g mA, and was %.3g mA",
					1000*r.TestCurrentA, 1000*t.testA)}})
			}
			t.testA = r.TestCurrentA
		}
		t.was, t.practice, t.events = true, r.Identity.Practice(), 0
		return out
	case groundbox.SnapshotRead:
		return t.snapshot(r)
	case groundbox.Bad:
		return []report{{text: fmt.Sprintf("bad answer, %d in a row: %s", r.InRow, clean(r.Reason))}}
	case groundbox.Lost:
		t.events = 0
		return []report{{event: arming.BoxLost{Why: clean(r.Reason)}, text: "box lost: " + clean(r.Reason)}}
	case groundbox.PermitDropped:
		return []report{{event: arming.Stalled{Part: "permit not renewed: " + clean(r.Reason)}}}
	case groundbox.PermitDidNotOpen:
		return []report{{event: arming.PermitStuck{}, text: "permit did not open: " + clean(r.Reason)}}
	case groundbox.FireRead:
		return []report{{note: t.pulse(r), facts: t.pulseFacts(r)}}
	case groundbox.Refused:
		return []report{{text: "box refused: " + clean(refusedText(r))}}
	}
	return nil
}

// pulse says how long the last pulse was, and what a short one may have done
//
func (t *translator) pulse(r groundbox.FireRead) string {
	if r.LengthS.Kind != wire.Measured {
		return "the box knows of no pulse"
	}
	text := fmt.Sprintf("the pulse lasted %.2f s, the battery fell to %s V", r.LengthS.Value, voltText(r.BatteryV))
	if r.LengthS.Value < t.pulseS {
		text += fmt.Sprintf("; the sheet's is %.2f s: a short pulse can starve a motor that has not lit", t.pulseS)
	}
	return text
}

// PulseFacts are the numbers of a pulse as the box tells them, in a note of
// the record.
type PulseFacts struct {
	PulseS      float64  `json:"pulse_s"`
	SheetPulseS float64  `json:"sheet_pulse_s"`
	BatteryV    *float64 `json:"battery_v"` // lowest in the pulse, null when it was not measured
}

func (t *translator) pulseFacts(r groundbox.FireRead) any {
	if r.LengthS.Kind != wire.Measured {
		return nil
	}
	f := PulseFacts{PulseS: r.LengthS.Value, SheetPulseS: t.pulseS}
	if r.BatteryV.Kind == wire.Measured {
		f.BatteryV = &r.BatteryV.Value
	}
	return f
}

func voltText(r wire.Reading) string {
	if r.Kind != wire.Measured {
		return "an unknown number of"
	}
	return fmt.Sprintf("%.2f", r.Value)
}

func refusedText(r groundbox.Refused) string {
	switch {
	case r.Reason != "" && r.Command != "":
		return r.Command + ": " + r.Reason
	case r.Reason != "":
		return r.Reason
	}
	return r.Command + ": " + r.Error.Error()
}

// snapshot gives the reading, then the event bits that are new. That the box
// began anew comes before its reading: for 20 ms no hand reads as it is then,
// and the stop would say that the key went out.
func (t *translator) snapshot(r groundbox.SnapshotRead) []report {
	out := []report{{event: arming.BoxReading{Box: boxOf(&r.S)}, good: true, text: "box live"}}
	bits := r.S.Events &^ r.Caused
	if r.S.Practice != t.practice {
		out = append(out, report{event: arming.BoxLost{Why: "the box changed its word about PRACTICE"}})
	}
	if fresh := bits &^ t.events; fresh != 0 {
		told := report{event: arming.BoxEvents{Bits: int(fresh)}}
		if fresh&wire.EventRestarted != 0 {
			out = append([]report{told}, out...)
		} else {
			out = append(out, told)
		}
	}
	t.events = bits
	return out
}

// boxOf is a snapshot as the machine sees it.
func boxOf(s *groundbox.Snapshot) arming.Box {
	b := arming.Box{
		Up: true, Key: contact(s.KeyIn), Pole1: contact(s.Pole1Closed), Pole2: contact(s.Pole2Closed),
		Permit: contact(s.PermitClosed), Battery: volt(s.BatteryV), BehindKey: volt(s.BehindKeyV),
		BehindPermit: volt(s.BehindPermitV), Bus: volt(s.BusV), Pulses: s.Pulses, Presses: s.Presses, Scan: int(s.Scan),
	}
	for k := range min(len(s.ChannelOhm), len(b.Channel)) {
		b.Channel[k] = ohm(s.ChannelOhm[k])
	}
	return b
}

func contact(closed bool) arming.Contact {
	if closed {
		return arming.ContactClosed
	}
	return arming.ContactOpen
}

// milli rounds to a thousandth, within what the machine's numbers hold.
func milli(v float64) int32 {
	const most = 2e9
	return int32(max(-most, min(most, v*1000+copysign(0.5, v))))
}

func copysign(half, v float64) float64 {
	if v < 0 {
		return -half
	}
	return half
}

func volt(r wire.Reading) arming.Volt {
	switch {
	case r.Kind == wire.NotMeasured:
		return arming.Volt{}
	case r.Live():
		return arming.Volt{Level: arming.LevelLive, Millivolt: milli(r.Value)}
	case r.Dead():
		return arming.Volt{Level: arming.LevelDead, Millivolt: milli(r.Value)}
	}
	return arming.Volt{Level: arming.LevelBetween, Millivolt: milli(r.Value)}
}

func ohm(r wire.Reading) arming.Ohm {
	switch r.Kind {
	case wire.Open:
		return arming.Ohm{Kind: arming.OhmOpen}
	case wire.Measured:
		return arming.Ohm{Kind: arming.OhmValue, Milliohm: milli(r.Value)}
	}
	return arming.Ohm{}
}
