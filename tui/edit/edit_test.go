package edit

import (
	"errors"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	tea "github.com/charmbracelet/bubbletea"
	"pgregory.net/rapid"

	"holdline/checklist/prediction"
	"holdline/checklist/sheet"
	"holdline/tui/golden"
)

// lineDiff lists the lines that differ.
func lineDiff(a, b []byte) (gone, come []string) {
	x, y := strings.Split(string(a), "\n"), strings.Split(string(b), "\n")
	for _, l := range x {
		if !slices.Contains(y, l) {
			gone = append(gone, l)
		}
	}
	for _, l := range y {
		if !slices.Contains(x, l) {
			come = append(come, l)
		}
	}
	return gone, come
}

func TestAValueChangesItsOwnLineAlone(t *testing.T) {
	w := newWorld(t)
	before := w.m.text
	w.to("site.clear_length")
	w.enter("180 m")
	gone, come := lineDiff(before, w.m.text)
	if len(gone) != 1 || len(come) != 1 || come[0] != `clear_length = "180 m"        # start line to the end of the cleared strip` {
		t.Errorf("gone %q, come %q", gone, come)
	}
	if r := w.m.rows[w.m.at]; r.entry.Key != "site.clear_length" || !r.changed || r.entry.Value != "180 m" || !w.m.Unsaved() {
		t.Errorf("%+v", r)
	}
	if string(w.disk) != string(before) {
		t.Error("written unasked")
	}
	w.enter("200 m")
	if w.m.rows[w.m.at].changed || w.m.Unsaved() {
		t.Error("a value set back is still marked")
	}
}

func TestUndoAndAgain(t *testing.T) {
	w := newWorld(t)
	texts := []string{string(w.m.text)}
	for _, step := range [][2]string{{"vehicle.mass", "2 kg"}, {"site.headwind", "-1 m/s"}, {"site.headwind", ""}, {"title", "Another"}} {
		w.to(step[0])
		w.enter(step[1])
		texts = append(texts, string(w.m.text))
	}
	for i := len(texts) - 2; i >= 0; i-- {
		w.key("u")
		if string(w.m.text) != texts[i] {
			t.Fatalf("undone to step %d: another text", i)
		}
	}
	if w.key("u"); !w.m.bad || w.m.here() != "vehicle.mass" {
		t.Errorf("nothing more to undo: said %q at %s", w.m.said, w.m.here())
	}
	for i := 1; i < len(texts); i++ {
		w.key("r")
		if string(w.m.text) != texts[i] {
			t.Fatalf("again to step %d: another text", i)
		}
	}
	w.key("u")
	w.to("vehicle.mass")
	w.enter("3 kg")
	if w.key("r"); !w.m.bad {
		t.Error("a new change keeps what was undone")
	}
}

// A value that cannot be read stays in the open field with the words that
// check would use, and the text is as it was.
func TestARefusedValueSaysWhyAsTheFileWould(t *testing.T) {
	for key, value := range map[string]string{"site.headwind": "2", "vehicle.mass": "3 m", "firing.margin": "1.2", "guide.kind": "rope",
		"motor[1].igniter": "other", "motor[1].curve": "builtin:plateau-z", "firing.lead.gauge": "1.5", "firing.nulled": "perhaps", "vehicle.drag_coefficient": "much"} {
		w := newWorld(t)
		before := string(w.m.text)
		w.to(key)
		w.enter(value)
		if w.m.field == nil || w.m.field.wrong == "" || string(w.m.text) != before {
			t.Errorf("%s = %s was taken", key, value)
			continue
		}
		// The same value written into the file by hand.
		old := w.m.rows[w.m.at].entry.Value
		bad := strings.Replace(before, `"`+old+`"`, `"`+value+`"`, 1)
		if bad != before && key != "motor[1].igniter" {
			_, err := sheet.Parse("x", []byte(bad), sheet.CurvesBeside(filepath.Join(folder, "sheet.toml")))
			if err == nil || !strings.Contains(err.Error(), w.m.field.wrong) {
				t.Errorf("%s = %s: the form says %q, check says %v", key, value, w.m.field.wrong, err)
			}
		}
		if w.key("backspace"); w.m.field.wrong != "" {
			t.Errorf("%s: the reason stays while one types", key)
		}
		if w.key("esc"); w.m.field != nil || string(w.m.text) != before {
			t.Errorf("%s: esc does not leave it as it was", key)
		}
	}
}

