package limits

import (
	"math"
	"strings"
	"testing"

	"holdline/checklist/prediction"
	"holdline/checklist/sheet/unit"
	"holdline/tui/canvas"
)

// plain paints nothing.
type plain struct{}

func (plain) Paint(*strings.Builder, canvas.Style, canvas.Style, bool) {}
func (plain) End(*strings.Builder, canvas.Style)                       {}
func (plain) SameGround(_, _ canvas.Style) bool                        { return true }

var some = []prediction.Limit{
	{Name: "far", Value: 10, Limit: 100, Left: 90, Unit: "m", Pass: true},
	{Name: "rest", Case: "a", Value: 70, Limit: 100, Left: 30, Unit: "m", Pass: true},
	{Name: "rest", Case: "b", Value: 95, Limit: 100, Left: 5, Unit: "m", Pass: true},
	{Name: "motors", Value: 4, Limit: 4, Unit: "motors", Pass: true},
	{Name: "none", Value: math.NaN(), Limit: 1, Left: math.NaN(), Pass: false},
	{Name: "share", Value: 0.002, Limit: 0.001, Left: -0.001, Pass: false},
}

// What is not kept comes first, then the least left over, each name once with
// its worst case.
func TestTightestFirst(t *testing.T) {
	var got []string
	for _, l := range Tightest(some) {
		got = append(got, l.Name+l.Case)
	}
	if want := "share none restb far motors"; strings.Join(got, " ") != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestThanIsTheSideOfTheLimit(t *testing.T) {
	for _, c := range []struct {
		l    prediction.Limit
		want string
	}{
		{prediction.Limit{Value: 3, Limit: 1.5, Left: 1.5}, "≥"},
		{prediction.Limit{Value: 3, Limit: 10, Left: 7}, "≤"},
		{prediction.Limit{Value: 4, Limit: 4, Unit: "motors"}, "≥"},
		{prediction.Limit{Value: 0, Limit: 0, Unit: "cases airborne"}, "≤"},
		{prediction.Limit{Value: 2, Limit: 0, Left: -2, Unit: "cases airborne"}, "≤"},
	} {
		if got := Than(&c.l); got != c.want {
			t.Errorf("%+v: %s, want %s", c.l, got, c.want)
		}
	}
}

func TestValuesCarryAUnitThatSuitsThem(t *testing.T) {
	for _, c := range []struct {
		l    prediction.Limit
		v    float64
		sys  unit.System
		want string
	}{
		{prediction.Limit{Unit: "m", Limit: 100}, 59.27, unit.Metric, "59.3 m"},
		{prediction.Limit{Unit: "s", Limit: 0.06}, 0.03, unit.Metric, "30 ms"},
		{prediction.Limit{Unit: "A", Limit: 0.015}, 0.001, unit.Metric, "1 mA"},
		{prediction.Limit{Unit: "m/s2", Limit: 245}, 22, unit.Metric, "22.0 m/s²"},
		{prediction.Limit{Limit: 0.001}, 0.0003, unit.Metric, "0.030 %"},
		{prediction.Limit{Limit: 10}, 4.06, unit.Metric, "4.06"},
		{prediction.Limit{Unit: "motors", Limit: 4}, 3, unit.Metric, "3"},
		{prediction.Limit{Unit: "m", Limit: 1}, math.NaN(), unit.Metric, "none"},
		{prediction.Limit{Unit: "m", Value: 59.27, Limit: 100}, 59.27, unit.US, "194 ft"},
		{prediction.Limit{Unit: "m", Value: 0.1, Limit: 0.2}, 0.1, unit.US, "3.94 in"},
		{prediction.Limit{Unit: "m", Value: 99.9, Limit: 100}, 0.1, unit.US, "0.33 ft"},
		{prediction.Limit{Unit: "m/s2", Limit: 245}, 22, unit.US, "2.24 g0"},
		{prediction.Limit{Unit: "N", Limit: 400}, 44.48222, unit.US, "10.0 lbf"},
		{prediction.Limit{Unit: "s", Limit: 0.06}, 0.03, unit.US, "30 ms"},
		{prediction.Limit{Unit: "m", Limit: 1}, math.NaN(), unit.US, "none"},
	} {
		if got := Value(&c.l, c.v, c.sys); got != c.want {
			t.Errorf("%v of %+v: %q, want %q", c.v, c.l, got, c.want)
		}
	}
}

func TestRowsFitAnyWidth(t *testing.T) {
	for w := range 90 {
		c := canvas.New(w, len(some), false)
		Draw(c, some, unit.Metric)
		for _, row := range c.Rows(plain{}) {
			if n := canvas.Width(row); n != w {
				t.Fatalf("a row of %d columns, want %d: %q", n, w, row)
			}
		}
	}
	c := canvas.New(80, len(some), false)
	Draw(c, some, unit.Metric)
	rows := c.Rows(plain{})
	if !strings.Contains(rows[2], "rest: b") || !strings.Contains(rows[2], "95.0 m ≤ 100 m") || !strings.HasSuffix(rows[2], "5.00 m left") {
		t.Errorf("%q", rows[2])
	}
	if !strings.HasSuffix(rows[3], "met") || !strings.HasPrefix(rows[5], "╱ share") {
		t.Errorf("%q, %q", rows[3], rows[5])
	}
}

// A value that does not exist has no side of its limit, and nothing left of it.
func TestARowWithoutAValueSaysSo(t *testing.T) {
	for _, c := range []struct {
		pass bool
		want string
	}{{true, "does not apply"}, {false, "NONE EXISTS"}} {
		for _, width := range []int{30, 50, 80} {
			row := canvas.New(width, 1, false)
			Draw(row, []prediction.Limit{{Name: "yaw margin", Value: math.NaN(), Limit: 1.5, Left: math.NaN(), Pass: c.pass}}, unit.Metric)
			got := row.Rows(plain{})[0]
			if !strings.HasSuffix(strings.TrimRight(got, " \n"), c.want) || strings.ContainsAny(got, "≤≥") || width >= 64 && !strings.Contains(got, "limit 1.50") {
				t.Errorf("%d wide: %q, want %q", width, got, c.want)
			}
		}
	}
}
