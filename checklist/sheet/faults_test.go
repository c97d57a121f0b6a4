package sheet

import (
	"encoding/json"
	"errors"
	"flag"
	"os"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"
)

var rewrite = flag.Bool("rewrite", false, "write the golden files anew; commit them only when the difference is understood")

// mark stands in a test's text where the fault must be reported.
const mark = "¦"

// marked takes the mark out and counts its line and column by itself.
func marked(text string) (data []byte, line, column int) {
	before, _, _ := strings.Cut(text, mark)
	line = 1 + strings.Count(before, "\n")
	column = 1 + utf8.RuneCountInString(before[strings.LastIndexByte(before, '\n')+1:])
	return []byte(strings.Replace(text, mark, "", 1)), line, column
}

// Each kind of fault, with its exact place. from is replaced by to in a sheet
// without faults; the mark is where the one fault must be.
func TestEveryKindOfFault(t *testing.T) {
	cases := []struct {
		name, from, to string
		key            string
		found          string
		expected       string
	}{
		{"unknown key near a known one", "mark = ", mark + "marc = ", "vehicle.marc", `the unknown key "marc"`, `"mark"`},
		{"unknown key near none", "mark = ", mark + "colour = ", "vehicle.colour", `the unknown key "colour"`, "no such key; those of [vehicle] are mark mass"},
		{"unknown key of an inline table", "mean = \"35 ms\"", mark + "maen = 3, mean = \"35 ms\"", "igniter.bridge.pressurisation.maen", `the unknown key "maen"`, `"mean"`},
		{"unknown table", "[late_light]", mark + "[zebra]\nx = 1\n[late_light]", "zebra", `the unknown key "zebra"`, "no such key; those of a sheet are"},
		{"unknown table in double brackets", "[late_light]", mark + "[[stops]]\nx = 1\n[late_light]", "stops", `the unknown key "stops"`, `"stop"`},
		{"unknown key at the top", "title = ", mark + "subtitle = \"x\"\ntitle = ", "subtitle", `the unknown key "subtitle"`, `"title"`},
		{"key of another kind of device", "after = \"1.6 s\"", "after = \"1.6 s\"\n" + mark + "fill_time = \"1 s\"", "stop[1].fill_time", `the unknown key "fill_time"`, "those of a stop of kind wheel-brake are"},
		{"after for a bed", "length = \"30 m\"", "length = \"30 m\"\n" + mark + "after = \"1 s\"", "stop[5].after", `the unknown key "after"`, "arrest-bed"},
		{"missing key", mark + "[vehicle]\nmark = \"SB-3\"\nmass = \"1.42 kg\"", mark + "[vehicle]\nmark = \"SB-3\"", "vehicle.mass", "nothing", `a mass, such as "1.42 kg"`},
		{"missing key of an inline table", "{ mean = \"35 ms\", deviation", mark + "{ deviation", "igniter.bridge.pressurisation.mean", "nothing", "a time, such as"},
		{"missing title", "title = \"Every key\"", "", "title", "nothing", "a title for the firing"},
		{"missing table", "[late_light]\ndelay = \"0.5 s\"", "", "late_light", "nothing", "a table [late_light] with delay"},
		{"bare number", "mass = \"1.42 kg\"", "mass = " + mark + "1.42", "vehicle.mass", "the bare number 1.42, without a unit", `a mass, such as "1.42 kg" (units: kg g lb oz), in quotes`},
		{"quoted number without a unit", "\"1.42 kg\"", mark + "\"1.42\"", "vehicle.mass", `"1.42", without a unit`, "a mass"},
		{"wrong dimension", "\"1.42 kg\"", mark + "\"1.42 m\"", "vehicle.mass", `"1.42 m", a length`, "a mass, such as"},
		{"wrong dimension for a share", "drag_coefficient = 0.45", "drag_coefficient = " + mark + "\"0.45 m2\"", "vehicle.drag_coefficient", `"0.45 m2", an area`, "a number without quotes, such as 0.45, or a percentage"},
		{"unknown unit", "\"1.42 kg\"", mark + "\"1.42 stone\"", "vehicle.mass", `with the unknown unit "stone"`, "a mass"},
		{"wrong type", "\"1.42 kg\"", mark + "true", "vehicle.mass", "the bare word true", "a mass, such as"},
		{"text for a number", "tyre_friction = 0.7", "tyre_friction = " + mark + "\"high\"", "vehicle.tyre_friction", `"high", which does not begin with a number`, "a number without quotes"},
		{"number for text", "title = \"Every key\"", "title = " + mark + "4", "title", "the bare number 4", "a title for the firing, in quotes"},
		{"text for true", "nulled = true", "nulled = " + mark + "\"yes\"", "firing.nulled", `"yes"`, "true or false, without quotes"},
		{"value for a table", "[late_light]\ndelay = \"0.5 s\"", "", "late_light", "nothing", "a table [late_light]"},
		{"single brackets for double", "[[radio]]", mark + "[radio]", "radio", "a table in single brackets", "tables, each headed [[radio]]"},
		{"double brackets for single", "[late_light]", mark + "[[late_light]]", "late_light", "tables in double brackets", "a table [late_light]"},
		{"blank text", "\"Every key\"", mark + "\"  \"", "title", "a blank", "a title"},
		{"text with a control character", "\"Every key\"", mark + "\"Every\\u001b[2Jkey\"", "title", "with a character that cannot be shown", "a title"},
		{"text too long", "\"Every key\"", mark + "\"" + strings.Repeat("x", 201) + "\"", "title", "a text of 201 characters", "at most 200"},
		{"below its range", "\"220 m\"", mark + "\"0 m\"", "site.clear_length", `"0 m"`, "a length above 0 m, at most 20 km"},
		{"above its range", "\"40 %\"\nheadwind", mark + "\"140 %\"\nheadwind", "site.humidity", `"140 %"`, "a value from 0 % to 100 %"},
		{"negative mass", "\"1.42 kg\"", mark + "\"-1.42 kg\"", "vehicle.mass", `"-1.42 kg"`, "a mass above 0 kg, at most 1000 kg"},
		{"slope too steep", "\"0.2 %\"", mark + "\"46 deg\"", "site.slope", `"46 deg"`, "a slope from -45 deg to 45 deg"},
		{"slope of no dimension of its own", "\"0.2 %\"", mark + "\"0.2 m\"", "site.slope", `"0.2 m", a length`, `or an angle, such as "0.5 deg"`},
		{"device behind the start", "at = \"90 m\"", "at = " + mark + "\"-1 m\"", "stop[2].at", `"-1 m"`, "a length from 0 m to 20 km"},
		{"bearings nearer than any", "\"0.33 m\"", mark + "\"1e-300 m\"", "guide.bearing_spacing", `"1e-300 m"`, "a length from"},
		{"neither elevation nor pressure", mark + "[site]\nelevation = \"310 m\"\npressure = \"978 hPa\"", mark + "[site]", "site.elevation", "nothing", "or pressure, the station pressure"},
		{"unknown kind of device", "kind = \"chute\"", "kind = " + mark + "\"parachute\"", "stop[2].kind", `"parachute"`, "one of wheel-brake, chute"},
		{"unknown guide", "kind = \"rail\"", "kind = " + mark + "\"rali\"", "guide.kind", `"rali"`, `"rail" is meant?`},
		{"at and after", "after = \"1.6 s\"", "at = \"3 m\"\nafter = " + mark + "\"1.6 s\"", "stop[1].after", "both at and after", "one of them"},
		{"neither at nor after", "kind = \"wheel-brake\"\nafter = \"1.6 s\"", "kind = \"wheel-brake\"", "stop[1].after", "nothing", "or at, a position"},
		{"duplicate device name", "name = \"cord\"", "name = " + mark + "\"sacks\"", "stop[4].name", `"sacks" again, first in line 116`, "stopping device names that differ"},
		{"duplicate post in the crew", `["north gate", "south gate"]`, `["north gate", "south gate", ` + mark + `"north gate"]`, "crew.spotters[3]", `"north gate" again`, "post names that differ"},
		{"duplicate post", "name = \"south gate\"", "name = " + mark + "\"north gate\"", "post[2].name", `"north gate" again`, "post names that differ"},
		{"duplicate transmitter", "[[radio]]", "[[radio]]\nname = \"steering\"\npower = \"1 W\"\nfrequency = \"1 GHz\"\ndistance = \"9 m\"\n[[radio]]\n#", "radio[2].name", `"steering" again`, "transmitter names that differ"},
		{"duplicate key", "mark = \"SB-3\"", "mark = \"SB-3\"\n" + mark + "mark = \"SB-4\"", "vehicle.mark", "the key again, first in line 18", "each key once"},
		{"duplicate table", "[late_light]", mark + "[site]\n[late_light]", "site", "a second definition, the first is a table in line 5", "each table once"},
		{"channel of another motor", "channel = 5", "channel = " + mark + "2", "motor[3].channel", "2, which is motor 2's", "another channel for each motor"},
		{"channel that no box has", "channel = 5", "channel = " + mark + "17", "motor[3].channel", "the bare number 17", "a whole number from 1 to 16"},
		{"unknown igniter", "igniter = \"stiff wire\"", "igniter = " + mark + "\"stif wire\"", "motor[2].igniter", `"stif wire", which no table [igniter.NAME] defines`, `one of "bridge", "stiff wire"`},
		{"post that no spotter stands at", "name = \"south gate\"", "name = " + mark + "\"east gate\"", "post[2].name", `"east gate", which is no spotter's post`, `one of "north gate", "south gate"`},
		{"post nearer than the crew", "distance = \"61 m\"", "distance = " + mark + "\"29 m\"", "post[2].distance", `"29 m"`, "at least site.crew_distance, 30 m"},
		{"no spotters", `["north gate", "south gate"]`, mark + "[]", "crew.spotters", "an empty list", "a list of posts"},
		{"spotters without brackets", `["north gate", "south gate"]`, mark + `"north gate"`, "crew.spotters", `"north gate"`, "a list of posts"},
		{"unknown phase", "phase = \"setup\"", "phase = " + mark + "\"set-up\"", "step[1].phase", `"set-up"`, `"setup" is meant?`},
		{"phase of the machine's own", "phase = \"setup\"", "phase = " + mark + "\"count\"", "step[1].phase", `"count"`, "one of setup, briefing, site"},
		{"unknown role", "role = \"range officer\"", "role = " + mark + "\"cook\"", "step[1].role", `"cook"`, "firing officer, range officer, hook-up person"},
		{"gate after the firing", "phase = \"after\"", "gate = " + mark + "true\nphase = \"after\"", "step[2].gate", "a gate after the firing", "gates before arming only"},
		{"all-fire not above no-fire", "\"0.60 A\"", mark + "\"150 mA\"", "igniter.bridge.all_fire", `"150 mA"`, `a current above no_fire, "0.15 A"`},
		{"tolerance of 75 %", "tolerance = \"12 %\"", "tolerance = " + mark + "\"75 %\"", "igniter.bridge.tolerance", `"75 %"`, "from 0 % to below 75 %"},
		{"blank source of the currents", "\"invented lot card\"", mark + "\"\"", "igniter.bridge.source", "a blank", "where the two currents come from"},
		{"highest internal resistance below the other", "\"40 mohm\"", mark + "\"24 mohm\"", "firing.battery.highest_internal_resistance", `"24 mohm"`, `at least internal_resistance, "25 mohm"`},
		{"gauge not whole", "gauge = 18", "gauge = " + mark + "18.5", "firing.lead.gauge", "the bare number 18.5", "a whole number from 0 to 40"},
		{"gauge too large", "gauge = 18", "gauge = " + mark + "41", "firing.lead.gauge", "the bare number 41", "a whole number from 0 to 40"},
		{"lead known in two ways", "{ gauge = 18,", mark + "{ resistance = \"1 ohm\", gauge = 18,", "firing.lead", "more than one of gauge, area and resistance", "{ gauge = 18, length"},
		{"lead known in no way", "{ gauge = 18, length = \"20 m\" }", mark + "{ length = \"20 m\" }", "firing.lead", "none of gauge, area and resistance", "{ gauge = 18, length"},
		{"test current of nothing", "test_current = \"1 mA\"", "test_current = " + mark + "\"0 mA\"", "firing.test_current", `"0 mA"`, "a current above 0"},
		{"margin too small", "margin = 1.75", "margin = " + mark + "1.49", "firing.margin", "the bare number 1.49", "a value from 1.5"},
		{"deviation of 25 %", "drag = \"8 %\"", "drag = " + mark + "\"25 %\"", "uncertainty.drag", `"25 %"`, "from 0 % to below 25 %"},
		{"deviation below nothing", "wind = \"1.1 m/s\"", "wind = " + mark + "\"-1 m/s\"", "uncertainty.wind", `"-1 m/s"`, "a speed from 0 m/s"},
		{"probability over one", "motor_silent = \"1.5 %\"", "motor_silent = " + mark + "1.01", "uncertainty.motor_silent", "the bare number 1.01", "a value from 0 to 1"},
		{"age below its least", "\"91 s\"", mark + "\"29 s\"", "times.range_clear", `"29 s"`, "a time from 30 s to 3 min"},
		{"age above its most", "\"92 s\"", mark + "\"181 s\"", "times.spotter", `"181 s"`, "a time from 30 s to 3 min"},
		{"wait below a minute", "\"100 s\"", mark + "\"59.9 s\"", "times.wait", `"59.9 s"`, "a time from 60 s"},
		{"pause in the last second", "at = \"3 s\"", "at = " + mark + "\"1.9 s\"", "pause[2].at", `"1.9 s"`, "a time from 2 s to 11 s"},
		{"pause before the count", "at = \"8 s\"", "at = " + mark + "\"11 s\"", "pause[1].at", "11s", "less than the count of 11s"},
		{"pauses in the wrong order", "at = \"3 s\"", "at = " + mark + "\"8 s\"", "pause[2].at", "8s", "less than the pause before it, at 8s: the longest first"},
		{"a pause too many", "at = \"3 s\"", "at = \"5 s\"\n[[pause]]\nat = \"4 s\"\n" + mark + "[[pause]]\nat = \"3 s\"", "pause[4].at", "one more pause", "3 pauses at most"},
		{"propellant heavier than the vehicle", "mass = \"1.42 kg\"", "mass = " + mark + "\"36 g\"", "vehicle.mass", `"36 g"`, "more than the propellant of all motors, 36 g"},
		{"curve that is not there", "\"curves/c.csv\"\npropellant = \"11 g\"", mark + "\"curves/d.csv\"\npropellant = \"11 g\"", "motor[1].curve", `"curves/d.csv", which cannot be read: there is no such file`, "a thrust curve file"},
		{"curve by an absolute path", "\"curves/c.csv\"\npropellant = \"11 g\"", mark + "\"/etc/c.csv\"\npropellant = \"11 g\"", "motor[1].curve", `"/etc/c.csv", an absolute path`, "relative to the sheet"},
		{"no such built-in curve", "\"builtin:neutral-c\"", mark + "\"builtin:neutral-cc\"", "motor[2].curve", `no built-in curve`, `"builtin:neutral-`},
		{"syntax: no value", "mark = \"SB-3\"", "mark =" + mark, "", "the end of the line", "a value"},
		{"syntax: no closing quote", "mark = \"SB-3\"", "mark = \"SB-3" + mark, "", "the end of the line", ""},
		{"syntax: two values", "mark = \"SB-3\"", "mark = 3 " + mark + "4", "", `"4"`, "the end of the line"},
		{"syntax: no bracket", "[late_light]", "[late_light" + mark, "", "the end of the line", "']'"},
		{"number that TOML does not know", "tyre_friction = 0.7", "tyre_friction = 1" + mark + "__0", "", `"__"`, "one digit between underscores"},
	}
	full := string(readFull(t))
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			from := strings.Replace(c.from, mark, "", 1)
			if strings.Count(full, from) != 1 {
				t.Fatalf("%q stands %d times in the sheet", from, strings.Count(full, from))
			}
			text := strings.Replace(full, from, c.to, 1)
			data, line, column := marked(text)
			if !strings.Contains(text, mark) {
				line, column = 0, 0 // tested without its place
			}
			_, err := parseFull(data)
			var faults Faults
			if !errors.As(err, &faults) {
				t.Fatalf("error %v", err)
			}
			if len(faults) != 1 {
				t.Errorf("%d faults, want 1:\n%v", len(faults), err)
			}
			f := faults[0]
			if line > 0 && (f.Line != line || f.Column != column) {
				t.Errorf("%v: want it at %d:%d", f, line, column)
			}
			if f.File != "testdata/full.toml" || f.Key != c.key || !strings.Contains(f.Found, c.found) || !strings.Contains(f.Expected, c.expected) {
				t.Errorf("%v: want %s: found %s, expected %s", f, c.key, c.found, c.expected)
			}
		})
	}
}

