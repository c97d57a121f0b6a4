package sheet

import (
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestAddPutsATableBehindTheLastOfItsName(t *testing.T) {
	got, key, err := Add([]byte(small), "motor[1]", "")
	if err != nil || key != "motor[3]" {
		t.Fatalf("%s, %v", key, err)
	}
	want := strings.Replace(small, "# right\n", "# right\n\n[[motor]]\nlateral = \"-30 mm\" # left\n", 1)
	if string(got) != want {
		t.Errorf("got\n%s", got)
	}
}

// What is added can be read, and taking it out again gives the text before.
func TestAddAndRemoveAreOpposites(t *testing.T) {
	full := readFull(t)
	for _, c := range []struct{ group, kind, key string }{
		{"motor[2]", "", "motor[4]"}, {"motor", "", "motor[4]"}, {"stop[5]", "", "stop[6]"}, {"radio[1]", "", ""}, {"step[1]", "", ""},
		{"stop", "chute", "stop[6]"}, {"stop", "wheel-brake", "stop[6]"}, {"stop", "weighted-line", "stop[6]"},
		{"stop", "elastic-line", "stop[6]"}, {"stop", "arrest-bed", "stop[6]"}, {"crew", "", ""},
		{"igniter.bridge", "", "igniter.bridge-2"},
	} {
		added, key, err := Add(full, c.group, c.kind)
		if err != nil || c.key != "" && key != c.key {
			t.Errorf("%s %s: %q, %v", c.group, c.kind, key, err)
			continue
		}
		if _, err := parseFull(added); err != nil {
			t.Errorf("%s %s cannot be read:\n%v", c.group, c.kind, err)
		}
		back, err := Remove(added, key)
		if err != nil || string(back) != string(full) {
			t.Errorf("%s %s: taken out again: %v\n%s", c.group, c.kind, err, back)
		}
	}
}

// Each example makes a sheet that can be read, where there was none.
func TestExamplesCanBeRead(t *testing.T) {
	full := string(readFull(t))
	for _, table := range []string{"guide", "motor", "pause", "radio", "step", "post"} {
		data := []byte(full)
		for {
			groups, err := Outline(data)
			if err != nil {
				t.Fatal(err)
			}
			key := ""
			for _, g := range groups {
				if g.Table == table && g.There {
					key = g.Key
				}
			}
			if key == "" {
				break
			}
			if data, err = Remove(data, key); err != nil {
				t.Fatal(err)
			}
		}
		added, key, err := Add(data, table, "")
		if err != nil {
			t.Errorf("%s: %v", table, err)
			continue
		}
		if table == "post" {
			if added, err = Set(added, key+".name", "north gate"); err != nil {
				t.Errorf("%s: %v", table, err)
			}
		}
		if _, err := parseFull(added); err != nil {
			t.Errorf("%s: %v", table, err)
		}
	}
}

func TestAddRefuses(t *testing.T) {
	for _, c := range []struct{ group, kind, want string }{
		{"guide", "", "one guide already"}, {"site", "", "no example"}, {"stop", "anchor", "no example"},
	} {
		if text, _, err := Add(readFull(t), c.group, c.kind); err == nil || text != nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s %s: %v, want %s", c.group, c.kind, err, c.want)
		}
	}
	if _, _, err := Add([]byte("[crew]\nspotters = []\n"), "crew", ""); err == nil {
		t.Error("a post was added to an empty list")
	}
}

func TestRemoveTakesTheLineAndNothingElse(t *testing.T) {
	for _, c := range []struct{ key, from, to string }{
		{"site.headwind", "  headwind = \"2 m/s\"      # against\n", ""},
		{"firing.lead.gauge", "{ gauge = 18, length", "{ length"},
		{"firing.lead.length", "18, length = \"20 m\" }", "18 }"},
		{"motor[1]", "[[motor]]\nlateral = \"-30 mm\" # left\n", ""},
		{"motor[2]", "[[motor]]\nlateral = \"30 mm\"  # right\n\n", "\n"},
		{"crew.spotters[1]", "\"north\", # first\n  \"south\"", "\"south\""},
		{"crew.spotters[2]", "\"north\", # first\n  \"south\",", "\"north\","},
		{"crew", "\n[crew]\nspotters = [\n  \"north\", # first\n  \"south\",\n]\n", ""},
	} {
		got, err := Remove([]byte(small), c.key)
		if strings.Count(small, c.from) != 1 {
			t.Fatalf("%q stands %d times", c.from, strings.Count(small, c.from))
		}
		if want := strings.Replace(small, c.from, c.to, 1); err != nil || string(got) != want {
			t.Errorf("%s: %v, got\n%s\nwant\n%s", c.key, err, got, want)
		}
	}
	// The last key in braces takes the braces along.
	text, err := Remove([]byte(small), "firing.lead.gauge")
	if err == nil {
		text, err = Remove(text, "firing.lead.length")
	}
	if err != nil || strings.Contains(string(text), "lead") {
		t.Errorf("%v\n%s", err, text)
	}
}

