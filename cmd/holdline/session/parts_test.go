package session

import (
	"bytes"
	"context"
	"errors"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"holdline/arming"
	"holdline/arming/groundbox"
	"holdline/arming/groundbox/wire"
	"holdline/checklist/prediction"
	"holdline/checklist/sheet/scenario"
)

// spoil changes one byte in the middle of a file.
func spoil(t testing.TB, path string) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	data[len(data)/2] ^= 1
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
}

func TestTheCodeMatchesOnlyItself(t *testing.T) {
	var s secret
	if s.is() || s.try("") || s.try("plover") {
		t.Error("a code that was never set matches")
	}
	s.set("plover")
	held := s.code
	if !s.is() || !s.try("plover") || s.try("Plover") || s.try("plove") || s.try("plovers") || s.try("") {
		t.Error("matches another code, or not its own")
	}
	s.wipe()
	if s.is() || s.try("plover") {
		t.Error("matches after it was wiped")
	}
	if !bytes.Equal(held, make([]byte, len(held))) {
		t.Errorf("%q is still in memory", held)
	}
}

func TestThePlanOfTheScenarioHolds(t *testing.T) {
	s, err := scenario.Open()
	if err != nil {
		t.Fatal(err)
	}
	for _, mode := range []arming.Mode{arming.ModeBox, arming.ModeMeter, arming.ModeTyped} {
		if err := newPlan(s, mode, false, 1).Validate(); err != nil {
			t.Errorf("%v: %v", mode, err)
		}
	}
	in := inputs(s, true)
	if !in.Budget.Contains(s.Firing.Battery.VoltageV) || !in.Mass.Contains(s.Vehicle.MassKg) || !in.Wind.Contains(s.Site.HeadwindMps) {
		t.Errorf("a value of the sheet is outside its own band: %+v %+v %+v", in.Budget, in.Mass, in.Wind)
	}
	if in.Budget.Contains(0.9*s.Firing.Battery.VoltageV) || in.Mass.Contains(1.1*s.Vehicle.MassKg) {
		t.Error("another battery or mass is accepted")
	}
}

func TestWaitSpeed(t *testing.T) {
	for _, c := range []struct {
		real, wanted time.Duration
		want         int
	}{{time.Minute, 0, 6}, {time.Minute, 5 * time.Second, 12}, {time.Minute, time.Minute, 1}, {time.Minute, time.Hour, 1}, {90 * time.Second, 10 * time.Second, 9}} {
		if got := waitSpeed(c.real, c.wanted); got != c.want {
			t.Errorf("%v in %v: %d, want %d", c.real, c.wanted, got, c.want)
		}
	}
}

func TestOptionsThatContradict(t *testing.T) {
	for _, o := range []Options{{Box: "a", Meter: "b"}, {Typed: true, Practice: true}, {PracticeWait: -1}, {Typed: true, PracticeWait: time.Second}} {
		if err := o.check(); err == nil {
			t.Errorf("%+v accepted", o)
		}
	}
	o := Options{}
	if err := o.complete(); err != nil || !o.Practice {
		t.Errorf("no sheet is not practice: %+v, %v", o, err)
	}
	if o.folder(true) == o.folder(false) {
		t.Error("practice and real records share a folder")
	}
}

func TestChoosingHowToMeasure(t *testing.T) {
	for _, c := range []struct {
		typed string
		want  Options
		err   error
	}{
		{"box /dev/ttyACM0\n", Options{Box: "/dev/ttyACM0"}, nil},
		{"practice\nmeter /dev/ttyUSB0@19200\n", Options{Meter: "/dev/ttyUSB0@19200"}, nil},
		{"typed\n", Options{Typed: true}, nil},
		{"quit\n", Options{}, ErrHow},
		{"", Options{}, ErrHow},
	} {
		var o Options
		var out strings.Builder
		err := o.choose(strings.NewReader(c.typed), &out, []groundbox.PortInfo{{Name: "/dev/ttyACM0", Product: "Box\x1b[2J"}})
		if !errors.Is(err, c.err) || !reflect.DeepEqual(o, c.want) {
			t.Errorf("%q: %+v, %v", c.typed, o, err)
		}
		if strings.Contains(out.String(), "\x1b") {
			t.Errorf("a device's name reaches the terminal as it is: %q", out.String())
		}
		if !strings.Contains(out.String(), "/dev/ttyACM0") || strings.Contains(out.String(), "  practice ") {
			t.Errorf("the question: %q", out.String())
		}
	}
}

