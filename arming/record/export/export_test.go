package export

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"pgregory.net/rapid"

	"holdline/checklist/sheet/unit"
)

func value(v float64) *float64 { return &v }

// document is a small one with something in every part.
func document() *Document {
	at := Stamp{time.Date(2026, 5, 9, 13, 4, 5, 0, time.UTC)}
	return &Document{Format: Format, Version: Version, Record: "plover.jsonl", State: "closed", Title: "Plover sled", Mode: "ground box",
		Outcome: "The button was pressed.", Phase: "CLOSED", Opened: at, Ended: at, WaitS: 60, WaitSpeed: 1,
		Waivers:  []Waiver{{At: at, Step: "wind", Value: 6.4, Band: Band{value(-1), value(5), "m/s"}, Why: "gusts", By: "Tomas"}},
		Holds:    []Hold{{At: at, Kind: "HOLD", From: "COUNT", Why: "called", Called: true, Caller: "Nora", Ended: at, End: "resumed by Tomas"}},
		People:   []Person{{Role: "spotter", Post: "north gate", Name: "Nora", At: at}},
		Checks:   []Check{{Step: "mass", Value: value(1.452), Band: Band{value(1.4), value(1.5), "kg"}, By: "Ines", Means: "typed", At: at, AgeS: value(754), Standing: Stood, Answers: 1}},
		Proofs:   []Proof{{From: at, To: at, Why: "the button was closed"}},
		Openings: []Opening{{At: at, Names: []string{"Mika"}, KeyWith: "Mika", Phase: "SETUP", Ended: at, End: "CLOSED: 1 counted"}},
		Attempts: []Attempt{{ArmedBy: "Ines", EntryAt: at, CodeAt: at, PressAt: at, PulseS: value(0.4), SheetPulse: value(1), EndAt: at, End: "button let go"}},
		Waits:    []Wait{{At: at, Why: "button let go", LengthS: 60, Speed: 1, Restarts: []Restart{{at, "channel 2 changed"}}, EndAt: at, End: "MAKESAFE by order"}},
		Motors:   []Motor{{Motor: 1, Seen: "stayed dark", SeenBy: "Nora", SeenAt: at, Fate: "LIVE, dark", Live: true}},
		Result:   &Result{At: at, RestM: value(100)},
		Forecast: &Forecast{At: at, Go: true, RestM: Spread{110, 105, 111, 118}, SpeedMps: Spread{31, 30, 31, 32},
			Limits: []Limit{{Name: "deceleration", Value: value(90), Limit: value(80), Unit: "m/s2", Left: value(-10)}},
			Chart:  &Chart{ClearLengthM: 200, StopMarginM: 10, Speed: []Point{{0, 0}, {40, 31}, {110, 0}}, Band: []Range{{0, 0, 0}, {40, 30, 32}, {118, 0, 1}}}},
		Igniters: []Igniter{{Motor: 1, ReadingOhm: value(1.48), Band: Band{value(1), value(2), "ohm"}, WorstA: value(3.1), Margin: value(2)}},
		Used:     []Used{{What: "motors", Said: "as answered: four", Brought: value(6), Used: value(4), Left: value(1), Explained: "one cracked"}}, Notes: []Note{{at, "a note"}},
		Signatures: []Signature{{File: "plover.jsonl.sig", State: "ok", Fingerprint: "SHA256:abc"}}, Verify: []string{"holdline verify plover.jsonl"}, LastHash: strings.Repeat("5e", 32)}
}

func TestTheSameDocumentGivesTheSameBytes(t *testing.T) {
	for _, ending := range Endings {
		first, err := Write(document(), "x"+strings.ToUpper(ending), unit.Metric)
		second, err2 := Write(document(), "x"+ending, unit.Metric)
		if err != nil || err2 != nil || !bytes.Equal(first, second) || len(first) < 500 {
			t.Errorf("%s: %d bytes, %v, %v", ending, len(first), err, err2)
		}
	}
	if _, err := Write(document(), "page.docx", unit.Metric); err == nil || Known("page.docx") || Known("pdf") {
		t.Errorf("an unknown ending: %v", err)
	}
}

// Units are the reader's on paper. 1 lb = 0.45359237 kg, 1 mile = 1609.344 m,
// 1 ft = 0.3048 m exactly (international yard and pound agreement, 1959).
func TestPeopleReadTheirOwnUnits(t *testing.T) {
	page := string(Markdown(document(), unit.US))
	for _, want := range []string{"3.201 lb", "3.086 to 3.307 lb", "14.32 mph, band -2.237 to 11.18 mph", "predicted 360.9 ft", "1.48 ohm", "BELOW that range"} {
		if !strings.Contains(page, want) {
			t.Errorf("%q is not on the page", want)
		}
	}
	for _, form := range []func(*Document) ([]byte, error){JSON, CSV} {
		out, err := form(document())
		if err != nil || !strings.Contains(string(out), "1.452") {
			t.Errorf("JSON and CSV are SI: %v", err)
		}
	}
}