// A missing key of the whole sheet is at its first place.
func TestMissingTableIsAtTheStart(t *testing.T) {
	_, err := parseFull([]byte(strings.Replace(string(readFull(t)), "[late_light]\ndelay = \"0.5 s\"", "", 1)))
	if !hasFault(err, 1, 1, "late_light") {
		t.Errorf("error %v", err)
	}
}

func TestEmptySheetMissesEveryTable(t *testing.T) {
	_, err := Parse("x.toml", nil, readCurve)
	var faults Faults
	if !errors.As(err, &faults) {
		t.Fatal(err)
	}
	var keys []string
	for _, f := range faults {
		keys = append(keys, f.Key)
	}
	slices.Sort(keys)
	if want := []string{"crew", "firing", "igniter", "late_light", "motor", "site", "title", "vehicle"}; !slices.Equal(keys, want) {
		t.Errorf("misses %q, want %q", keys, want)
	}
}

// Twenty and more faults of all kinds, in the sheet and in its curves, all
// reported at once and in order.
func TestTerribleSheet(t *testing.T) {
	_, err := Load("testdata/terrible/sheet.toml")
	var faults Faults
	if !errors.As(err, &faults) {
		t.Fatal(err)
	}
	if len(faults) < 20 {
		t.Errorf("%d faults", len(faults))
	}
	golden(t, "testdata/terrible/faults.golden", faults.Error()+"\n")
	golden(t, "testdata/terrible/text.golden", faults.Text())
	encoded, err := faults.JSON()
	if err != nil {
		t.Fatal(err)
	}
	golden(t, "testdata/terrible/json.golden", string(encoded)+"\n")
	var back []Fault
	if err := json.Unmarshal(encoded, &back); err != nil || len(back) != len(faults) {
		t.Errorf("%d faults read back, %v", len(back), err)
	}
}

