package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"holdline/checklist/sheet/scenario"
)

func (p *program) newCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "new DIR",
		Short: "a commented starter sheet with a curve",
		Long: `Writes a starter run sheet, in which every key is explained, and a thrust curve
into the folder DIR. It makes the folder if need be, and refuses to overwrite.
Every number in it is an example: put your own in its place.`,
		Example: `  holdline new first
  holdline check first/` + scenario.SheetName,
		Args: exactArgs("DIR"),
		RunE: func(_ *cobra.Command, args []string) error {
			written, err := scenario.WriteStarter(args[0])
			if err != nil {
				return withHint(err, "name a folder without a %s of its own", scenario.SheetName)
			}
			for _, path := range written {
				if _, err := fmt.Fprintln(p.out, path); err != nil {
					return err
				}
			}
			return nil
		},
	}
}