func TestEachPartIsOnThePage(t *testing.T) {
	page := string(Markdown(document(), unit.Metric))
	for _, want := range []string{"# REAL: Plover sled", "wind at 6.4 m/s, band -1 to 5 m/s: gusts. Waived by Tomas.", "HOLD from COUNT: called. Called by Nora.",
		"spotter north gate: Nora", "| mass | 1.452 kg | 1.4 to 1.5 kg | 13 min | Ines | typed |", "failed, the button was closed", "Mika forward, the key with Mika",
		"Pulse 0.4 s, SHORTER than the sheet's 1 s", "From full again 13:04:05: channel 2 changed. It did not run out.", "stayed dark (Nora, 13:04:05) | not inspected | LIVE, dark",
		"NO-GO: deceleration", "| 1 | 1.48 ohm | 1 to 2 ohm | 3.1 A | 2 |", "Motors: 6 brought, 4 used, 1 left; 1 NOT ACCOUNTED FOR, explained: one cracked; as answered: four", "Signed (.sig): ok, SHA256:abc", strings.Repeat("5e", 32)} {
		if !strings.Contains(page, want) {
			t.Errorf("%q is not in\n%s", want, page)
		}
	}
}

// Every table row of the CSV form has all columns and says what it is of.
func TestCSVIsOneTable(t *testing.T) {
	d := document()
	d.Practice, d.NotValid = true, []string{"changed: line 3"}
	out, err := CSV(d)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(out)).ReadAll()
	if err != nil || len(rows) < 40 || !slices.Equal(rows[0], csvHead) {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	for _, r := range rows[1:] {
		if r[0] != "PRACTICE" || r[1] != "NOT VALID" || r[2] == "" {
			t.Errorf("row %q", r)
		}
	}
}

// JSON comes back as it went, but for what is finer than a thousandth of a
// second.
func TestJSONComesBack(t *testing.T) {
	out, err := JSON(document())
	if err != nil {
		t.Fatal(err)
	}
	var back Document
	if err := json.Unmarshal(out, &back); err != nil {
		t.Fatal(err)
	}
	if want := document(); !reflect.DeepEqual(&back, want) {
		t.Errorf("got %+v, want %+v", &back, want)
	}
	var empty Document
	if out, err = JSON(&empty); err != nil || !strings.Contains(string(out), `"opened": null`) {
		t.Errorf("a time that is none: %s, %v", out, err)
	}
}

// Every form says in words what it is of: the word is in the file itself, not
// only in its name.
func TestEveryFormSaysPractice(t *testing.T) {
	for _, practice := range []bool{true, false} {
		d := document()
		d.Practice = practice
		word, other := "REAL", "PRACTICE"
		if practice {
			word, other = other, word
		}
		for _, ending := range []string{".md", ".json", ".csv"} {
			out, err := Write(d, "x"+ending, unit.Metric)
			if err != nil || !strings.Contains(string(out), word) || strings.Contains(string(out), other) {
				t.Errorf("%s of a practice record %v: %v\n%s", ending, practice, err, out)
			}
		}
		var head struct{ Kind string }
		out, err := JSON(d)
		if err != nil || json.Unmarshal(out, &head) != nil || head.Kind != word {
			t.Errorf("JSON: kind %q, want %q", head.Kind, word)
		}
	}
	d := document()
	d.Practice = true
	for _, line := range strings.Split(string(Markdown(d, unit.Metric)), "\n") {
		if strings.HasPrefix(line, "#") && !strings.Contains(line, "PRACTICE") {
			t.Errorf("the heading %q does not say PRACTICE", line)
		}
	}
}

// Counts stand as numbers, and one that does not add up says so.
func TestCountsAreTold(t *testing.T) {
	for _, c := range []struct {
		used Used
		want string
	}{
		{Used{What: "motors", Brought: value(6), Used: value(4), Left: value(2)}, "6 brought, 4 used, 2 left"},
		{Used{What: "motors", Brought: value(6), Used: value(4), Left: value(3)}, "6 brought, 4 used, 3 left; 1 MORE THAN BROUGHT"},
		{Used{What: "motors", Brought: value(6)}, "6 brought, used NOT COUNTED, left NOT COUNTED"},
		{Used{What: "motors", Said: "four"}, ""},
	} {
		if got := c.used.counts(); got != c.want {
			t.Errorf("got %q, want %q", got, c.want)
		}
	}
	rows := map[string]string{}
	for _, f := range facts(document()) {
		if f.section == "consumables" {
			rows[f.item] = number(f.value)
		}
	}
	for item, want := range map[string]string{"motors brought": "6", "motors used": "4", "motors left": "1", "motors not accounted for": "1"} {
		if rows[item] != want {
			t.Errorf("CSV: %s is %q, want %q", item, rows[item], want)
		}
	}
}

