package report

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"flag"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"holdline/arming"
	"holdline/arming/record"
	"holdline/arming/record/export"
	"holdline/checklist"
	"holdline/checklist/sheet/unit"
)

var update = flag.Bool("update", false, "write the golden files; look at the difference before you commit it")

func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if string(got) != string(want) {
		t.Errorf("%s differs; run: go test ./arming/record/report -update, and look at the difference", name)
	}
}

func write(t *testing.T, d *export.Document, name string, sys unit.System) []byte {
	t.Helper()
	out, err := export.Write(d, name, sys)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// look leaves a page where it can be looked at.
func look(t *testing.T, d *export.Document, name string) {
	t.Helper()
	page := write(t, d, "page.pdf", unit.Metric)
	if !bytes.Equal(page, write(t, d, "page.pdf", unit.Metric)) {
		t.Error("the same document gave two pages")
	}
	if dir := os.Getenv("PAGES_FOLDER"); dir != "" {
		if err := os.WriteFile(filepath.Join(dir, name), page, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// has demands that each text stands in the Markdown form.
func has(t *testing.T, d *export.Document, want ...string) {
	t.Helper()
	page := string(write(t, d, "page.md", unit.Metric))
	for _, text := range want {
		if !strings.Contains(page, text) {
			t.Errorf("%q is not on the page", text)
		}
	}
	if t.Failed() {
		t.Log(page)
	}
}

func TestANormalFiring(t *testing.T) {
	t.Parallel()
	path := whole(t, normal())
	r := verified(t, path)
	if r.Status != record.OK {
		t.Fatalf("%v %+v", r.Status, r.Findings)
	}
	d := Build(r)
	if len(d.NotValid)+len(d.Warnings) > 0 || len(d.Checks) != len(plan(normal()).Steps) {
		t.Errorf("not valid %v, warnings %v, %d checks", d.NotValid, d.Warnings, len(d.Checks))
	}
	for _, c := range d.Checks {
		want := export.Stood
		if c.Phase == checklist.After.String() {
			want = export.AfterFiring
		}
		if c.Standing != want {
			t.Errorf("%s: %q, want %q", c.Step, c.Standing, want)
		}
	}
	for _, name := range []string{"normal.md", "normal.csv", "normal.json"} {
		golden(t, name, write(t, d, name, unit.Metric))
	}
	golden(t, "normal_us.md", write(t, d, "normal_us.md", unit.US))
	look(t, d, "normal.pdf")
}

// Every step and every fact is in the CSV form, one row each, SI.
func TestCSVHasARowForEveryStep(t *testing.T) {
	t.Parallel()
	d := Build(verified(t, whole(t, normal())))
	rows, err := csv.NewReader(bytes.NewReader(write(t, d, "x.csv", unit.US))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	found := map[string][]string{}
	for _, r := range rows[1:] {
		if r[0] != "REAL" || r[1] != "valid" {
			t.Fatalf("row %q does not say what it is", r)
		}
		if r[2] == "check" {
			found[r[3]] = r
		}
	}
	for _, c := range d.Checks {
		if found[c.Step] == nil {
			t.Errorf("no row for %s", c.Step)
		}
	}
	if got, want := found["mass"][4:8], []string{"1.452", "kg", "1.4", "1.5"}; !slices.Equal(got, want) {
		t.Errorf("mass: got %q, want %q", got, want)
	}
}

// PRACTICE is on the page, in every row, and in white on black.
func TestAPracticeFiringSaysSo(t *testing.T) {
	t.Parallel()
	o := normal()
	o.practice, o.waitSpeed, o.motors = true, 6, 2
	d := Build(verified(t, whole(t, o)))
	has(t, d, "# PRACTICE: ", "Wait 60 s, run 6 times as fast: practice only", "60 s run 6 times as fast (practice)", "\nPRACTICE, record ")
	rows := strings.Split(strings.TrimSpace(string(write(t, d, "x.csv", unit.Metric))), "\n")
	for _, row := range rows[1:] {
		if !strings.HasPrefix(row, "PRACTICE,") {
			t.Errorf("row %q", row)
		}
	}
	look(t, d, "practice.pdf")
}

// Without a box the laptop has no contact in the loop, and the page says so.
func TestATypedFiringSaysThatTheLaptopCouldNotStopIt(t *testing.T) {
	t.Parallel()
	o := normal()
	o.mode, o.motors = arming.ModeTyped, 1
	d := Build(verified(t, whole(t, o)))
	has(t, d, "**No permit contact: the laptop could not stop this firing**", "Mode: typed. Box: none.", "The pulse's length was not measured",
		"| continuity/1 | 1.5 ohm | 1 to 2 ohm |", "No contact proof by the box")
	if d.Attempts[0].PermitS != nil {
		t.Error("a permit without a contact")
	}
	look(t, d, "typed.pdf")
}

// A firing with everything that can be told of one: a waiver, HOLDs by a
// person and by the program, a short pulse, a WAIT that began anew, a motor
// that stayed dark, a rest past what was predicted.
func TestAFiringWithHoldsAndWaivers(t *testing.T) {
	t.Parallel()
	d := Build(verified(t, troubled(t, t.TempDir(), normal())))
	if len(d.NotValid) > 0 {
		t.Fatal(d.NotValid)
	}
	golden(t, "troubled.md", write(t, d, "troubled.md", unit.Metric))
	page := string(write(t, d, "troubled.md", unit.Metric))
	waivers, holds, checks := strings.Index(page, "## Waivers"), strings.Index(page, "## Holds"), strings.Index(page, "## What was checked")
	if !(waivers > 0 && waivers < holds && holds < checks) {
		t.Errorf("waivers at %d, holds at %d, checks at %d: waivers stand at the top", waivers, holds, checks)
	}
	has(t, d, "daylight at 45 min, band 60 to 1440 min: one run only, lamps stand at both posts. Waived by "+ranger, "WAIVED by the range officer: daylight",
		"6 brought, 3 used, 2 left; 1 NOT ACCOUNTED FOR, explained: one fell into the water butt", "motors-left: 3 used and 2 left of 6 brought, 1 not accounted for: count again",
		"Igniters: 10 brought, 4 used, 6 left; as answered",
		"HOLD from READY: called. Called by Nora Lind.",
		"resumed by "+ranger, "after 1 wrong", "SHORTER than the sheet's 1 s", "WAIT from RUN: HOLD called after the permit. Nobody said who called it.", "EVERYONE BACK from WAIT: called. Called by Sven Ostrow.",
		"From full again", "stayed dark (Sven Ostrow", "it did not light, igniter taken out", "ABOVE that range")
	if len(d.Holds) != 3 || len(d.Attempts) != 1 || len(d.Waivers) != 1 {
		t.Errorf("%d holds, %d attempts, %d waivers: %s", len(d.Holds), len(d.Attempts), len(d.Waivers), text(t, d.Holds))
	}
	look(t, d, "troubled.pdf")
}

// troubled is a firing in which much went otherwise.
func troubled(t *testing.T, dir string, o setting) string {
	t.Helper()
	f := begin(t, dir, o)
	f.dusk = true
	f.toReady()
	f.must(arming.HoldCall{})
	f.pass(time.Second)
	f.must(arming.HoldBy{Name: "Nora Lind"})
	f.pass(3 * time.Second)
	f.must(arming.Resume{By: ranger})
	f.pass(500 * time.Millisecond)
	f.measureAgain()
	f.phase(arming.Ready)
	f.must(arming.ArmEntry{By: officer})
	f.must(arming.Code{Matched: false})
	f.must(arming.Code{Matched: true})
	f.key(true)
	f.count()
	f.pass(300 * time.Millisecond)
	f.button(true)
	f.igniter = false
	f.pass(300 * time.Millisecond)
	f.must(arming.HoldCall{})
	f.button(false)
	f.pulse(0.35, 1)
	f.key(false)
	f.must(arming.Say{Fact: arming.FactAtRest, By: officer})
	f.must(arming.Observe{Fate: arming.FateSaidLit, By: "Nora Lind"})
	f.must(arming.Observe{Motor: 3, Fate: arming.FateMisfire, By: "Sven Ostrow"})
	f.pass(20 * time.Second)
	f.must(arming.HoldCall{})
	f.must(arming.HoldBy{Name: "Sven Ostrow"})
	f.must(arming.CloseLine{By: ranger, Count: 5})
	f.must(arming.Say{Fact: arming.FactAtRest, By: officer})
	f.pass(61 * time.Second)
	f.battery(0)
	f.must(arming.GoForward{By: ranger, Person: goes})
	for m := range f.p.Motors {
		found := "burned out, case cool"
		if m == 2 {
			found = "it did not light, igniter taken out"
		}
		f.must(arming.Inspect{Motor: m + 1, Found: found, By: goes})
	}
	f.must(arming.Say{Fact: arming.FactShunted, By: goes})
	f.must(arming.CloseLine{By: ranger, Count: 1})
	f.must(arming.Say{Fact: arming.FactFireWatched, By: ranger})
	f.must(arming.Result{RestM: 161, HasRest: true, Words: "ran wide to the left"})
	f.typed("motors-used", 3)
	f.typed("motors-left", 2)
	f.must(arming.Answer{Step: "motors-left", Value: 2, Again: 2, Words: "one fell into the water butt", Means: arming.MeansTyped})
	f.typed("igniters-used", 4)
	f.typed("igniters-left", 6)
	f.must(arming.AllClear{By: ranger})
	return f.close(record.Normal, "", 1, 2)
}

// A firing that stops before the permit, with the key still in.
func TestAScrub(t *testing.T) {
	t.Parallel()
	f := begin(t, t.TempDir(), normal())
	f.toReady()
	f.arm()
	f.must(arming.Scrub{By: ranger, Why: "wind got up"})
	f.key(false)
	f.phase(arming.MakeSafe)
	d := Build(verified(t, f.close(record.Interrupted, "the program ended: the cockpit was left", 1)))
	has(t, d, "**INTERRUPTED: the program ended: the cockpit was left**", "Armed once, no permit was given; 4 of 4 motors count as LIVE",
		"HOLD from ARMED: scrubbed by "+ranger+": wind got up", "NOT MADE SAFE in this record: motor 1 is LIVE", "No result was typed in")
}

// The window ends without a press, and the box shows that no pulse began.
func TestAWindowWithoutAPress(t *testing.T) {
	t.Parallel()
	f := begin(t, t.TempDir(), normal())
	f.toReady()
	f.arm()
	f.count()
	f.pass(f.p.Times.Window + 300*time.Millisecond)
	f.phase(arming.Hold)
	d := Build(verified(t, f.close(record.Interrupted, "ended by the test", 1)))
	has(t, d, "The window opened, the button was not pressed", "the window is over, nobody pressed; the box shows that no pulse began")
	if a := d.Attempts[0]; a.PermitS == nil || *a.PermitS < 9.5 || *a.PermitS > 10.5 {
		t.Errorf("permit %v, want 10 s", a.PermitS)
	}
	if len(d.Holds) != 1 {
		t.Errorf("holds %s", text(t, d.Holds))
	}
}

// A record cut at any byte is exported as far as it goes and says so first; no
// cut makes a page that looks whole, and none makes a panic.
func TestATornRecordIsExportedAsFarAsItGoes(t *testing.T) {
	t.Parallel()
	data, err := os.ReadFile(whole(t, normal()))
	if err != nil {
		t.Fatal(err)
	}
	cuts := 0
	for n := len(data) - 1; n > 1200; n -= len(data)/24 + 7 {
		r := record.VerifyBytes("cut.jsonl", data[:n], nil, record.Options{AnySigner: true})
		d := Build(r)
		if len(d.Warnings) == 0 || !strings.HasPrefix(d.Warnings[0], "TORN: ") && !strings.HasPrefix(d.Warnings[0], "STILL OPEN: ") {
			t.Fatalf("cut at %d: warnings %q", n, d.Warnings)
		}
		if len(d.NotValid) > 0 {
			t.Errorf("cut at %d: %q", n, d.NotValid)
		}
		page := string(write(t, d, "x.md", unit.Metric))
		if !strings.HasPrefix(page, "# REAL: ") || !strings.Contains(page[:400], "**TORN: ") && !strings.Contains(page[:400], "**STILL OPEN: ") {
			t.Fatalf("cut at %d: the page begins %q", n, page[:200])
		}
		if cuts%5 == 0 {
			write(t, d, "x.pdf", unit.Metric)
		}
		cuts++
	}
	if cuts < 20 {
		t.Fatalf("%d cuts", cuts)
	}
}

// A record whose lines were forged, with a good chain and without a signature,
// is NOT VALID because its states do not follow.
func TestAForgedRecordIsNotValid(t *testing.T) {
	t.Parallel()
	data, err := os.ReadFile(whole(t, normal()))
	if err != nil {
		t.Fatal(err)
	}
	forged := rechain(t, data, func(e *record.Entry) {
		e.Body = json.RawMessage(strings.Replace(string(e.Body), `"value":2.1`, `"value":9.9`, 1))
	})
	r := record.VerifyBytes("forged.jsonl", forged, nil, record.Options{AnySigner: true})
	d := Build(r)
	if len(d.NotValid) == 0 || !strings.Contains(d.NotValid[0], "replay differs") {
		t.Fatalf("not valid: %q", d.NotValid)
	}
	has(t, d, "**NOT VALID: replay differs: ", "nothing after it is told")
	if len(d.Attempts) > 0 || d.Result != nil {
		t.Error("told what stands after the fault")
	}
	look(t, d, "forged.pdf")
}

// A record of another version whose replay differs is not called forged: the
// page says which version can judge it.
func TestARecordOfAnotherVersion(t *testing.T) {
	t.Parallel()
	data, err := os.ReadFile(whole(t, normal()))
	if err != nil {
		t.Fatal(err)
	}
	r := record.VerifyBytes("old.jsonl", data, nil, record.Options{AnySigner: true, Program: "another",
		Replay: func([]record.Entry) error { return errors.New("line 9: another sentence") }})
	d := Build(r)
	if len(d.NotValid) != 1 || !strings.HasPrefix(d.NotValid[0], "not verified by this version, export it with the one that made it: ") {
		t.Errorf("%q", d.NotValid)
	}
}

// rechain changes lines and computes the chain anew, as a forger would.
func rechain(t *testing.T, data []byte, change func(*record.Entry)) []byte {
	t.Helper()
	var out bytes.Buffer
	prev, changed := record.Hash{}, false
	log, err := record.Parse(data)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range log.Entries {
		before := string(e.Body)
		change(&e)
		changed = changed || string(e.Body) != before
		e.Prev = prev
		again, err := e.Encode()
		if err != nil {
			t.Fatal(err)
		}
		prev = record.HashLine(again)
		out.Write(append(again, '\n'))
	}
	if !changed {
		t.Fatal("nothing was changed")
	}
	return out.Bytes()
}

// What people type cannot become markup, a formula, or a control sequence.
func TestWordsStayWords(t *testing.T) {
	t.Parallel()
	nasty := "=1+2|<b>*x*</b>`\u202e\u009b31m [l](u)\u2028#"
	f := begin(t, t.TempDir(), normal())
	f.ground = nasty
	f.toReady()
	d := Build(verified(t, f.close(record.Interrupted, "the test ends it")))
	page := string(write(t, d, "x.md", unit.Metric))
	if want := `=1+2\|\<b\>\*x\*\</b\>\` + "`\uFFFD 31m " + `\[l\](u) \#`; !strings.Contains(page, want) {
		t.Errorf("%q is not on the page:\n%s", want, page)
	}
	table := string(write(t, d, "x.csv", unit.Metric))
	if !strings.Contains(table, ",'=1+2|") || strings.ContainsAny(table+page, "\u202e\u009b\u2028") {
		t.Errorf("the table holds a formula or a control character: %s", table)
	}
	var back export.Document
	if err := json.Unmarshal(write(t, d, "x.json", unit.Metric), &back); err != nil {
		t.Fatal(err)
	}
	for _, c := range back.Checks {
		if c.Step == "ground" && !strings.HasPrefix(c.Seen, nasty) {
			t.Errorf("JSON holds %q, want %q", c.Seen, nasty)
		}
	}
	look(t, d, "nasty.pdf")
}

// With 16 motors, 8 posts, as many steps as a plan takes and long answers two
// pages are still enough.
func TestTheLargestFiringTakesTwoPages(t *testing.T) {
	t.Parallel()
	o := normal()
	o.motors = checklist.MaxMotors
	for len(plan(o).Steps) < checklist.MaxSteps {
		o.extra = append(o.extra, checklist.Step{Phase: checklist.Poll, Challenge: "What do you see?", Role: checklist.RangeOfficer})
	}
	f := begin(t, t.TempDir(), o)
	f.ground = strings.Repeat("grass short, gate shut, ", 14)
	f.toReady()
	f.arm()
	f.count()
	f.press(time.Second)
	f.afterwards(130)
	d := Build(verified(t, f.close(record.Normal, "", 1, 2)))
	page := write(t, d, "x.pdf", unit.Metric)
	if n := bytes.Count(page, []byte("/Type /Page\n")); n != 2 {
		t.Errorf("%d pages, want 2", n)
	}
	look(t, d, "largest.pdf")
}

// A stop of the program in the middle: the record is taken up again and the
// page tells both parts.
func TestARecordTakenUpAgain(t *testing.T) {
	t.Parallel()
	f := begin(t, t.TempDir(), normal())
	f.toReady()
	f.arm()
	f.takeUp()
	d := Build(verified(t, f.close(record.Interrupted, "the test ends it", 1)))
	if len(d.NotValid) > 0 {
		t.Fatal(d.NotValid)
	}
	has(t, d, "Taken up again after a stop of the program, once", "the program stopped", "broke off in ARMED", "WAIT from ")
}
