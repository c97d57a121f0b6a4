package wire

import (
	"bytes"
	"fmt"
	"reflect"
	"strings"
	"testing"
)

func FuzzParseSnapshot(f *testing.F) {
	f.Add(sample().Text())
	f.Add("1,0,1,0,0,0,0,0,0,0,0,0,0,1.5,2.5,FFFF")
	f.Add("P0,,,,0000")
	f.Fuzz(func(t *testing.T, line string) {
		s, err := ParseSnapshot(line)
		if err != nil {
			if !reflect.DeepEqual(s, Snapshot{}) {
				t.Fatalf("an error with a snapshot: %+v", s)
			}
			return
		}
		again, err := ParseSnapshot(s.Text())
		if err != nil || !reflect.DeepEqual(again, s) {
			t.Fatalf("%q came back as %+v, %v", s.Text(), again, err)
		}
	})
}

// FuzzSnapshotBody puts a right check sum behind any text, so that the fields
// are reached.
func FuzzSnapshotBody(f *testing.F) {
	text := sample().Text()
	f.Add(text[:len(text)-5])
	f.Add("1,0,1,0,0,0,0,0,0,0,0,0,0,1.5,2.5")
	f.Fuzz(func(t *testing.T, body string) {
		const hex = "0123456789ABCDEF"
		c := CRC16([]byte(body))
		s, err := ParseSnapshot(body + "," + string([]byte{hex[c>>12], hex[c>>8&15], hex[c>>4&15], hex[c&15]}))
		if err != nil {
			return
		}
		again, err := ParseSnapshot(s.Text())
		if err != nil || !reflect.DeepEqual(again, s) {
			t.Fatalf("%q came back as %+v, %v", s.Text(), again, err)
		}
	})
}

// FuzzFramer cuts the same bytes at another place: the lines must be the same,
// and good lines must be parts of the input.
func FuzzFramer(f *testing.F) {
	f.Add([]byte("a\r\nb\n\nlonger than eight\nc"), 3)
	f.Add([]byte("12345678\r\n123456789\r\n"), 9)
	f.Fuzz(func(t *testing.T, data []byte, cut int) {
		if cut < 0 || cut > len(data) {
			cut = len(data) / 2
		}
		whole, parts := NewFramer(8), NewFramer(8)
		want := whole.Push(data)
		got := append(parts.Push(data[:cut]), parts.Push(data[cut:])...)
		if !reflect.DeepEqual(got, want) {
			t.Fatalf("cut at %d: %q, whole: %q", cut, got, want)
		}
		for _, line := range want {
			if line.Bad == FaultNone && (len(line.Text) > 8 || line.Text == "" || !bytes.Contains(data, []byte(line.Text))) {
				t.Fatalf("a good line that was never sent: %q", line.Text)
			}
		}
		if len(whole.buf) > 9 {
			t.Fatalf("%d bytes held", len(whole.buf))
		}
	})
}

func FuzzTexts(f *testing.F) {
	for _, s := range []string{"9.9E37", "-1,5 OHM", "(@1:4,90)", `-113,"Undefined header"`, "OUTP:PERM ON,0123abcd,5", "a,b,c,d"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if r, err := ParseReading(s); err == nil {
			if again, err := ParseReading(r.Text()); err != nil || again != r {
				t.Fatalf("reading %q came back as %v, %v", s, again, err)
			}
		}
		if r, err := ParseMeterReading(s); err == nil && r.Kind == NotMeasured && r.Value != 0 {
			t.Fatalf("%q gave a value that was not measured", s)
		}
		if list, err := ParseChannels(s); err == nil {
			if again, err := ParseChannels(channelList(list)); err != nil || !reflect.DeepEqual(again, list) {
				t.Fatalf("channels %q came back as %v, %v", s, again, err)
			}
		}
		if e, err := ParseError(s); err == nil {
			if again, err := ParseError(e.Wire()); err != nil || again != e {
				t.Fatalf("error %q came back as %+v, %v", s, again, err)
			}
		}
		if id, err := ParseIdentity(s); err == nil {
			if again, err := ParseIdentity(id.String()); err != nil || again != id {
				t.Fatalf("identity %q came back as %+v, %v", s, again, err)
			}
		}
		ParseCommand(s)
	})
}

// channelList writes a channel list as it goes over the wire.
func channelList(list []int) string {
	return "(@" + strings.Trim(strings.ReplaceAll(fmt.Sprint(list), " ", ","), "[]") + ")"
}