// Holds and waivers stand in full, whatever pages that takes; long answers give
// way first.
func TestHoldsAreNeverShortened(t *testing.T) {
	d := document()
	d.Holds = nil
	for k := range 220 {
		d.Holds = append(d.Holds, Hold{Kind: "HOLD", From: "COUNT", Why: fmt.Sprintf("reason %d: %s", k, strings.Repeat("word ", 20))})
	}
	d.Checks = slices.Repeat([]Check{{Step: "ground", Seen: strings.Repeat("grass ", 60)}}, 90)
	m, err := newMeasure()
	if err != nil {
		t.Fatal(err)
	}
	l := arrange(&page{Document: d}, m, twoPages[len(twoPages)-1], true)
	var text strings.Builder
	for n, s := range l.pages {
		for _, m := range regexp.MustCompile(`<text x="[^"]*" y="([^"]*)".*>(.*)</text>`).FindAllStringSubmatch(string(s.SVG()), -1) {
			text.WriteString(m[2] + " ")
			if y, err := strconv.ParseFloat(m[1], 64); err != nil || y > paperHeight {
				t.Fatalf("drawn at %v on page %d: %v", m[1], n+1, err)
			}
		}
	}
	for k := range 220 {
		if !strings.Contains(text.String(), fmt.Sprintf("reason %d: ", k)) {
			t.Errorf("hold %d is not on the pages", k)
		}
	}
	if got := strings.Count(text.String(), "word"); got != 220*20 {
		t.Errorf("%d of %d words of the holds", got, 220*20)
	}
	if !strings.Contains(text.String(), "Long answers are cut here") || strings.Count(text.String(), "…") < 90 {
		t.Error("long answers were not cut, or the page does not say so")
	}
	if _, err := PDF(d, unit.Metric); err != nil {
		t.Error(err)
	}
}

// Wrapped text loses nothing and never stands past its column.
func TestWrapKeepsEveryWordInsideItsColumn(t *testing.T) {
	m, err := newMeasure()
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringOfN(rapid.RuneFrom([]rune("abc WXYZ äΩж .,-/\t漢😀\u202e")), 0, 300, -1).Draw(t, "text")
		width := rapid.Float64Range(12, 400).Draw(t, "width")
		lines := m.wrap(text, width, 7, false)
		joined := ""
		for _, line := range lines {
			if m.width(line, 7, false) > width+1e-9 && utf8.RuneCountInString(line) > 1 {
				t.Fatalf("%q is wider than %v", line, width)
			}
			joined += line
		}
		squeeze := func(s string) string { return strings.Join(strings.Fields(s), "") }
		if squeeze(joined) != squeeze(m.known(text)) {
			t.Fatalf("got %q, want %q", squeeze(joined), squeeze(m.known(text)))
		}
	})
}

// Whatever is typed, the Markdown form stays one line for one answer, and no
// form holds a character that acts on its reader.
func TestTextsActOnNobody(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		words := rapid.StringN(0, 40, -1).Draw(t, "words")
		d := document()
		d.Checks[0].Seen, d.Title = words, words
		lines := strings.Count(string(Markdown(document(), unit.Metric)), "\n")
		page := string(Markdown(d, unit.Metric))
		if got := strings.Count(page, "\n"); got != lines {
			t.Fatalf("%d lines, want %d", got, lines)
		}
		table, err := CSV(d)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range page + string(table) {
			if r < ' ' && r != '\n' || r == 0x7f || r >= 0x80 && r < 0xa0 || r == '\u202e' || r == '\u2028' {
				t.Fatalf("character %U", r)
			}
		}
		if _, err := csv.NewReader(bytes.NewReader(table)).ReadAll(); err != nil {
			t.Fatal(err)
		}
	})
}

func TestSmallFigures(t *testing.T) {
	for v, want := range map[float64]string{0: "0", 0.04999: "0.04999", 123456: "123500", 1e-9: "0.000000001", -2.5: "-2.5", math.Inf(1): "no value"} {
		if got := short(v, 4); got != want {
			t.Errorf("%v: got %q, want %q", v, got, want)
		}
	}
	for v, want := range map[float64]string{0.04: "0.0 s", 9.84: "9.8 s", 59.6: "60 s", 119: "119 s", 754: "13 min", 43200: "12 h"} {
		if got := lasts(v); got != want {
			t.Errorf("%v: got %q, want %q", v, got, want)
		}
	}
}
