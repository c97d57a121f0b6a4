package checklist

import "testing"

func TestWordsForABurnedMotorAndAnUnlitOne(t *testing.T) {
	for words, want := range map[string]struct{ burned, unlit bool }{
		"burned out": {true, false}, "Burnt, case hot": {true, false}, "spent": {true, false}, "has fired": {true, false}, "empty casing": {true, false},
		"unlit, igniter out": {false, true}, "not burned, igniter pulled": {false, true}, "dark, LIVE": {false, true}, "never fired": {false, true},
		"it did not light": {false, true}, "misfired": {false, true}, "Unspent": {false, true},
		"igniter fired, motor unlit": {true, true}, "case black and warm": {false, false}, "": {false, false},
	} {
		if SaysBurned(words) != want.burned || SaysUnlit(words) != want.unlit {
			t.Errorf("%q: burned %v, unlit %v", words, SaysBurned(words), SaysUnlit(words))
		}
	}
}