func TestLateAnswersOfAnOlderTextAreDropped(t *testing.T) {
	w := newWorld(t)
	w.settle()
	if !w.m.newest.isGo() {
		t.Fatal("the scenario is no go")
	}
	old := w.asked[len(w.asked)-1]
	w.to("site.clear_length")
	w.enter("100 m")
	w.answer(old)
	if w.m.newest.both() || len(w.m.newest.ranges) > 0 || w.m.newest.counts != nil || !w.m.working {
		t.Error("an answer of the text before was taken")
	}
	if word, _, _ := w.m.verdict(); word != "" {
		t.Errorf("a verdict without a prediction: %s", word)
	}
	w.settle()
	if word, _, rest := w.m.verdict(); word != "NO-GO" || !strings.Contains(rest, "stop inside the cleared length") || w.m.working {
		t.Errorf("%s %s", word, rest)
	}
}

// GO is said only when run and circuit are both a go.
func TestGoNeedsRunAndCircuit(t *testing.T) {
	yes, no := &prediction.Run{Go: true}, &prediction.Run{}
	on, off := &prediction.Circuit{Go: true}, &prediction.Circuit{}
	for _, c := range []struct {
		run     *prediction.Run
		circuit *prediction.Circuit
		want    string
	}{{yes, on, "GO"}, {yes, off, "NO-GO"}, {no, on, "NO-GO"}, {yes, nil, ""}, {nil, on, ""}} {
		w := newWorld(t)
		w.send(Predicted{w.m.number, c.run, c.circuit, nil})
		if word, _, _ := w.m.verdict(); word != c.want {
			t.Errorf("%v, %v: %q, want %q", c.run, c.circuit, word, c.want)
		}
	}
	w := newWorld(t)
	w.send(Predicted{w.m.number, yes, on, nil})
	w.send(Checked{w.m.number, sheet.Faults{{Key: "vehicle.mass", Found: "a", Expected: "b"}}})
	if word, _, _ := w.m.verdict(); word != "FAULTS" {
		t.Errorf("faults: %q", word)
	}
}

// Each change asks for everything anew, m for its own entry before what is
// missing, and not for the prediction that is there.
func TestWhatIsAskedFor(t *testing.T) {
	w := newWorld(t)
	first := w.asked[0]
	if len(w.asked) != 1 || !first.Predict || !first.Motors || !slices.Equal(first.Keys, standing) || string(first.Text) != string(w.m.text) {
		t.Errorf("at the start: %+v", first)
	}
	w.settle()
	w.to("stop[1].after")
	w.key("m")
	if got := w.asked[len(w.asked)-1]; got.Predict || got.Motors || !slices.Equal(got.Keys, []string{"stop[1].after"}) || got.Number != first.Number {
		t.Errorf("m: %+v", got)
	}
	w.settle()
	if got := w.m.newest.ranges["stop[1].after"]; !got.Range.Found {
		t.Errorf("%+v", got)
	}
	w.enter("2.5 s")
	if got := w.asked[len(w.asked)-1]; !got.Predict || !got.Motors || got.Number == first.Number {
		t.Errorf("after a change: %+v", got)
	}
	n := len(w.asked)
	w.enter("2.5 s")
	if w.to("site.headwind"); len(w.asked) != n {
		t.Error("work is asked for when nothing has changed")
	}
	w.to("site.pressure")
	if w.key("m"); !w.m.bad || len(w.asked) != n {
		t.Error("m on an entry that is not there")
	}
}

