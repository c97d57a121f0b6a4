package session

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"holdline/arming/record"
	"holdline/arming/record/export"
	reports "holdline/arming/record/report"
	"holdline/checklist/sheet/unit"
)

// checkPage holds what a record says to people against the firing that was
// made: nothing that the session writes may be missing from the page.
func checkPage(t testing.TB, r record.Result) {
	t.Helper()
	d := reports.Build(r)
	if len(d.NotValid) > 0 || !d.Practice || d.Phase != "CLOSED" {
		t.Errorf("not valid %q, practice %v, phase %s", d.NotValid, d.Practice, d.Phase)
	}
	if len(d.Holds) > 0 {
		t.Errorf("a firing without a fault shows holds: %+v", d.Holds)
	}
	for _, c := range d.Checks {
		if c.Standing != export.Stood && c.Standing != export.AfterFiring && !c.Optional {
			t.Errorf("%s: %s", c.Step, c.Standing)
		}
	}
	switch {
	case len(d.Attempts) != 1:
		t.Errorf("%d attempts, want 1", len(d.Attempts))
	case d.Attempts[0].PulseS == nil || d.Attempts[0].SheetPulse == nil:
		t.Error("the pulse's length is not told")
	case d.Attempts[0].PermitS == nil || d.Attempts[0].PressAt.IsZero():
		t.Errorf("attempt %+v", d.Attempts[0])
	}
	switch f := d.Forecast; {
	case f == nil || f.Chart == nil:
		t.Error("the accepted prediction or its chart is not told")
	case len(f.Chart.Speed) < 20 || len(f.Chart.Band) < 20 || f.RestM.P95 <= 0:
		t.Errorf("chart of %d and %d points, rest %+v", len(f.Chart.Speed), len(f.Chart.Band), f.RestM)
	}
	for _, g := range d.Igniters {
		if g.ReadingOhm == nil || g.WorstA == nil || g.Margin == nil {
			t.Errorf("igniter %+v", g)
		}
	}
	for _, u := range d.Used {
		if missing, known := u.Missing(); (u.What == "motors" || u.What == "igniters") && (!known || missing != 0) {
			t.Errorf("counts: %+v", u)
		}
	}
	if d.Result == nil || d.Result.RestM == nil || *d.Result.RestM != 131 {
		t.Errorf("result %+v", d.Result)
	}
	page, err := export.Write(d, "firing.md", unit.Metric)
	if err != nil || !strings.HasPrefix(string(page), "# PRACTICE: ") {
		t.Errorf("%v: %.60s", err, page)
	}
	if dir := os.Getenv("PAGES_FOLDER"); dir != "" {
		page, err := export.Write(d, "session.pdf", unit.Metric)
		if err == nil {
			err = os.WriteFile(filepath.Join(dir, "session.pdf"), page, 0o644)
		}
		if err != nil {
			t.Error(err)
		}
	}
}
