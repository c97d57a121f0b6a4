package sheet

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"unicode/utf8"
)

// FuzzParse: no text makes Parse panic; it returns a sheet without NaN or
// infinity, or faults that each stand somewhere in the text.
func FuzzParse(f *testing.F) {
	paths, err := filepath.Glob("testdata/reference/*/sheet.toml")
	if err != nil || len(paths) == 0 {
		f.Fatalf("no seeds, %v", err)
	}
	for _, path := range append(paths, "testdata/full.toml", "testdata/terrible/sheet.toml") {
		data, err := os.ReadFile(path)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Add([]byte(small))
	for _, text := range []string{"", "[", "a.b.c = 1\n[a]\n[a.b]", "[[motor]]\n[motor]", "motor = [[]]", "x = {y = {z = [1, {}]}}", "\ufeff", "[a]\n[a]\n[a]", "a = \"\"\"\n"} {
		f.Add([]byte(text))
	}
	curve, err := os.ReadFile("testdata/curves/c.csv")
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := Parse("x.toml", data, func(string) ([]byte, error) { return curve, nil })
		if err == nil {
			allFinite(t, "sheet", reflect.ValueOf(*s))
			allFinite(t, "run", reflect.ValueOf(*s.Run(nil)))
			allFinite(t, "circuit", reflect.ValueOf(*s.Circuit()))
			return
		}
		var faults Faults
		if !errors.As(err, &faults) || len(faults) == 0 || s != nil {
			t.Fatalf("error %v", err)
		}
		for _, fault := range faults {
			if fault.Line < 1 || fault.Column < 1 || fault.Found == "" || fault.Expected == "" {
				t.Fatalf("fault %+v", fault)
			}
		}
		if !utf8.ValidString(faults.Text()) || !utf8.ValidString(faults.Error()) {
			t.Fatalf("text %q", faults.Text())
		}
		if _, err := faults.JSON(); err != nil {
			t.Fatal(err)
		}
	})
}

func allFinite(t *testing.T, path string, v reflect.Value) {
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			allFinite(t, path+"."+v.Type().Field(i).Name, v.Field(i))
		}
	case reflect.Pointer:
		if !v.IsNil() {
			allFinite(t, path, v.Elem())
		}
	case reflect.Slice, reflect.Array:
		for i := range v.Len() {
			allFinite(t, path, v.Index(i))
		}
	case reflect.Map:
		for _, k := range v.MapKeys() {
			allFinite(t, path, v.MapIndex(k))
		}
	case reflect.Float64:
		if math.IsNaN(v.Float()) || math.IsInf(v.Float(), 0) {
			t.Fatalf("%s is %g", path, v.Float())
		}
	}
}

// FuzzParseCurve: the same for a curve.
func FuzzParseCurve(f *testing.F) {
	for _, text := range []string{"", "time_s,thrust_n\n0,0\n1,2\n", "#\ntime_s,thrust_n\n\"0\",1e-300\n1,1e5", "time_s,thrust_n\n0,\"\n"} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := ParseCurve("c.csv", data)
		if err == nil {
			for _, p := range c.Points() {
				allFinite(t, "point", reflect.ValueOf(p))
			}
			return
		}
		var faults Faults
		if !errors.As(err, &faults) || len(faults) == 0 || c != nil {
			t.Fatalf("error %v", err)
		}
	})
}

// FuzzSet: whatever is set, the text stays TOML, and the key then has the value.
func FuzzSet(f *testing.F) {
	f.Add(small, "site.headwind", "3 m/s")
	f.Add(small, "title", "a \"quoted\" # title")
	f.Add("a = 1", "a", "2")
	f.Add("x = {a = 1}", "x.b", "2")
	f.Fuzz(func(t *testing.T, text, key, value string) {
		got, err := Set([]byte(text), key, value)
		if err != nil {
			if got != nil {
				t.Fatalf("text and error %v", err)
			}
			return
		}
		if _, err := Entries(got); err != nil {
			t.Fatalf("%q = %q made %q: %v", key, value, got, err)
		}
	})
}

func BenchmarkParse(b *testing.B) {
	data := readFull(b)
	curve, err := os.ReadFile("testdata/curves/c.csv")
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Parse("x.toml", data, func(string) ([]byte, error) { return curve, nil }); err != nil {
			b.Fatal(err)
		}
	}
}
