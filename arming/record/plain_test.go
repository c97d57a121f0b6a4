package record

import (
	"bytes"
	"testing"

	"github.com/gowebpki/jcs"
	"pgregory.net/rapid"
)

// checkPlain holds the quick answer against the full canonicaliser.
func checkPlain(t interface{ Errorf(string, ...any) }, text []byte) {
	if !isPlain(text) {
		return
	}
	canonical, err := jcs.Transform(text)
	if err != nil || !bytes.Equal(canonical, text) {
		t.Errorf("%q is called plain, its canonical form is %q, %v", text, canonical, err)
	}
	if err := checkNumbers(text); err != nil {
		t.Errorf("%q is called plain: %v", text, err)
	}
}

func TestPlainTextsAreCanonical(t *testing.T) {
	for text, want := range map[string]bool{
		`{}`:                      true,
		`{"a":1}`:                 true,
		`{"a":-1.5,"b":[]}`:       true,
		`{"a":[1,{"b":null}]}`:    true,
		`{"a":true,"b":false}`:    true,
		`{"a":0.0001}`:            true,
		`{"a":123456789012345}`:   true,
		`{"a":1.23456789012345}`:  true,
		`{"A":1,"a":2}`:           true,
		`{"a":0}`:                 true,
		`{"a":-0.5}`:              true,
		``:                        false,
		`1`:                       false,
		`{`:                       false,
		`{"a"`:                    false,
		`{"a":`:                   false,
		`{"a":1`:                  false,
		`{"a":1,`:                 false,
		`{"a":1,}`:                false,
		`{"a":[1,]}`:              false,
		`{"a":1}x`:                false,
		`{"b":1,"a":1}`:           false,
		`{"a":1,"a":1}`:           false,
		`{"a": 1}`:                false,
		`{"a":01}`:                false,
		`{"a":-0}`:                false,
		`{"a":1.0}`:               false,
		`{"a":1.}`:                false,
		`{"a":.5}`:                false,
		`{"a":-}`:                 false,
		`{"a":1e3}`:               false,
		`{"a":1.5e3}`:             false,
		`{"a":0.0000001}`:         false,
		`{"a":9007199254740993}`:  false,
		`{"a":1.234567890123456}`: false,
		`{"a":"\n"}`:              false,
		`{"a":"é"}`:               false,
		`{"a":tru}`:               false,
	} {
		if got := isPlain([]byte(text)); got != want {
			t.Errorf("%s: got %v, want %v", text, got, want)
		}
		checkPlain(t, []byte(text))
	}
	deep := bytes.Repeat([]byte(`{"a":`), 1000)
	if isPlain(append(append(deep, '1'), bytes.Repeat([]byte("}"), 1000)...)) {
		t.Error("a value a thousand deep is called plain")
	}
}

func TestPlainNumbersAreCanonical(t *testing.T) {
	number := rapid.StringMatching(`-?[0-9]{1,8}(\.[0-9]{1,9})?`)
	plain := 0
	rapid.Check(t, func(t *rapid.T) {
		text := []byte(`{"n":` + number.Draw(t, "n") + `}`)
		if isPlain(text) {
			plain++
		}
		checkPlain(t, text)
	})
	if plain == 0 {
		t.Error("no number was plain: nothing was tested")
	}
}

func FuzzPlain(f *testing.F) {
	for _, s := range []string{`{"a":[1,2.5,{"b":null}],"c":"text"}`, `{"a":0.0001}`, `{}`} {
		if !isPlain([]byte(s)) {
			f.Fatalf("seed %q is not plain", s)
		}
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, text []byte) { checkPlain(t, text) })
}
