package groundbox

import (
	"fmt"
	"math"
	"slices"

	"holdline/arming"
	"holdline/arming/groundbox/wire"
)

// Translator turns what a link reports into events of the machine. One serves
// one session, whatever boxes answer in it.
type Translator struct {
	PulseS   float64 // the sheet's
	Channels []int   // of the motors, in the sheet's order

	told     wire.Event // not yet gone from the snapshots, nor begun anew
	keyIn    bool       // in the last snapshot
	practice bool
	was      bool
	testA    float64 // highest test current so far
	stranger int     // a channel that conducts and is no motor's, 0 for none
}

// Told is what one report comes to.
type Told struct {
	Event arming.Event // nil for none
	Good  bool         // a good answer of the box
	Text  string       // how the link stands, for people
	Note  string       // a sentence for the log and the record
	Pulse *PulseFacts  // the numbers of Note, nil for none
}

// PulseFacts are the numbers of a pulse as the box tells them, in a note of
// the record.
type PulseFacts struct {
	PulseS      float64  `json:"pulse_s"`
	SheetPulseS float64  `json:"sheet_pulse_s"`
	BatteryV    *float64 `json:"battery_v"` // lowest in the pulse, null when it was not measured
}

// Translate gives what the machine and people are told of a report, in order.
func (t *Translator) Translate(r Report) []Told {
	switch r := r.(type) {
	case Connected:
		return t.connected(r)
	case SnapshotRead:
		return t.snapshot(r)
	case Bad:
		return []Told{{Text: fmt.Sprintf("bad answer, %d in a row: %s", r.InRow, arming.Clean(r.Reason))}}
	case Lost:
		t.told, t.keyIn = 0, false
		return []Told{{Event: arming.BoxLost{Why: arming.Clean(r.Reason)}, Text: "box lost: " + arming.Clean(r.Reason)}}
	case PermitDropped:
		return []Told{{Event: arming.Stalled{Part: "permit not renewed: " + arming.Clean(r.Reason)}}}
	case PermitDidNotOpen:
		return []Told{{Event: arming.PermitStuck{}, Text: "permit did not open: " + arming.Clean(r.Reason)}}
	case FireRead:
		return []Told{t.pulse(r)}
	case Refused:
		return []Told{{Text: "box refused: " + arming.Clean(refusedText(r))}}
	}
	return nil
}

func (t *Translator) connected(r Connected) []Told {
	// The first box of the session is new to nobody.
	newBox := t.was && (r.Changed || r.Events&wire.EventRestarted != 0)
	id := r.Identity
	out := []Told{{
		Event: arming.BoxUp{Identity: arming.Clean(id.String()), Practice: id.Practice(), Channels: r.Channels, NewBox: newBox},
		Text:  "box found",
	}}
	if r.TestCurrentA > t.testA {
		if t.was {
			out = append(out, Told{Event: arming.BasisLeft{What: fmt.Sprintf("the box's test current is now %.3g mA, and was %.3g mA",
				1000*r.TestCurrentA, 1000*t.testA)}})
		}
		t.testA = r.TestCurrentA
	}
	t.was, t.practice, t.told, t.keyIn = true, id.Practice(), 0, false
	return out
}

// pulse says how long the last pulse was, and what a short one may have done
//
func (t *Translator) pulse(r FireRead) Told {
	if r.LengthS.Kind != wire.Measured {
		return Told{Note: "the box knows of no pulse"}
	}
	facts := &PulseFacts{PulseS: r.LengthS.Value, SheetPulseS: t.PulseS}
	volts := "an unknown number of"
	if r.BatteryV.Kind == wire.Measured {
		facts.BatteryV = &r.BatteryV.Value
		volts = fmt.Sprintf("%.2f", r.BatteryV.Value)
	}
	text := fmt.Sprintf("the pulse lasted %.2f s, the battery fell to %s V", r.LengthS.Value, volts)
	if r.LengthS.Value < t.PulseS {
		text += fmt.Sprintf("; the sheet's is %.2f s: a short pulse can starve a motor that has not lit", t.PulseS)
	}
	return Told{Note: text, Pulse: facts}
}

