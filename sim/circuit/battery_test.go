package circuit

import (
	"math"
	"strings"
	"testing"
)

// The two-current method of IEC 61960, R = (U1 − U2)/(I2 − I1); the numbers
// are our own.
func TestInternalResistance(t *testing.T) {
	got, err := InternalResistance(Load{12.40, 1.4}, Load{12.26, 7.0})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "resistance", got, 0.14/5.6, 1e-12)
	rest, err := InternalResistance(Load{VoltageV: 12.6}, Load{12.1, 10})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "from rest", rest, 0.05, 1e-12)
	for _, bad := range [][2]Load{
		{{12, 1}, {11, 1}}, {{12, 2}, {11, 1}}, {{12, -1}, {11, 1}}, {{11, 0}, {12, 1}}, {{12, 0}, {12, 1}}, {{12, 0}, {0, 1}},
		{{math.NaN(), 0}, {11, 1}}, {{12, 0}, {11, math.NaN()}}, {{12, 0}, {11, math.Inf(1)}}, {{math.Inf(1), 0}, {11, 1}},
	} {
		if r, err := InternalResistance(bad[0], bad[1]); err == nil {
			t.Errorf("%v: got %v, want an error", bad, r)
		}
	}
}

// A battery read through a known load must come back as what it is.
func TestInternalResistanceOfABatteryUnderLoad(t *testing.T) {
	p := alike(2)
	b := NewBench(p, nil)
	rest := Load{VoltageV: b.BatteryV()}
	b.Advance(0, true)
	got, err := InternalResistance(rest, Load{b.BatteryV(), b.CurrentA()})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "resistance", got, 0.025, 1e-9)
}

func TestBudgetWithWhatWasMeasured(t *testing.T) {
	p := alike(4)
	b, err := BudgetWith(p, Measured{VoltageV: 12.4})
	if err != nil {
		t.Fatal(err)
	}
	sheet := Solve(p)
	near(t, "margin at the sheet's voltage", b.Margin, sheet.Igniters[0].Margin, 1e-12)
	if !b.Go || b.Contradicted || !strings.Contains(b.Basis, "highest internal resistance") {
		t.Errorf("go %v, contradicted %v, basis %q", b.Go, b.Contradicted, b.Basis)
	}
	near(t, "nominal at the highest resistance", b.Solution.SourceOhm, p.WorstSourceOhm(), 1e-12)

	b, err = BudgetWith(p, Measured{VoltageV: 12.3, InternalOhm: 0.100})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "measured source", b.Solution.SourceOhm, p.wiringOhm()+0.100, 1e-12)
	near(t, "worst source", b.Problem.WorstSourceOhm(), p.wiringOhm()+0.105, 1e-12)
	if !b.Go || !strings.Contains(b.Basis, "100.0 mohm by two loads") {
		t.Errorf("go %v (%s), basis %q", b.Go, b.Reason, b.Basis)
	}
	if p.Battery.VoltageV != 12.4 || p.Battery.InternalOhm != 0.025 {
		t.Error("the sheet's problem was changed")
	}
}

func TestBudgetRefuses(t *testing.T) {
	reason := func(change func(*Problem), m Measured) string {
		p := alike(4)
		change(p)
		b, err := BudgetWith(p, m)
		if err != nil {
			t.Fatal(err)
		}
		if b.Go {
			t.Errorf("%+v: go", m)
		}
		return b.Reason
	}
	none := func(*Problem) {}
	for _, c := range []struct {
		got, want string
	}{
		{reason(none, Measured{VoltageV: 12.1}), "apart"},
		{reason(none, Measured{VoltageV: 12.7}), "apart"},
		{reason(none, Measured{VoltageV: 12.4, InternalOhm: 3}), "must show at least"},
		{reason(func(p *Problem) { p.PulseS = 0.1 }, Measured{VoltageV: 12.4}), "pulse"},
		{reason(func(p *Problem) { p.PulseS = 1e-6 }, Measured{VoltageV: 12.4}), "bridges fire"},
		{reason(func(p *Problem) { p.Battery.HighestCurrentA = 5 }, Measured{VoltageV: 12.4}), "total current"},
		{reason(func(p *Problem) { p.Igniters = nil }, Measured{VoltageV: 12.4}), "no motor"},
	} {
		if !strings.Contains(c.got, c.want) {
			t.Errorf("reason %q, want %q in it", c.got, c.want)
		}
	}
	for _, bad := range []Measured{{}, {VoltageV: -1}, {VoltageV: math.NaN()}, {VoltageV: math.Inf(1)}, {VoltageV: 12, InternalOhm: -1}, {VoltageV: 12, InternalOhm: math.NaN()}} {
		if _, err := BudgetWith(alike(1), bad); err == nil {
			t.Errorf("%+v: no error", bad)
		}
	}
	if (BatteryBudget{}).Go {
		t.Error("the zero budget is a go")
	}
}
