//go:build linux || darwin

package session

import (
	"context"
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/creack/pty"

	"holdline/checklist/sheet"
	"holdline/checklist/sheet/scenario"
)

// The form comes before the firing: the sheet that the session goes on with is
// the one that the form has left.
func TestTheSessionReadsTheSheetThatTheFormHasLeft(t *testing.T) {
	path := filepath.Join(t.TempDir(), "first", scenario.SheetName)
	if _, err := scenario.WriteStarter(filepath.Dir(path)); err != nil {
		t.Fatal(err)
	}
	terminal, tty, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	defer terminal.Close()
	defer tty.Close()
	out, err := os.CreateTemp(t.TempDir(), "")
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	opened := 0
	o := Options{SheetPath: path, In: tty, Out: out}
	o.Edit = func(_ context.Context, at string) error {
		opened++
		text, err := sheet.Text(at)
		if err != nil {
			return err
		}
		next, err := sheet.Set(text, "vehicle.mass", "1.1 kg")
		if err != nil {
			return err
		}
		// The answer to the second question is typed once it can be read.
		if _, err := io.WriteString(terminal, "typed\n"); err != nil {
			return err
		}
		return sheet.SaveOver(at, text, next)
	}
	if _, err := io.WriteString(terminal, "edit\n"); err != nil {
		t.Fatal(err)
	}
	sh, err := o.prepare(t.Context())
	if err != nil || opened != 1 || !o.Typed || sh.Vehicle.MassKg != 1.1 {
		t.Errorf("opened %d times, typed %v: %v", opened, o.Typed, err)
	}
}