func refusedText(r Refused) string {
	switch {
	case r.Reason != "" && r.Command != "":
		return r.Command + ": " + r.Reason
	case r.Reason != "":
		return r.Reason
	}
	return r.Command + ": " + r.Error.Error()
}

// snapshot gives the reading and the event bits that are new. That the box began
// anew comes before its reading: for 20 ms no hand reads as it is then, and the
// stop would say that the key went out. That the key was out comes before it
// too: it is about the time before a key that reads in now.
func (t *Translator) snapshot(r SnapshotRead) []Told {
	out := []Told{{Event: arming.BoxReading{Box: machineBox(&r.S, t.Channels)}, Good: true, Text: "box live"}}
	if r.S.Practice != t.practice {
		out = append(out, Told{Event: arming.BoxLost{Why: "the box changed its word about PRACTICE"}})
	}
	if k := strangerOf(&r.S, t.Channels); k != t.stranger {
		if t.stranger = k; k > 0 {
			out = append(out, Told{Event: arming.BasisLeft{What: fmt.Sprintf("channel %d of the box conducts, and no motor of the sheet is on it", k)}})
		}
	}
	bits := r.S.Events &^ r.Caused
	anew := r.Cleared &^ lasting(&r.S)
	if r.S.KeyIn && !t.keyIn {
		anew |= wire.EventKeyOut // the bit of a key that was out is cleared once it is in
	}
	if fresh := bits &^ (t.told &^ anew); fresh != 0 {
		events := Told{Event: arming.BoxEvents{Bits: fresh}}
		if fresh&(wire.EventRestarted|wire.EventKeyOut) != 0 {
			out = append([]Told{events}, out...)
		} else {
			out = append(out, events)
		}
	}
	t.told, t.keyIn = bits, r.S.KeyIn
	return out
}

// lasting are the events that come again at once after their clearing, since
// what they tell of can still be seen in s: they are told once for all that time.
func lasting(s *Snapshot) (bits wire.Event) {
	if !s.KeyIn {
		bits |= wire.EventKeyOut
	}
	if s.BehindPermitV.Live() || s.BusV.Live() || !s.KeyIn && s.BehindKeyV.Live() {
		bits |= wire.EventWelded
	}
	return bits
}

// strangerOf is the first channel that conducts and is no motor's, 0 for none:
// whatever hangs there would be fired with the motors.
func strangerOf(s *Snapshot, channels []int) int {
	for k, r := range s.ChannelOhm {
		if r.Kind == wire.Measured && !slices.Contains(channels, k+1) {
			return k + 1
		}
	}
	return 0
}

// machineBox is a snapshot as the machine sees it, which counts motors.
func machineBox(s *Snapshot, channels []int) arming.Box {
	b := arming.Box{
		Up: true, Key: contact(s.KeyIn), Pole1: contact(s.Pole1Closed), Pole2: contact(s.Pole2Closed),
		Permit: contact(s.PermitClosed), Battery: volt(s.BatteryV), BehindKey: volt(s.BehindKeyV),
		BehindPermit: volt(s.BehindPermitV), Bus: volt(s.BusV), Pulses: s.Pulses, Presses: s.Presses, Scan: int(s.Scan),
	}
	for k, channel := range channels {
		if channel <= len(s.ChannelOhm) {
			b.Channel[k] = ohm(s.ChannelOhm[channel-1])
		}
	}
	return b
}

func contact(closed bool) arming.Contact {
	if closed {
		return arming.ContactClosed
	}
	return arming.ContactOpen
}

// milli rounds to a thousandth, within what the machine's numbers can take.
func milli(v float64) int32 {
	const most = 2e9
	return int32(math.Round(max(-most, min(most, v*1000))))
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