// Every fault of a sheet stands at a row, with its words.
func TestFaultsStandAtTheirEntries(t *testing.T) {
	for _, c := range []struct{ set, value, out, at string }{
		{"site.crew_distance", "75 m", "", "post[1].distance"},
		{"igniter.bridge.no_fire", "0.9 A", "", "igniter.bridge.all_fire"},
		{"firing.lead.area", "2 mm2", "", "firing.lead.gauge"},
		{"", "", "site.clear_length", "site.clear_length"},
		{"", "", "crew", "crew"},
		{"", "", "firing", "firing"},
		{"motor[1].curve", "none.csv", "", "motor[1].curve"},
	} {
		w := newWorld(t)
		text := w.m.text
		var err error
		if c.set != "" {
			text, err = sheet.Set(text, c.set, c.value)
		} else {
			text, err = sheet.Remove(text, c.out)
		}
		if err != nil {
			t.Fatal(err)
		}
		w = openWorld(t, text)
		w.settle()
		if len(w.m.newest.faults) == 0 {
			t.Fatalf("%+v: no fault", c)
		}
		w.key("home", "f")
		got := ""
		for i := range w.m.rows {
			if w.m.rows[i].fault != "" && got == "" {
				got = w.m.key(&w.m.rows[i])
			}
		}
		if got != c.at {
			t.Errorf("%+v: the fault stands at %q", c, got)
		}
		if r := w.m.rows[w.m.at]; r.fault == "" {
			t.Errorf("%+v: f goes to %s, without a fault", c, w.m.here())
		}
		if word, _, _ := w.m.verdict(); word != "FAULTS" {
			t.Errorf("%+v: %s", c, word)
		}
	}
}

func TestAddingAndTakingOut(t *testing.T) {
	w := newWorld(t)
	before := string(w.m.text)
	w.to("motor[2].lateral")
	w.key("a")
	if w.m.here() != "motor[5].curve" || !strings.Contains(string(w.m.text), "\n\n[[motor]]\n") {
		t.Errorf("at %s", w.m.here())
	}
	w.to("motor[5]")
	w.key("d")
	if string(w.m.text) != before {
		t.Error("adding and taking out is not as before")
	}
	w.to("stop[1].kind")
	w.key("a", "down", "down", "enter")
	if w.m.here() != "stop[3].name" || w.m.rows[w.m.at].entry.Value != "chute" {
		t.Errorf("at %s: %+v, said %q", w.m.here(), w.m.rows[w.m.at], w.m.said)
	}
	w.key("u")
	w.to("stop[1].kind")
	w.key("a", "enter")
	if w.m.rows[w.m.at].entry.Value != "tail chute 2" {
		t.Errorf("one like this: %+v", w.m.rows[w.m.at])
	}
	w.key("u")
	w.to("guide")
	if w.key("d"); strings.Contains(string(w.m.text), "[guide]") {
		t.Error("the guide is still there")
	}
	w.to("guide")
	if w.key("enter"); w.m.here() != "guide.kind" || !strings.Contains(string(w.m.text), "\n[guide]\n") {
		t.Errorf("at %s", w.m.here())
	}
	w.to("crew.spotters[1]")
	if w.key("a"); w.m.here() != "crew.spotters[3]" {
		t.Errorf("at %s", w.m.here())
	}
	w.to("site")
	if w.key("a"); !w.m.bad {
		t.Error("a second site was added")
	}
	w.to("site.pressure")
	if w.key("d"); !w.m.bad {
		t.Error("what is not there was taken out")
	}
	w.to("limits.stop_margin")
	if w.key("d"); w.m.rows[w.m.at].entry.There || w.m.here() != "limits.stop_margin" {
		t.Errorf("at %s", w.m.here())
	}
}

func TestChoicesAreWhatTheEntryTakes(t *testing.T) {
	w := newWorld(t)
	for key, want := range map[string]string{"motor[1].igniter": "bridge", "post[1].name": "south gate", "motor[1].curve": "builtin:neutral-d",
		"guide.kind": "rail", "stop[1].kind": "arrest-bed", "firing.nulled": "true", "step[1].role": "hook-up person"} {
		w.to(key)
		w.key("enter")
		if !slices.Contains(w.m.field.choices, want) {
			t.Errorf("%s: %q", key, w.m.field.choices)
		}
		w.key("esc")
	}
	w.to("motor[1].curve")
	w.key("enter")
	if w.m.field.choices[0] != "curves/amber-d.csv" {
		t.Errorf("the sheet's own curve does not come first: %q", w.m.field.choices)
	}
	w.key("up", "enter")
	if got := w.m.rows[w.m.at].entry.Value; got != "builtin:regressive-g" {
		t.Errorf("the last choice: %q", got)
	}
}

