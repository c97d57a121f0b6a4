// Package editor is the shell of the form that changes a sheet: it owns the
// file, and does beside the screen whatever takes time.
package editor

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	tea "github.com/charmbracelet/bubbletea"

	"holdline/checklist/sheet"
	"holdline/checklist/sheet/unit"
	"holdline/cmd/holdline/terminal"
	"holdline/tui/edit"
)

// Options say what to change, and where the screen is.
type Options struct {
	Path  string
	Theme string // "light", "dark", "plain", "" to choose by the terminal
	Units unit.System

	In  io.Reader // the terminal
	Out io.Writer
}

// Result is what came of it.
type Result struct {
	Changes []string // what the file has gained, in words
	Saved   bool
	Lost    int // values that were changed and not saved
}

// Run shows the form until it is left. The terminal is as it was before,
// whatever happened. A file that is no TOML comes back as sheet.Faults.
func Run(ctx context.Context, o Options) (Result, error) {
	text, err := sheet.Text(o.Path)
	if err != nil {
		return Result{}, err
	}
	w := newWorker(o.Path, o.Units)
	model, err := edit.New(edit.Config{
		Path: o.Path, Text: text, Units: o.Units,
		Theme: terminal.Theme(o.Theme, os.Getenv), ASCII: !terminal.UTF8(os.Getenv),
		Work: w.start,
		Save: func(was, now []byte, over bool) error {
			if over {
				return sheet.Save(linked(o.Path), now)
			}
			return sheet.SaveOver(o.Path, was, now)
		},
	})
	if err != nil {
		var faults sheet.Faults
		if errors.As(err, &faults) {
			_, err = sheet.Load(o.Path) // the same faults, with the file's name
		}
		return Result{}, err
	}
	in := o.In
	if f, is := in.(*os.File); is {
		in = terminal.NewInput(f)
	}
	program := tea.NewProgram(model, tea.WithAltScreen(), tea.WithContext(ctx), tea.WithInput(in), tea.WithOutput(o.Out))
	w.run(program.Send)
	_, err = program.Run()
	w.stop()
	saves, now := model.Saved()
	r := Result{Saved: saves > 0, Changes: edit.Changes(text, now), Lost: model.Lost()}
	if err != nil {
		return r, fmt.Errorf("edit: %w", err)
	}
	return r, nil
}

// linked is the file that a link names.
func linked(path string) string {
	if to, err := filepath.EvalSymlinks(path); err == nil {
		return to
	}
	return path
}
