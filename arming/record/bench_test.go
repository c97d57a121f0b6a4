package record

import (
	"fmt"
	"testing"
	"time"
)

// longRecord is a signed record of n lines in memory, its entries as long as
// those of a box's readings.
func longRecord(t testing.TB, n int) (name string, data []byte, sigs map[string][]byte, o Options) {
	t.Helper()
	h := testHeader(false)
	h.Format, h.Version = Format, Version
	var prev Hash
	for i := range n {
		e := Entry{Seq: int64(i + 1), Time: testTime.Add(time.Duration(i) * 50 * time.Millisecond), MonoUS: int64(i) * 50_000,
			Kind: "snapshot", Prev: prev}
		e.Body = []byte(fmt.Sprintf(`{"channels":[1.52,1.49,1.55,%d.125],"key":"in","button":"open","battery_v":12.61,`+
			`"permit":false,"pulses":0,"state":"ARMED","bus_v":0.02}`, i%9))
		switch i {
		case 0:
			e.Kind, e.Body = KindOpen, mustBody(h)
		case n - 1:
			e.Kind, e.Body = KindClose, mustBody(Closing{Outcome: Normal})
		}
		line, err := e.Encode()
		if err != nil {
			t.Fatal(err)
		}
		prev = HashLine(line)
		data = append(append(data, line...), '\n')
	}
	sig, err := SignBytes(data, testKey(t, 1))
	if err != nil {
		t.Fatal(err)
	}
	o = Options{Signers: rangeOfficer(t), Replay: replayOK}
	return "long.jsonl", data, map[string][]byte{"long.jsonl.sig": sig}, o
}

func BenchmarkVerify10000Lines(b *testing.B) {
	name, data, sigs, o := longRecord(b, 10_000)
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		if r := VerifyBytes(name, data, sigs, o); r.Status != OK {
			b.Fatal(r.text())
		}
	}
}

func BenchmarkAppendOnDisk(b *testing.B) {
	w, err := Create(b.TempDir(), testHeader(true), testTime)
	if err != nil {
		b.Fatal(err)
	}
	defer w.Release()
	for b.Loop() {
		if _, _, err := w.Append(testTime, time.Second, "snapshot", map[string]any{"ohm": 1.5, "key": "in"}); err != nil {
			b.Fatal(err)
		}
	}
}