// Keys that a terminal hands over together are all taken: what one asks for
// does not swallow the next.
func TestKeysReadTogetherAreAllTaken(t *testing.T) {
	w := newWorld(t)
	w.to("vehicle.mass")
	w.enter("1.9 kg")
	w.key("sq")
	if !w.quit || !strings.Contains(string(w.disk), "1.9 kg") {
		t.Errorf("left %v, on disk %v", w.quit, strings.Contains(string(w.disk), "1.9 kg"))
	}
}

func TestFind(t *testing.T) {
	w := newWorld(t)
	for word, want := range map[string]string{"wheelb": "vehicle.wheelbase", "no_fire": "igniter.bridge.no_fire", "transmitter 2": "radio[2]"} {
		w.key("home", "/", "ctrl+u", word, "enter")
		if w.m.here() != want {
			t.Errorf("%s: %s", word, w.m.here())
		}
	}
	w.key("/", "ctrl+u", "zeppelin", "enter")
	if w.m.field == nil || w.m.field.wrong == "" {
		t.Error("nothing said of a word that is not there")
	}
}

func TestFieldKeys(t *testing.T) {
	w := newWorld(t)
	w.to("title")
	w.key("enter", "ctrl+u", "Wire", "home", "The ", "end", " 2", "left", "delete", "3", "enter")
	if got := w.m.rows[w.m.at].entry.Value; got != "The Wire 3" {
		t.Errorf("%q", got)
	}
	w.key("enter")
	w.send(tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune(strings.Repeat("x", 300) + "\x1b[2J"), Paste: true})
	if n := len(w.m.field.text); n > longest {
		t.Errorf("%d characters", n)
	}
	w.key("esc")
	before := string(w.m.text)
	w.send(tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune("ddddsq"), Paste: true})
	if string(w.m.text) != before || w.quit {
		t.Error("a paste was taken for keys")
	}
}

func TestChangesInWords(t *testing.T) {
	w := newWorld(t)
	before := w.m.text
	w.to("vehicle.mass")
	w.enter("1.9 kg")
	w.to("limits.stop_margin")
	w.key("d")
	w.to("site.pressure")
	w.enter("978 hPa")
	got := Changes(before, w.m.text)
	want := []string{"limits.stop_margin: 25 m is out", "site.pressure: 978 hPa is new", "vehicle.mass: 1.85 kg is now 1.9 kg"}
	slices.Sort(got)
	if !slices.Equal(got, want) {
		t.Errorf("%q", got)
	}
}

func TestTextThatIsNoTOMLIsRefused(t *testing.T) {
	_, err := New(Config{Text: []byte("a = = 1\n")})
	var faults sheet.Faults
	if !errors.As(err, &faults) {
		t.Errorf("%v", err)
	}
}

// Whatever is pressed, the screen keeps its size, the text stays TOML, the
// cursor stays on a row, and nothing is written but by s.
func TestRandomKeys(t *testing.T) {
	t.Parallel()
	start := newWorld(t).m.text
	names := []string{"up", "down", "left", "right", "pgdown", "pgup", "home", "end", "enter", "enter", "esc", "a", "d", "u", "r", "m", "?", "t", "f", "/",
		"backspace", "ctrl+u", "tab", "1", "2 kg", "30 m", "wire", "ä", "漢", "delete"}
	rapid.Check(t, func(t *rapid.T) {
		w := &world{disk: start}
		m, err := New(Config{Path: "s.toml", Text: start, Theme: "plain", Work: func(work Work) { w.asked = append(w.asked, work) },
			Save: func(_, now []byte, _ bool) error { w.disk = now; return nil }})
		if err != nil {
			t.Fatal(err)
		}
		w.m = m
		m.Init()
		for range rapid.IntRange(1, 60).Draw(t, "n") {
			w.key(rapid.SampledFrom(names).Draw(t, "key"))
			if m.at < 0 || m.at >= len(m.rows) {
				t.Fatalf("the cursor is at %d of %d", m.at, len(m.rows))
			}
		}
		for _, size := range [][2]int{{80, 24}, {121, 40}, {20, 5}, {1, 1}} {
			w.send(tea.WindowSizeMsg{Width: size[0], Height: size[1]})
			golden.Fits(t, m.View(), size[0], size[1])
		}
		if _, err := sheet.Entries(m.text); err != nil {
			t.Fatalf("%v\n%s", err, m.text)
		}
		if string(w.disk) != string(start) {
			t.Fatal("written unasked")
		}
	})
}
