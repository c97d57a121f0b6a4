package report

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"holdline/arming"
	"holdline/arming/record"
	"holdline/checklist"
	"holdline/checklist/sheet/unit"
)

// fired drives a firing of two motors to MAKESAFE with one person forward.
func fired(t *testing.T) *firing {
	t.Helper()
	o := normal()
	o.motors = 2
	f := begin(t, t.TempDir(), o)
	f.toReady()
	f.arm()
	f.count()
	f.press(time.Second)
	f.key(false)
	f.must(arming.Say{Fact: arming.FactAtRest, By: officer})
	f.pass(61 * time.Second)
	f.battery(0)
	f.must(arming.GoForward{By: ranger, Person: goes})
	return f
}

// What is counted as used is held against what was found at each motor that
// went on the vehicle, and what nobody has said clearly is in question too.
func TestWhatWasCountedIsHeldAgainstWhatWasFound(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		found                     [2]string
		used, left, fired, spared float64 // motors used and left of 4, igniters used and left of 8
		want                      []string
	}{
		"all agrees":            {[2]string{"burned out", "spent, case cool"}, 2, 2, 2, 6, nil},
		"one stayed dark":       {[2]string{"burned out", "unlit, igniter out"}, 1, 3, 2, 6, nil},
		"one burned too few":    {[2]string{"burned out", "burned out"}, 1, 3, 2, 6, []string{"1 motor counted as used, but 2 of those on the vehicle found burned out"}},
		"one burned too many":   {[2]string{"burned out", "it did not light"}, 2, 2, 2, 6, []string{"2 motors counted as used, but 1 of those on the vehicle found burned out"}},
		"igniters too few":      {[2]string{"burned out", "burned out"}, 2, 2, 1, 7, []string{"1 igniter counted as used, but 2 motors found burned out"}},
		"words that say no end": {[2]string{"burned out", "black and warm"}, 1, 3, 2, 6, []string{`motor 2 was found "black and warm": that does not say whether it burned out`}},
		"words that say both":   {[2]string{"burned out", "igniter fired, motor unlit"}, 2, 2, 2, 6, []string{`motor 2 was found "igniter fired, motor unlit": that does not say whether it burned out`}},
	} {
		f := fired(t)
		for m, words := range c.found {
			f.must(arming.Inspect{Motor: m + 1, Found: words, By: goes})
		}
		f.must(arming.Say{Fact: arming.FactShunted, By: goes})
		f.must(arming.CloseLine{By: ranger, Count: 1})
		f.must(arming.Say{Fact: arming.FactFireWatched, By: ranger})
		f.must(arming.Result{RestM: 130, HasRest: true})
		f.typed("motors-used", c.used)
		f.typed("motors-left", c.left)
		f.typed("igniters-used", c.fired)
		f.typed("igniters-left", c.spared)
		f.must(arming.AllClear{By: ranger})
		d := Build(verified(t, f.close(record.Normal, "", 1)))
		if !slices.Equal(d.InQuestion, append([]string{}, c.want...)) || len(d.NotValid) > 0 {
			t.Errorf("%s: in question %q, want %q; not valid %q", name, d.InQuestion, c.want, d.NotValid)
		}
		for _, why := range c.want {
			has(t, d, "**IN QUESTION: "+why+"**")
			if !strings.Contains(string(write(t, d, "x.csv", unit.Metric)), "record,in question,") {
				t.Errorf("%s: not in the CSV form", name)
			}
		}
	}
}

// A motor whose circuit conducted to the end did not burn out, whatever is said.
func TestAMotorThatConductsAndIsSaidBurnedOut(t *testing.T) {
	t.Parallel()
	o := normal()
	o.motors = 2
	f := begin(t, t.TempDir(), o)
	f.toReady()
	f.arm()
	f.count()
	f.pass(300 * time.Millisecond)
	f.button(true) // and no igniter opens
	f.pass(time.Second)
	f.button(false)
	f.afterwards(130)
	d := Build(verified(t, f.close(record.Normal, "", 1)))
	for m := range 2 {
		want := fmt.Sprintf(`motor %d was found "burned out, case cool", but its circuit conducted at the last reading`, m+1)
		if !slices.Contains(d.InQuestion, want) {
			t.Errorf("in question: %q", d.InQuestion)
		}
		has(t, d, "**IN QUESTION: "+want+"**")
	}
}

// An optional step that was passed over stands at the top of every page.
func TestAStepThatWasPassedOver(t *testing.T) {
	t.Parallel()
	o := normal()
	o.extra = append(o.extra, checklist.Step{Phase: checklist.Clear, Challenge: "Camera: what runs?", Role: checklist.RangeOfficer, Optional: true})
	f := begin(t, t.TempDir(), o)
	f.toReady()
	d := Build(verified(t, f.close(record.Interrupted, "ended by the test", 1)))
	has(t, d, "**Passed over: Camera: what runs?**", `Camera: what runs? \[passed over\]`)
	for ending, want := range map[string]string{".csv": "record,passed over,,,,,Camera: what runs?", ".json": `"standing": "passed over"`} {
		if text := string(write(t, d, "x"+ending, unit.Metric)); !strings.Contains(text, want) {
			t.Errorf("no %s in the form %s", want, ending)
		}
	}
	look(t, d, "passed.pdf")
}

// Motors that were said otherwise once the igniters were connected are not
// those that were read off; motors that nobody inspected are in question.
func TestMotorsSwappedAfterTheHookUp(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		motors string
		want   string
	}{
		"another lot":    {"2 of class D, plover lot 13", `motors was "2 of class D, plover lot 12" before the igniters were connected and "2 of class D, plover lot 13" after it`},
		"another number": {"three of class D", `the motors were read off as "three of class D": that does not say 2, as the sheet does`},
	} {
		o := normal()
		o.motors = 2
		f := begin(t, t.TempDir(), o)
		f.toReady()
		f.must(arming.Withdraw{Step: "motors", Why: "read again"})
		f.pass(time.Second)
		f.words("motors", c.motors)
		d := Build(verified(t, f.close(record.Interrupted, "ended by the test", 1)))
		if !slices.Contains(d.InQuestion, c.want) || !slices.Contains(d.InQuestion, "not inspected after the igniters were connected: motor 1, 2") {
			t.Errorf("%s: %q", name, d.InQuestion)
		}
	}
}

// Before anything is connected nothing is in question.
func TestNothingIsInQuestionBeforeTheHookUp(t *testing.T) {
	t.Parallel()
	f := begin(t, t.TempDir(), normal())
	f.signOn()
	d := Build(verified(t, f.close(record.Interrupted, "ended by the test", 1)))
	if len(d.InQuestion) > 0 {
		t.Error(d.InQuestion)
	}
}

func TestACountAmongWords(t *testing.T) {
	for words, want := range map[string]bool{"4 of class D": true, "four, class D": true, "D9-3, 4x": true, "D9-3, four of them.": true, "4": true,
		"D4-3": false, "14 of class D": false, "as the sheet": false, "": false, "lot 12, 3 of class D": false} {
		if says(words, 4) != want {
			t.Errorf("%q: %v", words, !want)
		}
	}
	for n := 1; n <= checklist.MaxMotors; n++ {
		if !says("so "+numerals[n], n) {
			t.Errorf("%q is not read as %d", numerals[n], n)
		}
	}
}
