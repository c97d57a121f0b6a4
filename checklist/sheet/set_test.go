package sheet

import (
	"errors"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

const small = `# the sheet
title = "Small"   # its name

[site]
  headwind = "2 m/s"      # against
clear_length = '220 m'# tight
[vehicle]
drag_coefficient = 0.45 # a number
mass="1.42 kg"

# the guide
[firing]
nulled = false   # no
lead = { gauge = 18, length = "20 m" } # out

[[motor]]
lateral = "-30 mm" # left
[[motor]]
lateral = "30 mm"  # right

[crew]
spotters = [
  "north", # first
  "south",
]
`

func TestSetKeepsEverythingElse(t *testing.T) {
	cases := []struct{ key, value, from, to string }{
		{"title", "Larger", `title = "Small"   # its name`, `title = "Larger"  # its name`},
		{"title", "A much longer title", `title = "Small"   # its name`, `title = "A much longer title" # its name`},
		{"title", "4", `"Small"  `, `"4"      `},
		{"title", `say "go" \ now`, `"Small"   #`, `"say \"go\" \\ now" #`},
		{"site.headwind", "11.5 m/s", `"2 m/s"      # against`, `"11.5 m/s"   # against`},
		{"site.clear_length", "200 ft", `'220 m'# tight`, `"200 ft"# tight`},
		{"vehicle.drag_coefficient", "0.5", `0.45 # a number`, `0.5  # a number`},
		{"vehicle.drag_coefficient", "45 %", `0.45 # a number`, `"45 %" # a number`},
		{"vehicle.mass", "3 lb", `mass="1.42 kg"`, `mass="3 lb"`},
		{"firing.nulled", "true", `nulled = false   # no`, `nulled = true    # no`},
		{"firing.lead.gauge", "20", `gauge = 18`, `gauge = 20`},
		{"firing.lead.length", "25 m", `length = "20 m" }`, `length = "25 m" }`},
		{"motor[2].lateral", "35 mm", `lateral = "30 mm"  # right`, `lateral = "35 mm"  # right`},
		{"motor[1].lateral", "-5 mm", `lateral = "-30 mm" # left`, `lateral = "-5 mm"  # left`},
		{"crew.spotters[2]", "far end", `"south",`, `"far end",`},
		// Keys that are not there yet.
		{"site.wind_range", "3 m/s", "# tight\n", "# tight\nwind_range = \"3 m/s\"\n"},
		{"vehicle.rotating_mass", "20 g", "mass=\"1.42 kg\"\n", "mass=\"1.42 kg\"\nrotating_mass = \"20 g\"\n"},
		{"motor[1].angle", "2 deg", "# left\n", "# left\nangle = \"2 deg\"\n"},
		{"vehicle.lift_coefficient", "0.1", "mass=\"1.42 kg\"\n", "mass=\"1.42 kg\"\nlift_coefficient = 0.1\n"},
		{"limits.stagger", "50 ms", "  \"south\",\n]\n", "  \"south\",\n]\n\n[limits]\nstagger = \"50 ms\"\n"},
		{"limits.yaw_margin", "2", "  \"south\",\n]\n", "  \"south\",\n]\n\n[limits]\nyaw_margin = 2\n"},
	}
	for _, c := range cases {
		got, err := Set([]byte(small), c.key, c.value)
		if err != nil {
			t.Errorf("%s = %s: %v", c.key, c.value, err)
			continue
		}
		if strings.Count(small, c.from) != 1 {
			t.Fatalf("%q stands %d times", c.from, strings.Count(small, c.from))
		}
		if want := strings.Replace(small, c.from, c.to, 1); string(got) != want {
			t.Errorf("%s = %s: got\n%s", c.key, c.value, got)
		}
	}
}

func TestSetBetweenBraces(t *testing.T) {
	data := readFull(t)
	text := strings.Replace(string(data), `, highest_current = "30 A" }`, ` }`, 1)
	got, err := Set([]byte(text), "firing.battery.highest_current", "30 A")
	if err != nil || string(got) != string(data) {
		t.Errorf("%v\n%s", err, got)
	}
}

func TestSetRefuses(t *testing.T) {
	cases := []struct{ key, value, want string }{
		{"site.headwind", "2", `"2", without a unit`},
		{"site.headwind", "2 kg", "a mass"},
		{"site.headwind", "", "does not begin with a number"},
		{"site.headwind", "99 m/s", "a speed from -50 m/s to 50 m/s"},
		{"firing.lead.gauge", "18.5", "a whole number"},
		{"firing.nulled", "maybe", "true or false"},
		{"title", "", "a blank"},
		{"title", "two\nlines", "a character that cannot be shown"},
		{"site", "2", "not a single value"},
		{"motor", "2", "not a single value"},
		{"crew.spotters", "x", "not a single value"},
		{"motor[3].lateral", "1 mm", "there is no"},
		{"motor[0].lateral", "1 mm", "malformed key"},
		{"motor[-1].lateral", "1 mm", "malformed key"},
		{"motor[x].lateral", "1 mm", "malformed key"},
		{"crew.spotters[3]", "x", "there is no"},
		{"site.colour", "red", "the unknown key"},
		{"colour", "red", "cannot be added"},
		{"colour.of", "red", "the unknown key"},
		{"a.b.c", "1", "no table"},
		{"", "1", "malformed key"},
		{".site", "1", "malformed key"},
		{"site.", "1", "malformed key"},
		{"site headwind", "1", "malformed key"},
		{"site.\"head", "1", "malformed key"},
	}
	for _, c := range cases {
		got, err := Set([]byte(small), c.key, c.value)
		if err == nil || got != nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s = %q: %v, want %s", c.key, c.value, err, c.want)
		}
	}
	var faults Faults
	if _, err := Set([]byte("a = = 3\n"), "a", "4"); !errors.As(err, &faults) {
		t.Errorf("text that is not TOML: %v", err)
	}
}

