package wire

import (
	"fmt"
	"reflect"
	"strings"
	"testing"
)

// The check value is that of the catalogue of parametrised CRC algorithms for
// CRC-16/IBM-3740, alias CRC-16/CCITT-FALSE. The others were computed with
// Python 3.11's binascii.crc_hqx(data, 0xFFFF).
func TestCRC16(t *testing.T) {
	all := make([]byte, 256)
	for i := range all {
		all[i] = byte(i)
	}
	for _, c := range []struct {
		data string
		want uint16
	}{
		{"123456789", 0x29B1},
		{"", 0xFFFF},
		{"A", 0xB915},
		{"P65535,1,0,0,1,12.42,12.418,12.417,0,3,4,66,17,1.234,9.9E37", 0x2A85},
		{string(all), 0x3FBD},
	} {
		if got := CRC16([]byte(c.data)); got != c.want {
			t.Errorf("CRC16(%.20q): got %04X, want %04X", c.data, got, c.want)
		}
	}
}

func TestParseReading(t *testing.T) {
	for text, want := range map[string]Reading{
		"0": Of(0), "1.5": Of(1.5), "+1.5": Of(1.5), "-1.5E-3": Of(-0.0015), " 2 ": Of(2), ".5": Of(0.5), "5.": Of(5),
		"9.9E37": {Kind: Open}, "+9.90000000E+37": {Kind: Open}, "-9.9e37": {Kind: Open}, "99E36": {Kind: Open},
		"9.91E37": {}, "+9.91E+37": {}, "9.91e37": {},
	} {
		got, err := ParseReading(text)
		if err != nil || got != want {
			t.Errorf("ParseReading(%q): got %v, %v, want %v", text, got, err, want)
		}
	}
	for _, text := range []string{"", " ", "x", "1,5", "0x10", "1_000", "inf", "NaN", "1e999", "1e38", "1 2", "--1", "1e", "OL", strings.Repeat("1", 50)} {
		if got, err := ParseReading(text); err == nil || got != (Reading{}) {
			t.Errorf("ParseReading(%q): got %v, %v, want an error and no reading", text, got, err)
		}
	}
}

func TestParseMeterReading(t *testing.T) {
	for text, want := range map[string]Reading{
		"1,234": Of(1.234), "+1,5E+00": Of(1.5), "- 0.25": Of(-0.25), "12.5 OHM": Of(12.5), "3 ohms": Of(3), "3Ω": Of(3), "12.42 VDC": Of(12.42),
		"12.4 V DC": Of(12.4), "12.4V": Of(12.4), "OL": {Kind: Open}, "-O.L": {Kind: Open}, "ol": {Kind: Open}, "OVLD": {Kind: Open}, "+INF": {Kind: Open},
		"OVERLOAD OHM": {Kind: Open}, "+9.90E+37 OHM": {Kind: Open}, "9,9E37": {Kind: Open}, "9.91E37": {}, "NAN": {},
	} {
		got, err := ParseMeterReading(text)
		if err != nil || got != want {
			t.Errorf("ParseMeterReading(%q): got %v, %v, want %v", text, got, err, want)
		}
	}
	for _, text := range []string{"", "1,234.5", "1,2,3", "5 mOHM", "5 MOHM", "5 kOHM", "2.5 mV", "2.5 A", "+-1", "-+1", "OHM", "V"} {
		if got, err := ParseMeterReading(text); err == nil {
			t.Errorf("ParseMeterReading(%q): got %v, want an error", text, got)
		}
	}
}

func TestLiveAndDeadLeaveAGap(t *testing.T) {
	for _, c := range []struct {
		r          Reading
		live, dead bool
	}{
		{Of(0.51), true, false}, {Of(0.5), false, false}, {Of(0.3), false, false}, {Of(0.1), false, false}, {Of(0.09), false, true},
		{Of(-0.6), true, false}, {Reading{}, false, false}, {Reading{Kind: Open}, true, false},
	} {
		if c.r.Live() != c.live || c.r.Dead() != c.dead {
			t.Errorf("%v: live %v, dead %v, want %v and %v", c.r, c.r.Live(), c.r.Dead(), c.live, c.dead)
		}
	}
}