func golden(t *testing.T, path, got string) {
	t.Helper()
	if *rewrite {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s: got\n%s", path, got)
	}
}

// A syntax fault does not hide the faults of other lines, and nothing is said
// to be missing that may stand in the line that could not be read.
func TestFaultsBesideASyntaxFault(t *testing.T) {
	text := strings.Replace(string(readFull(t)), "mass = \"1.42 kg\"", "mass = \"1.42 kg", 1)
	text = strings.Replace(text, "margin = 1.75", "margin = 1.2", 1)
	text = strings.Replace(text, "headwind = \"2 m/s\"", "headwind = 2", 1)
	_, err := parseFull([]byte(text))
	var faults Faults
	if !errors.As(err, &faults) || len(faults) != 3 {
		t.Fatalf("error %v", err)
	}
	if faults[0].Key != "site.headwind" || faults[1].Key != "" || faults[2].Key != "firing.margin" {
		t.Errorf("error %v", err)
	}
}

// Below a header that cannot be read, keys belong nowhere and are let alone.
func TestKeysBelowABrokenHeader(t *testing.T) {
	text := strings.Replace(string(readFull(t)), "[vehicle]", "[vehicle", 1)
	_, err := parseFull([]byte(text))
	var faults Faults
	if !errors.As(err, &faults) || len(faults) != 1 || faults[0].Line != 17 {
		t.Errorf("error %v", err)
	}
}

