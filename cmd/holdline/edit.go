package main

import (
	"context"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"holdline/arming"
	"holdline/cmd/holdline/editor"
)

func (p *program) editCommand() *cobra.Command {
	var theme string
	cmd := &cobra.Command{
		Use:   "edit SHEET",
		Short: "a form that changes a sheet, its limits live beside it",
		Long: `Opens a run sheet as a full-screen form: every entry with its unit and what it
is, the limits of the prediction live beside it, and which cleared length, mass
and number of motors would make it a go; m looks for the same of any other
number. A value that cannot be read is refused at the entry, with the reason.
With --units us every value is shown in US customary units; the sheet keeps the
unit that a value was written in, and a new one the unit that it is given in.
The file is written when it is told to save, and keeps its comments; one that
has changed on disk meanwhile is not overwritten unasked. It opens no port.

Exit status: 0 left, whatever was saved; 1 the sheet could not be read or is no
TOML, or there is no terminal; 2 wrong usage.`,
		Example: `  holdline new first && holdline edit first/sheet.toml
  holdline edit run.toml --units us
  holdline edit run.toml --theme light`,
		Args: exactArgs("SHEET"),
		RunE: func(c *cobra.Command, args []string) error {
			if err := checkTheme(c, theme); err != nil {
				return err
			}
			if !isTerminal(p.in) || !isTerminal(p.out) {
				return withHint(errors.New("the form needs a terminal for its screen and keys"),
					"a sheet is a text file: holdline check says what is wrong with it")
			}
			return p.editSheet(c.Context(), args[0], theme)
		},
	}
	addTheme(cmd, &theme)
	return cmd
}

// editSheet runs the form and says what it has changed.
func (p *program) editSheet(ctx context.Context, path, theme string) error {
	result, err := editor.Run(ctx, editor.Options{Path: path, Theme: theme, Units: p.units.System, In: p.in, Out: p.out})
	for _, change := range result.Changes {
		fmt.Fprintln(p.out, arming.Plain(change))
	}
	switch {
	case result.Saved && len(result.Changes) > 0:
		fmt.Fprintf(p.out, "%s: saved\n", path)
	case err == nil && result.Lost == 0:
		fmt.Fprintf(p.out, "%s: not changed\n", path)
	}
	if result.Lost > 0 {
		fmt.Fprintf(p.errOut, "%s: left with changes that were not saved: %d\n", path, result.Lost)
	}
	return err
}
