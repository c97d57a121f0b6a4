package sheet

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"holdline/sim"
)

func TestCurveIsRead(t *testing.T) {
	for name, text := range map[string]string{
		"plain":               "time_s,thrust_n\n0,0\n0.5,4\n1.5,0\n",
		"comments and blanks": "# invented\n\ntime_s,thrust_n\n# points\n0,0\n\n0.5,4\n1.5,0\n",
		"CRLF":                "time_s,thrust_n\r\n0,0\r\n0.5,4\r\n1.5,0\r\n",
		"quoted fields":       "\"time_s\",\"thrust_n\"\n\"0\",\"0\"\n0.5,4\n1.5,0",
		"spaces":              "time_s, thrust_n\n0, 0\n 0.5, 4 \n1.5,0\n",
		"exponents":           "time_s,thrust_n\n0,0\n5e-1,+4E0\n1.5,0\n",
		"byte order mark":     "\ufefftime_s,thrust_n\n0,0\n0.5,4\n1.5,0\n",
	} {
		c, err := ParseCurve("c.csv", []byte(text))
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		// A triangle of 1.5 s and 4 N.
		if math.Abs(c.TotalImpulseNs()-3) > 1e-15 || c.PeakThrustN() != 4 || len(c.Points()) != 3 {
			t.Errorf("%s: %g N s, %g N, %v", name, c.TotalImpulseNs(), c.PeakThrustN(), c.Points())
		}
	}
}

func TestCurveFaultsNameTheLine(t *testing.T) {
	const head = "# c\ntime_s,thrust_n\n0,0\n"
	cases := []struct {
		name, text      string
		line, column    int
		key             string
		found, expected string
	}{
		{"empty", "", 1, 1, "", "an empty file", "the header time_s,thrust_n"},
		{"comments alone", "# nothing\n", 1, 1, "", "an empty file", "the header"},
		{"no header", "0,0\n1,2\n", 1, 1, "", `"0,0"`, "the header time_s,thrust_n"},
		{"columns swapped", "# c\nthrust_n,time_s\n0,0\n", 2, 1, "", `"thrust_n,time_s"`, "the header"},
		{"no points", "time_s,thrust_n\n", 1, 1, "", "no points", "at least two"},
		{"word for time", head + "soon,4\n1,0\n", 4, 1, "time_s", `"soon"`, "a time in seconds"},
		{"word for thrust", head + "0.5,lots\n1,0\n", 4, 5, "thrust_n", `"lots"`, "a thrust in newtons"},
		{"unit", head + "0.5,4 N\n1,0\n", 4, 5, "thrust_n", `"4 N"`, "a thrust in newtons"},
		{"not a number", head + "0.5,NaN\n1,0\n", 4, 5, "thrust_n", `"NaN"`, "a thrust"},
		{"infinite", head + "0.5,Inf\n1,0\n", 4, 5, "thrust_n", `"Inf"`, "a thrust"},
		{"too large to hold", head + "0.5,1e999\n1,0\n", 4, 5, "thrust_n", `"1e999"`, "a thrust"},
		{"hexadecimal", head + "0.5,0x1p2\n1,0\n", 4, 5, "thrust_n", `"0x1p2"`, "a thrust"},
		{"blank field", head + "0.5,\n1,0\n", 4, 5, "thrust_n", `""`, "a thrust"},
		{"three fields", head + "0.5,4,5\n1,0\n", 4, 1, "", "3 fields", "two fields"},
		{"one field", head + "0.5\n1,0\n", 4, 1, "", "1 field", "two fields"},
		{"semicolons", head + "0.5;4\n", 4, 1, "", "1 field", "two fields"},
		{"stray quote", head + "0.5,4\"\n1,0\n", 4, 6, "", "text that is not CSV", "two numbers"},
		{"out of order", head + "0.5,4\n# between\n0.4,3\n1,0\n", 6, 1, "time_s", "a time of 0.4 s", "later than 0.5 s"},
		{"same time twice", head + "0.5,4\n0.5,3\n1,0\n", 5, 1, "time_s", "a time of 0.5 s", "later than 0.5 s"},
		{"time below zero", "time_s,thrust_n\n-0.1,0\n1,2\n2,0\n", 2, 1, "time_s", "a time of -0.1 s", "0 s or later"},
		{"thrust below zero", head + "0.5,-4\n1,0\n", 4, 1, "thrust_n", "a thrust of -4 N", "0 N or more"},
		{"no thrust", head + "0.5,0\n1,0\n", 1, 1, "", "a total impulse of 0", "more than"},
		{"hours", head + "0.5,4\n3600,0\n", 5, 1, "time_s", "a time of 3600 s", "at most 600 s"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			curve, err := ParseCurve("dir/c.csv", []byte(c.text))
			var faults Faults
			if !errors.As(err, &faults) || len(faults) != 1 || curve != nil {
				t.Fatalf("error %v", err)
			}
			f := faults[0]
			if f.File != "dir/c.csv" || f.Line != c.line || f.Column != c.column || f.Key != c.key ||
				!strings.Contains(f.Found, c.found) || !strings.Contains(f.Expected, c.expected) {
				t.Errorf("%v: want %d:%d %s: found %s, expected %s", f, c.line, c.column, c.key, c.found, c.expected)
			}
		})
	}
}

