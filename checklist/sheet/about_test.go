package sheet

import (
	"errors"
	"reflect"
	"slices"
	"strings"
	"testing"

	"holdline/checklist/sheet/unit"
)

// keysOf is the list of known keys that Parse names when it meets an unknown
// one in a table.
func keysOf(t *testing.T, text, key string) []string {
	t.Helper()
	_, err := Parse("x.toml", []byte(text), readCurve)
	var faults Faults
	errors.As(err, &faults)
	for _, f := range faults {
		if f.Key == key {
			_, list, ok := strings.Cut(f.Expected, " are ")
			if ok {
				return strings.Fields(list)
			}
		}
	}
	t.Fatalf("no fault at %s: %v", key, err)
	return nil
}

// Every key that Parse reads is described, and no other.
func TestEveryKeyIsDescribed(t *testing.T) {
	for _, c := range []struct{ table, kind, text, key string }{
		{"site", "", "[site]\nqqqqqqqqq = 1\n", "site.qqqqqqqqq"},
		{"vehicle", "", "[vehicle]\nqqqqqqqqq = 1\n", "vehicle.qqqqqqqqq"},
		{"guide", "", "[guide]\nqqqqqqqqq = 1\n", "guide.qqqqqqqqq"},
		{"motor", "", "[[motor]]\nqqqqqqqqq = 1\n", "motor[1].qqqqqqqqq"},
		{"igniter", "", "[igniter.a]\nqqqqqqqqq = 1\n", "igniter.a.qqqqqqqqq"},
		{"igniter.pressurisation", "", "[igniter.a]\npressurisation = { qqqqqqqqq = 1 }\n", "igniter.a.pressurisation.qqqqqqqqq"},
		{"firing", "", "[firing]\nqqqqqqqqq = 1\n", "firing.qqqqqqqqq"},
		{"firing.battery", "", "[firing]\nbattery = { qqqqqqqqq = 1 }\n", "firing.battery.qqqqqqqqq"},
		{"stop", "wheel-brake", "[[stop]]\nkind = \"wheel-brake\"\nqqqqqqqqq = 1\n", "stop[1].qqqqqqqqq"},
		{"stop", "chute", "[[stop]]\nkind = \"chute\"\nqqqqqqqqq = 1\n", "stop[1].qqqqqqqqq"},
		{"stop", "weighted-line", "[[stop]]\nkind = \"weighted-line\"\nqqqqqqqqq = 1\n", "stop[1].qqqqqqqqq"},
		{"stop", "elastic-line", "[[stop]]\nkind = \"elastic-line\"\nqqqqqqqqq = 1\n", "stop[1].qqqqqqqqq"},
		{"stop", "arrest-bed", "[[stop]]\nkind = \"arrest-bed\"\nqqqqqqqqq = 1\n", "stop[1].qqqqqqqqq"},
		{"limits", "", "[limits]\nqqqqqqqqq = 1\n", "limits.qqqqqqqqq"},
		{"uncertainty", "", "[uncertainty]\nqqqqqqqqq = 1\n", "uncertainty.qqqqqqqqq"},
		{"late_light", "", "[late_light]\nqqqqqqqqq = 1\n", "late_light.qqqqqqqqq"},
		{"crew", "", "[crew]\nqqqqqqqqq = 1\n", "crew.qqqqqqqqq"},
		{"post", "", "[[post]]\nqqqqqqqqq = 1\n", "post[1].qqqqqqqqq"},
		{"times", "", "[times]\nqqqqqqqqq = 1\n", "times.qqqqqqqqq"},
		{"pause", "", "[[pause]]\nqqqqqqqqq = 1\n", "pause[1].qqqqqqqqq"},
		{"radio", "", "[[radio]]\nqqqqqqqqq = 1\n", "radio[1].qqqqqqqqq"},
		{"step", "", "[[step]]\nqqqqqqqqq = 1\n", "step[1].qqqqqqqqq"},
	} {
		want := keysOf(t, c.text, c.key)
		var got []string
		for _, a := range abouts {
			if a.Table == c.table && (c.kind == "" || a.Kind == "" || slices.Contains(strings.Fields(a.Kind), c.kind)) {
				got = append(got, a.Name)
			}
			if below, ok := belowTable(a.Table, c.table); ok && len(below) > 0 && c.table != "" && !slices.Contains(got, below[0]) {
				got = append(got, below[0])
			}
		}
		slices.Sort(got)
		slices.Sort(want)
		if !slices.Equal(got, want) {
			t.Errorf("%s %s: described %q, read %q", c.table, c.kind, got, want)
		}
	}
}

// The tables of a sheet are those of the outline.
func TestEveryTableIsInTheOutline(t *testing.T) {
	want := append(keysOf(t, "qqqqqqqqq = 1\n", "qqqqqqqqq"), "")
	var got []string
	for _, a := range tableAbouts {
		got = append(got, a.table)
	}
	want = slices.DeleteFunc(want, func(s string) bool { return s == "title" })
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Errorf("described %q, read %q", got, want)
	}
}