func sample() Snapshot {
	return Snapshot{
		Practice: true, Sequence: 65535, KeyIn: true, PermitClosed: true,
		BatteryV: Of(12.42), BehindKeyV: Of(12.418), BehindPermitV: Of(12.417), BusV: Of(0),
		Pulses: 3, Presses: Unknown, Events: EventButtonEarly | EventErrors, Scan: 17,
		ChannelOhm: []Reading{Of(1.234), {Kind: Open}, {}}, ReferenceV: Of(2.5),
	}
}

func TestSnapshotThereAndBack(t *testing.T) {
	want := sample()
	text := want.Text()
	if !strings.HasPrefix(text, "P65535,1,0,0,1,12.42,12.418,12.417,0,3,-1,66,17,1.234,9.9E37,9.91E37,2.5,") {
		t.Errorf("text: %q", text)
	}
	got, err := ParseSnapshot(text)
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v, %v, want %+v", got, err, want)
	}
	cut := strings.LastIndexByte(text, ',')
	if got, err := ParseSnapshot(text[:cut] + strings.ToLower(text[cut:])); err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("check sum in lower case: got %+v, %v", got, err)
	}
}

// Every change of one byte and every truncation must be refused. A CRC of 16
// bits finds every error burst up to 16 bits.
func TestASnapshotWithOneWrongByteIsRefused(t *testing.T) {
	text := sample().Text()
	cut := strings.LastIndexByte(text, ',')
	for i := range len(text) {
		for x := 1; x < 256; x++ {
			b := []byte(text)
			b[i] ^= byte(x)
			if i > cut && strings.EqualFold(string(b), text) {
				continue // the case of a hex digit carries nothing
			}
			if s, err := ParseSnapshot(string(b)); err == nil {
				t.Fatalf("byte %d changed to %q was taken: %+v", i, b[i], s)
			}
		}
		if s, err := ParseSnapshot(text[:i]); err == nil {
			t.Fatalf("cut to %d bytes it was taken: %+v", i, s)
		}
	}
}

func TestSnapshotFieldsAreChecked(t *testing.T) {
	sum := func(body string) string {
		const hex = "0123456789ABCDEF"
		c := CRC16([]byte(body))
		return body + "," + string([]byte{hex[c>>12], hex[c>>8&15], hex[c>>4&15], hex[c&15]})
	}
	good := "1,0,1,0,0,0,0,0,0,0,0,0,0,1.5,2.5"
	if _, err := ParseSnapshot(sum(good)); err != nil {
		t.Fatalf("a good one: %v", err)
	}
	for _, body := range []string{
		"1,0,1,0,0,0,0,0,0,0,0,0,0,2.5",                // no channel, or no reference
		good + strings.Repeat(",1", 16),                // 17 channels
		strings.Replace(good, "1,0,1", "65536,0,1", 1), // sequence
		strings.Replace(good, "1,0,1", "-1,0,1", 1),    //
		strings.Replace(good, "1,0,1", "PP1,0,1", 1),   //
		strings.Replace(good, "1,0,1", "1,2,1", 1),     // key
		strings.Replace(good, "1,0,1", "1,,1", 1),      //
		"1,0,1,0,0,x,0,0,0,0,0,0,0,1.5,2.5",            // volts
		"1,0,1,0,0,0,0,0,0,-2,0,0,0,1.5,2.5",           // pulses
		"1,0,1,0,0,0,0,0,0,0,1.5,0,0,1.5,2.5",          // presses
		"1,0,1,0,0,0,0,0,0,0,0,512,0,1.5,2.5",          // events
		"1,0,1,0,0,0,0,0,0,0,0,0,65536,1.5,2.5",        // scan
		"1,0,1,0,0,0,0,0,0,0,0,0,0,ohm,2.5",            // channel
		"1,0,1,0,0,0,0,0,0,0,0,0,0," + strings.Repeat("1", 41) + ",2.5",
		good[:len(good)-3] + "volt",                                // reference
		"", ",", "1999.0", "holdline,PRACTICE,0001,1.0", "0,\"x\"", //
	} {
		if s, err := ParseSnapshot(sum(body)); err == nil || !reflect.DeepEqual(s, Snapshot{}) {
			t.Errorf("%q was taken: %+v", body, s)
		}
	}
}