func TestEveryFaultyLineOfACurveIsNamed(t *testing.T) {
	_, err := ParseCurve("c.csv", []byte("time_s,thrust_n\n0,0\na,1\n0.2,b\n0.3\n0.4,0\n"))
	var faults Faults
	if !errors.As(err, &faults) || len(faults) != 3 || faults[0].Line != 3 || faults[1].Line != 4 || faults[2].Line != 5 {
		t.Errorf("error %v", err)
	}
}

// points is a curve file of n points.
func points(n int) []byte {
	var b strings.Builder
	b.WriteString("time_s,thrust_n\n")
	for i := range n {
		fmt.Fprintf(&b, "%.5f,%d\n", float64(i)*0.001, 1+i%7)
	}
	return []byte(b.String())
}

func TestCurveLimits(t *testing.T) {
	if c, err := ParseCurve("c.csv", points(sim.MaxCurvePoints)); err != nil || len(c.Points()) != 10000 {
		t.Errorf("10,000 points: %v", err)
	}
	_, err := ParseCurve("c.csv", points(sim.MaxCurvePoints+1))
	var faults Faults
	if !errors.As(err, &faults) || len(faults) != 1 || faults[0].Line != 10002 || faults[0].Expected != "at most 10000 points" {
		t.Errorf("10,001 points: %v", err)
	}
	_, err = ParseCurve("c.csv", []byte("time_s,thrust_n\n"+strings.Repeat("0.1,2\n", 1_000_000)))
	if !errors.As(err, &faults) || len(faults) != 1 || !strings.Contains(faults[0].Found, "more than 2000000 bytes") {
		t.Errorf("a million points: %v", err)
	}
	// A faulty file adds a bounded number of faults, and says that there may be more.
	_, err = ParseCurve("c.csv", []byte("time_s,thrust_n\n"+strings.Repeat("x,y\n", 5000)))
	if !errors.As(err, &faults) || len(faults) != mostCurveFaults+1 ||
		faults[mostCurveFaults].Line < faults[mostCurveFaults-1].Line || !strings.Contains(faults[mostCurveFaults].Found, "perhaps more below, which are not listed") {
		t.Errorf("5000 faulty lines: %d faults, the last %+v", len(faults), faults[len(faults)-1])
	}
}

// A curve that several motors use is read once, and its faults are named once.
func TestCurveFaultsAreNamedOnce(t *testing.T) {
	reads := 0
	_, err := Parse("dir/sheet.toml", readFull(t), func(path string) ([]byte, error) {
		reads++
		if path != "curves/c.csv" {
			t.Errorf("asked for %q", path)
		}
		return []byte("time_s,thrust_n\n0,0\n0.2,-1\n0.3,0\n"), nil
	})
	var faults Faults
	if !errors.As(err, &faults) || len(faults) != 1 || reads != 1 {
		t.Fatalf("%d reads, error %v", reads, err)
	}
	if got := faults[0].String(); got != "dir/curves/c.csv:3:1: thrust_n: found a thrust of -1 N, expected 0 N or more" {
		t.Errorf("%s", got)
	}
}

// The sheet's own faults come before those of its curves.
func TestSheetFaultsComeFirst(t *testing.T) {
	text := strings.Replace(string(readFull(t)), "margin = 1.75", "margin = 1", 1)
	_, err := Parse("z/sheet.toml", []byte(text), func(string) ([]byte, error) { return []byte("time_s,thrust_n\n0,x\n"), nil })
	var faults Faults
	if !errors.As(err, &faults) || len(faults) != 2 || faults[0].Key != "firing.margin" || faults[1].Line != 2 {
		t.Errorf("error %v", err)
	}
}
