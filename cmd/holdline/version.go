package main

import (
	"fmt"
	"runtime/debug"

	"github.com/spf13/cobra"
)

// version is the program's version; a release sets it with
// -ldflags "-X main.version=1.2.3".
var version = "development"

func (p *program) versionCommand() *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:     "version",
		Short:   "the version, as records name it",
		Example: "  holdline version\n  holdline version --json",
		Args:    exactArgs(),
		RunE: func(*cobra.Command, []string) error {
			goVersion := "unknown"
			if info, ok := debug.ReadBuildInfo(); ok {
				goVersion = info.GoVersion
			}
			if asJSON {
				return writeJSON(p.out, map[string]string{"version": version, "go": goVersion})
			}
			_, err := fmt.Fprintf(p.out, "holdline %s, %s\n", version, goVersion)
			return err
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "as one JSON object")
	return cmd
}