// Needed keys are those that Parse misses, and what a key is said to be when
// it is left out is what Parse makes of it.
func TestKeysLeftOutAreWhatTheyAreSaidToBe(t *testing.T) {
	full := readFull(t)
	entries, err := Entries(full)
	if err != nil {
		t.Fatal(err)
	}
	seen := 0
	for _, e := range entries {
		a := aboutOf(t, full, e.Key)
		without, err := Remove(full, e.Key)
		if a.Name == "spotters" {
			continue
		}
		if err != nil {
			t.Errorf("%s: %v", e.Key, err)
			continue
		}
		_, err = parseFull(without)
		if a.Needed && (err == nil || !strings.Contains(err.Error(), e.Key+": found nothing")) {
			t.Errorf("%s is said to be needed: %v", e.Key, err)
		}
		if a.Needed || a.Otherwise == "" {
			continue
		}
		seen++
		with, err := Set(without, e.Key, a.Otherwise)
		if err != nil {
			t.Errorf("%s = %s: %v", e.Key, a.Otherwise, err)
			continue
		}
		one, errOne := parseFull(without)
		two, errTwo := parseFull(with)
		if errOne != nil || errTwo != nil {
			t.Errorf("%s: %v, %v", e.Key, errOne, errTwo)
			continue
		}
		one.SHA256, two.SHA256, one.Notes, two.Notes = [32]byte{}, [32]byte{}, nil, nil
		if !reflect.DeepEqual(one, two) {
			t.Errorf("%s left out is not %s", e.Key, a.Otherwise)
		}
	}
	if seen < 30 {
		t.Errorf("%d keys with a default were tried, want 30 at least", seen)
	}
}

// aboutOf is what an outline says of a key that is there.
func aboutOf(t *testing.T, data []byte, key string) About {
	t.Helper()
	groups, err := Outline(data)
	if err != nil {
		t.Fatal(err)
	}
	for _, g := range groups {
		for _, r := range g.Rows {
			if r.Key == key {
				return r.About
			}
		}
	}
	t.Fatalf("no row for %s", key)
	return About{}
}

// Every entry of a sheet is a row with its value, and there are rows for what
// is not there.
func TestOutlineShowsEveryEntryOnce(t *testing.T) {
	for name, data := range map[string][]byte{"full": readFull(t), "small": []byte(small)} {
		entries, err := Entries(data)
		if err != nil {
			t.Fatal(err)
		}
		groups, err := Outline(data)
		if err != nil {
			t.Fatal(err)
		}
		rows := map[string]Row{}
		absent := 0
		for _, g := range groups {
			for _, r := range g.Rows {
				if _, twice := rows[r.Key]; twice {
					t.Errorf("%s: %s stands twice", name, r.Key)
				}
				rows[r.Key] = r
				if !r.There {
					absent++
				}
				if r.About.Label == "" || r.About.What == "" || r.About.Forms() == "" {
					t.Errorf("%s: %s is not explained", name, r.Key)
				}
			}
		}
		for _, e := range entries {
			if r := rows[e.Key]; !r.There || r.Value != e.Value {
				t.Errorf("%s: %s: row %+v, entry %+v", name, e.Key, r, e)
			}
		}
		if len(rows)-absent != len(entries) || absent == 0 {
			t.Errorf("%s: %d rows there, %d not, %d entries", name, len(rows)-absent, absent, len(entries))
		}
	}
}

func TestOutlineTitlesAndUnknownKeys(t *testing.T) {
	groups, err := Outline([]byte(strings.Replace(small, "[vehicle]\n", "[vehicle]\ncolour = \"red\"\n", 1)))
	if err != nil {
		t.Fatal(err)
	}
	var titles []string
	unknown := false
	for _, g := range groups {
		titles = append(titles, g.Title)
		for _, r := range g.Rows {
			unknown = unknown || r.Key == "vehicle.colour" && strings.HasPrefix(r.About.What, "No such key")
		}
	}
	if want := "firing,site,vehicle,guide,motor 1,motor 2,igniter,firing circuit,device,limits,uncertainty,late motor,spotters,post,times,pause of the count,transmitter,further step"; strings.Join(titles, ",") != want {
		t.Errorf("got %q", titles)
	}
	if !unknown {
		t.Error("the unknown key is not shown as one")
	}
	if _, err := Outline([]byte("a = = 3\n")); err == nil {
		t.Error("text that is not TOML is outlined")
	}
}

func TestFormsOfKeys(t *testing.T) {
	for key, want := range map[string]string{
		"site.clear_length": unit.Expected(unit.Length), "vehicle.drag_coefficient": "a number, such as 0.45", "site.slope": "an angle",
		"guide.kind": "one of wire, rail", "firing.nulled": "true or false", "firing.lead.gauge": "a whole number",
		"motor.curve": "builtin:", "motor.igniter": "[igniter.NAME]", "title": "any text", "post.name": "spotters",
	} {
		a := AboutKey(key)
		if !strings.Contains(a.Forms(), want) {
			t.Errorf("%s: %q, want %q in it", key, a.Forms(), want)
		}
	}
	curve := AboutKey("motor.curve")
	if c := curve.Choices(); !slices.Contains(c, "builtin:plateau-c") {
		t.Errorf("curves %q", c)
	}
	if a := AboutKey("site.colour"); a.Name != "" {
		t.Errorf("%+v", a)
	}
}