// Two keys that depend on each other can be set one after the other.
func TestSetOneAfterTheOther(t *testing.T) {
	text, err := Set(readFull(t), "igniter.bridge.no_fire", "0.7 A")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := parseFull(text); err == nil {
		t.Error("a no-fire current above the all-fire current is read")
	}
	if text, err = Set(text, "igniter.bridge.all_fire", "1.5 A"); err != nil {
		t.Fatal(err)
	}
	s, err := parseFull(text)
	if err != nil || s.Igniters["bridge"].NoFireA != 0.7 || s.Igniters["bridge"].AllFireA != 1.5 {
		t.Errorf("%v", err)
	}
}

func TestSetLineEnds(t *testing.T) {
	crlf := strings.ReplaceAll(small, "\n", "\r\n")
	got, err := Set([]byte("\ufeff"+crlf), "site.wind_range", "3 m/s")
	if err != nil || !strings.HasPrefix(string(got), "\ufeff# the sheet\r\n") || !strings.Contains(string(got), "# tight\r\nwind_range = \"3 m/s\"\r\n[vehicle]\r\n") {
		t.Errorf("%v\n%q", err, got)
	}
	// Without a line end at the end.
	got, err = Set([]byte("[site]\nheadwind = \"1 m/s\""), "site.wind_range", "3 m/s")
	if err != nil || string(got) != "[site]\nheadwind = \"1 m/s\"\nwind_range = \"3 m/s\"\n" {
		t.Errorf("%v\n%q", err, got)
	}
	got, err = Set([]byte("[site]"), "limits.yaw_margin", "2")
	if err != nil || string(got) != "[site]\n\n[limits]\nyaw_margin = 2\n" {
		t.Errorf("%v\n%q", err, got)
	}
}

// Setting every value to what it is changes not one byte, and setting it to
// another and back neither.
func TestSetRoundTrip(t *testing.T) {
	data := readFull(t)
	entries, err := Entries(data)
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		e := rapid.SampledFrom(entries).Draw(t, "entry")
		same, err := Set(data, e.Key, e.Value)
		if err != nil || string(same) != string(data) {
			t.Fatalf("%s = %s: %v", e.Key, e.Value, err)
		}
		// A value that such a key can take: that of a key of its kind.
		other := rapid.SampledFrom(entries).Draw(t, "other")
		changed, err := Set(data, e.Key, other.Value)
		if err != nil {
			return
		}
		if text, err := Entries(changed); err != nil || len(text) != len(entries) {
			t.Fatalf("%s = %s: %d entries, %v", e.Key, other.Value, len(text), err)
		}
		back, err := Set(changed, e.Key, e.Value)
		if err != nil || string(back) != string(data) {
			t.Fatalf("%s = %s and back to %s: %v", e.Key, other.Value, e.Value, err)
		}
	})
}

func TestEntries(t *testing.T) {
	entries, err := Entries([]byte(small))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, e := range entries {
		got = append(got, e.Key+"="+e.Value)
	}
	want := "title=Small site.headwind=2 m/s site.clear_length=220 m vehicle.drag_coefficient=0.45 vehicle.mass=1.42 kg " +
		"firing.nulled=false firing.lead.gauge=18 firing.lead.length=20 m motor[1].lateral=-30 mm motor[2].lateral=30 mm " +
		"crew.spotters[1]=north crew.spotters[2]=south"
	if strings.Join(got, " ") != want {
		t.Errorf("got %q", got)
	}
	if e := entries[1]; e.Line != 5 || e.Column != 14 {
		t.Errorf("%+v", e)
	}
}
