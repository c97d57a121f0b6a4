package session

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"time"

	"holdline/checklist/sheet"
	"holdline/checklist/sheet/scenario"
	"holdline/checklist/sheet/unit"
)

// Options say what to run. The zero value is the embedded scenario with the
// practice box, recorded in the user's own folder.
type Options struct {
	SheetPath string // empty: the embedded scenario
	Box       string // serial port of a ground box
	Meter     string // serial port of a multimeter, 9600 baud, or PORT@BAUD
	Typed     bool   // numbers are read off a meter and typed
	Practice  bool   // the practice box; the embedded scenario always uses it

	RecordDir string // empty: see DefaultRecordDir
	KeyFile   string // private key, or the public half of one in an ssh agent; empty: the user's own, made on first use
	Settings  string // folder of the user's own key; empty: holdline in the user's configuration folder

	// PracticeWait is how long the wait of a practice firing takes, never longer
	// than a real one; 0 is a sixth of the real one. A real wait is never
	// shortened.
	PracticeWait time.Duration

	// Drill, when not nil, lets surprises come. Only a practice box of the
	// session's own can show them.
	Drill *Drill

	// Edit opens the form of a sheet and returns when it is left; nil for none.
	// It is called before anything is opened or recorded, never later.
	Edit func(ctx context.Context, path string) error

	// Tour says when the tour of the screen comes by itself, in practice alone.
	Tour Tour

	Theme   string // "light", "dark", "plain", "" to choose by the terminal
	Units   unit.System
	Version string // of the program, for the record

	In  *os.File // the terminal; os.Stdin and os.Stdout when nil
	Out *os.File
}

// ErrHow says that it is not clear how to measure and nobody could be asked.
var ErrHow = errors.New("how to measure is not said: --box PORT, --meter PORT, --typed or --practice")

// check refuses options that contradict each other.
func (o *Options) check() error {
	ways := 0
	for _, given := range []bool{o.Box != "", o.Meter != "", o.Typed, o.Practice} {
		if given {
			ways++
		}
	}
	switch {
	case ways > 1:
		return errors.New("session: options: more than one way to measure")
	case o.PracticeWait < 0:
		return fmt.Errorf("session: options: practice wait %v", o.PracticeWait)
	case o.PracticeWait != 0 && (o.Meter != "" || o.Typed):
		return errors.New("session: options: only a practice wait can be shortened")
	case o.Drill != nil && (o.Box != "" || o.Meter != "" || o.Typed):
		return ErrRealDrill
	}
	return nil
}

// complete fills in what was left out.
func (o *Options) complete() error {
	if o.SheetPath == "" && o.Box == "" && o.Meter == "" && !o.Typed {
		o.Practice = true
	}
	if o.Version == "" {
		o.Version = "development"
	}
	if o.In == nil {
		o.In = os.Stdin
	}
	if o.Out == nil {
		o.Out = os.Stdout
	}
	if o.Settings == "" {
		dir, err := os.UserConfigDir()
		if err != nil {
			return fmt.Errorf("session: settings folder: %w", err)
		}
		o.Settings = filepath.Join(dir, "holdline")
	}
	if o.RecordDir == "" {
		dir, err := DefaultRecordDir()
		if err != nil {
			return err
		}
		o.RecordDir = dir
	}
	return nil
}

// DefaultRecordDir is the folder of the records: holdline/records in
// XDG_STATE_HOME or ~/.local/state, and on Windows and macOS in the folder of
// the user's configuration. Practice firings have a folder of their own in it,
// named practice.
func DefaultRecordDir() (string, error) {
	if runtime.GOOS == "windows" || runtime.GOOS == "darwin" {
		dir, err := os.UserConfigDir()
		if err != nil {
			return "", fmt.Errorf("session: record folder: %w", err)
		}
		return filepath.Join(dir, "holdline", "records"), nil
	}
	state := os.Getenv("XDG_STATE_HOME")
	if !filepath.IsAbs(state) {
		home, err := os.UserHomeDir()
		if err != nil {
			return "", fmt.Errorf("session: record folder: %w", err)
		}
		state = filepath.Join(home, ".local", "state")
	}
	return filepath.Join(state, "holdline", "records"), nil
}

// folder is where the records of this kind of firing are.
func (o *Options) folder(practice bool) string {
	if practice {
		return filepath.Join(o.RecordDir, "practice")
	}
	return o.RecordDir
}

// load reads the sheet, or the embedded scenario.
func (o *Options) load() (*sheet.Sheet, error) {
	if o.SheetPath == "" {
		return scenario.Open()
	}
	return sheet.Load(o.SheetPath)
}
