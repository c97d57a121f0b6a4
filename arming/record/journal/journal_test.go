package journal

import (
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/gowebpki/jcs"
	"pgregory.net/rapid"

	"holdline/arming"
)

// TestEveryEventHasAName reads the source of package arming, so that an event
// added there cannot be forgotten here.
func TestEveryEventHasAName(t *testing.T) {
	file, err := parser.ParseFile(token.NewFileSet(), "../../event.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	found := 0
	for _, d := range file.Decls {
		fn, ok := d.(*ast.FuncDecl)
		if !ok || fn.Name.Name != "event" || fn.Recv == nil {
			continue
		}
		found++
		name := fn.Recv.List[0].Type.(*ast.Ident).Name
		if _, ok := events[snake(name)]; !ok {
			t.Errorf("event %s is not in the table", name)
		}
	}
	if found != len(events) || found < 30 {
		t.Errorf("%d events in the source, %d in the table", found, len(events))
	}
}

// draw fills a value with anything that the machine might be given.
func draw(t *rapid.T, v reflect.Value) {
	if names, ok := words[v.Type()]; ok {
		v.SetInt(int64(rapid.IntRange(0, len(names)-1).Draw(t, "word")))
		return
	}
	if v.Type() == reflect.TypeFor[time.Duration]() {
		v.SetInt(rapid.Int64Range(-1e12, 1e12).Draw(t, "us") * 1000)
		return
	}
	switch v.Kind() {
	case reflect.Bool:
		v.SetBool(rapid.Bool().Draw(t, "bool"))
	case reflect.String:
		v.SetString(rapid.String().Draw(t, "text"))
	case reflect.Float64:
		v.SetFloat(rapid.OneOf(rapid.Float64(), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1),
			math.Copysign(0, -1), 1 << 60, 0.1})).Draw(t, "float"))
	case reflect.Struct:
		for i := range v.NumField() {
			draw(t, v.Field(i))
		}
	case reflect.Array:
		for i := range min(v.Len(), 3) {
			draw(t, v.Index(i))
		}
	case reflect.Int64:
		v.SetInt(rapid.Int64().Draw(t, "int64"))
	case reflect.Int, reflect.Int32:
		v.SetInt(rapid.Int64Range(math.MinInt32, math.MaxInt32).Draw(t, "int"))
	case reflect.Uint16:
		v.SetUint(uint64(rapid.Uint16().Draw(t, "uint")))
	case reflect.Uint32:
		v.SetUint(rapid.Uint64Range(0, math.MaxUint32).Draw(t, "uint"))
	default:
		t.Fatalf("no way to draw a %v", v.Type())
	}
}

func drawEvent(t *rapid.T) arming.Event {
	v := reflect.New(events[rapid.SampledFrom(slices.Sorted(maps.Keys(events))).Draw(t, "event")]).Elem()
	draw(t, v)
	return v.Interface().(arming.Event)
}

// same compares events bit for bit, NaN and negative zero included.
func same(a, b reflect.Value) bool {
	switch a.Kind() {
	case reflect.Float64:
		return math.Float64bits(a.Float()) == math.Float64bits(b.Float())
	case reflect.Struct:
		for i := range a.NumField() {
			if !same(a.Field(i), b.Field(i)) {
				return false
			}
		}
		return true
	}
	return a.Equal(b)
}

// TestEventsComeBack sends every event through the canonical form of the
// record (RFC 8785) and back.
func TestEventsComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ev := drawEvent(t)
		name, data, err := EncodeEvent(ev)
		if err != nil {
			t.Fatalf("%#v: %v", ev, err)
		}
		canonical, err := jcs.Transform(data)
		if err != nil {
			t.Fatalf("%s: %v", data, err)
		}
		again, err := DecodeEvent(name, canonical)
		if err != nil {
			t.Fatalf("%s: %v", canonical, err)
		}
		if reflect.TypeOf(ev) != reflect.TypeOf(again) || !same(reflect.ValueOf(ev), reflect.ValueOf(again)) {
			t.Fatalf("%#v came back as %#v by %s", ev, again, canonical)
		}
	})
}

func TestEventsThatCannotComeBackAreRefused(t *testing.T) {
	for _, ev := range []arming.Event{
		nil,
		arming.Start{From: arming.Phase(77)},
		arming.Scrub{Why: "a\xffb"},
		arming.BoxReading{Box: arming.Box{Seen: arming.Instant{Mono: 1500 * time.Nanosecond}}},
	} {
		if _, _, err := EncodeEvent(ev); err == nil {
			t.Errorf("%#v was encoded", ev)
		}
	}
	for _, bad := range []struct{ name, data string }{
		{"launch", `{}`},
		{"start", `{"from":"LAUNCH"}`},
		{"start", `{"from":3}`},
		{"start", `{"hooked":true,"more":1}`},
		{"start", `[]`},
		{"start", `{`},
		{"written", `{"ticket":-1}`},
		{"written", `{"ticket":4294967296}`},
		{"open_line", `{"names":["a","b","c","d","e","f","g","h","i"]}`},
	} {
		if ev, err := DecodeEvent(bad.name, json.RawMessage(bad.data)); err == nil {
			t.Errorf("%s %s was read as %#v", bad.name, bad.data, ev)
		}
	}
}

// TestChangesComeBack holds that a reading written as its changes is the
// reading again, for every pair.
func TestChangesComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var a, b arming.Box
		draw(t, reflect.ValueOf(&a).Elem())
		b = a
		if rapid.Bool().Draw(t, "all") {
			draw(t, reflect.ValueOf(&b).Elem())
		} else {
			v := reflect.ValueOf(&b).Elem()
			v.Field(rapid.IntRange(0, v.NumField()-1).Draw(t, "field")).SetZero()
		}
		out, err := changes(&a, &b)
		if err != nil {
			t.Fatal(err)
		}
		text, err := json.Marshal(out)
		if err != nil {
			t.Fatal(err)
		}
		got := a
		if err := decode(text, reflect.ValueOf(&got).Elem()); err != nil {
			t.Fatal(err)
		}
		got.Seen = b.Seen
		if got != b {
			t.Fatalf("from %+v\nto   %+v\ncame %+v\nby %s", a, b, got, text)
		}
	})
}

func TestWordsAreDistinct(t *testing.T) {
	for typ, names := range words {
		seen := map[string]bool{}
		for _, n := range names {
			if seen[n] || strings.TrimSpace(n) == "" {
				t.Errorf("%v: word %q stands twice or is empty", typ, n)
			}
			seen[n] = true
		}
		if len(names) < 3 {
			t.Errorf("%v: %d words", typ, len(names))
		}
	}
}