func TestFramer(t *testing.T) {
	f := NewFramer(5)
	var got []Message
	for _, part := range []string{"ab", "c\r\n\n\r\n", "12345\r\n123456\nxx", "yyyyyyyyyyyyyyyy", "\nok\nb\xffd\nc\x00\n", "rest"} {
		got = append(got, f.Push([]byte(part))...)
	}
	want := []Message{
		{Text: "abc"}, {Text: "12345"}, {Text: "123456", Bad: FaultLong}, {Text: "xxyyyy", Bad: FaultLong}, {Text: "ok"},
		{Text: "b\xffd", Bad: FaultBytes}, {Text: "c\x00", Bad: FaultBytes},
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got  %q\nwant %q", got, want)
	}
	if len(f.buf) != 4 {
		t.Errorf("pending: got %d, want 4", len(f.buf))
	}
	f.Reset()
	if got := f.Push([]byte("x\n")); len(got) != 1 || got[0].Text != "x" {
		t.Errorf("after a reset: got %q", got)
	}
}

func TestFramerMemoryIsBounded(t *testing.T) {
	f := NewFramer(MaxAnswerBytes)
	junk := make([]byte, 4096)
	for range 1000 {
		if lines := f.Push(junk); len(lines) != 0 {
			t.Fatalf("lines out of zeros: %q", lines)
		}
	}
	if len(f.buf) > MaxAnswerBytes+1 || cap(f.buf) > 4*MaxAnswerBytes {
		t.Errorf("held %d bytes in %d after 4 MB without a line end", len(f.buf), cap(f.buf))
	}
	if got := f.Push([]byte("\ngood\n")); len(got) != 2 || got[0].Bad != FaultLong || got[1].Text != "good" {
		t.Errorf("after the flood: got %q", got)
	}
}

// SCPI-1999 volume 1, 6.2.1: a header word is taken in its short and its long
// form and in nothing between; case does not matter.
func TestMatch(t *testing.T) {
	for _, h := range []string{"OUTP:PERM:KEEP", "output:permit:keep", "OUTPut:PERM:keep"} {
		if !Match("OUTPut:PERMit:KEEP", h) {
			t.Errorf("%q does not match", h)
		}
	}
	for _, h := range []string{"", "OUTP", "OUTP:PERM", "OUTPU:PERM:KEEP", "OUTP:PERMI:KEEP", "OUTP:PERM:KEEP:X", ":OUTP:PERM:KEEP", "OUTP::KEEP", "OUTP:PERM:\u212AEEP"} {
		if Match("OUTPut:PERMit:KEEP", h) {
			t.Errorf("%q matches", h)
		}
	}
	if !Match("*IDN", "*idn") || Match("*IDN", "IDN") {
		t.Error("common commands keep their star")
	}
}

func TestParseCommand(t *testing.T) {
	for line, want := range map[string]Command{
		"*IDN?":                      {Header: "*IDN", Query: true},
		" :stat:snap? ":              {Header: "stat:snap", Query: true},
		"OUTP:PERM ON,12ab34CD, 7":   {Header: "OUTP:PERM", Params: []string{"ON", "12ab34CD", "7"}},
		"MEAS:RES?\t(@1, 3:4)":       {Header: "MEAS:RES", Query: true, Params: []string{"(@1, 3:4)"}},
		"OUTP:PERM:TIM 0.5,0123abcd": {Header: "OUTP:PERM:TIM", Params: []string{"0.5", "0123abcd"}},
		"SYST:OWN ,":                 {Header: "SYST:OWN", Params: []string{"", ""}},
		"":                           {},
		"STAT:EVEN:CLE 1;*IDN?":      {Header: "STAT:EVEN:CLE", Params: []string{"1;*IDN?"}},
		"MEAS:RES? (@1)),(x":         {Header: "MEAS:RES", Query: true, Params: []string{"(@1))", "(x"}},
		"SENS:RES:STAT   OFF  ":      {Header: "SENS:RES:STAT", Params: []string{"OFF"}},
	} {
		if got := ParseCommand(line); !reflect.DeepEqual(got, want) {
			t.Errorf("ParseCommand(%q): got %+v, want %+v", line, got, want)
		}
	}
}