// The sheet can be changed while it is asked how to measure, and is read anew
// then; without a file or a form it is not offered.
func TestTheSheetMayBeChangedBeforeTheFiring(t *testing.T) {
	var out strings.Builder
	edit := func(context.Context, string) error { return nil }
	o := Options{SheetPath: "first/sheet.toml", Edit: edit}
	if err := o.choose(strings.NewReader("edit\n"), &out, nil); !errors.Is(err, errEdit) || !strings.Contains(out.String(), "\n  edit ") {
		t.Errorf("%v: %q", err, out.String())
	}
	for _, o := range []Options{{Edit: edit}, {SheetPath: "first/sheet.toml"}} {
		out.Reset()
		if err := o.choose(strings.NewReader("edit\ntyped\n"), &out, nil); err != nil || !o.Typed || strings.Contains(out.String(), "edit") {
			t.Errorf("%v: %q", err, out.String())
		}
	}
}

func TestMeterPort(t *testing.T) {
	for _, c := range []struct {
		text, port string
		baud       int
	}{{"/dev/ttyUSB0", "/dev/ttyUSB0", 9600}, {"COM3@19200", "COM3", 19200}} {
		if port, baud, err := meterPort(c.text); err != nil || port != c.port || baud != c.baud {
			t.Errorf("%q: %q %d %v", c.text, port, baud, err)
		}
	}
	for _, bad := range []string{"COM3@", "COM3@fast", "@9600", "COM3@1"} {
		if _, _, err := meterPort(bad); err == nil {
			t.Errorf("%q accepted", bad)
		}
	}
}

// TestTheLargerTestCurrentCounts: the box's own word, where it is more than the
// sheet's, makes a prediction that says no. R-27.
func TestTheLargerTestCurrentCounts(t *testing.T) {
	sh, err := scenario.Open()
	if err != nil {
		t.Fatal(err)
	}
	s := &session{sheet: sh, plan: newPlan(sh, arming.ModeBox, true, 1), box: &boxLink{}}
	limit := sh.Circuit().TestCurrentLimitA()
	for a, wantGo := range map[float64]bool{0: true, sh.Firing.TestCurrentA * (1 + 1e-9): true, 2 * limit: false} {
		s.box.testA.Store(math.Float64bits(a))
		day := s.measured(&arming.State{}).with(sh)
		c, err := prediction.BuildCircuit(context.Background(), "", "", day.Circuit(), prediction.CircuitOptions{Seed: 1, Workers: 1})
		if err != nil {
			t.Fatal(err)
		}
		if want := max(a, sh.Firing.TestCurrentA); c.Go != wantGo || math.Abs(c.TestCurrentA-want) > 1e-6*want {
			t.Errorf("a box that tests with %g A: go %v, judged with %g A", a, c.Go, c.TestCurrentA)
		}
	}
}

// TestAStuckPermitIsWhatTheScreenSays: on the full width, until the permit reads
// open; no answer and no other sentence takes its place. R-24.
func TestAStuckPermitIsWhatTheScreenSays(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t)
		b.wanting()
		said := func(when, want string) {
			t.Helper()
			if f := b.latest.Load(); f == nil || f.Loud != want {
				t.Errorf("%s the screen says %q, want %q", when, f.Loud, want)
			}
		}
		b.step(arming.PermitStuck{})
		said("at once", arming.StuckText)
		b.step(arming.BoxEvents{Bits: wire.EventWatchdog})
		said("after another doubt", arming.StuckText)
		b.step(arming.HoldBy{Name: "Nora"})
		said("after an answer", arming.StuckText)
		box := b.state.Box
		box.Permit = arming.ContactOpen
		b.step(arming.BoxReading{Box: box})
		if f := b.latest.Load(); f.Loud == arming.StuckText {
			t.Error("said although the permit reads open")
		}
	})
}

