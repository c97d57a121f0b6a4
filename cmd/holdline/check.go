package main

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"holdline/checklist/sheet"
)

func (p *program) checkCommand() *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "check SHEET",
		Short: "every fault of a sheet at once",
		Long: `Reads a run sheet with its thrust curves and names every fault at once, each
with file, line, column, key, what was found and what was expected. Things that
are allowed but worth a look are said as notes.

Exit status: 0 no fault; 1 faults, or the sheet could not be read.`,
		Example: `  holdline check run.toml
  holdline check run.toml --json`,
		Args: exactArgs("SHEET"),
		RunE: func(_ *cobra.Command, args []string) error {
			s, err := sheet.Load(args[0])
			var faults sheet.Faults
			if err != nil && !errors.As(err, &faults) {
				return err
			}
			if asJSON {
				return p.checkJSON(s, faults)
			}
			if len(faults) > 0 {
				return faults
			}
			for _, n := range s.Notes {
				fmt.Fprintf(p.errOut, "%s:%d:%d: %s: note: %s\n", args[0], n.Line, n.Column, n.Key, n.Text)
			}
			_, err = fmt.Fprintf(p.out, "%s: no faults\n", args[0])
			return err
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "the faults and notes as one JSON object on standard output")
	return cmd
}

// checkNote is a note in the JSON answer.
type checkNote struct {
	Line   int    `json:"line"`
	Column int    `json:"column"`
	Key    string `json:"key"`
	Text   string `json:"text"`
}

// checkJSON writes the answer of check as JSON; faults still mean exit 1.
func (p *program) checkJSON(s *sheet.Sheet, faults sheet.Faults) error {
	answer := struct {
		Faults sheet.Faults `json:"faults"`
		Notes  []checkNote  `json:"notes"`
		Valid  bool         `json:"valid"`
	}{faults, []checkNote{}, len(faults) == 0}
	if faults == nil {
		answer.Faults = sheet.Faults{}
	}
	if s != nil {
		for _, n := range s.Notes {
			answer.Notes = append(answer.Notes, checkNote{n.Line, n.Column, n.Key, n.Text})
		}
	}
	if err := writeJSON(p.out, answer); err != nil {
		return err
	}
	if len(faults) > 0 {
		return faults
	}
	return nil
}