func TestParseChannels(t *testing.T) {
	for text, want := range map[string][]int{
		"(@1)": {1}, "(@1,3)": {1, 3}, "(@1:4)": {1, 2, 3, 4}, " ( @ 3 , 1 : 2 , 3 ) ": {3, 1, 2, 3}, "(@90)": {90}, "(@2:2)": {2},
	} {
		got, err := ParseChannels(text)
		if err != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("ParseChannels(%q): got %v, %v, want %v", text, got, err, want)
		}
	}
	for _, text := range []string{"", "1", "@1", "(1)", "(@)", "(@0)", "(@4:1)", "(@1,)", "(@1:)", "(@-1)", "(@100)", "(@1:99,1:99)", "(@1", "(@1.5)", "(@+1)", "(@1))"} {
		if got, err := ParseChannels(text); err == nil {
			t.Errorf("ParseChannels(%q): got %v, want an error", text, got)
		}
	}
}

func TestParseError(t *testing.T) {
	for _, e := range []Error{ErrHeader, ErrMissing, ErrRange, ErrConflict, ErrLong, ErrQueueFull, NoError, {-1, `say "no"`}} {
		got, err := ParseError(e.Wire())
		if err != nil || got != e {
			t.Errorf("ParseError(%q): got %+v, %v", e.Wire(), got, err)
		}
	}
	if NoError.Wire() != `0,"No error"` {
		t.Errorf("no error: %q", NoError.Wire())
	}
	for _, line := range []string{"", "0", `0,No error`, `x,"y"`, `0,"`, `0,"a"b"`, `99999,"x"`, "1999.0"} {
		if got, err := ParseError(line); err == nil {
			t.Errorf("ParseError(%q): got %+v, want an error", line, got)
		}
	}
}

func TestParseIdentity(t *testing.T) {
	id, err := ParseIdentity("holdline, PRACTICE ,0001,1.0")
	if err != nil || !id.Practice() || id.Serial != "0001" {
		t.Errorf("got %+v, %v", id, err)
	}
	for _, line := range []string{"", "a,b,c", "a,b,c,d,e", ",b,c,d", "a,,c,d", "a,b,c,"} {
		if got, err := ParseIdentity(line); err == nil {
			t.Errorf("ParseIdentity(%q): got %+v, want an error", line, got)
		}
	}
	if id, _ := ParseIdentity("maker,practice,1,1"); id.Practice() {
		t.Error("the word is PRACTICE, in capitals")
	}
}

func TestEventNames(t *testing.T) {
	if got := (EventWatchdog | EventPermitLimit).String(); got != "watchdog tripped, permit opened by its own limit" {
		t.Errorf("got %q", got)
	}
	if Event(0).String() != "none" || Event(512).String() != "Event(512)" {
		t.Errorf("got %q and %q", Event(0), Event(256))
	}
}

func TestParseToken(t *testing.T) {
	if got, err := ParseToken("12abCD34"); err != nil || got != "12ABCD34" {
		t.Errorf("got %q, %v", got, err)
	}
	for _, text := range []string{"", "12abCD3", "12abCD345", "12abCD3g", "12abCD3 "} {
		if _, err := ParseToken(text); err == nil {
			t.Errorf("%q was taken", text)
		}
	}
}

// Inputs that stand still while the snapshots count on are seen in one of two.
func TestTheReferenceMustGoBetweenItsLevels(t *testing.T) {
	for _, c := range []struct {
		sequence uint16
		v        Reading
		good     bool
	}{
		{2, Of(0), true}, {65534, Of(0.12), true}, {2, Of(-0.12), true}, {2, Of(0.13), false}, {2, Of(2.5), false}, {2, Reading{}, false},
		{3, Of(2.5), true}, {65535, Of(2.38), true}, {3, Of(2.37), false}, {3, Of(2.63), false}, {3, Of(0), false}, {3, Reading{Kind: Open}, false},
	} {
		s := Snapshot{Sequence: c.sequence, ReferenceV: c.v}
		if why := s.ReferenceFault(2.5); (why == "") != c.good {
			t.Errorf("%d with %v: %q", c.sequence, c.v, why)
		}
	}
	sum := func(body string) string { return fmt.Sprintf("%s,%04X", body, CRC16([]byte(body))) }
	_, err := ParseSnapshot(sum("1,0,1,0,0,0,0,0,0,0,0,0,0,1.5"))
	if err == nil || !strings.Contains(err.Error(), "the reference reading before the check sum is missing") {
		t.Errorf("a snapshot of one channel without a reference: %v", err)
	}
}