func TestRemoveRefuses(t *testing.T) {
	for _, key := range []string{"site.colour", "motor[3]", "motor", "", "crew.spotters[3]"} {
		if got, err := Remove([]byte(small), key); err == nil || got != nil {
			t.Errorf("%q was removed", key)
		}
	}
	if _, err := Remove([]byte("[crew]\nspotters = [\"a\"]\n"), "crew.spotters[1]"); err == nil {
		t.Error("the only post was removed")
	}
	// Tables of one name that do not stand together.
	apart := "[[motor]]\nheight = \"1 mm\"\n[site]\nheadwind = \"1 m/s\"\n[motor.branch_lead]\ngauge = 20\n"
	if got, err := Remove([]byte(apart), "motor[1]"); err == nil || !strings.Contains(err.Error(), "change it in the text") {
		t.Errorf("%v\n%s", err, got)
	}
}

// Whatever is removed, every other value stays what it is.
func TestRemoveKeepsTheRest(t *testing.T) {
	data := readFull(t)
	entries, err := Entries(data)
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		text, gone := data, 0
		for range rapid.IntRange(1, 4).Draw(t, "times") {
			list, err := Entries(text)
			if err != nil {
				t.Fatal(err)
			}
			e := rapid.SampledFrom(list).Draw(t, "entry")
			if next, err := Remove(text, e.Key); err == nil {
				text, gone = next, gone+1
			}
		}
		left, err := Entries(text)
		if err != nil || len(left) != len(entries)-gone {
			t.Fatalf("%d of %d left after %d: %v", len(left), len(entries), gone, err)
		}
	})
}

// A key in braces that are not there makes them.
func TestSetMakesBraces(t *testing.T) {
	got, err := Set([]byte(small), "motor[1].branch_lead.gauge", "24")
	if want := strings.Replace(small, "# left\n", "# left\nbranch_lead = { gauge = 24 }\n", 1); err != nil || string(got) != want {
		t.Errorf("%v\n%s", err, got)
	}
}

func TestSaveOverRefusesAFileThatHasChanged(t *testing.T) {
	dir := t.TempDir()
	path, link := filepath.Join(dir, "sheet.toml"), filepath.Join(dir, "link.toml")
	write := func(text string) {
		t.Helper()
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	holds := func(want string) {
		t.Helper()
		if got, err := os.ReadFile(path); err != nil || string(got) != want {
			t.Errorf("got %q, %v, want %q", got, err, want)
		}
	}
	write("one")
	if err := SaveOver(path, []byte("one"), []byte("two")); err != nil {
		t.Fatal(err)
	}
	holds("two")
	if err := SaveOver(path, []byte("one"), []byte("three")); !errors.Is(err, ErrChanged) {
		t.Errorf("%v, want %v", err, ErrChanged)
	}
	holds("two")
	if err := os.Symlink("sheet.toml", link); err == nil { // Windows wants a right for it
		if err := SaveOver(link, []byte("two"), []byte("four")); err != nil {
			t.Error(err)
		}
		holds("four")
		if info, err := os.Lstat(link); err != nil || info.Mode()&os.ModeSymlink == 0 {
			t.Errorf("the link is gone: %v", err)
		}
	}
	if err := SaveOver(filepath.Join(dir, "none.toml"), nil, []byte("x")); err == nil {
		t.Error("a file that is not there was written over")
	}
	if info, err := os.Stat(path); err != nil || runtime.GOOS != "windows" && info.Mode().Perm() != 0o600 {
		t.Errorf("the rights were widened: %v", err)
	}
	if names, err := filepath.Glob(filepath.Join(dir, ".*")); err != nil || len(names) != 0 {
		t.Errorf("left behind: %v %v", names, err)
	}
}
