package journal

import (
	"bytes"
	"encoding/json"
	"reflect"
	"testing"
)

// FuzzDecodeEvent holds that whatever can be read as an event is written again
// as that event, and from then on always as the same bytes.
func FuzzDecodeEvent(f *testing.F) {
	for _, seed := range [][2]string{
		{"answer", `{"step":"motors-left","value":1,"again":1,"words":"one in the butt","means":"typed"}`},
		{"answer", `{"step":"wind","value":"-0","again":"NaN"}`},
		{"box_reading", `{"box":{"up":true,"seen":[5,6],"key":"open","channel":[{"kind":"value","milliohm":2000}]}}`},
		{"open_line", `{"by":"Ben","names":["Ada"],"key":"Ada"}`},
		{"waive", `{"step":"daylight","value":45,"why":"lamps","by":"Ben"}`},
		{"start", `{"from":"WINDOW","hooked":true,"forward":["Ada"]}`},
		{"written", `{"ticket":4294967295}`},
		{"tick", `{}`},
	} {
		f.Add(seed[0], []byte(seed[1]))
	}
	f.Fuzz(func(t *testing.T, name string, data []byte) {
		ev, err := DecodeEvent(name, json.RawMessage(data))
		if err != nil {
			return
		}
		again, first, err := EncodeEvent(ev)
		if err != nil {
			return // read, but never written so: text that is not UTF-8
		}
		back, err := DecodeEvent(again, first)
		if err != nil || again != name || !same(reflect.ValueOf(ev), reflect.ValueOf(back)) {
			t.Fatalf("%s %s came back as %#v by %s: %v", name, data, back, first, err)
		}
		if _, second, err := EncodeEvent(back); err != nil || !bytes.Equal(first, second) {
			t.Fatalf("%s, then %s: %v", first, second, err)
		}
	})
}

// FuzzDecodePlan holds the same of plans.
func FuzzDecodePlan(f *testing.F) {
	f.Add([]byte(`{"mode":"ground box","motors":2,"posts":["north"],"times":{"count_us":10000000},"steps":[{"id":"wind","kind":"quantity","band":{"low":-1,"high":5,"unit":"m/s"},"rests_on":["mass"]},{"id":"motors-left","whole":true,"balance":["motors-brought","motors-used"]}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := DecodePlan(data)
		if err != nil {
			return
		}
		first, err := EncodePlan(p)
		if err != nil {
			return
		}
		back, err := DecodePlan(first)
		if err != nil {
			t.Fatalf("%s: %v", first, err)
		}
		if second, err := EncodePlan(back); err != nil || !bytes.Equal(first, second) {
			t.Fatalf("%s, then %s: %v", first, second, err)
		}
	})
}

// The plan of a firing comes back whole, counts and advisory limits with it.
func TestThePlanComesBack(t *testing.T) {
	p := plan(t)
	body, err := EncodePlan(p)
	if err != nil {
		t.Fatal(err)
	}
	back, err := DecodePlan(body)
	if err != nil || !reflect.DeepEqual(p, back) {
		t.Fatalf("%v\nwent  %+v\ncame %+v", err, p, back)
	}
}