func TestNoFaultCanWriteToTheScreen(t *testing.T) {
	text := strings.Replace(string(readFull(t)), "mark = \"SB-3\"", "\"ma\\u001b[31mrk\" = \"x\u202ey\"", 1)
	_, err := Parse("a\x1b[2Jb.toml", []byte(text), readCurve)
	var faults Faults
	if !errors.As(err, &faults) || len(faults) == 0 {
		t.Fatalf("error %v", err)
	}
	for _, s := range []string{faults.Error(), faults.Text()} {
		if strings.ContainsAny(s, "\x1b\u202e") {
			t.Errorf("%q", s)
		}
	}
}

func TestTextOfNoFaults(t *testing.T) {
	if got := Faults(nil).Text(); got != "no faults\n" {
		t.Errorf("%q", got)
	}
	if got, err := Faults(nil).JSON(); err != nil || string(got) != "[]" {
		t.Errorf("%q, %v", got, err)
	}
}

func TestColumnsCountCharacters(t *testing.T) {
	text := strings.Replace(string(readFull(t)), `{ mean = "35 ms", deviation = "8 ms" }`, `{ "größe" = 1, mean = "35 ms", deviation = "8 ms" }`, 1)
	data, line, column := marked(strings.Replace(text, `"größe"`, mark+`"größe"`, 1))
	if _, err := parseFull(data); !hasFault(err, line, column, `igniter.bridge.pressurisation."größe"`) {
		t.Errorf("error %v", err)
	}
	data, line, column = marked(strings.Replace(text, `mean = "35 ms"`, `mean = `+mark+`35`, 1))
	if _, err := parseFull(data); !hasFault(err, line, column, "igniter.bridge.pressurisation.mean") {
		t.Errorf("error %v, want %d:%d", err, line, column)
	}
}

