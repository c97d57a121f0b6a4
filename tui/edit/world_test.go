package edit

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"

	tea "github.com/charmbracelet/bubbletea"

	"holdline/checklist/prediction"
	"holdline/checklist/sheet"
	"holdline/checklist/sheet/unit"
)

var folder = filepath.Join("..", "..", "checklist", "sheet", "scenario", "run")

// world is a form with a shell that does its work at once when it is told to.
type world struct {
	t     *testing.T
	m     *Model
	asked []Work
	disk  []byte
	saveE error
	quit  bool
}

func newWorld(t *testing.T, changes ...string) *world {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(folder, "sheet.toml"))
	if err != nil {
		t.Fatal(err)
	}
	// So few draws must be able to show a go.
	changes = append([]string{"limits.overrun_probability", "4 %", "limits.all_light_probability", "80 %"}, changes...)
	for i := 0; i < len(changes); i += 2 {
		if text, err = sheet.Set(text, changes[i], changes[i+1]); err != nil {
			t.Fatal(err)
		}
	}
	return openWorld(t, text)
}

func openWorld(t *testing.T, text []byte) *world {
	t.Helper()
	w := &world{t: t, disk: text}
	m, err := New(Config{Path: "first/sheet.toml", Text: text, Theme: "plain",
		Work: func(work Work) { w.asked = append(w.asked, work) },
		Save: func(was, now []byte, over bool) error {
			if w.saveE != nil {
				return w.saveE
			}
			if string(w.disk) != string(was) && !over {
				return sheet.ErrChanged
			}
			w.disk = now
			return nil
		}})
	if err != nil {
		t.Fatal(err)
	}
	w.m = m
	m.Init()
	return w
}

// send gives a message to the form and runs what it asks for.
func (w *world) send(msg tea.Msg) {
	_, cmd := w.m.Update(msg)
	for cmd != nil {
		switch msg := cmd().(type) {
		case tea.QuitMsg:
			w.quit = true
			return
		default:
			_, cmd = w.m.Update(msg)
		}
	}
}

// key presses keys by name; anything of more than one character that is no
// name is typed.
func (w *world) key(names ...string) {
	for _, name := range names {
		types := map[string]tea.KeyType{"enter": tea.KeyEnter, "up": tea.KeyUp, "down": tea.KeyDown, "left": tea.KeyLeft, "right": tea.KeyRight,
			"esc": tea.KeyEsc, "backspace": tea.KeyBackspace, "ctrl+u": tea.KeyCtrlU, "ctrl+c": tea.KeyCtrlC, "home": tea.KeyHome, "end": tea.KeyEnd,
			"pgdown": tea.KeyPgDown, "pgup": tea.KeyPgUp, "delete": tea.KeyDelete, "tab": tea.KeyTab}
		if k, is := types[name]; is {
			w.send(tea.KeyMsg{Type: k})
			continue
		}
		w.send(tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune(name)})
	}
}

// to puts the cursor on a key by walking down from the top, as a person does.
func (w *world) to(key string) {
	w.t.Helper()
	w.key("home")
	for range w.m.rows {
		if w.m.here() == key {
			return
		}
		w.key("down")
	}
	w.t.Fatalf("no row %s", key)
}

// enter opens the entry under the cursor and gives it a value.
func (w *world) enter(value string) {
	w.key("enter", "ctrl+u")
	if value != "" {
		w.key(value)
	}
	w.key("enter")
}

// settle does the newest work as the shell would.
func (w *world) settle() {
	w.t.Helper()
	w.answer(w.asked[len(w.asked)-1])
}

func (w *world) answer(work Work) {
	w.t.Helper()
	s, faults := parse(work.Text)
	w.send(Checked{work.Number, faults})
	if s != nil {
		if work.Predict {
			run, c, err := predicted(string(work.Text))
			w.send(Predicted{work.Number, run, c, err})
		}
		for _, key := range work.Keys {
			r, err := ranged(string(work.Text), key, w.m.cfg.Units)
			w.send(Ranged{work.Number, key, r, err})
		}
		if work.Motors {
			counts, err := motorCounts(string(work.Text))
			w.send(Counted{work.Number, counts, err})
		}
	}
	w.send(Worked{work.Number})
}

const runs = 300

var remedyOptions = prediction.RemedyOptions{Runs: runs, Seed: 1, Workers: 1}

func parse(text []byte) (*sheet.Sheet, sheet.Faults) {
	s, err := parseSheet(text)
	var faults sheet.Faults
	errors.As(err, &faults)
	return s, faults
}

func parseSheet(text []byte) (*sheet.Sheet, error) {
	path := filepath.Join(folder, "sheet.toml")
	return sheet.Parse(path, text, sheet.CurvesBeside(path))
}

// The answers are worked out once for each text: many tests begin with the
// same.
var known sync.Map

func once[T any](key string, work func() (T, error)) (T, error) {
	type answer struct {
		value T
		err   error
	}
	made := sync.OnceValue(func() answer {
		v, err := work()
		return answer{v, err}
	})
	got, _ := known.LoadOrStore(key, made)
	a := got.(func() answer)()
	return a.value, a.err
}

type both struct {
	run     *prediction.Run
	circuit *prediction.Circuit
}

func predicted(text string) (*prediction.Run, *prediction.Circuit, error) {
	b, err := once("predict "+text, func() (both, error) {
		s, err := parseSheet([]byte(text))
		if err != nil {
			return both{}, err
		}
		c, err := prediction.BuildCircuit(context.Background(), "", "", s.Circuit(), prediction.CircuitOptions{Runs: runs, Seed: 1, Workers: 1})
		if err != nil {
			return both{}, err
		}
		run, err := prediction.BuildRun(context.Background(), s, prediction.RunOptions{Runs: runs, Seed: 1, Workers: 1})
		return both{run, c}, err
	})
	return b.run, b.circuit, err
}

func ranged(text, key string, sys unit.System) (prediction.Range, error) {
	o := remedyOptions
	o.Units = sys
	return once(fmt.Sprint(sys)+key+" "+text, func() (prediction.Range, error) {
		return prediction.FindRange(context.Background(), []byte(text), key, parseSheet, o)
	})
}

func motorCounts(text string) ([]prediction.MotorCount, error) {
	return once("motors "+text, func() ([]prediction.MotorCount, error) {
		s, err := parseSheet([]byte(text))
		if err != nil {
			return nil, err
		}
		return prediction.MotorCounts(context.Background(), s, remedyOptions)
	})
}