// bad is a model that panics where it is told to.
type bad struct{ where string }

func (b bad) Init() tea.Cmd {
	if b.where == "init" {
		panic("planted")
	}
	return nil
}

func (b bad) Update(tea.Msg) (tea.Model, tea.Cmd) {
	broken := func() tea.Msg { panic("planted") }
	switch b.where {
	case "update":
		panic("planted")
	case "command":
		return b, broken
	case "batch":
		return b, tea.Batch(broken, func() tea.Msg { return nil })
	case "sequence":
		return b, tea.Sequence(func() tea.Msg { return nil }, broken)
	}
	return b, nil
}

func (b bad) View() string {
	if b.where == "view" {
		panic("planted")
	}
	return ""
}

// TestAPanicOfTheScreenOpensThePermitFirst: before anybody recovers it.
func TestAPanicOfTheScreenOpensThePermitFirst(t *testing.T) {
	for _, where := range []string{"init", "update", "view", "command", "batch", "sequence"} {
		off := false
		g := guarded{model: bad{where}, off: func() { off = true }}
		caught := func() (r any) {
			defer func() {
				r = recover()
				if r != nil && !off {
					t.Errorf("%s: the panic came past with the permit closed", where)
				}
			}()
			g.Init()
			_, cmd := g.Update(nil)
			if cmd != nil {
				runAll(cmd())
			}
			g.View()
			return nil
		}()
		if caught == nil || !off {
			t.Errorf("%s: caught %v, permit opened %v", where, caught, off)
		}
	}
}

// runAll runs the commands that a message holds, as bubbletea does.
func runAll(msg tea.Msg) {
	switch m := msg.(type) {
	case tea.BatchMsg:
		for _, c := range m {
			if c != nil {
				runAll(c())
			}
		}
	case nil:
	default:
		for _, c := range commandsIn(m) {
			runAll(c())
		}
	}
}

func TestTheScreenMaySendOnlyRequests(t *testing.T) {
	s := &session{driver: &driver{requests: make(chan func(), 1)}}
	for _, ev := range []arming.Event{arming.BoxReading{}, arming.Written{Ticket: 1}, arming.Code{Matched: true}, arming.Start{}, arming.Tick{}} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%T was taken from the screen", ev)
				}
			}()
			s.submit(ev)
		}()
	}
}

// TestASheetThatChangedOnDiskWithdrawsTheAcceptance reads it again at arming.
func TestASheetThatChangedOnDiskWithdrawsTheAcceptance(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		dir := t.TempDir()
		if err := os.CopyFS(dir, scenario.Files()); err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(dir, scenario.SheetName)
		c := newCrew(t, quietDir(t), func(o *Options) { o.SheetPath, o.Practice = path, true })
		c.toReady()
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, append(data, "\n# edited\n"...), 0o644); err != nil {
			t.Fatal(err)
		}
		i := c.s.index(arming.StepPrediction)
		c.send(arming.ArmEntry{By: firing}, func(s arming.State) bool { return !s.Evidence[i].Present })
		if s := c.state(); s.ArmEntry || s.Phase != arming.Setup {
			t.Errorf("%v, arm entry %v", s.Phase, s.ArmEntry)
		}
	})
}

// commandsIn returns the commands of a sequence, whose type is not exported.
func commandsIn(msg tea.Msg) []tea.Cmd {
	v := reflect.ValueOf(msg)
	if v.Kind() != reflect.Slice || v.Type().Elem() != commandType {
		return nil
	}
	var out []tea.Cmd
	for i := range v.Len() {
		if c := v.Index(i).Interface().(tea.Cmd); c != nil {
			out = append(out, c)
		}
	}
	return out
}