// Windows editors: CRLF and a byte order mark change nothing.
func TestLineEndsAndByteOrderMark(t *testing.T) {
	full := string(readFull(t))
	crlf := strings.ReplaceAll(full, "\n", "\r\n")
	for _, text := range []string{crlf, "\ufeff" + full, "\ufeff" + crlf} {
		if _, err := parseFull([]byte(text)); err != nil {
			t.Errorf("error %v", err)
		}
		bad, line, column := marked(strings.Replace(text, "margin = 1.75", "margin = "+mark+"1.2", 1))
		if _, err := parseFull(bad); !hasFault(err, line, column, "firing.margin") {
			t.Errorf("error %v", err)
		}
	}
}

func TestTextThatIsNotUTF8(t *testing.T) {
	text := strings.Replace(string(readFull(t)), "\"Every key", "\"Every\xff", 1)
	_, err := parseFull([]byte(text))
	var faults Faults
	if !errors.As(err, &faults) || len(faults) != 1 || faults[0].Line != 3 || faults[0].Column != 15 {
		t.Errorf("error %v", err)
	}
}

func TestNotes(t *testing.T) {
	cases := []struct{ name, from, to, key, text string }{
		{"centre of gravity ahead of the front axle", `cg_behind_front_axle = "0.36 m"`, `cg_behind_front_axle = "-0.01 m"`, "vehicle.cg_behind_front_axle", "front axle"},
		{"centre of gravity behind the rear axle", `cg_behind_front_axle = "0.36 m"`, `cg_behind_front_axle = "0.63 m"`, "vehicle.cg_behind_front_axle", "rear axle"},
		{"built-in curve", `"curves/c.csv"`, `"builtin:plateau-c"`, "motor[1].curve", "no maker's motor"},
		{"igniter without a motor", `igniter = "stiff wire"`, `igniter = "bridge"`, `igniter."stiff wire"`, "no motor uses this igniter"},
		{"pulse longer than the run", `pulse = "1.2 s"`, `pulse = "3.1 s"`, "firing.pulse", "3 s"},
		{"device beyond the strip", `at = "150 m"`, `at = "221 m"`, "stop[5].at", "beyond the end of the cleared strip"},
		{"answers that cannot last", `range_clear = "91 s"`, "range_clear = \"30 s\"\n# ", "times.range_clear", "the count cannot start"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			text := strings.Replace(string(readFull(t)), "builtin:neutral-c", "curves/c.csv", 1)
			if s, err := parseFull([]byte(text)); err != nil || len(s.Notes) != 0 {
				t.Fatalf("notes %+v before the change, %v", s.Notes, err)
			}
			text = strings.Replace(text, c.from, c.to, 1)
			if c.key == "times.range_clear" {
				text = strings.Replace(text, `count = "11 s"`, `count = "60 s"`, 1)
			}
			s, err := parseFull([]byte(text))
			if err != nil {
				t.Fatal(err)
			}
			if len(s.Notes) != 1 || s.Notes[0].Key != c.key || !strings.Contains(s.Notes[0].Text, c.text) || s.Notes[0].Line < 2 {
				t.Errorf("notes %+v", s.Notes)
			}
		})
	}
}

func TestNearest(t *testing.T) {
	words := []string{"mass", "wheelbase", "cg_height", "drag_height", "rotating_mass"}
	for word, want := range map[string]string{
		"mas": "mass", "amss": "mass", "weelbase": "wheelbase", "cg-height": "cg_height", "colour": "", "x": "", "": "", "rotatingmass": "rotating_mass",
	} {
		if got := nearest(word, words); got != want {
			t.Errorf("nearest(%q) = %q, want %q", word, got, want)
		}
	}
}

// TestNoKeyIsTooLongToBeRefusedAtOnce holds a key of very many parts to an
// answer in a moment: each part is a table of its own.
func TestNoKeyIsTooLongToBeRefusedAtOnce(t *testing.T) {
	long := strings.Repeat("a.", 250_000) + "a"
	for _, text := range []string{long + " = 1\n", "[" + long + "]\n", "[[" + long + "]]\n", "a = {" + long + " = 1}\n"} {
		start := time.Now()
		_, err := Parse("x.toml", []byte(text), readCurve)
		if took := time.Since(start); err == nil || !strings.Contains(err.Error(), "a key of 250001 parts") || took > 2*time.Second {
			t.Errorf("%.12s…: after %v: %.200v", text, took, err)
		}
	}
}
